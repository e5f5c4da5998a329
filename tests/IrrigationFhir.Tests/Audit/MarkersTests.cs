using System.Collections.Concurrent;
using System.Diagnostics;
using System.Diagnostics.Metrics;
using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Audit;
using IrrigationFhir.Tests.Access;
using IrrigationFhir.Tests.Rest;
using IrrigationFhir.Tests.Subscriptions;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;

namespace IrrigationFhir.Tests.Audit;

/// <summary>
/// What was planted in everything that a client sends: nothing of it in logs, traces, metrics and health; in the audit what it is for,
/// whose data and what was asked, and no secret.
/// </summary>
public class MarkersTests
{
    [Fact]
    public async Task What_was_planted_is_seen_where_it_belongs_and_nowhere_else()
    {
        using var client = new TestClient();
        using var subscriber = Subscriber.Start();
        var (logged, traced, measured) = (new ConcurrentQueue<string>(), new ConcurrentQueue<string>(), new ConcurrentQueue<string>());
        using var spans = new ActivityListener
        {
            ShouldListenTo = source => source.Name is Telemetry.Name or "Microsoft.AspNetCore", // and not the clients of the tests
            Sample = (ref ActivityCreationOptions<ActivityContext> _) => ActivitySamplingResult.AllDataAndRecorded,
            ActivityStopped = span =>
                traced.Enqueue($"{span.DisplayName} {span.StatusDescription} {Said(span.TagObjects)} {Said(span.Baggage)}"),
        };
        ActivitySource.AddActivityListener(spans);
        using var meters = new MeterListener
        {
            InstrumentPublished = (instrument, listener) => listener.EnableMeasurementEvents(instrument),
        };
        meters.SetMeasurementEventCallback<long>((_, _, tags, _) => measured.Enqueue(Said(tags.ToArray())));
        meters.SetMeasurementEventCallback<double>((_, _, tags, _) => measured.Enqueue(Said(tags.ToArray())));
        meters.Start();

        await using var service = GuardedService.Start(
            [client.Registered("system/*.cruds")],
            ("Logging:LogLevel:Default", "Trace"),
            ("Subscriptions:AllowLoopback", "true"),
            ("Access:AlertPatientsPerHour", "1")
        );
        service.Ward.Services.GetRequiredService<ILoggerFactory>().AddProvider(new FhirOverHttp.Recorder(logged));
        var assertion = client.Assertion(service.Endpoint, service.Time);
        var granted = await service.Ask(assertion, "system/*.cruds");
        var token = (string)granted.Json["access_token"]!;

        async Task<Reply> Send(string method, string address, JsonNode? json = null, string? form = null)
        {
            using var request = new HttpRequestMessage(new(method), new Uri(address, UriKind.Relative));
            request.Headers.Authorization = new("Bearer", token);
            request.Headers.Add("Cookie", "session=planted-cookie");
            request.Headers.TryAddWithoutValidation("X-Request-Id", "planted request");
            request.Headers.UserAgent.ParseAdd("planted-agent/1");
            if (json is not null)
                request.Content = new StringContent(json.ToJsonString(), Encoding.UTF8, "application/json");
            if (form is not null)
                request.Content = new StringContent(form, Encoding.UTF8, "application/x-www-form-urlencoded");
            using var reply = await service.Ward.Http.SendAsync(request);
            return await Reply.Of(reply);
        }

        foreach (var patient in new[] { "planted-patient", "planted-other" })
        {
            var opened = await Send(
                "POST",
                "/episodes",
                RunningService.Episode($"planted-stay of {patient}", "2026-03-02T07:00:00Z", patient: patient)
            );
            Assert.True(opened.Status == HttpStatusCode.Created, opened.Text);
            var subscription = SubscribedWard.Subscription(subscriber.Address("/planted-hook"), header: "X-Key: planted-channel-key");
            if (patient == "planted-patient")
            {
                var subscribed = await Send("POST", "/fhir/Subscription", subscription);
                Assert.True(subscribed.Status == HttpStatusCode.Created, subscribed.Text);
                var at = $"/fhir/Subscription/{(string)subscribed.Json["id"]!}";
                await service.Ward.Until(async () => (string)(await Send("GET", at)).Json["status"]! == "active");
            }

            var charted = SubscribedWard.Clots("planted-entry", at: new(2026, 3, 2, 7, 30, 0, TimeSpan.Zero));
            charted["note"] = "planted-note";
            var recorded = await Send("POST", $"/episodes/{(string)opened.Json["id"]!}/entries", new JsonArray(charted));
            Assert.True(recorded.Status == HttpStatusCode.OK, recorded.Text);
        }

        await Send("GET", "/fhir/Observation?patient.identifier=planted-patient&colour=planted-colour&access_token=planted-token");
        await Send("GET", $"/fhir/Observation?code=x&client_assertion={assertion}&x={token}");
        await Send("POST", "/fhir/Observation/_search", form: "patient.identifier=planted-form&client_secret=planted-secret");
        await Send("GET", "/fhir/Observation/planted-id");
        await Send("GET", "/episodes/planted-episode/balance");
        await Send("GET", "/planted-nowhere");
        await Send("POST", "/episodes/planted-episode/entries", new JsonObject { ["planted-member"] = "planted-value" });
        await Send("GET", "/ward"); // two patients: the alert
        await service.Get("/fhir/Observation", $"planted-{token}");
        await service.Ward.Until(() => subscriber.All().Any(told => told.Resources.Count > 0));
        var rows = await service.Ward.All();
        rows = await service.Ward.All();
        using (var metrics = await service.Get("/metrics", token))
            measured.Enqueue(await metrics.Content.ReadAsStringAsync());
        measured.Enqueue((await service.Ward.Get("/health/ready")).Text);

        Assert.All(new[] { logged, traced, measured }, Assert.NotEmpty);
        string[] secrets = [token, token.Split('.')[2], assertion, assertion.Split('.')[2], (string)client.SecretKey["d"]!];
        foreach (var text in logged.Concat(traced).Concat(measured))
        {
            Assert.DoesNotContain("planted", text, StringComparison.OrdinalIgnoreCase);
            Assert.All(secrets, secret => Assert.DoesNotContain(secret, text, StringComparison.Ordinal));
        }

        string[] never =
        [
            .. secrets,
            "planted-cookie",
            "planted request",
            "planted-agent",
            "planted-hook",
            "planted-channel-key",
            "planted-note",
            "planted-token",
            "planted-secret",
            "planted-member",
            "planted-value",
        ];
        var whole = rows.Select(row => Encoding.UTF8.GetString(row.Entry.ToJson())).ToList();
        Assert.All(whole, text => Assert.All(never, secret => Assert.DoesNotContain(secret, text, StringComparison.Ordinal)));
        foreach (var asked in new[] { "planted-patient", "planted-colour", "planted-form", "planted-id", "planted-entry" })
            Assert.Contains(whole, text => text.Contains(asked, StringComparison.Ordinal));

        // Whose, of what, and what was asked: in these, and in nothing else.
        foreach (var row in rows)
        {
            var rest = row.Entry with { Patient = null, Query = null, Resources = null, Entries = null };
            Assert.DoesNotContain("planted", Encoding.UTF8.GetString(rest.ToJson()), StringComparison.Ordinal);
        }
    }

    [Theory]
    [InlineData("GET /fhir/Observation?code=x&_count=5")]
    [InlineData("GET /fhir/Observation?token-of=x&assertions=2&note=a+secret+in+words")]
    [InlineData("POST /fhir/Observation/_search ?patient.identifier=urn:x%7Cpassword")]
    public void What_is_no_secret_is_kept_as_it_came(string asked) => Assert.Equal(asked, Secrets.LeftOut(asked));

    [Theory]
    [InlineData("GET /fhir/Flag?access_token=abc", "GET /fhir/Flag?access_token=…")]
    [InlineData("GET /fhir/Flag?ACCESS_TOKEN=abc&code=x", "GET /fhir/Flag?ACCESS_TOKEN=…&code=x")]
    [InlineData("POST /fhir/Flag/_search ?client_secret=abc&code=x", "POST /fhir/Flag/_search ?client_secret=…&code=x")]
    [InlineData("GET /fhir/Flag?x=eyJhbGciOiJub25lIn0.eyJzdWIiOiJ4In0.c2ln&y=1", "GET /fhir/Flag?x=…&y=1")]
    public void What_is_a_secret_is_left_out_of_what_was_asked(string asked, string kept) => Assert.Equal(kept, Secrets.LeftOut(asked));

    private static string Said<T>(IEnumerable<KeyValuePair<string, T>> tags) =>
        string.Join(' ', tags.Select(tag => $"{tag.Key}={tag.Value}"));
}
