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
    private const int Stays = 40;

    /// <summary>Measures, and writes a Markdown table.</summary>
    public static async Task Measure(TextWriter output)
    {
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        try
        {
            await using (var filling = await RunningService.Start(folder))
                await Fill(filling);
            var scan = new ResourceScan(() => Dialect.OpenForReading(folder));
            var views = new DomainViews(new Profiles(Profiles.DefaultCanonicalBase));
            var observations = await scan.Count("Observation", CancellationToken.None);
            output.WriteLine(
                $"\n## Reading out a store with {observations:N0} Observations\n\n"
                    + "| what | resources/s | rows/s | allocated a resource | largest heap |\n| --- | ---: | ---: | ---: | ---: |"
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

    private static async Task Fill(RunningService service)
    {
        var begin = SystemClock.Instance.GetCurrentInstant() - Duration.FromDays(3);
        for (var n = 0; n < Stays; n++)
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
        var (best, made, allocated, heap) = (TimeSpan.MaxValue, (Resources: 0L, Rows: 0L), 0L, 0L);
        for (var i = 0; i < 3; i++)
        {
            GC.Collect();
            var before = GC.GetTotalAllocatedBytes();
            var watch = Stopwatch.StartNew();
            using var watched = new Timer(_ => heap = Math.Max(heap, GC.GetTotalMemory(false)), null, 0, 20);
            made = await work();
            best = watch.Elapsed < best ? watch.Elapsed : best;
            allocated = GC.GetTotalAllocatedBytes() - before;
        }

        output.WriteLine(
            $"| {what} | {made.Resources / best.TotalSeconds:N0} | {(made.Rows == 0 ? "" : $"{made.Rows / best.TotalSeconds:N0}")} | "
                + $"{allocated / 1000.0 / Math.Max(1, made.Resources):N1} kB | {heap / 1e6:N0} MB |"
        );
    }

    private sealed class Counted : IProgress<ExportProgress>
    {
        private readonly Dictionary<string, long> _done = [];

        public long Resources => _done.Values.Sum();

        public void Report(ExportProgress value) => _done[value.Type] = value.Done;
    }
}
