using System.Diagnostics;
using System.Text.Json;
using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Entries;
using NodaTime;

namespace IrrigationFhir.Benchmarks;

/// <summary>What one entry costs in memory, and whether that grows with the log.</summary>
internal static class CoreCosts
{
    private const int Repeats = 300;
    private static readonly int[] Lengths = [100, 10_000, 100_000];

    /// <summary>Measures, and writes a Markdown table.</summary>
    public static void Measure(TextWriter output)
    {
        output.WriteLine("\n## Core: one entry into a log\n");
        output.WriteLine("| entries in the log | what is appended | median | p95 | allocated | intervals changed |");
        output.WriteLine("| ---: | --- | ---: | ---: | ---: | ---: |");
        Append(output, Lengths[0], shown: false);
        foreach (var length in Lengths) Append(output, length, shown: true);

        output.WriteLine("\n## Core: an episode in memory\n\n| entries | held | for each entry |\n| ---: | ---: | ---: |");
        foreach (var length in Lengths) Held(output, length);
    }

    private static void Append(TextWriter output, int length, bool shown)
    {
        var ward = new InventedIrrigation(1);
        var (log, end) = Log(ward, length);
        var balance = FluidBalance.Of(log, BalanceSettings.Default);
        (string What, Charted Charted)[] cases =
        [
            ("drainage emptied, at the end", ward.Emptied(end + Duration.FromMinutes(20))),
            ("bag taken down, at the end", ward.BagTakenDown(end + Duration.FromMinutes(20))),
            ("flow set, three hours late", ward.FlowSet(end - Duration.FromHours(3))),
        ];
        foreach (var (what, charted) in cases)
        {
            var entry = Read(charted);
            var received = charted.At + Duration.FromHours(4);
            var samples = new Samples();
            var changed = 0;
            var allocated = GC.GetAllocatedBytesForCurrentThread();
            for (var i = 0; i < Repeats; i++)
            {
                var started = Stopwatch.GetTimestamp();
                changed = balance.After(log.Append([entry], received)).Changes.Length;
                samples.Since(started);
            }

            allocated = (GC.GetAllocatedBytesForCurrentThread() - allocated) / Repeats;
            if (shown) output.WriteLine($"| {length:N0} | {what} | {Samples.Shown(samples.Median)} | {Samples.Shown(samples.P95)} | {allocated / 1024.0:0} KiB | {changed} |");
        }

        if (shown) FromScratch(output, log, length);
    }

    /// <summary>What an episode that stays in memory holds: every version, the look-ups, the closed intervals.</summary>
    private static void Held(TextWriter output, int length)
    {
        var before = GC.GetTotalMemory(forceFullCollection: true);
        var balance = FluidBalance.Of(Log(new InventedIrrigation(1), length).Log, BalanceSettings.Default);
        var held = GC.GetTotalMemory(forceFullCollection: true) - before;
        GC.KeepAlive(balance);
        output.WriteLine($"| {length:N0} | {held / 1e6:0.0} MB | {held / length:N0} bytes |");
    }

    private static void FromScratch(TextWriter output, EpisodeLog log, int length)
    {
        var samples = new Samples();
        var allocated = GC.GetAllocatedBytesForCurrentThread();
        var runs = Math.Clamp(20_000 / length, 1, 50);
        for (var i = 0; i < runs; i++)
        {
            var started = Stopwatch.GetTimestamp();
            FluidBalance.Of(log, BalanceSettings.Default);
            samples.Since(started);
        }

        allocated = (GC.GetAllocatedBytesForCurrentThread() - allocated) / runs;
        output.WriteLine($"| {length:N0} | (for comparison: the whole balance from scratch) | {Samples.Shown(samples.Median)} | {Samples.Shown(samples.P95)} | {allocated / 1024.0:N0} KiB | |");
    }

    private static (EpisodeLog Log, Instant End) Log(InventedIrrigation ward, int length)
    {
        var frame = new EpisodeFrame(InventedIrrigation.Start, null, DateTimeZoneProviders.Tzdb["Europe/Vienna"], [new(7, 0), new(19, 0)]);
        var log = EpisodeLog.Empty(frame);
        var end = frame.Start;
        foreach (var charted in ward.Entries().Take(length))
        {
            log = log.Append([Read(charted)], charted.At + Duration.FromMinutes(2)).Log;
            end = charted.At;
        }

        return (log, end);
    }

    private static Entry Read(Charted charted)
    {
        using var json = JsonDocument.Parse(charted.Json);
        return EntryReader.Read(json.RootElement, "entry", [])?.Entry ?? throw new InvalidOperationException("an invented entry that the service would refuse");
    }
}
