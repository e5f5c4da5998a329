using System.Diagnostics;
using IrrigationFhir.Demo;
using NodaTime;

namespace IrrigationFhir.Benchmarks;

/// <summary>
/// What the running service takes: to start, for one entry, for a batch, and as an episode grows. Validation on, SQLite on disk.
/// </summary>
internal static class ServiceCosts
{
    private const int BatchSize = 500;
    private const int Cold = 50;
    private const int WarmUp = 1500;
    private const int SinglePosts = 2000;
    private const int Batches = 8;
    private const int Turns = 3;
    private const int PostsInTurns = 640;
    private const int BatchesInTurns = 6;
    private const int PostsAtLength = 200;
    private static readonly int[] Lengths = [100, 10_000, 100_000];
    private static readonly TimeSpan Longest = TimeSpan.FromSeconds(30);
    private static readonly TimeSpan RehearsalTakes = TimeSpan.FromSeconds(6);

    private static int seed = 1000;
    private static Instant now = InventedIrrigation.Start;

    /// <summary>Measures, and writes Markdown tables.</summary>
    public static async Task Measure(TextWriter output)
    {
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        try
        {
            await Throughput(output, Path.Combine(folder, "load"));
            await EpisodeLength(output, Path.Combine(folder, "length"));
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    /// <summary>Measures what an entry costs, and leaves the store where <c>BENCHMARK_STORE</c> names a folder for it.</summary>
    public static async Task MeasureLoad(TextWriter output)
    {
        var kept = Environment.GetEnvironmentVariable("BENCHMARK_STORE");
        var folder = kept ?? Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        try
        {
            await Throughput(output, folder);
        }
        finally
        {
            if (kept is null)
                Directory.Delete(folder, recursive: true);
        }
    }

    /// <summary>Measures this build and another in turns: what an entry costs, and a start. Says how busy the machine was.</summary>
    /// <param name="output">Where the table goes.</param>
    /// <param name="other">The folder of the other build of these benchmarks.</param>
    public static async Task MeasureInTurns(TextWriter output, string other)
    {
        output.WriteLine(
            "| build | load | new store | processor | old store | processor | ready | 1 client, processor | allocated | written | /s "
                + "| 8 clients, processor | allocated | /s | 32 clients, processor | /s | batch of 500, processor | /s | memory |\n"
                + "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|"
        );
        for (var turn = 0; turn < Turns; turn++)
        {
            foreach (var (name, build) in new[] { ("other", other), ("this", AppContext.BaseDirectory) })
                output.WriteLine($"| {name} | {Machine.Busy()} | {string.Join(" | ", await Turn(build))} |");
        }
    }

    private static async Task<IReadOnlyList<string>> Turn(string build)
    {
        (seed, now) = (1000, InventedIrrigation.Start);
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        try
        {
            var told = new List<string>();
            await using (var first = await RunningService.Start(build, folder, recorded: true))
                told.AddRange([Samples.Shown(first.ReadyAfter), Samples.Shown(first.Processor)]);
            await using var service = await RunningService.Start(build, folder, recorded: true);
            told.AddRange([Samples.Shown(service.ReadyAfter), Samples.Shown(service.Processor)]);
            await Task.Delay(RehearsalTakes);
            told.Add($"{service.Megabytes:0} MB");
            await Load(service, clients: 4, WarmUp, each: 1);
            var one = await Load(service, clients: 1, PostsInTurns, each: 1);
            var (eight, many) = (
                await Load(service, clients: 8, PostsInTurns, each: 1),
                await Load(service, clients: 32, PostsInTurns, each: 1)
            );
            await Load(service, clients: 1, posts: 1, BatchSize);
            var batches = await Load(service, clients: 1, BatchesInTurns, BatchSize);
            return
            [
                .. told,
                one.Processor,
                one.Allocated,
                one.Written,
                one.Rate,
                eight.Processor,
                eight.Allocated,
                eight.Rate,
                many.Processor,
                many.Rate,
                batches.Processor,
                batches.Rate,
                $"{service.Megabytes:0} MB",
            ];
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static async Task Throughput(TextWriter output, string folder)
    {
        Directory.CreateDirectory(folder);
        await using (var first = await RunningService.Start(folder))
        {
            output.WriteLine($"\n## Start\n\n| | |\n| --- | ---: |\n| ready after, on a new store | {Samples.Shown(first.ReadyAfter)} |");
        }

        await using var service = await RunningService.Start(folder);
        output.WriteLine($"| ready after, on an existing store | {Samples.Shown(service.ReadyAfter)} |");
        output.WriteLine($"| working set when ready | {service.Megabytes:0} MB |");

        var cold = await Load(service, clients: 1, posts: Cold, each: 1);
        await Load(service, clients: 4, posts: WarmUp, each: 1);
        await Load(service, clients: 1, posts: 1, BatchSize);
        output.WriteLine($"| working set after warm-up | {service.Megabytes:0} MB |");

        output.WriteLine(
            "\n## Load: entries two minutes after they were charted\n\nFor each entry: processor time, allocated, written to disk, "
                + "rows and size of the database.\n\n"
                + "| what | entries | entries/s | median | p95 | processor | allocated | written | rows | database |\n"
                + "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |"
        );
        Row(output, $"single POSTs, 1 client, the first {Cold} after the start", cold);
        Measured? alone = null;
        foreach (var clients in new[] { 1, 8, 32 })
        {
            var load = await Load(service, clients, SinglePosts, each: 1);
            Row(output, $"single POSTs, {Of(clients)}", load);
            alone ??= load;
        }

        Row(output, "single POSTs, 8 clients, sparse charting", await Load(service, clients: 8, SinglePosts, each: 1, sparse: true));
        foreach (var clients in new[] { 1, 4 })
            Row(output, $"batches of {BatchSize}, {Of(clients)}", await Load(service, clients, Batches, BatchSize));

        output.WriteLine("\nWhat a POST of the one client waited for, in the mean: " + string.Join(", ", Steps(alone!)) + ".");
        output.WriteLine($"\nWorking set after the load: {service.Megabytes:0} MB.");
    }

    private static async Task EpisodeLength(TextWriter output, string folder)
    {
        Directory.CreateDirectory(folder);
        output.WriteLine(
            "\n## Length of the episode\n\n"
                + "| entries in the episode | single POST, median | p95 "
                + "| first POST after a restart (reads the whole log) | working set then | database |\n"
                + "| ---: | ---: | ---: | ---: | ---: | ---: |"
        );
        var ward = new InventedIrrigation(1);
        using var entries = ward.Entries().GetEnumerator();
        var recorded = 0;
        foreach (var length in Lengths)
        {
            var samples = new Samples();
            string episode;
            await using (var service = await RunningService.Start(folder))
            {
                episode = await service.Open(ward);
                while (recorded < length)
                {
                    var batch = Next(entries, Math.Min(BatchSize, length - recorded));
                    await service.Record(episode, batch);
                    recorded += batch.Count;
                }

                for (var i = 0; i < PostsAtLength; i++)
                {
                    var entry = Next(entries, 1)[0];
                    var started = Stopwatch.GetTimestamp();
                    await service.Record(episode, entry);
                    samples.Since(started);
                    recorded++;
                }
            }

            await using var restarted = await RunningService.Start(folder);
            var again = new Samples();
            var restartedAt = Stopwatch.GetTimestamp();
            await restarted.Record(episode, Next(entries, 1)[0]);
            again.Since(restartedAt);
            recorded++;
            var size = new DirectoryInfo(folder).EnumerateFiles("*.db").Sum(file => file.Length) / 1e6;
            var times = $"{Samples.Shown(samples.Median)} | {Samples.Shown(samples.P95)} | {Samples.Shown(again.Median)}";
            output.WriteLine($"| {length:N0} | {times} | {restarted.Megabytes:0} MB | {size:0} MB |");
        }
    }

    /// <summary>Clients that post one after another, each to an episode of its own, until their share is done or the time is up.</summary>
    private static async Task<Measured> Load(RunningService service, int clients, int posts, int each, bool sparse = false)
    {
        var wards = Enumerable.Range(0, clients).Select(_ => new InventedIrrigation(seed++, now, sparse)).ToList();
        var episodes = await Task.WhenAll(wards.Select(service.Open));
        var latest = new Instant[clients];
        var pace = new Pace(clients, now);
        var before = await Counters.Of(service);
        var started = Stopwatch.GetTimestamp();
        var all = await Task.WhenAll(
            Enumerable
                .Range(0, clients)
                .Select(client =>
                    Task.Run(async () =>
                    {
                        try
                        {
                            var samples = new Samples();
                            using var entries = wards[client].Entries().GetEnumerator();
                            while (samples.Count < posts / clients && Stopwatch.GetElapsedTime(started) < Longest)
                            {
                                var next = Next(entries, each);
                                if (each == 1)
                                    await pace.Until(client, next[0].At);
                                var sent = Stopwatch.GetTimestamp();
                                await (each == 1 ? service.Record(episodes[client], next[0]) : service.Record(episodes[client], next));
                                samples.Since(sent);
                                latest[client] = next[^1].At;
                            }

                            return samples;
                        }
                        finally
                        {
                            pace.End(client);
                        }
                    })
                )
        );
        var (time, after) = (Stopwatch.GetElapsedTime(started), await Counters.Of(service));
        now = latest.Append(now).Max() + Duration.FromHours(1);
        var together = new Samples();
        foreach (var samples in all)
            together.Add(samples);
        return new(together.Count * each, time, together, before, after);
    }

    private static List<ChartedEntry> Next(IEnumerator<ChartedEntry> entries, int count)
    {
        var next = new List<ChartedEntry>(count);
        while (next.Count < count && entries.MoveNext())
            next.Add(entries.Current);
        return next;
    }

    private static string Of(int clients) => $"{clients} client{(clients == 1 ? "" : "s")}";

    private static void Row(TextWriter output, string what, Measured load)
    {
        var (before, after, entries) = (load.Before, load.After, load.Entries);
        var count = $"{entries:N0} | {load.Rate}";
        var times = $"{Samples.Shown(load.Samples.Median)} | {Samples.Shown(load.Samples.P95)}";
        var database = $"{(double)(after.Rows - before.Rows) / entries:0.0} | {(after.Database - before.Database) / 1e3 / entries:0} kB";
        output.WriteLine($"| {what} | {count} | {times} | {load.Processor} | {load.Allocated} | {load.Written} | {database} |");
    }

    private static IEnumerable<string> Steps(Measured load) =>
        from step in load.After.Steps
        let took = step.Value - load.Before.Steps.GetValueOrDefault(step.Key)
        where took > TimeSpan.Zero
        orderby took descending
        select $"{step.Key} {Samples.Shown(took / load.Entries)}";

    private sealed record Measured(int Entries, TimeSpan Time, Samples Samples, Counters Before, Counters After)
    {
        public string Rate => $"{Entries / Time.TotalSeconds:0}";
        public string Processor => Samples.Shown((After.Processor - Before.Processor) / Entries);
        public string Allocated => $"{(After.Allocated - Before.Allocated) / 1e6 / Entries:0.0} MB";
        public string Written => $"{(After.Written - Before.Written) / 1e3 / Entries:0} kB";
    }

    private sealed record Counters(
        TimeSpan Processor,
        long Allocated,
        long Written,
        long Rows,
        long Database,
        IReadOnlyDictionary<string, TimeSpan> Steps
    )
    {
        public static async Task<Counters> Of(RunningService service) =>
            new(
                service.Processor,
                await service.Allocated(),
                service.BytesWritten,
                LiveService.Rows(service.Folder),
                new DirectoryInfo(service.Folder).EnumerateFiles("*.db").Sum(file => file.Length),
                await service.StepsTaken()
            );
    }
}
