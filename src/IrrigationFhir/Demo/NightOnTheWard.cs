using System.Diagnostics;
using System.Globalization;
using System.Text.Json;
using System.Text.Json.Nodes;
using IrrigationFhir.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Record;

namespace IrrigationFhir.Demo;

/// <summary>
/// <c>demo</c>: lives through an invented night of continuous irrigation, or with <c>--story day</c> a day of irrigations by syringe, over
/// real HTTP with a temporary store, prints the balance, the resources and what a subscriber received, and keeps serving; <c>--once</c>
/// ends it.
/// </summary>
internal static class NightOnTheWard
{
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(60);

    /// <summary>The code by which anybody would look for urine output.</summary>
    private static string UrineOutput => Codes.UrineOutput.Code!;

    /// <summary>Runs it.</summary>
    public static async Task<int> Run(string[] args, TextWriter output, TextWriter errors)
    {
        if (StoryOf(args) is not { } story)
        {
            await errors.WriteLineAsync(
                $"--story: one of {string.Join(", ", InventedStory.All.Select(known => known.Slug))} has to follow it"
            );
            return 2;
        }

        var folder = Path.Combine(Path.GetTempPath(), $"irrigationfhir-demo-{Guid.NewGuid():N}");
        var once = args.Contains("--once");
        var urls = args.Contains("--urls") ? [] : new[] { "--urls", "http://127.0.0.1:0" };
        var clock = new NightClock(Charted(story.AsCharted().First()));
        var app = Service.Build(
            [
                .. args.Where(a => a != "--once" && a != "--story" && a != story.Slug),
                .. urls,
                "--Data:Folder",
                folder,
                "--Logging:LogLevel:Default",
                "Warning",
                "--Subscriptions:AllowLoopback",
                "true",
            ],
            clock
        );
        try
        {
            await app.StartAsync();
            var address = app.Urls.First();
            using var http = new HttpClient { BaseAddress = new Uri(address) };
            await UntilReady(http);

            var ward = new WardClient(http);
            var episode = await ward.OpenEpisode(story.Episode(null), CancellationToken.None);
            using var subscriber = await ExampleSubscriber.Start($"{address}/fhir", Path.Combine(folder, "subscriber.json"));
            foreach (var charted in story.AsCharted())
            {
                clock.Put(Charted(charted).AddMinutes(-1));
                await app.Services.GetRequiredService<WatchEpisodes>().Look(CancellationToken.None); // what silence had raised by then
                clock.Put(Charted(charted));
                await ward.Record(episode, charted, CancellationToken.None);
            }

            clock.Put(DateTimeOffset.Parse(story.Handover, CultureInfo.InvariantCulture));
            var list = await ward.GetText("/ward", CancellationToken.None);
            await ward.OpenEpisode(story.Episode(story.End), CancellationToken.None);

            await Show(story, ward, episode, address, subscriber is null ? null : await LinesReceived(ward, subscriber), list, output);
            if (once)
                return 0;
            await output.WriteLineAsync("\nStill serving; Ctrl+C ends it and forgets the store.");
            await app.WaitForShutdownAsync();
            return 0;
        }
        finally
        {
            await app.DisposeAsync();
            if (Directory.Exists(folder))
                Directory.Delete(folder, recursive: true);
        }
    }

    /// <summary>The story that is asked for, the first where none is; null where there is no such story.</summary>
    private static InventedStory? StoryOf(string[] args)
    {
        var asked = Array.IndexOf(args, "--story") is >= 0 and var at ? args.ElementAtOrDefault(at + 1) : InventedStory.All[0].Slug;
        var strays = args.Where(
            (arg, i) => InventedStory.All.Any(known => known.Slug == arg) && args.ElementAtOrDefault(i - 1) != "--story"
        );
        return strays.Any() ? null : InventedStory.All.FirstOrDefault(known => known.Slug == asked);
    }

    /// <summary>When entries were charted: the last of the times that they say.</summary>
    private static DateTimeOffset Charted(JsonArray entries) =>
        entries.Max(entry =>
            DateTimeOffset.Parse((string)(entry!["recordedAt"] ?? entry["to"] ?? entry["at"])!, CultureInfo.InvariantCulture)
        );

    /// <summary>What the subscriber printed once everything was delivered.</summary>
    private static async Task<IReadOnlyList<string>> LinesReceived(WardClient ward, ExampleSubscriber subscriber)
    {
        for (var since = Stopwatch.StartNew(); since.Elapsed < Patience; await Task.Delay(50))
        {
            if ((int)(await ward.Get("/health/ready", CancellationToken.None))["checks"]!["notifications"]!["data"]!["eventsWaiting"]! == 0)
                break;
        }

        await Task.Delay(200); // for its last line to arrive
        return subscriber.Said;
    }

    private static async Task UntilReady(HttpClient http)
    {
        using var patience = new CancellationTokenSource(Patience);
        while (!(await http.GetAsync(new Uri("/health/ready", UriKind.Relative), patience.Token)).IsSuccessStatusCode)
            await Task.Delay(50, patience.Token);
    }

    private static async Task Show(
        InventedStory story,
        WardClient ward,
        string episode,
        string address,
        IReadOnlyList<string>? received,
        string list,
        TextWriter output
    )
    {
        var balance = (
            await ward.Get($"/episodes/{episode}/balance?asOf={Uri.EscapeDataString(story.Handover)}", CancellationToken.None)
        ).Deserialize<BalanceReport>(JsonSerializerOptions.Web)!;
        await output.WriteLineAsync($"{story.Title}\n");
        BalanceInWords.Brief(balance, output, caveats: true);

        var patient = Uri.EscapeDataString(story.Patient);
        await output.WriteLineAsync("Resources");
        foreach (var type in new[] { "Observation", "Procedure", "Provenance" })
        {
            var search = type == "Provenance" ? "" : $"patient.identifier={patient}&";
            var bundle = await ward.Get($"/fhir/{type}?{search}_count=1000", CancellationToken.None);
            foreach (
                var profile in (bundle["entry"]?.AsArray() ?? [])
                    .Select(e => e!["resource"]!["meta"]!["profile"]![0]!.GetValue<string>())
                    .GroupBy(p => p)
                    .OrderBy(g => g.Key, StringComparer.Ordinal)
            )
            {
                await output.WriteLineAsync($"  {profile.Count(), 4}  {type, -12} {profile.Key.Split('/')[^1]}");
            }
        }

        await output.WriteLineAsync("\nWhat the example subscriber was told (fhir-examples/subscriber), by event number");
        foreach (var line in received ?? ["it could not be started: it needs its source beside this and the .NET SDK"])
            await output.WriteLineAsync($"  {line}");

        await output.WriteLineAsync($"\nThe list of the ward before the episode was ended\n{list.TrimEnd()}");
        var handover = await ward.GetText(
            $"/episodes/{episode}/handover?asOf={Uri.EscapeDataString(story.LookAt)}",
            CancellationToken.None
        );
        await output.WriteLineAsync($"\n{handover.TrimEnd()}");
        await output.WriteLineAsync(
            $"""

            To look at
              {address}/ward
              {address}/episodes/{episode}/balance
              {address}/episodes/{episode}/flags
              {address}/episodes/{episode}/handover?asOf={Uri.EscapeDataString(story.LookAt)}
              {address}/episodes/{episode}/entries
              {address}/fhir/Observation?patient.identifier={patient}&code={UrineOutput}&_sort=date
              {address}/fhir/Flag?patient.identifier={patient}
              {address}/fhir/Subscription
              {address}/fhir/Procedure?patient.identifier={patient}
              {address}/fhir/metadata
              {address}/openapi/irrigationfhir.json
              {address}/health/ready

            {balance.Caution}
            """
        );
    }
}
