using System.Collections.Concurrent;
using System.Diagnostics;
using System.Text.Json;
using System.Text.Json.Nodes;
using IrrigationFhir.Demo;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Logging;

namespace IrrigationFhir.Benchmarks;

/// <summary>
/// How long after its commit an event is at its subscriber, with 1,000 subscriptions of which one has an endpoint that takes connections
/// and never answers. From the time the event is stored under to the arrival of the request; one clock, for all runs on one machine.
/// </summary>
internal static class NotificationCosts
{
    private const int Subscribers = 1000;
    private const int Events = 600;
    private static readonly TimeSpan Between = TimeSpan.FromMilliseconds(100);

    /// <summary>Measures, and writes a Markdown table.</summary>
    public static async Task Measure(TextWriter output)
    {
        output.WriteLine(
            "\n## Notifications\n\n"
                + "| what | notifications | median | p95 | longest | still waiting: the dead one |\n"
                + "| --- | ---: | ---: | ---: | ---: | ---: |"
        );
        await Run(
            output,
            $"{Subscribers} subscribers, each of a patient of its own, ten events a second; the dead one wants all",
            own: true,
            Events,
            Between
        );
        await Run(output, $"{Subscribers} subscribers that all want all, an event every 20 s", own: false, 10, TimeSpan.FromSeconds(20));
    }

    private static async Task Run(TextWriter output, string what, bool own, int events, TimeSpan between)
    {
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        await using var receiver = await Receiver.Start();
        try
        {
            await using var service = await RunningService.Start(
                folder,
                ("Subscriptions:AllowLoopback", "true"),
                ("Subscriptions:Most", $"{Subscribers + 1}"),
                ("Fhir:MaxCount", "2000")
            );
            var beds = new List<string>();
            for (var n = 0; n < Subscribers - 1; n++)
            {
                if (own || n == 0)
                    beds.Add(await service.Open(new InventedIrrigation(500_000 + n)));
                await service.Subscribe(
                    Subscription(
                        $"{receiver.Address}/{n}",
                        own
                            ? $"Flag?patient.identifier={InventedIrrigation.PatientSystem}|P-{500_000 + n}&code=clots-present"
                            : "Flag?code=clots-present"
                    )
                );
            }

            await service.Subscribe(Subscription($"{receiver.Address}/dead", "Flag?code=clots-present"));
            while (receiver.Handshakes < Subscribers)
                await Task.Delay(100);
            await Task.Delay(1000);
            receiver.Dies("/dead"); // it answered its handshake, and never answers again

            var (random, at, started) = (
                new Random(1),
                InventedIrrigation.Start + NodaTime.Duration.FromHours(1),
                Stopwatch.GetTimestamp()
            );
            for (var n = 0; n < events; n++)
            {
                var wait = between * n - Stopwatch.GetElapsedTime(started);
                if (wait > TimeSpan.Zero)
                    await Task.Delay(wait);
                at += NodaTime.Duration.FromMinutes(1);
                // Each event is a flag of its own: seen, and in the next round gone.
                await service.Record(
                    beds[random.Next(beds.Count)],
                    new ChartedEntry(at, Looked(n, at, n % 2 == 0 || own ? "many" : "none"))
                );
            }

            var patience = Stopwatch.GetTimestamp();
            var before = -1;
            while (before != receiver.Taken.Count && Stopwatch.GetElapsedTime(patience) < TimeSpan.FromMinutes(2))
            {
                before = receiver.Taken.Count;
                await Task.Delay(3000);
            }

            var samples = receiver.Taken.Order().ToList();
            TimeSpan At(double share) => samples[(int)Math.Ceiling(share * samples.Count) - 1];
            var waiting = JsonNode.Parse(await service.Get("/health/ready"))!["checks"]!["notifications"]!["data"]!["eventsWaiting"];
            var times = $"{Samples.Shown(At(0.5))} | {Samples.Shown(At(0.95))} | {Samples.Shown(samples[^1])}";
            output.WriteLine($"| {what} | {samples.Count:N0} | {times} | {waiting} |");
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static string Looked(int n, NodaTime.Instant at, string clots) =>
        $$"""
            {"source":"ward-7","id":"look {{n}}","kind":"drainage-appearance","at":"{{at:uuuu-MM-dd'T'HH:mm:ss'Z'}}",
            "scale":"ward colour card (invented)","grade":2,"clots":"{{clots}}"}
            """;

    private static string Subscription(string endpoint, string filter)
    {
        const string backport = "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/";
        return $$$"""
            {
              "resourceType": "Subscription", "status": "requested", "reason": "measured",
              "criteria": "https://irrigationfhir.example/fhir/SubscriptionTopic/flag-raised",
              "_criteria": {"extension": [{"url": "{{{backport}}}backport-filter-criteria", "valueString": "{{{filter}}}"}]},
              "channel": {
                "type": "rest-hook", "endpoint": "{{{endpoint}}}", "payload": "application/fhir+json",
                "_payload": {"extension": [{"url": "{{{backport}}}backport-payload-content", "valueCode": "full-resource"}]}
              }
            }
            """;
    }

    /// <summary>Takes notifications and notes how old their events are.</summary>
    private sealed class Receiver(WebApplication app) : IAsyncDisposable
    {
        private readonly ConcurrentDictionary<string, bool> dead = new();
        private int handshakes;

        public ConcurrentBag<TimeSpan> Taken { get; } = [];

        public int Handshakes => handshakes;

        public string Address => app.Urls.First();

        public static async Task<Receiver> Start()
        {
            var builder = WebApplication.CreateSlimBuilder();
            builder.Logging.ClearProviders();
            builder.WebHost.UseUrls("http://127.0.0.1:0");
            var app = builder.Build();
            var receiver = new Receiver(app);
            app.MapPost("/{**path}", receiver.Take);
            await app.StartAsync();
            return receiver;
        }

        public void Dies(string path) => dead[path] = true;

        public async ValueTask DisposeAsync() => await app.DisposeAsync();

        private async Task Take(HttpContext http)
        {
            var arrived = DateTimeOffset.UtcNow;
            if (dead.ContainsKey(http.Request.Path))
            {
                await Task.Delay(Timeout.Infinite, http.RequestAborted);
                return;
            }

            using var body = await JsonDocument.ParseAsync(http.Request.Body);
            foreach (
                var parameter in body.RootElement.GetProperty("entry")[0].GetProperty("resource").GetProperty("parameter").EnumerateArray()
            )
            {
                if (parameter.TryGetProperty("valueCode", out var code) && code.GetString() == "handshake")
                    Interlocked.Increment(ref handshakes);
                if (parameter.GetProperty("name").GetString() != "notification-event")
                    continue;
                Taken.Add(
                    arrived
                        - parameter
                            .GetProperty("part")
                            .EnumerateArray()
                            .First(part => part.GetProperty("name").GetString() == "timestamp")
                            .GetProperty("valueInstant")
                            .GetDateTimeOffset()
                );
            }
        }
    }
}
