using System.Diagnostics;
using System.Net;
using System.Net.Sockets;
using System.Text.Json.Nodes;
using IrrigationFhir.Subscriptions;
using Microsoft.Extensions.DependencyInjection;
using WireMock.ResponseBuilders;
using static IrrigationFhir.Tests.Subscriptions.SubscribedWard;

namespace IrrigationFhir.Tests.Subscriptions;

/// <summary>
/// Subscribers are told: once, in order, and again after any failure. Endpoints are real sockets; only the ward's clock is moved by hand.
/// </summary>
public class DeliveryTests
{
    private const string ClotsOnly = "Flag?code=clots-present";
    private static readonly TimeSpan Second = TimeSpan.FromSeconds(1);

    [Fact]
    public async Task A_flag_is_told_when_it_is_raised_cleared_and_taken_back()
    {
        using var raised = Subscriber.Start();
        using var resolved = Subscriber.Start();
        await using var ward = Ward();
        await ward.Active(Subscription(raised.Address(), filter: ClotsOnly));
        await ward.Active(Subscription(resolved.Address(), "flag-resolved", filter: ClotsOnly));
        Assert.Equal(["handshake"], raised.All().Select(n => n.Kind));
        Assert.Equal("requested", raised.All()[0].Status);

        var bed = await ward.Bed("one");
        await ward.Record(bed, Clots("a", "21:00"), NoClots("b", "21:20"));
        await ward.Record(bed, Clots("c", "21:40"));
        await ward.Until(() => raised.Numbers().Count == 1 && resolved.Numbers().Count == 1);

        // The first came and went within one request: it is told as one that is over. The second stands, until it is withdrawn.
        var told = raised.All()[^1];
        Assert.Equal(("event-notification", "active"), (told.Kind, told.Status));
        Assert.Equal("active", (string)told.Resources.Single()["status"]!);
        Assert.Equal("inactive", (string)resolved.All()[^1].Resources.Single()["status"]!);

        await ward.Record(bed, Clots("c", "21:40", withdrawn: true));
        await ward.Until(() => raised.Numbers().Count == 2 && resolved.Numbers().Count == 2);
        Assert.Equal([1, 2], raised.Numbers());
        Assert.Equal(told.Addresses, raised.All()[^1].Addresses);
        Assert.Equal("entered-in-error", (string)raised.All()[^1].Resources.Single()["status"]!); // who was told is told again
        Assert.Equal("entered-in-error", (string)resolved.All()[^1].Resources.Single()["status"]!);
    }

    [Fact]
    public async Task An_output_that_is_not_what_it_was_is_told()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        await ward.Active(Subscription(subscriber.Address(), "corrected-output-amended", filter: "Observation?category=closed-interval"));
        var bed = await ward.Bed("one");
        JsonObject Entry(string id, string kind, string clock, string content) =>
            JsonNode
                .Parse($$"""{"source": "ward", "id": "{{id}}", "kind": "{{kind}}", "at": "2026-03-14T{{clock}}:00Z", {{content}}}""")!
                .AsObject();
        string Volume(string name, int ml) => $$""" "{{name}}": {"value": {{ml}}, "unit": "mL"} """;
        await ward.Record(
            bed,
            Entry("1", "bag-hung", "18:00", Volume("volume", 3000) + ", " + Volume("tubingPrime", 0)),
            Entry("2", "drainage-level-read", "18:00", Volume("level", 0)),
            Entry("3", "bag-taken-down", "20:00", Volume("remaining", 0)),
            Entry("4", "drainage-emptied", "20:00", Volume("volume", 3100))
        );
        Assert.Empty(subscriber.Numbers());

        await ward.Record(bed, Entry("4", "drainage-emptied", "20:00", Volume("volume", 3150))); // misread
        await ward.Until(() => subscriber.Numbers().Count > 0);
        Assert.Equal([1], subscriber.Numbers());
        var output = subscriber.All()[^1].Resources.Single();
        Assert.Equal(("corrected", 150m), ((string)output["status"]!, (decimal)output["valueQuantity"]!["value"]!));
    }

    [Fact]
    public async Task Only_what_was_asked_for_is_told_and_only_as_much_of_it()
    {
        using var everything = Subscriber.Start();
        using var mine = Subscriber.Start();
        using var empty = Subscriber.Start();
        await using var ward = Ward();
        await ward.Active(Subscription(everything.Address(), content: "id-only", filter: ClotsOnly));
        await ward.Active(
            Subscription(
                mine.Address(),
                filter: $"Flag?patient.identifier={RunningService.PatientSystem}|patient of two&code=clots-present,no-drainage"
            )
        );
        await ward.Active(Subscription(empty.Address(), content: "empty", filter: "Flag.code=clots-present"));
        foreach (var name in new[] { "one", "two", "three" })
            await ward.Record(await ward.Bed(name), Clots("a"));
        await ward.Until(() => everything.Numbers().Count == 3 && mine.Numbers().Count == 1 && empty.Numbers().Count == 3);

        Assert.Equal("patient of two", (string)mine.All()[^1].Resources.Single()["subject"]!["identifier"]!["value"]!);
        Assert.Empty(everything.All().SelectMany(n => n.Resources));
        Assert.Equal(3, everything.All().SelectMany(n => n.Addresses).Distinct().Count());
        Assert.All(empty.All(), n => Assert.Empty(n.Addresses));
        Assert.All(empty.All(), n => Assert.DoesNotContain("Flag", n.Body.ToJsonString(), StringComparison.Ordinal));
    }

    [Fact]
    public async Task Events_that_come_while_one_is_told_go_together_and_no_more_than_asked_for()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly, maxCount: 3));
        subscriber.AnswersInTurn(Response.Create().WithStatusCode(200).WithDelay(TimeSpan.FromSeconds(2)));
        for (var n = 0; n < 8; n++)
            await ward.Record(await ward.Bed($"bed {n}"), Clots("a"));
        await ward.Until(() => subscriber.Numbers().Count >= 8);
        Assert.Equal(Enumerable.Range(1, 8).Select(n => (long)n), subscriber.Numbers());
        Assert.All(subscriber.All(), n => Assert.True(n.Numbers.Count <= 3));
        Assert.Contains(subscriber.All(), n => n.Numbers.Count == 3);
    }

    [Theory]
    [InlineData(500)]
    [InlineData(503)]
    [InlineData(404)]
    public async Task What_is_not_acknowledged_is_told_again_in_order(int status)
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly, maxCount: 1));
        subscriber.AnswersInTurn([.. Enumerable.Repeat(Response.Create().WithStatusCode(status), 3)]);
        foreach (var name in new[] { "one", "two", "three" })
            await ward.Record(await ward.Bed(name), Clots("a"));
        await ward.Until(() => subscriber.Numbers().Count == 3, Second);
        Assert.Equal([1, 1, 1, 1, 2, 3], subscriber.All().SelectMany(n => n.Numbers));
        Assert.Equal([1, 2, 3], subscriber.Numbers());
        Assert.Equal("active", await ward.Status(id));
    }

    [Fact]
    public async Task An_endpoint_that_asks_for_time_gets_it()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly));
        subscriber.AnswersInTurn(Response.Create().WithStatusCode(429).WithHeader("Retry-After", "120"));
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await ward.Until(() => subscriber.All().Count == 2);
        for (var waited = 0; waited < 118; waited++)
        {
            ward.Clock.Advance(Second);
            await Task.Delay(20);
        }
        Assert.Empty(subscriber.Numbers());

        // A loaded machine may hear of the answer late and wait from then on, so each further second is given time to deliver in.
        for (var waited = 118; waited < 240 && subscriber.Numbers().Count == 0; waited++)
        {
            ward.Clock.Advance(Second);
            for (var given = Stopwatch.StartNew(); subscriber.Numbers().Count == 0 && given.Elapsed < Second; )
                await Task.Delay(20);
        }
        Assert.Equal([1], subscriber.Numbers());
    }

    [Fact] // a socket that takes the handshake, then twice a notification without an answer, then answers again
    public async Task An_endpoint_that_hangs_up_is_tried_again()
    {
        using var listener = new TcpListener(IPAddress.Loopback, 0);
        listener.Start();
        var taken = new List<string>();
        _ = Task.Run(async () =>
        {
            while (true)
            {
                using var client = await listener.AcceptTcpClientAsync();
                using var stream = client.GetStream();
                var request = await Request(stream);
                lock (taken)
                    taken.Add(request);
                if (taken.Count is 2 or 3)
                    continue;
                await stream.WriteAsync("HTTP/1.1 200 OK\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"u8.ToArray());
            }
        });
        await using var ward = Ward();
        var id = await ward.Active(Subscription($"http://localhost:{((IPEndPoint)listener.LocalEndpoint).Port}/hook", filter: ClotsOnly));
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await ward.Until(() => taken.Count == 4, Second);
        await ward.Until(async () => (int)(await ward.Read("/health/ready"))["checks"]!["notifications"]!["data"]!["eventsWaiting"]! == 0);
        Assert.All(taken.Skip(1), request => Assert.Contains("\"event-number\",\"valueString\":\"1\"", request, StringComparison.Ordinal));
        Assert.Equal("active", await ward.Status(id));
    }

    /// <summary>A request with a Content-Length, to its last byte.</summary>
    private static async Task<string> Request(NetworkStream stream)
    {
        var (text, buffer) = ("", new byte[64 * 1024]);
        while (
            !(
                text.Contains("\r\n\r\n", StringComparison.Ordinal)
                && System.Text.RegularExpressions.Regex.Match(text, "Content-Length: ([0-9]+)") is { Success: true } length
                && text.Length
                    >= text.IndexOf("\r\n\r\n", StringComparison.Ordinal)
                        + 4
                        + int.Parse(length.Groups[1].Value, System.Globalization.CultureInfo.InvariantCulture)
            )
        )
        {
            var read = await stream.ReadAsync(buffer);
            if (read == 0)
                return text;
            text += System.Text.Encoding.Latin1.GetString(buffer, 0, read);
        }

        return text;
    }

    [Fact] // a socket that answers each connection with RST
    public async Task A_connection_that_is_reset_is_an_error_with_a_reason()
    {
        using var listener = new TcpListener(IPAddress.Loopback, 0);
        listener.Start();
        _ = Task.Run(async () =>
        {
            while (true)
            {
                using var client = await listener.AcceptSocketAsync();
                client.LingerState = new(true, 0);
                client.Close();
            }
        });
        await using var ward = Ward();
        var id = await ward.Subscribe(Subscription($"http://localhost:{((IPEndPoint)listener.LocalEndpoint).Port}/hook"));
        await ward.Until(async () => await ward.Status(id) == "error", Second);
        Assert.Contains("the handshake failed 3 times: the connection failed", await Why(ward, id), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_certificate_that_nobody_trusts_is_an_error_and_one_of_the_house_is_not()
    {
        using var certificate = Subscriber.SelfSigned();
        using var subscriber = Subscriber.Start(certificate);
        var pem = Path.GetTempFileName();
        await File.WriteAllTextAsync(pem, certificate.ExportCertificatePem());
        await using (var ward = Ward())
        {
            var id = await ward.Subscribe(Subscription(subscriber.Address()));
            await ward.Until(async () => await ward.Status(id) == "error", Second);
            Assert.Contains("its certificate was not accepted, or TLS failed", await Why(ward, id), StringComparison.Ordinal);
            Assert.Empty(subscriber.All());
        }

        await using (var ward = Ward(null, ("Subscriptions:CertificateAuthorities", pem)))
        {
            await ward.Active(Subscription(subscriber.Address()));
            Assert.StartsWith("https://", subscriber.Address(), StringComparison.Ordinal);
            Assert.Single(subscriber.All());
        }

        File.Delete(pem);
    }

    [Fact]
    public async Task An_endpoint_that_never_answers_costs_no_more_than_its_time()
    {
        using var hanging = Subscriber.Start();
        using var well = Subscriber.Start();
        await using var ward = Ward();
        await ward.Active(Subscription(well.Address(), filter: ClotsOnly));
        hanging.Answers(Response.Create().WithStatusCode(200).WithDelay(TimeSpan.FromMinutes(5)), "/slow");
        var id = await ward.Subscribe(Subscription(hanging.Address("/slow"), timeout: 5));
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await ward.Until(() => well.Numbers().Count == 1); // while the other still hangs
        await ward.Until(async () => await ward.Status(id) == "error", TimeSpan.FromMilliseconds(500));
        Assert.Contains("no answer within 5 s", await Why(ward, id), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("http://169.254.169.254/latest/meta-data")]
    [InlineData("http://10.0.0.1/")]
    [InlineData("/elsewhere")]
    public async Task A_redirect_is_not_followed(string location)
    {
        using var subscriber = Subscriber.Start();
        subscriber.Answers(Response.Create().WithStatusCode(307).WithHeader("Location", location), "/hook");
        await using var ward = Ward();
        var id = await ward.Subscribe(Subscription(subscriber.Address()));
        await ward.Until(async () => await ward.Status(id) == "error", Second);
        Assert.Contains("it answered 307, and redirects are not followed", await Why(ward, id), StringComparison.Ordinal);
        Assert.Equal(3, subscriber.All("/hook").Count);
        Assert.Empty(subscriber.All("/elsewhere"));
    }

    [Fact] // 64 MiB of answer, of which nothing is needed: the connection is closed, and no more is taken than lies in the system's buffers
    public async Task A_huge_answer_is_not_read()
    {
        const int huge = 64 << 20;
        using var listener = new TcpListener(IPAddress.Loopback, 0);
        listener.Start();
        var taken = new List<int>();
        _ = Task.Run(async () =>
        {
            while (true)
            {
                using var client = await listener.AcceptTcpClientAsync();
                using var stream = client.GetStream();
                var sent = 0;
                try
                {
                    while (await Request(stream) is { Length: > 0 })
                    {
                        await stream.WriteAsync(System.Text.Encoding.ASCII.GetBytes($"HTTP/1.1 200 OK\r\nContent-Length: {huge}\r\n\r\n"));
                        for (; sent < huge; sent += 64 << 10)
                            await stream.WriteAsync(new byte[64 << 10]);
                    }
                }
                catch (IOException)
                {
                    // It hung up.
                }

                lock (taken)
                    taken.Add(sent);
            }
        });
        await using var ward = Ward();
        var id = await ward.Active(Subscription($"http://localhost:{((IPEndPoint)listener.LocalEndpoint).Port}/hook", filter: ClotsOnly));
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await ward.Until(() => taken.Count == 2); // the handshake and the event, each acknowledged by its first line
        Assert.All(taken, sent => Assert.InRange(sent, 0, huge / 2));
        Assert.Equal("active", await ward.Status(id));
    }

    [Fact] // DNS rebinding: the name means this machine at first, and the metadata of a cloud later
    public async Task A_name_that_changes_its_answer_is_caught_when_connecting()
    {
        using var subscriber = Subscriber.Start();
        var port = new Uri(subscriber.Address()).Port;
        var answer = IPAddress.Parse("169.254.169.254");
        await using var ward = Ward(null, ("Subscriptions:AllowedHosts:0", $"alerts.lantern-quay.example:{port}"));
        var rules = ward.Services.GetRequiredService<OutboundRules>();
        Assert.Null(rules.Refusal(new Uri($"https://alerts.lantern-quay.example:{port}/hook")));
        using var http = new HttpClient(rules.Handler((_, _) => Task.FromResult(new[] { answer })));
        var client = new NotificationClient(http, TimeProvider.System);
        var request = new SubscriptionRequest(
            IrrigationFhir.Fhir.Topics.FlagRaised,
            [],
            new Uri($"https://alerts.lantern-quay.example:{port}/hook"),
            "application/fhir+json",
            PayloadContent.Empty,
            [],
            null,
            null,
            1,
            null
        );
        Assert.Equal("its address is not allowed", (await client.Send(request, [], default)).Failure);

        answer = IPAddress.Loopback; // now the connection is made, and only TLS is missing at the other end
        Assert.NotEqual("its address is not allowed", (await client.Send(request, [], default)).Failure);
        answer = IPAddress.Parse("::ffff:169.254.169.254");
        Assert.Equal("its address is not allowed", (await client.Send(request, [], default)).Failure);
        Assert.Empty(subscriber.All());
    }

    [Fact]
    public async Task Who_cannot_be_told_for_as_long_as_is_tried_is_in_error_and_hears_the_rest_when_it_asks_anew()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly));
        subscriber.Answers(Response.Create().WithStatusCode(500), "/hook");
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await ward.Until(async () => await ward.Status(id) == "error", TimeSpan.FromMinutes(4));
        Assert.Matches(
            "^nothing could be told for 24 h, in [0-9]+ attempts: (it answered 500|it failed too often, and is left alone for a while)",
            await Why(ward, id)
        );
        Assert.InRange(
            (ward.Clock.GetUtcNow() - DateTimeOffset.Parse(Now, System.Globalization.CultureInfo.InvariantCulture)).TotalHours,
            24,
            26
        );
        Assert.True(subscriber.All().Count > 100, $"{subscriber.All().Count} attempts in a day");

        await ward.Record(await ward.Bed("two"), Clots("a"));
        subscriber.Answers(Response.Create().WithStatusCode(200), "/hook");
        ward.Clock.Advance(TimeSpan.FromMinutes(5));
        await ward.Change(id, subscription => subscription["status"] = "requested");
        await ward.Until(() => subscriber.Numbers().Count >= 2, Second);
        Assert.Equal([1, 2], subscriber.Numbers());
        Assert.Equal("active", await ward.Status(id));
        Assert.Null((await ward.Read($"/fhir/Subscription/{id}"))["error"]);
    }

    [Fact]
    public async Task Silence_is_told_too_and_an_end_ends_it()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(subscriber.Address(), heartbeat: 60, end: "2026-03-14T22:05:00Z"));
        await ward.Until(() => subscriber.All().Count(n => n.Kind == "heartbeat") == 2, TimeSpan.FromSeconds(5));
        Assert.InRange(
            (ward.Clock.GetUtcNow() - DateTimeOffset.Parse(Now, System.Globalization.CultureInfo.InvariantCulture)).TotalSeconds,
            120,
            160
        );
        Assert.Empty(subscriber.Numbers());
        await ward.Until(async () => await ward.Status(id) == "off", TimeSpan.FromSeconds(5));
        Assert.True(ward.Clock.GetUtcNow() >= new DateTimeOffset(2026, 3, 14, 22, 5, 0, TimeSpan.Zero));
        var sent = subscriber.All().Count;
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await Task.Delay(500);
        Assert.Equal(sent, subscriber.All().Count);
    }

    [Fact]
    public async Task Off_means_off()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly));
        await ward.Change(id, subscription => subscription["status"] = "off");
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await Task.Delay(500);
        Assert.Equal(["handshake"], subscriber.All().Select(n => n.Kind));
    }

    [Fact]
    public async Task A_restart_tells_what_was_not_acknowledged_and_nothing_else()
    {
        using var subscriber = Subscriber.Start();
        var folder = Directory.CreateTempSubdirectory("told-").FullName;
        await using (var ward = Ward(folder))
        {
            await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly));
            await ward.Record(await ward.Bed("one"), Clots("a"));
            await ward.Until(() => subscriber.Numbers().Count == 1);
            subscriber.Answers(Response.Create().WithStatusCode(500), "/hook");
            await ward.Record(await ward.Bed("two"), Clots("a"));
            await ward.Until(() => subscriber.All().Count >= 3);
        }

        subscriber.Answers(Response.Create().WithStatusCode(200), "/hook");
        await using (var ward = Ward(folder))
        {
            await ward.Until(() => subscriber.Numbers().Count == 2);
            await ward.Record(await ward.Bed("three"), Clots("a"));
            await ward.Until(() => subscriber.Numbers().Count == 3);
        }

        Assert.Equal([1, 2, 3], subscriber.Numbers());
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task Header_lines_are_sent_and_never_shown()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(subscriber.Address(), header: "Authorization: Bearer planted-secret"));
        Assert.Equal("Bearer planted-secret", subscriber.All()[0].Headers["Authorization"]);
        Assert.Equal("application/fhir+json", subscriber.All()[0].Headers["Content-Type"].Split(';')[0]);
        foreach (
            var address in new[]
            {
                $"/fhir/Subscription/{id}",
                $"/fhir/Subscription/{id}/_history",
                "/fhir/Subscription?status=active",
                $"/fhir/Subscription/{id}/$status",
                "/health/ready",
                "/settings",
            }
        )
        {
            Assert.DoesNotContain("planted-secret", (await ward.Get(address)).Text, StringComparison.Ordinal);
        }

        // What was read is sent back: the line is kept.
        await ward.Change(id, subscription => subscription["reason"] = "the screen at the desk");
        await ward.Change(id, subscription => subscription["status"] = "requested");
        await ward.Until(() => subscriber.All().Count == 2);
        Assert.Equal("Bearer planted-secret", subscriber.All()[1].Headers["Authorization"]);
    }

    [Fact]
    public async Task Stored_secrets_do_not_go_to_another_endpoint()
    {
        using var subscriber = Subscriber.Start();
        using var thief = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(subscriber.Address(), header: "Authorization: Bearer planted-secret"));
        var subscription = await ward.Read($"/fhir/Subscription/{id}");
        subscription["channel"]!["endpoint"] = thief.Address();
        using var refused = await ward.Put(id, subscription);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.StatusCode);
        Assert.Empty(thief.All());
    }

    [Fact]
    public async Task A_client_that_changes_what_fails_need_not_wait_for_the_next_attempt()
    {
        using var failing = Subscriber.Start();
        using var well = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(failing.Address(), filter: ClotsOnly));
        failing.Answers(Response.Create().WithStatusCode(500), "/hook");
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await ward.Until(() => failing.All().Count == 2);
        await ward.Change(id, subscription => subscription["channel"]!["endpoint"] = well.Address()); // and the clock stands still
        await ward.Until(() => well.Numbers().Count == 1);
        Assert.Equal(["handshake", "event-notification"], well.All().Select(n => n.Kind));
    }

    [Fact]
    public async Task Who_was_told_long_ago_is_told_that_it_was_never_so()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward(null, ("Subscriptions:Keep", "01:00:00"));
        var id = await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly));
        var bed = await ward.Bed("one");
        await ward.Record(bed, Clots("a"));
        await ward.Until(() => subscriber.Numbers().Count == 1);
        await ward.Until(
            async () => (int)(await ward.Get($"/fhir/Subscription/{id}/$events?eventsSinceNumber=1")).Status == 410,
            TimeSpan.FromMinutes(5)
        );
        await ward.Record(bed, Clots("a", withdrawn: true));
        await ward.Until(() => subscriber.Numbers().Count == 2);
        Assert.Equal("entered-in-error", (string)subscriber.All()[^1].Resources.Single()["status"]!);
    }

    [Fact]
    public async Task A_change_does_not_break_off_what_is_under_way()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly));
        subscriber.AnswersInTurn(Response.Create().WithStatusCode(200).WithDelay(TimeSpan.FromSeconds(2)));
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await Task.Delay(700); // it is being sent
        await ward.Change(id, subscription => subscription["reason"] = "the screen at the desk");
        await ward.Record(await ward.Bed("two"), Clots("a"));
        await ward.Until(() => subscriber.Numbers().Count >= 2);
        await Task.Delay(500);
        Assert.Equal([1, 2], subscriber.Numbers());
    }

    [Fact]
    public async Task With_other_filters_nothing_is_told_that_only_the_old_ones_asked_for()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly));
        subscriber.Answers(Response.Create().WithStatusCode(500), "/hook");
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await ward.Until(() => subscriber.All().Count >= 2);
        subscriber.Answers(Response.Create().WithStatusCode(200), "/hook");
        await ward.Change(
            id,
            subscription =>
                subscription["_criteria"]!["extension"]![0]!["valueString"] = "Flag?code=clots-present&patient.identifier=patient of two"
        );
        await ward.Record(await ward.Bed("two"), Clots("a"));
        await ward.Until(() => subscriber.Numbers().Count == 1);
        Assert.Equal([2], subscriber.Numbers());
        Assert.Equal("patient of two", (string)subscriber.All()[^1].Resources.Single()["subject"]!["identifier"]!["value"]!);
    }

    [Fact]
    public async Task It_can_be_ended_whatever_the_rules_have_become_and_holds_no_place_then()
    {
        using var subscriber = Subscriber.Start();
        var folder = Directory.CreateTempSubdirectory("told-").FullName;
        string id;
        await using (var ward = Ward(folder, ("Subscriptions:Most", "1")))
            id = await ward.Active(Subscription(subscriber.Address()));
        await using (var ward = RunningService.Start(Now, folder))
        {
            await ward.Change(id, subscription => subscription["status"] = "off");
            Assert.Equal("off", await ward.Status(id));
        }

        await using (var ward = Ward(folder, ("Subscriptions:Most", "1")))
        {
            await ward.Active(Subscription(subscriber.Address()));
            var off = await ward.Read($"/fhir/Subscription/{id}");
            off["status"] = "requested";
            using var refused = await ward.Put(id, off);
            Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.StatusCode);
            Assert.Contains("too-many-subscriptions", await refused.Content.ReadAsStringAsync(), StringComparison.Ordinal);
        }

        Directory.Delete(folder, recursive: true);
    }

    [Theory]
    [InlineData("end", "\"9999-12-31T23:59:59Z\"", "subscription-end-out-of-range")]
    [InlineData("criteria", "\"https://irrigationfhir.example/fhir/SubscriptionTopic/flag-resolved\"", "subscription-topic-changed")]
    public async Task What_a_subscription_cannot_become_is_refused(string property, string value, string code)
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        var id = await ward.Active(Subscription(subscriber.Address()));
        var changed = await ward.Read($"/fhir/Subscription/{id}");
        changed[property] = JsonNode.Parse(value);
        using var refused = await ward.Put(id, changed);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.StatusCode);
        Assert.Contains(code, await refused.Content.ReadAsStringAsync(), StringComparison.Ordinal);
    }

    // As SocketsHttpHandler says that a connection took too long: cancelled, though nobody cancelled it (dotnet/runtime,
    // CreateConnectTimeoutException).
    [Fact]
    public async Task A_time_limit_of_the_systems_is_a_failure_like_any_other()
    {
        using var http = new HttpClient(new Cancelled());
        var request = new SubscriptionRequest(
            IrrigationFhir.Fhir.Topics.FlagRaised,
            [],
            new Uri("https://alerts.lantern-quay.example/hook"),
            "application/fhir+json",
            PayloadContent.Empty,
            [],
            null,
            null,
            1,
            null
        );
        Assert.Equal("no connection in time", (await new NotificationClient(http, TimeProvider.System).Send(request, [], default)).Failure);
    }

    private sealed class Cancelled : HttpMessageHandler
    {
        protected override Task<HttpResponseMessage> SendAsync(HttpRequestMessage request, CancellationToken cancellationToken) =>
            throw new TaskCanceledException(
                "The operation was canceled.",
                new TimeoutException("A connection could not be established within the configured ConnectTimeout.")
            );
    }

    [Fact]
    public async Task A_rule_that_has_become_stricter_holds_for_those_who_subscribed_before()
    {
        using var subscriber = Subscriber.Start();
        var folder = Directory.CreateTempSubdirectory("told-").FullName;
        string id;
        await using (var ward = Ward(folder))
            id = await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly));
        await using (var ward = RunningService.Start(Now, folder))
        {
            await ward.Record(await ward.Bed("one"), Clots("a"));
            await ward.Until(async () => (int)(await ward.Read("/health/ready"))["checks"]!["notifications"]!["data"]!["failing"]! == 1);
            Assert.Empty(subscriber.Numbers());
        }

        await using (var ward = Ward(folder))
            await ward.Until(() => subscriber.Numbers().Count == 1);
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task Whoever_operates_the_service_sees_what_waits_and_what_fails()
    {
        using var subscriber = Subscriber.Start();
        await using var ward = Ward();
        await ward.Active(Subscription(subscriber.Address(), filter: ClotsOnly));
        subscriber.Answers(Response.Create().WithStatusCode(500), "/hook");
        await ward.Record(await ward.Bed("one"), Clots("a"));
        await ward.Record(await ward.Bed("two"), Clots("a"));
        await ward.Until(() => subscriber.All().Count >= 2);
        ward.Clock.Advance(TimeSpan.FromSeconds(7));
        await ward.Until(async () => (int)(await ward.Read("/health/ready"))["checks"]!["notifications"]!["data"]!["failing"]! == 1);
        var check = (await ward.Read("/health/ready"))["checks"]!["notifications"]!;
        Assert.Equal("degraded", (string)check["status"]!);
        Assert.Equal(2, (int)check["data"]!["eventsWaiting"]!);
        Assert.InRange((double)check["data"]!["oldestWaitingSeconds"]!, 7, 8);

        var metrics = (await ward.Get("/metrics")).Text;
        Assert.Contains("irrigationfhir_notification_events_waiting 2", metrics, StringComparison.Ordinal);
        Assert.Contains("irrigationfhir_subscriptions{status=\"active\"} 1", metrics, StringComparison.Ordinal);
        Assert.Contains("irrigationfhir_subscriptions_failing 1", metrics, StringComparison.Ordinal);
        Assert.Matches("irrigationfhir_notification_attempts_total\\{result=\"failed\"\\} [1-9]", metrics);
        Assert.Contains("irrigationfhir_notification_attempts_total{result=\"acknowledged\"} 1", metrics, StringComparison.Ordinal);
        // An alert has the word in its name; whose data they are stands nowhere.
        var apart = metrics.Replace("kind=\"many-patients\"", "", StringComparison.Ordinal);
        Assert.DoesNotContain("patient", apart, StringComparison.OrdinalIgnoreCase);
        Assert.DoesNotContain("localhost", metrics, StringComparison.Ordinal);
    }

    private static async Task<string> Why(RunningService ward, string id) =>
        (string)(await ward.Read($"/fhir/Subscription/{id}"))["error"]!;
}
