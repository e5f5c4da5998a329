using System.Diagnostics;
using System.Globalization;
using System.Text.Json.Nodes;
using IrrigationFhir.Record;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Demo;

/// <summary>
/// <c>demo --ward N</c>: fills a store with an invented ward, lived through hour by hour over real HTTP, so that searches, exports and
/// questions can be tried on something that looks like a hospital. The same N and seed give the same ward, but for the ids that the
/// service hands out.
/// </summary>
internal static class FilledWard
{
    private const string Usage = "usage: IrrigationFhir demo --ward N [--seed S] [--Data:Folder=FOLDER] [settings]";

    /// <summary>Where it goes unless told otherwise: never where a service keeps what is charted.</summary>
    private const string DefaultFolder = "invented-ward";

    private const int DefaultSeed = 7;
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(60);

    /// <summary>Options of this command that a value follows.</summary>
    public static string[] Options { get; } = ["--ward", "--seed"];

    /// <summary>Whether this is meant, and not the story.</summary>
    public static bool IsMeant(string[] args) => args.Any(arg => Options.Contains(arg.Split('=')[0]));

    /// <summary>Runs it.</summary>
    /// <param name="args">The options, then settings.</param>
    /// <param name="output">Gets what was made, and what to do next.</param>
    /// <param name="errors">Gets the progress on a terminal, and what hindered it.</param>
    public static async Task<int> Run(string[] args, TextWriter output, TextWriter errors)
    {
        var (asked, fault) = Asked.Read(args);
        if (asked is null)
        {
            await errors.WriteLineAsync($"{fault}\n{Usage}");
            return 2;
        }

        if (Path.Exists(asked.Folder) && (File.Exists(asked.Folder) || Directory.EnumerateFileSystemEntries(asked.Folder).Any()))
        {
            await errors.WriteLineAsync($"{asked.Folder} is not empty: an invented ward gets a folder of its own, --Data:Folder names it");
            return 2;
        }

        using var interrupted = new CancellationTokenSource();
        void Interrupt(object? sender, ConsoleCancelEventArgs pressed) => (pressed.Cancel, _) = (true, interrupted.CancelAsync());
        Console.CancelKeyPress += Interrupt;
        try
        {
            await Fill(asked, output, Console.IsErrorRedirected ? null : errors, interrupted.Token);
            return 0;
        }
        catch (OperationCanceledException) when (interrupted.IsCancellationRequested)
        {
            await errors.WriteLineAsync($"\ninterrupted: {asked.Folder} holds a part of the ward; remove it before the next attempt");
            return 1;
        }
        finally
        {
            Console.CancelKeyPress -= Interrupt;
        }
    }

    private static async Task Fill(Asked asked, TextWriter output, TextWriter? terminal, CancellationToken stop)
    {
        var watch = Stopwatch.StartNew();
        var stays = new InventedWard(asked.Stays, asked.Seed).Stays();
        var clock = new WardClock();
        string[] own = ["--urls", "http://127.0.0.1:0", "--Data:Folder", asked.Folder, "--Logging:LogLevel:Default", "Warning"];
        var app = Service.Build([.. asked.Settings, .. own], clock);
        try
        {
            using var beginning = stays.GetEnumerator();
            beginning.MoveNext();
            clock.Put(beginning.Current.Begin);
            await app.StartAsync(stop);
            using var http = new HttpClient { BaseAddress = new Uri(app.Urls.First()) };
            await UntilReady(http, stop);

            var life = new Life(new WardClient(http), app.Services.GetRequiredService<WatchEpisodes>(), clock, new(asked.Seed));
            await life.Live(beginning, asked.Stays, terminal, watch, stop);
            await Show(asked, life, new WardClient(http), watch, output, stop);
        }
        finally
        {
            await app.DisposeAsync();
        }
    }

    private static async Task UntilReady(HttpClient http, CancellationToken stop)
    {
        using var patience = CancellationTokenSource.CreateLinkedTokenSource(stop);
        patience.CancelAfter(Patience);
        while (!(await http.GetAsync(new Uri("/health/ready", UriKind.Relative), patience.Token)).IsSuccessStatusCode)
            await Task.Delay(50, patience.Token);
    }

    private static async Task Show(Asked asked, Life life, WardClient ward, Stopwatch watch, TextWriter output, CancellationToken stop)
    {
        var held = new List<string>();
        foreach (var type in new[] { "Observation", "Procedure", "Flag", "Provenance" })
        {
            var count = (int)(await ward.Get($"/fhir/{type}?_summary=count", stop))["total"]!;
            held.Add(Invariant($"{count:N0} {type}s"));
        }

        var (first, last) = (life.First.InUtc().Date, life.Last.InUtc().Date);
        await output.WriteLineAsync(
            $"""
            {Invariant(
                $"{asked.Stays:N0} invented irrigations, {first:d MMMM uuuu} to {last:d MMMM uuuu}, all of them over; seed {asked.Seed}"
            )}
            {Invariant(
                $"{life.Entries:N0} entries were charted, {life.Seen:N0} flags seen by somebody; it took {watch.Elapsed.TotalSeconds:0} s"
            )}
            {asked.Folder} holds {string.Join(", ", held)}.
            Nobody and nothing in it exists; every name says so. Keep it apart from what is charted.

            What to do next
              IrrigationFhir --Data:Folder={asked.Folder}                 serves it: http://localhost:5000 says what there is
              IrrigationFhir export tables --Data:Folder={asked.Folder}   writes it as tables, for any tool
              fhir-examples/analytics                   has ten questions to ask them, with DuckDB, and what the answers look like
            """
        );
    }

    private static string Invariant(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);

    /// <summary>What is asked for.</summary>
    private sealed record Asked(int Stays, int Seed, string Folder, string[] Settings)
    {
        public static (Asked?, string? Fault) Read(string[] args)
        {
            var (own, settings) = (new Dictionary<string, string>(), new List<string>());
            for (var i = 0; i < args.Length; i++)
            {
                var (name, value) = args[i].IndexOf('=', StringComparison.Ordinal) is > 0 and var at
                    ? (args[i][..at], args[i][(at + 1)..])
                    : (args[i], null);
                if (name is "--once" or "--story" or "--urls")
                    return (null, $"{name}: goes with the story, not with --ward");
                if (name is not ("--ward" or "--seed" or "--Data:Folder"))
                {
                    settings.Add(args[i]);
                    continue;
                }

                if (
                    value is null
                    && args.ElementAtOrDefault(i + 1) is { } following
                    && !following.StartsWith("--", StringComparison.Ordinal)
                )
                    (value, i) = (following, i + 1);
                if (!own.TryAdd(name, value ?? ""))
                    return (null, $"{name}: said twice");
            }

            if (!own.TryGetValue("--ward", out var stays))
                return (null, "--seed: goes with --ward");
            if (!int.TryParse(stays, NumberStyles.None, CultureInfo.InvariantCulture, out var count) || count is 0 or > InventedWard.Most)
                return (null, Invariant($"--ward: '{stays}'; how many irrigations is expected, 1 to {InventedWard.Most:N0}"));
            var seed = DefaultSeed;
            if (own.TryGetValue("--seed", out var given) && !int.TryParse(given, NumberStyles.None, CultureInfo.InvariantCulture, out seed))
                return (null, $"--seed: '{given}'; a whole number is expected");
            var folder = own.GetValueOrDefault("--Data:Folder", DefaultFolder);
            return folder.Length == 0
                ? (null, "--Data:Folder: a value is expected, as --Data:Folder=value")
                : (new(count, seed, folder, [.. settings]), null);
        }
    }

    /// <summary>The ward's life: everything in the order in which it reaches the service, at the time at which it does.</summary>
    private sealed class Life(WardClient ward, WatchEpisodes watch, WardClock clock, Random random)
    {
        private static readonly Duration LookEvery = Duration.FromHours(1);
        private readonly PriorityQueue<Bed, (Instant At, int Number)> _beds = new();
        private Instant _looked;

        public Instant First { get; private set; }

        public Instant Last { get; private set; }

        public int Entries { get; private set; }

        public int Seen { get; private set; }

        public async Task Live(
            IEnumerator<InventedStay> beginning,
            int stays,
            TextWriter? terminal,
            Stopwatch since,
            CancellationToken stop
        )
        {
            (First, _looked) = (beginning.Current.Begin, beginning.Current.Begin);
            var (more, begun, shown) = (true, 0, TimeSpan.Zero);
            while (true)
            {
                // Who comes next: somebody new, or somebody who is there.
                while (more && (_beds.Count == 0 || beginning.Current.Begin <= _beds.Peek().Next.At))
                {
                    var bed = new Bed(beginning.Current);
                    _beds.Enqueue(bed, bed.Next);
                    (more, begun) = (beginning.MoveNext(), begun + 1);
                }

                if (!_beds.TryDequeue(out var next, out var due))
                    break;
                if (_beds.Count == 0 && next.Id is null)
                    _looked = due.At; // nobody was there
                for (; _looked + LookEvery <= due.At; _looked += LookEvery)
                {
                    clock.Put(_looked + LookEvery);
                    await watch.Look(stop); // what silence raises
                }

                clock.Put(due.At);
                Last = due.At;
                await Arrive(next, due.At, stop);
                if (!next.IsOver)
                    _beds.Enqueue(next, next.Next);
                if (terminal is not null && since.Elapsed > shown)
                {
                    shown = since.Elapsed + TimeSpan.FromMilliseconds(200);
                    var line = Invariant($"{due.At.InUtc().Date:d MMMM}: {begun:N0} of {stays:N0} have begun, {Entries:N0} entries");
                    await terminal.WriteAsync($"\r{line, -70}");
                }
            }

            if (terminal is not null)
                await terminal.WriteLineAsync();
        }

        private async Task Arrive(Bed bed, Instant now, CancellationToken stop)
        {
            if (bed.Look == now)
            {
                bed.Look = null;
                await See(bed, now, stop);
                return;
            }

            var arrival = bed.Take();
            if (arrival.Episode is { } episode)
            {
                bed.Id = await ward.OpenEpisode(episode, stop);
                return;
            }

            await ward.Record(bed.Id!, arrival.Entries!, stop);
            Entries += arrival.Entries!.Count;
            if (bed.Look is null && random.Next(3) == 0)
                bed.Look = now + Duration.FromMinutes(random.Next(2, 30));
        }

        /// <summary>Somebody looks at the flags, and says of those that press that they were seen.</summary>
        private async Task See(Bed bed, Instant now, CancellationToken stop)
        {
            var flags = await ward.Get($"/episodes/{bed.Id}/flags", stop);
            var seen = flags["standing"]!
                .AsArray()
                .Where(flag => (string)flag!["priority"]! is not "low" && flag["acknowledged"] is null)
                .Select(flag =>
                    (JsonNode)
                        new JsonObject
                        {
                            ["source"] = "ward-7",
                            ["id"] = $"seen-{bed.Seen++}",
                            ["kind"] = "flag-acknowledged",
                            ["at"] = InstantPattern.General.Format(now),
                            ["performer"] = "N-31 (invented)",
                            ["flag"] = (string)flag!["flag"]!,
                        }
                )
                .ToArray();
            if (seen.Length == 0)
                return;
            await ward.Record(bed.Id!, [.. seen], stop);
            (Entries, Seen) = (Entries + seen.Length, Seen + seen.Length);
        }
    }

    /// <summary>A stay on its way through the ward.</summary>
    private sealed class Bed(InventedStay stay)
    {
        private int _next;

        public string? Id { get; set; }

        /// <summary>When somebody looks at its flags.</summary>
        public Instant? Look { get; set; }

        public int Seen { get; set; }

        public bool IsOver => _next == stay.Arrivals.Count;

        public (Instant At, int Number) Next =>
            (Look is { } look && look < stay.Arrivals[_next].At ? look : stay.Arrivals[_next].At, stay.Number);

        public Arrival Take() => stay.Arrivals[_next++];
    }

    /// <summary>A clock that stands where it was put, so that a ward has the same times each time.</summary>
    private sealed class WardClock : TimeProvider
    {
        private long ticks;

        public void Put(Instant at) => Volatile.Write(ref ticks, at.ToUnixTimeTicks());

        public override DateTimeOffset GetUtcNow() => Instant.FromUnixTimeTicks(Volatile.Read(ref ticks)).ToDateTimeOffset();
    }
}
