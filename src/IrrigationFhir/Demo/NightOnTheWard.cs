using System.Diagnostics;
using System.Globalization;
using System.Text.Json;
using System.Text.Json.Nodes;
using IrrigationFhir.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Record;

namespace IrrigationFhir.Demo;

/// <summary>
/// <c>demo</c>: lives through an invented night of continuous irrigation over real HTTP with a temporary store, prints the balance, the
/// resources and what a subscriber received, and keeps serving; <c>--once</c> ends it.
/// </summary>
internal static class NightOnTheWard
{
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(60);

    /// <summary>The code by which anybody would look for urine output.</summary>
    private static string UrineOutput => Codes.CorrectedUrineOutput().Coding[0].Code!;

    /// <summary>Runs it.</summary>
    public static async Task<int> Run(string[] args, TextWriter output)
    {
        var folder = Path.Combine(Path.GetTempPath(), $"irrigationfhir-demo-{Guid.NewGuid():N}");
        var once = args.Contains("--once");
        var urls = args.Contains("--urls") ? [] : new[] { "--urls", "http://127.0.0.1:0" };
        var clock = new NightClock(Charted(InventedNight.AsCharted().First()));
        var app = Service.Build(
            [
                .. args.Where(a => a != "--once"),
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
            var episode = await ward.OpenEpisode(InventedNight.Episode(), CancellationToken.None);
            using var subscriber = await ExampleSubscriber.Start($"{address}/fhir", Path.Combine(folder, "subscriber.json"));
            foreach (var charted in InventedNight.AsCharted())
            {
                clock.Put(Charted(charted).AddMinutes(-1));
                await app.Services.GetRequiredService<WatchEpisodes>().Look(CancellationToken.None); // what silence had raised by then
                clock.Put(Charted(charted));
                await ward.Record(episode, charted, CancellationToken.None);
            }

            clock.Put(DateTimeOffset.Parse(InventedNight.Handover, CultureInfo.InvariantCulture));
            var list = await ward.GetText("/ward", CancellationToken.None);
            await ward.OpenEpisode(InventedNight.Episode(end: InventedNight.Morning), CancellationToken.None);

            await Show(ward, episode, address, subscriber is null ? null : await LinesReceived(ward, subscriber), list, output);
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
        WardClient ward,
        string episode,
        string address,
        IReadOnlyList<string>? received,
        string list,
        TextWriter output
    )
    {
        var balance = (
            await ward.Get($"/episodes/{episode}/balance?asOf={Uri.EscapeDataString(InventedNight.Handover)}", CancellationToken.None)
        ).Deserialize<BalanceReport>(JsonSerializerOptions.Web)!;
        await output.WriteLineAsync($"{InventedNight.Title}\n");
        BalanceInWords.Brief(balance, output, caveats: true);

        var patient = Uri.EscapeDataString(InventedNight.Patient);
        await output.WriteLineAsync("Resources");
        foreach (var type in new[] { "Observation", "Procedure", "Provenance" })
        {
            var search = type == "Provenance" ? "" : $"patient.identifier={patient}&";
            var bundle = await ward.Get($"/fhir/{type}?{search}_count=1000", CancellationToken.None);
            foreach (
                var profile in bundle["entry"]!
                    .AsArray()
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

        await output.WriteLineAsync($"\nThe list of the ward before the night was closed\n{list.TrimEnd()}");
        await output.WriteLineAsync(
            $"""

            To look at
              {address}/ward
              {address}/episodes/{episode}/balance
              {address}/episodes/{episode}/flags
              {address}/episodes/{episode}/handover?asOf={Uri.EscapeDataString("2026-03-15T02:40:00+01:00")}
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
