using System.Diagnostics;
using IrrigationFhir.Analytics;
using IrrigationFhir.Demo;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using NodaTime;

namespace IrrigationFhir.Benchmarks;

/// <summary>What it costs to read a store out: resources to ndjson, all tables, rows of one to each format; and the memory.</summary>
internal static class ExportCosts
{
    private static readonly int[] Stays = [40, 160];

    /// <summary>Measures stores of two sizes, so that what grows with the store is seen, and writes Markdown tables.</summary>
    public static async Task Measure(TextWriter output)
    {
        foreach (var stays in Stays)
            await Measure(output, stays);
        await WritersMeanwhile(output);
    }

    private static async Task Measure(TextWriter output, int stays)
    {
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        try
        {
            await using (var filling = await RunningService.Start(folder))
                await Fill(filling, stays);
            var scan = new ResourceScan(() => Dialect.OpenForReading(folder));
            var views = new DomainViews(new Profiles(Profiles.DefaultCanonicalBase));
            var observations = await scan.Count("Observation", CancellationToken.None);
            output.WriteLine(
                $"\n## Reading out a store with {observations:N0} Observations\n\n"
                    + "| what | resources/s | rows/s | processor a resource | a row | allocated a resource | largest heap |\n"
                    + "| --- | ---: | ---: | ---: | ---: | ---: | ---: |"
            );
            await Read(output, scan);
            foreach (var format in new[] { "fhir", "parquet", "csv", "ndjson" })
                await Export(output, scan, views, format);
            foreach (var format in Enum.GetValues<TableFormat>())
                await Run(output, scan, views.Find("corrected_output")!.View, format);
        }
        finally
        {
            Dialect.ReleasePool(folder);
            Directory.Delete(folder, recursive: true);
        }
    }

    private static async Task Fill(RunningService service, int stays)
    {
        var begin = SystemClock.Instance.GetCurrentInstant() - Duration.FromDays(3);
        for (var n = 0; n < stays; n++)
        {
            var ward = new InventedIrrigation(n, begin);
            var id = await service.Open(ward);
            await service.Record(id, [.. ward.Entries().Take(110)]);
        }
    }

    private static Task Read(TextWriter output, ResourceScan scan) =>
        Timed(
            output,
            "reading Observations, and nothing else",
            async () =>
            {
                var read = 0L;
                var fence = await scan.Fence(CancellationToken.None);
                await foreach (var page in scan.Read(new("Observation", fence), CancellationToken.None))
                    read += page.Resources.Count;
                return (read, 0);
            }
        );

    private static Task Export(TextWriter output, ResourceScan scan, DomainViews views, string format) =>
        Timed(
            output,
            format == "fhir" ? "everything as FHIR ndjson" : $"all {views.All.Count} tables as {format}",
            async () =>
            {
                var folder = Directory.CreateTempSubdirectory("irrigationfhir-export-").FullName;
                try
                {
                    var counted = new Counted();
                    var manifest = await new ExportFolder(scan, views, folder).Run(
                        new(format, null, false),
                        counted,
                        CancellationToken.None
                    );
                    return (counted.Resources, manifest.Files.Sum(file => file.Rows));
                }
                finally
                {
                    Directory.Delete(folder, recursive: true);
                }
            }
        );

    private static Task Run(TextWriter output, ResourceScan scan, ViewDefinition view, TableFormat format) =>
        Timed(
            output,
            $"`{view.Name}` alone as {format.ToString().ToLowerInvariant()}",
            async () =>
            {
                var file = Path.GetTempFileName();
                try
                {
                    await using var stream = new FileStream(file, FileMode.Create, FileAccess.ReadWrite);
                    await using var table = TableWriter.Of(TableColumn.Of(view), stream, new(format));
                    var (engine, read) = (new PassEngine(view), 0L);
                    await foreach (
                        var page in scan.Read(new("Observation", await scan.Fence(CancellationToken.None)), CancellationToken.None)
                    )
                    {
                        foreach (var resource in page.Resources)
                            engine.Rows(resource.Json, row => table.Add(row));
                        read += page.Resources.Count;
                        await table.Flush(CancellationToken.None);
                    }

                    await table.Finish(CancellationToken.None);
                    return (read, table.Rows);
                }
                finally
                {
                    File.Delete(file);
                }
            }
        );

    /// <summary>The best of three: others' work on the machine only ever slows it down.</summary>
    private static async Task Timed(TextWriter output, string what, Func<Task<(long Resources, long Rows)>> work)
    {
        var (best, used, made, allocated, heap) = (TimeSpan.MaxValue, TimeSpan.MaxValue, (Resources: 0L, Rows: 0L), 0L, 0L);
        for (var i = 0; i < 3; i++)
        {
            GC.Collect();
            var (before, processor) = (GC.GetTotalAllocatedBytes(), Used());
            var watch = Stopwatch.StartNew();
            using var watched = new Timer(_ => heap = Math.Max(heap, GC.GetTotalMemory(false)), null, 0, 20);
            made = await work();
            best = watch.Elapsed < best ? watch.Elapsed : best;
            used = Used() - processor is var spent && spent < used ? spent : used;
            allocated = GC.GetTotalAllocatedBytes() - before;
        }

        var rows = made.Rows == 0 ? " | " : $"{made.Rows / best.TotalSeconds:N0} | {used.TotalMicroseconds / made.Rows:N0} µs";
        var (rate, each) = (rows.Split(" | ")[0], rows.Split(" | ")[1]);
        output.WriteLine(
            $"| {what} | {made.Resources / best.TotalSeconds:N0} | {rate} | "
                + $"{used.TotalMicroseconds / Math.Max(1, made.Resources):N0} µs | "
                + $"{each} | {allocated / 1000.0 / Math.Max(1, made.Resources):N1} kB | {heap / 1e6:N0} MB |"
        );
    }

    /// <summary>
    /// What a single POST waits while a store is exported, and while it is not, in turns: others' work on the machine meets both.
    /// </summary>
    private static async Task WritersMeanwhile(TextWriter output)
    {
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        try
        {
            await using var service = await RunningService.Start(folder);
            await Fill(service, Stays[^1]);
            var ward = new InventedIrrigation(5_000, SystemClock.Instance.GetCurrentInstant() - Duration.FromDays(3));
            var (id, entries) = (await service.Open(ward), ward.Entries().GetEnumerator());
            var waits = new[] { new List<double>(), new List<double>() };
            await Post(60, []); // warms it up
            for (var turn = 0; turn < 8; turn++)
            {
                using var stop = new CancellationTokenSource();
                var exporting = turn % 2 == 0 ? Task.CompletedTask : Task.Run(() => Export(stop.Token));
                await Post(40, waits[turn % 2]);
                await stop.CancelAsync();
                await exporting;
            }

            output.WriteLine("\n| a single POST, one client | median | p95 |\n| --- | ---: | ---: |");
            foreach (var (what, waited) in new[] { "alone", "while all tables are exported as Parquet, again and again" }.Zip(waits))
            {
                waited.Sort();
                output.WriteLine($"| {what} | {waited[waited.Count / 2]:N1} ms | {waited[waited.Count * 95 / 100]:N1} ms |");
            }

            async Task Post(int count, List<double> waited)
            {
                for (var i = 0; i < count && entries.MoveNext(); i++)
                {
                    var watch = Stopwatch.StartNew();
                    await service.Record(id, entries.Current);
                    waited.Add(watch.Elapsed.TotalMilliseconds);
                }
            }

            async Task Export(CancellationToken until)
            {
                while (!until.IsCancellationRequested)
                {
                    // The command as a site calls it, in a process of its own.
                    var to = Directory.CreateTempSubdirectory("irrigationfhir-export-").FullName;
                    var program = Path.Combine(AppContext.BaseDirectory, "IrrigationFhir.dll");
                    using var process = Process.Start(
                        new ProcessStartInfo("dotnet", [program, "export", to, "--format", "parquet", "--Data:Folder", folder])
                        {
                            RedirectStandardOutput = true,
                        }
                    )!;
                    try
                    {
                        await process.WaitForExitAsync(until);
                        if (process.ExitCode != 0)
                            throw new InvalidOperationException("the export failed");
                    }
                    catch (OperationCanceledException)
                    {
                        process.Kill();
                        await process.WaitForExitAsync(CancellationToken.None);
                    }
                    finally
                    {
                        Directory.Delete(to, recursive: true);
                    }
                }
            }
        }
        finally
        {
            Dialect.ReleasePool(folder);
            Directory.Delete(folder, recursive: true);
        }
    }

    private static TimeSpan Used()
    {
        using var process = Process.GetCurrentProcess();
        return process.TotalProcessorTime;
    }

    private sealed class Counted : IProgress<ExportProgress>
    {
        private readonly Dictionary<string, long> _done = [];

        public long Resources => _done.Values.Sum();

        public void Report(ExportProgress value) => _done[value.Type] = value.Done;
    }
}
