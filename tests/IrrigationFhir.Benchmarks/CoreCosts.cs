using System.Diagnostics;
using System.Text.Json;
using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Demo;
using IrrigationFhir.Record;
using NodaTime;

namespace IrrigationFhir.Benchmarks;

/// <summary>What one entry costs in memory, and whether that grows with the log.</summary>
/// <remarks>
/// What an append costs depends on how densely its neighbourhood was charted. So each length is measured at 60 successive ends of the
/// log: the neighbourhoods average out and the length remains.
/// </remarks>
internal static class CoreCosts
{
    private const int Ends = 60;
    private const int Repeats = 20;
    private static readonly int[] Lengths = [100, 10_000, 100_000];

    private static readonly (string What, Func<InventedIrrigation, Instant, ChartedEntry> At)[] Cases =
    [
        ("drainage emptied, at the end", (ward, end) => ward.Emptied(end + Duration.FromMinutes(20))),
        ("bag taken down, at the end", (ward, end) => ward.BagTakenDown(end + Duration.FromMinutes(20))),
        ("flow set, three hours late", (ward, end) => ward.FlowSet(end - Duration.FromHours(3))),
    ];

    /// <summary>Measures, and writes a Markdown table.</summary>
    public static void Measure(TextWriter output)
    {
        output.WriteLine("\n## Core: one entry into a log\n");
        output.WriteLine("| entries in the log | what is appended | median | p95 | allocated | intervals changed |");
        output.WriteLine("| ---: | --- | ---: | ---: | ---: | ---: |");
        for (var warmUp = 0; warmUp < 3; warmUp++)
            Append(TextWriter.Null, Lengths[0]);
        foreach (var length in Lengths)
            Append(output, length);

        output.WriteLine(
            "\n## Core: the whole balance from nothing\n\n"
                + "| entries | first | median | p95 | allocated |\n| ---: | ---: | ---: | ---: | ---: |"
        );
        foreach (var length in Lengths)
            FromNothing(output, length);

        output.WriteLine("\n## Core: an episode in memory\n\n| entries | held | for each entry |\n| ---: | ---: | ---: |");
        foreach (var length in Lengths)
            Held(output, length);
    }

    private static void Append(TextWriter output, int length)
    {
        var ward = new InventedIrrigation(1);
        var entries = ward.Entries().GetEnumerator();
        var (log, end) = Log(entries, length);
        var balance = FluidBalance.Of(log, BalanceSettings.Default);
        var costs = Cases.Select(_ => (Samples: new Samples(), Allocated: new List<long>(), Changed: new List<int>())).ToArray();
        for (var i = 0; i < Ends; i++)
        {
            for (var c = 0; c < Cases.Length; c++)
            {
                var charted = Cases[c].At(ward, end);
                var entry = Read(charted);
                var received = end + Duration.FromHours(4);
                for (var repeat = 0; repeat < Repeats; repeat++)
                {
                    var allocated = GC.GetAllocatedBytesForCurrentThread();
                    var started = Stopwatch.GetTimestamp();
                    var changed = balance.After(log.Append([entry], received)).Changes.Length;
                    costs[c].Samples.Since(started);
                    costs[c].Allocated.Add(GC.GetAllocatedBytesForCurrentThread() - allocated);
                    costs[c].Changed.Add(changed);
                }
            }

            entries.MoveNext();
            end = entries.Current.At;
            var appended = log.Append([Read(entries.Current)], end + Duration.FromMinutes(2));
            (log, balance) = (appended.Log, balance.After(appended).Balance);
        }

        foreach (var ((what, _), (samples, allocated, changed)) in Cases.Zip(costs))
        {
            var times = $"{Samples.Shown(samples.Median)} | {Samples.Shown(samples.P95)}";
            output.WriteLine($"| {length:N0} | {what} | {times} | {allocated.Average() / 1024.0:0} KiB | {changed.Average():0.0} |");
        }
    }

    /// <summary>What an episode that stays in memory holds: every version, the look-ups, the closed intervals.</summary>
    private static void Held(TextWriter output, int length)
    {
        var before = GC.GetTotalMemory(forceFullCollection: true);
        var balance = FluidBalance.Of(Log(new InventedIrrigation(1).Entries().GetEnumerator(), length).Log, BalanceSettings.Default);
        var held = GC.GetTotalMemory(forceFullCollection: true) - before;
        GC.KeepAlive(balance);
        output.WriteLine($"| {length:N0} | {held / 1e6:0.0} MB | {held / length:N0} bytes |");
    }

    private static void FromNothing(TextWriter output, int length)
    {
        var log = Log(new InventedIrrigation(1).Entries().GetEnumerator(), length).Log;
        var (first, samples) = (new Samples(), new Samples());
        var allocated = GC.GetTotalAllocatedBytes(precise: true);
        var runs = Math.Clamp(500_000 / length, 6, 200);
        for (var i = 0; i < runs; i++)
        {
            var started = Stopwatch.GetTimestamp();
            FluidBalance.Of(log, BalanceSettings.Default);
            (i == 0 ? first : samples).Since(started);
        }

        allocated = (GC.GetTotalAllocatedBytes(precise: true) - allocated) / runs;
        var times = $"{Samples.Shown(first.Median)} | {Samples.Shown(samples.Median)} | {Samples.Shown(samples.P95)}";
        output.WriteLine($"| {length:N0} | {times} | {allocated / 1024.0:N0} KiB |");
    }

    private static (EpisodeLog Log, Instant End) Log(IEnumerator<ChartedEntry> entries, int length)
    {
        var frame = new EpisodeFrame(InventedIrrigation.Start, null, DateTimeZoneProviders.Tzdb["Europe/Vienna"], [new(7, 0), new(19, 0)]);
        var log = EpisodeLog.Empty(frame);
        var end = frame.Start;
        for (var i = 0; i < length && entries.MoveNext(); i++)
        {
            end = entries.Current.At;
            log = log.Append([Read(entries.Current)], end + Duration.FromMinutes(2)).Log;
        }

        return (log, end);
    }

    private static Entry Read(ChartedEntry charted)
    {
        using var json = JsonDocument.Parse(charted.Json);
        return EntryReader.Read(json.RootElement, "entry", [])?.Entry
            ?? throw new InvalidOperationException("an invented entry that the service would refuse");
    }
}
