using System.Diagnostics;
using System.Text.Json;
using IrrigationFhir.Demo;
using NodaTime;

namespace IrrigationFhir.Benchmarks;

/// <summary>
/// What it costs to ask for tokens, and to record who read what: services side by side on stores of their own, in turns of short rounds.
/// </summary>
/// <remarks>
/// Processor time is that of the service's process, and a machine that does something else disturbs it less than it does requests a second.
/// Ratios are of two services in one round, which were disturbed alike. After each turn it is waited until what was read is stored: that
/// is part of what recording costs.
/// </remarks>
internal static class AccessCosts
{
    private const int Patients = 8;
    private const int EntriesBefore = 60;
    private const int Clients = 4;
    private static readonly Duration UntilStored = Duration.FromMilliseconds(1300);

    private static readonly (string What, int Times)[] Kinds = [("reads", 480), ("searches", 240), ("single POSTs", 96)];

    /// <summary>Measures, and writes Markdown tables.</summary>
    public static async Task Measure(TextWriter output)
    {
        var rounds = int.TryParse(Environment.GetEnvironmentVariable("BENCHMARK_ROUNDS"), out var asked) ? asked : 15;
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        try
        {
            await using var open = await Side.Start(Path.Combine(folder, "open"), withTokens: false, recorded: true);
            await using var tokens = await Side.Start(Path.Combine(folder, "tokens"), withTokens: true, recorded: true);
            await using var unrecorded = await Side.Start(Path.Combine(folder, "unrecorded"), withTokens: false, recorded: false);
            Side[] sides = [open, tokens, unrecorded];
            foreach (var side in sides)
            {
                for (var i = 0; i < Math.Min(4, rounds); i++)
                    await side.Round(Kinds);
            }

            foreach (var side in sides)
                side.Measured.Clear();
            for (var round = 0; round < rounds; round++)
            {
                foreach (var side in round % 2 == 0 ? sides : sides.Reverse())
                    await side.Round(Kinds);
            }

            output.WriteLine(
                $"\n## Access: {rounds} rounds, {Clients} requests at once, in turns\n\nFor each request: processor time of the service. "
                    + "A ratio is the median of the rounds', with their quartiles; 100 % is an open service.\n\n"
                    + "| what | open | with tokens | processor, open by tokens | open | with tokens | requests/s, tokens by open |\n"
                    + "| --- | ---: | ---: | ---: | ---: | ---: | ---: |"
            );
            foreach (var (what, _) in Kinds)
            {
                var (a, b) = (open.Measured[what], tokens.Measured[what]);
                var spent = Share(a, b, (x, y) => x.Processor / y.Processor);
                var answered = Share(a, b, (x, y) => Rate(y) / Rate(x));
                output.WriteLine(
                    $"| {what} | {Median(a, Processor):0} µs | {Median(b, Processor):0} µs | {spent} "
                        + $"| {Median(a, Rate):0}/s | {Median(b, Rate):0}/s | {answered} |"
                );
            }

            output.WriteLine(
                "\n## What recording a read takes of it\n\nAn open service that records against one that does not, by a switch that no "
                    + "setting has.\n\n| what | not recorded | recorded | of it for recording |\n| --- | ---: | ---: | ---: |"
            );
            foreach (var (what, _) in Kinds.SkipLast(1))
            {
                var (a, c) = (open.Measured[what], unrecorded.Measured[what]);
                var share = Share(a, c, (x, y) => (x.Processor - y.Processor) / x.Processor);
                output.WriteLine($"| {what} | {Median(c, Processor):0} µs | {Median(a, Processor):0} µs | {share} |");
            }
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private readonly record struct Turn(TimeSpan Processor, TimeSpan Time, int Requests);

    private static double Processor(Turn turn) => turn.Processor.TotalMicroseconds / turn.Requests;

    private static double Rate(Turn turn) => turn.Requests / turn.Time.TotalSeconds;

    private static double Median(IEnumerable<Turn> turns, Func<Turn, double> of) => Quantile([.. turns.Select(of).Order()], 0.5);

    private static string Share(IEnumerable<Turn> one, IEnumerable<Turn> other, Func<Turn, Turn, double> of)
    {
        double[] shares = [.. one.Zip(other, of).Order()];
        return $"{Quantile(shares, 0.5):0.0 %} ({Quantile(shares, 0.25):0.0 %} to {Quantile(shares, 0.75):0.0 %})";
    }

    private static double Quantile(double[] sorted, double at)
    {
        var place = at * (sorted.Length - 1);
        var (low, part) = ((int)place, place - (int)place);
        return low + 1 < sorted.Length ? sorted[low] + (part * (sorted[low + 1] - sorted[low])) : sorted[low];
    }

    /// <summary>One of the services, with patients of its own.</summary>
    private sealed class Side : IAsyncDisposable
    {
        private readonly RunningService service;
        private readonly BenchmarkClient? client;
        private readonly List<(string Id, IEnumerator<ChartedEntry> Entries)> stays = [];
        private readonly List<string> reads = [];
        private readonly List<string> searches = [];
        private Instant latest = InventedIrrigation.Start;

        private Side(RunningService service, BenchmarkClient? client) => (this.service, this.client) = (service, client);

        public Dictionary<string, List<Turn>> Measured { get; } = [];

        public static async Task<Side> Start(string folder, bool withTokens, bool recorded)
        {
            Directory.CreateDirectory(folder);
            var client = withTokens ? new BenchmarkClient(folder) : null;
            var side = new Side(await RunningService.Start(AppContext.BaseDirectory, folder, recorded, client?.Settings ?? []), client);
            for (var i = 0; i < Patients; i++)
            {
                await side.Begin(); // what is charted puts the clock on, and tokens end
                var ward = new InventedIrrigation(i + 1);
                var stay = (Id: await side.service.Open(ward), Entries: ward.Entries().GetEnumerator());
                side.stays.Add(stay);
                await side.service.Record(stay.Id, side.Next(stay.Entries, EntriesBefore));
            }

            await side.Begin();
            var found = await side.service.Get("/fhir/Observation?_count=200");
            using var bundle = JsonDocument.Parse(found);
            foreach (var entry in bundle.RootElement.GetProperty("entry").EnumerateArray())
            {
                var resource = entry.GetProperty("resource");
                side.reads.Add($"/fhir/Observation/{resource.GetProperty("id").GetString()}");
                var patient = resource.GetProperty("subject").GetProperty("identifier");
                var token = Uri.EscapeDataString($"{patient.GetProperty("system").GetString()}|{patient.GetProperty("value").GetString()}");
                side.searches.Add($"/fhir/Observation?patient.identifier={token}&_count=20");
            }

            return side;
        }

        public async Task Round(IEnumerable<(string What, int Times)> kinds)
        {
            foreach (var (what, times) in kinds)
            {
                // What is to be charted is drawn first, so that the clock stands behind it and does not go on under a token.
                Func<int, Task> request = what switch
                {
                    "reads" => i => service.Get(reads[i % reads.Count]),
                    "searches" => i => service.Get(searches[i % searches.Count]),
                    _ => Post(times / Patients),
                };
                await Begin();
                if (!Measured.TryGetValue(what, out var turns))
                    Measured.Add(what, turns = []);
                turns.Add(await Take(request, times));
            }
        }

        public async ValueTask DisposeAsync()
        {
            await service.DisposeAsync();
            client?.Dispose();
            stays.ForEach(stay => stay.Entries.Dispose());
        }

        // The clock stands behind all that will be charted, the token is fresh, and known to the service.
        private async Task Begin()
        {
            await service.PutClock(latest);
            if (client is not null)
                service.Bearer = await client.Token(service);
            await service.Get("/fhir/Observation?_count=1");
        }

        // Those of one episode one after another: as many at once would wait for each other.
        private Func<int, Task> Post(int each)
        {
            var entries = stays.Select(stay => Next(stay.Entries, each)).ToList();
            var lanes = stays.Select(_ => new SemaphoreSlim(1)).ToList();
            var sent = new int[stays.Count];
            return async i =>
            {
                var stay = i % stays.Count;
                await lanes[stay].WaitAsync();
                try
                {
                    await service.RecordLate(stays[stay].Id, entries[stay][sent[stay]++]);
                }
                finally
                {
                    lanes[stay].Release();
                }
            };
        }

        private List<ChartedEntry> Next(IEnumerator<ChartedEntry> entries, int count)
        {
            var next = new List<ChartedEntry>(count);
            while (next.Count < count && entries.MoveNext())
                next.Add(entries.Current);
            latest = Instant.Max(latest, next[^1].At);
            return next;
        }

        private async Task<Turn> Take(Func<int, Task> request, int times)
        {
            var next = -1;
            var before = await service.ProcessorExactly();
            var started = Stopwatch.GetTimestamp();
            await Task.WhenAll(
                Enumerable
                    .Range(0, Clients)
                    .Select(async _ =>
                    {
                        for (var i = Interlocked.Increment(ref next); i < times; i = Interlocked.Increment(ref next))
                            await request(i);
                    })
            );
            var time = Stopwatch.GetElapsedTime(started);
            await Task.Delay(UntilStored.ToTimeSpan());
            return new(await service.ProcessorExactly() - before, time, times);
        }
    }
}
