using System.Collections.Concurrent;
using System.Diagnostics;
using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using IrrigationFhir.Tests.Subscriptions;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;
using OpenTelemetry.Trace;

namespace IrrigationFhir.Tests.Health;

/// <summary>What traces and metrics say, and what they must not.</summary>
public class TelemetryTests
{
    private static readonly string[] Path = ["read", "load", "balance", "flags", "map", "validate", "save"];

    /// <summary>What is told at /health/ready, and the line of /metrics that says the same.</summary>
    private static readonly Dictionary<string, string> SameFigure = new()
    {
        ["audit.waitingBytes"] = "irrigationfhir_audit_waiting_bytes",
        ["audit.wrongEvents"] = "irrigationfhir_audit_wrong_events",
        ["episodes.failing"] = "irrigationfhir_episodes_failing",
        ["profiles.shapes"] = "irrigationfhir_profiles_shapes",
        ["profiles.wrongShapes"] = "irrigationfhir_profiles_wrong_shapes",
        ["withheld-resources.withheld"] = "irrigationfhir_resources_withheld",
        ["notifications.active"] = "irrigationfhir_subscriptions{status=\"active\"}",
        ["notifications.requested"] = "irrigationfhir_subscriptions{status=\"requested\"}",
        ["notifications.inError"] = "irrigationfhir_subscriptions{status=\"error\"}",
        ["notifications.failing"] = "irrigationfhir_subscriptions_failing",
        ["notifications.eventsWaiting"] = "irrigationfhir_notification_events_waiting",
        ["notifications.oldestWaitingSeconds"] = "irrigationfhir_notification_oldest_waiting_seconds",
        ["notifications.endpointsLeftAlone"] = "irrigationfhir_endpoints_left_alone",
    };

    [Fact]
    public async Task A_POST_shows_its_steps_in_their_order_and_nothing_of_the_patient()
    {
        await using var ward = RunningService.Start("2026-03-14T12:00:00Z");
        var episode = await ward.Open(RunningService.Episode("planted-stay", "2026-03-14T08:00:00Z", patient: "planted-patient"));
        var trace = ActivityTraceId.CreateRandom();
        var ended = new ConcurrentQueue<Activity>();
        using var listener = new ActivityListener
        {
            ShouldListenTo = source => source.Name is Telemetry.Name or "Microsoft.AspNetCore",
            Sample = (ref ActivityCreationOptions<ActivityContext> _) => ActivitySamplingResult.AllDataAndRecorded,
            ActivityStopped = activity =>
            {
                if (activity.TraceId == trace)
                    ended.Enqueue(activity); // other tests serve at the same time
            },
        };
        ActivitySource.AddActivityListener(listener);

        async Task<Activity> Send(string address, string body)
        {
            ended.Clear();
            using var content = new StringContent(body, Encoding.UTF8, "application/json");
            using var request = new HttpRequestMessage(HttpMethod.Post, new Uri(address, UriKind.Relative)) { Content = content };
            request.Headers.Add("traceparent", $"00-{trace}-{ActivitySpanId.CreateRandom()}-01");
            using var reply = await ward.Http.SendAsync(request);
            await Until(() => ended.Any(a => a.Kind == ActivityKind.Server)); // the span of a request ends after its answer
            return ended.Single(a => a.Kind == ActivityKind.Server);
        }

        var server = await Send($"/episodes/{episode}/entries?planted=planted-query", Charted(417));
        Assert.Equal("POST /episodes/{id}/entries", server.DisplayName);
        Assert.Equal(
            ["http.request.method=POST", "http.response.status_code=200", "http.route=/episodes/{id}/entries"],
            Tags(server).Order(StringComparer.Ordinal)
        );
        var steps = ended.Where(a => a.Source.Name == Telemetry.Name).OrderBy(a => a.StartTimeUtc).ToList();
        Assert.Equal(Path, steps.Select(s => s.OperationName));
        Assert.All(steps, step => Assert.Equal(server.SpanId, step.ParentSpanId));
        Assert.All(steps.Zip(steps.Skip(1)), pair => Assert.True(Ended(pair.First) <= pair.Second.StartTimeUtc));
        AssertSaysNothing(ended, episode);

        // A refusal ends where it is refused, and an address that is none has no name of its own.
        Assert.Equal("POST /episodes/{id}/entries", (await Send($"/episodes/{episode}/entries", Charted(-417))).DisplayName);
        Assert.Equal(["read"], ended.Where(a => a.Source.Name == Telemetry.Name).Select(a => a.OperationName));
        AssertSaysNothing(ended, episode);
        Assert.Equal("POST", (await Send("/planted-nowhere", "planted-body")).DisplayName);
        AssertSaysNothing(ended, episode);
    }

    [Fact]
    public async Task Each_figure_of_the_health_page_has_its_metric()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = SubscribedWard.Ward();
        await ward.Active(SubscribedWard.Subscription(subscriber.Address()));
        var checks = (await ward.Read("/health/ready"))["checks"]!.AsObject();
        var metrics = (await ward.Get("/metrics")).Text;
        var figures = (
            from check in checks
            from datum in check.Value!["data"]!.AsObject()
            select (Key: $"{check.Key}.{datum.Key}", Value: datum.Value!.GetValue<double>())
        ).ToList();
        Assert.Equal(SameFigure.Keys.Order(StringComparer.Ordinal), figures.Select(f => f.Key).Order(StringComparer.Ordinal));
        Assert.Contains(figures, figure => figure is { Key: "notifications.active", Value: 1 });
        Assert.All(
            figures,
            figure =>
            {
                var line = metrics.Split('\n').SingleOrDefault(l => l.StartsWith($"{SameFigure[figure.Key]} ", StringComparison.Ordinal));
                Assert.True(line is not null, $"{figure.Key}: no {SameFigure[figure.Key]}");
                Assert.Equal(figure.Value, double.Parse(line.Split(' ')[^1], CultureInfo.InvariantCulture));
            }
        );
    }

    [Fact]
    public async Task Where_an_endpoint_is_set_traces_and_metrics_are_sent_there_and_hold_no_id()
    {
        var received = new ConcurrentDictionary<string, ConcurrentQueue<string>>();
        var builder = WebApplication.CreateBuilder(new WebApplicationOptions { EnvironmentName = "Production" });
        builder.Logging.ClearProviders();
        await using var collector = builder.Build();
        collector.Urls.Add("http://127.0.0.1:0");
        collector.MapPost(
            "/v1/{signal}",
            async (string signal, HttpRequest request) =>
            {
                using var body = new MemoryStream();
                await request.Body.CopyToAsync(body);
                received.GetOrAdd(signal, _ => []).Enqueue(Encoding.Latin1.GetString(body.ToArray())); // names in protobuf are plain text
            }
        );
        await collector.StartAsync();

        string[] traced = [.. Path, "POST /episodes/{id}/entries", "service.name", "irrigationfhir"];
        string[] measured =
        [
            "irrigationfhir.resources.withheld",
            "irrigationfhir.subscriptions",
            "irrigationfhir.notification.events_waiting",
            "http.server.request.duration",
        ];
        string episode;
        await using (
            var ward = RunningService.Start(
                "2026-03-14T12:00:00Z",
                null,
                ("OTEL_EXPORTER_OTLP_ENDPOINT", collector.Urls.Single()),
                ("OTEL_EXPORTER_OTLP_PROTOCOL", "http/protobuf"),
                ("OTEL_METRIC_EXPORT_INTERVAL", "300"),
                ("OTEL_BSP_SCHEDULE_DELAY", "100")
            )
        )
        {
            episode = await ward.Open(RunningService.Episode("planted-stay", "2026-03-14T08:00:00Z", patient: "planted-patient"));
            await ward.Record(episode, JsonNode.Parse(Charted(417))!);
            await ward.Get("/fhir/Observation?patient.identifier=planted-patient");
            await Until(() => traced.All(name => Has("traces", name)) && measured.All(name => Has("metrics", name)));
        }

        Assert.All(traced, name => Assert.True(Has("traces", name), name));
        Assert.All(measured, name => Assert.True(Has("metrics", name), name));
        Assert.All(new[] { episode, "planted" }, secret => Assert.False(Has("traces", secret) || Has("metrics", secret), secret));
        Assert.Equal(["metrics", "traces"], received.Keys.Order(StringComparer.Ordinal));

        bool Has(string signal, string text) =>
            received.GetValueOrDefault(signal)?.Any(body => body.Contains(text, StringComparison.OrdinalIgnoreCase)) == true;
    }

    [Fact]
    public async Task Where_none_is_set_nothing_is_collected()
    {
        await using var ward = RunningService.Start("2026-03-14T12:00:00Z");
        Assert.Null(ward.Services.GetService<TracerProvider>());
    }

    private static async Task Until(Func<bool> so)
    {
        for (var since = Stopwatch.StartNew(); !so() && since.Elapsed < TimeSpan.FromSeconds(20); )
            await Task.Delay(20);
    }

    private static string Charted(int volume) =>
        $$"""
            {
              "source": "planted-source", "id": "planted-entry", "kind": "drainage-emptied", "at": "2026-03-14T09:00:00Z",
              "volume": {"value": {{volume}}, "unit": "mL"}
            }
            """;

    private static DateTime Ended(Activity activity) => activity.StartTimeUtc + activity.Duration;

    private static IEnumerable<string> Tags(Activity activity) => activity.TagObjects.Select(tag => $"{tag.Key}={tag.Value}");

    private static void AssertSaysNothing(IEnumerable<Activity> activities, string episode)
    {
        foreach (var activity in activities)
        {
            string?[] names = [activity.OperationName, activity.DisplayName, activity.StatusDescription, activity.TraceStateString];
            var events = activity.Events.SelectMany(e => e.Tags.Select(tag => $"{tag.Key}={tag.Value}").Append(e.Name));
            var said = string.Join(' ', [.. names, .. Tags(activity), .. activity.Baggage.Select(b => $"{b.Key}={b.Value}"), .. events]);
            Assert.False(Regex.IsMatch(said, $"{Regex.Escape(episode)}|planted|417"), said);
        }
    }
}
