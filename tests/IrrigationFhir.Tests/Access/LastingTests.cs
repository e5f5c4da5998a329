using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using IrrigationFhir.Search;
using IrrigationFhir.Tests.Subscriptions;
using Microsoft.Data.Sqlite;
using static IrrigationFhir.Tests.Subscriptions.SubscribedWard;

namespace IrrigationFhir.Tests.Access;

/// <summary>What lasts is judged whenever it acts, and is its client's own (R-ACC-12).</summary>
public sealed class LastingTests : IAsyncLifetime
{
    private const string All = "system/*.cruds";
    private const string ToSubscribe = "system/Subscription.crus";

    private readonly NamedCallers _callers = new();
    private readonly Subscriber _board = Subscriber.Start();
    private RunningService _ward = null!;

    public Task InitializeAsync()
    {
        _ward = RunningService.Start(
            Now,
            _callers.Into,
            null,
            ("Subscriptions:AllowLoopback", "true"),
            ("Access:Facilities:0", "north"),
            ("Access:Facilities:1", "south")
        );
        return Task.CompletedTask;
    }

    public async Task DisposeAsync()
    {
        await _ward.DisposeAsync();
        _board.Dispose();
    }

    [Theory]
    [InlineData("full-resource", "system/Flag.rs", 201)]
    [InlineData("full-resource", "system/Flag.s", 403)]
    [InlineData("id-only", "system/Flag.s", 201)]
    [InlineData("empty", "system/Flag.s", 201)]
    [InlineData("empty", "system/Flag.r", 403)]
    [InlineData("full-resource", "system/Flag.rs?code=clots-present", 403)]
    [InlineData("full-resource", "system/Observation.rs", 403)]
    public async Task Who_subscribes_needs_what_the_topic_tells_of(string content, string scope, int status)
    {
        var reply = await Send("POST", "/fhir/Subscription", $"{ToSubscribe} {scope}", Subscription(_board.Address(), content: content));
        Assert.True(status == (int)reply.Status, reply.Text);
    }

    [Theory]
    [InlineData("system/Flag.rs?code=clots-present", "Flag?code=clots-present", 201)]
    [InlineData("system/Flag.rs?code=clots-present,outflow-deficit", "Flag?code=outflow-deficit", 201)]
    [InlineData("system/Flag.rs?code=clots-present,outflow-deficit", "Flag?code=outflow-deficit,clots-present", 201)]
    [InlineData("system/Flag.rs?code=clots-present", "Flag?code=outflow-deficit", 403)]
    [InlineData("system/Flag.rs?code=clots-present", "Flag?code=clots-present,outflow-deficit", 403)]
    [InlineData("system/Flag.rs?code=clots-present", "Flag?priority=PH", 403)]
    [InlineData("system/Flag.rs?code=clots-present&category=safety", "Flag?code=clots-present", 403)]
    [InlineData("system/Flag.rs?patient.identifier=https://ward.example/patients|P-1", "Flag?patient.identifier=P-1", 403)]
    [InlineData(
        "system/Flag.rs?patient.identifier=https://ward.example/patients|P-1",
        "Flag?patient.identifier=https://ward.example/patients|P-1",
        201
    )]
    [InlineData("system/Flag.rs?patient.identifier=P-1", "Flag?patient.identifier=https://ward.example/patients|P-1", 201)]
    [InlineData("system/Flag.s?code=clots-present system/Flag.r?code=outflow-deficit", "Flag?code=clots-present", 403)]
    [InlineData("system/Flag.s system/Flag.r?code=clots-present", "Flag?code=clots-present", 201)]
    public async Task Who_may_have_a_part_of_a_type_subscribes_to_that_part(string scope, string filter, int status)
    {
        var reply = await Send("POST", "/fhir/Subscription", $"{ToSubscribe} {scope}", Subscription(_board.Address(), filter: filter));
        Assert.True(status == (int)reply.Status, reply.Text);
    }

    [Fact]
    public async Task What_does_not_fall_in_the_scope_any_more_is_not_told_and_counted()
    {
        const string Scope = "system/Subscription.crus system/Flag.rs?code=clots-present";
        var reply = await Send("POST", "/fhir/Subscription", Scope, Subscription(_board.Address(), filter: "Flag?code=clots-present"));
        Assert.True(reply.Status == HttpStatusCode.Created, reply.Text);
        var id = (string)reply.Json["id"]!;
        await _ward.Until(async () => (string)(await Send("GET", $"/fhir/Subscription/{id}", All)).Json["status"]! == "active");
        var bed = await Bed("north");

        // The event is of the flag that its client asked for; that the flag is another now is done to its row.
        await using (var store = new SqliteConnection($"Data Source={Path.Combine(_ward.Folder, "irrigation.db")};Pooling=False"))
        {
            await store.OpenAsync();
            var change = store.CreateCommand();
            change.CommandText =
                "create trigger another after insert on subscription_event begin update resource set codes = 0 where type = "
                + $"{IndexedTypes.NumberOf("Flag")}; end";
            await change.ExecuteNonQueryAsync();
        }

        Assert.Equal(HttpStatusCode.OK, (await Send("POST", $"/episodes/{bed}/entries", All, Clots("seen"), facilities: "north")).Status);
        await _ward.Until(async () =>
            (await Send("GET", "/metrics", All)).Text.Contains(
                "irrigationfhir_notification_events_withheld_total{by=\"scope\"} 1",
                StringComparison.Ordinal
            )
        );
        Assert.DoesNotContain(_board.All(), notification => notification.Kind == "event-notification");
        var mine = await Send("GET", $"/fhir/Subscription/{id}/$events", Scope);
        Assert.DoesNotContain("Flag/", mine.Text, StringComparison.Ordinal);
        Assert.Contains("Flag/", (await Send("GET", $"/fhir/Subscription/{id}/$events", All)).Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_subscription_is_seen_and_changed_by_its_client_alone()
    {
        var id = await Subscribed("system/Flag.rs");
        var mine = await Send("GET", $"/fhir/Subscription/{id}", All);
        Assert.Equal(HttpStatusCode.OK, mine.Status);
        foreach (
            var address in new[] { $"/fhir/Subscription/{id}", $"/fhir/Subscription/{id}/$status", $"/fhir/Subscription/{id}/$events" }
        )
            Assert.Equal(HttpStatusCode.NotFound, (await Send("GET", address, All, client: "board")).Status);
        foreach (var address in new[] { "/fhir/Subscription", "/fhir/Subscription/$status" })
        {
            Assert.Equal(0, Listed(await Send("GET", address, All, client: "board")));
            Assert.Equal(1, Listed(await Send("GET", address, All)));
        }

        var off = mine.Json;
        off["status"] = "off";
        Assert.Equal(HttpStatusCode.NotFound, (await Send("PUT", $"/fhir/Subscription/{id}", All, off, "board")).Status);
        Assert.Equal(HttpStatusCode.OK, (await Send("PUT", $"/fhir/Subscription/{id}", All, off)).Status);

        static int Listed(Reply reply) => reply.Json["entry"]?.AsArray().Count ?? 0;
    }

    [Fact]
    public async Task Only_the_facilities_that_its_client_saw_are_told_of()
    {
        var id = await Subscribed("system/Flag.rs", "north");
        foreach (var facility in new[] { "south", "north" })
        {
            var bed = await Bed(facility);
            Assert.Equal(
                HttpStatusCode.OK,
                (await Send("POST", $"/episodes/{bed}/entries", All, Clots("seen"), facilities: facility)).Status
            );
        }

        await _ward.Until(() => _board.Numbers().Count > 0);
        await Task.Delay(500);
        var told = _board
            .All()
            .SelectMany(notification => notification.Resources)
            .Select(flag => (string)flag["subject"]!["identifier"]!["value"]!);
        Assert.All(told, patient => Assert.Contains("north", patient, StringComparison.Ordinal));

        // What was told of the north is not read by one who sees the south alone, though it is the same client.
        Assert.Equal(HttpStatusCode.OK, (await Send("GET", $"/fhir/Subscription/{id}/$events", All, facilities: "north")).Status);
        Assert.Equal(HttpStatusCode.Forbidden, (await Send("GET", $"/fhir/Subscription/{id}/$events", All, facilities: "south")).Status);
    }

    [Fact]
    public async Task Whose_client_may_no_longer_is_told_nothing_more()
    {
        var id = await Subscribed("system/Flag.rs");
        var bed = await Bed("north");
        lock (_callers.Ended)
            _callers.Ended.Add("monitor");
        Assert.Equal(HttpStatusCode.OK, (await Send("POST", $"/episodes/{bed}/entries", All, Clots("seen"), facilities: "north")).Status);

        await _ward.Until(async () => (string)(await Send("GET", $"/fhir/Subscription/{id}", All)).Json["status"]! == "error");
        Assert.DoesNotContain(_board.All(), notification => notification.Kind == "event-notification");
        var now = (await Send("GET", $"/fhir/Subscription/{id}", All)).Json;
        Assert.StartsWith("no longer authorized", (string)now["error"]!, StringComparison.Ordinal);

        // The flag is kept for whoever may ask again.
        var events = await Send("GET", $"/fhir/Subscription/{id}/$events", All);
        Assert.Contains("Flag/", events.Text, StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.Forbidden, (await Send("GET", $"/fhir/Subscription/{id}/$events", "system/Subscription.r")).Status);
    }

    [Theory]
    [InlineData("system/Flag.rs", "system/Flag.r", "system/Flag.r")]
    [InlineData("system/*.rs", "system/Flag.cruds system/Observation.s", "system/Flag.rs system/Observation.s")]
    [InlineData("system/Flag.rs?status=active", "system/Flag.rs", "system/Flag.rs?status=active")]
    [InlineData("system/Flag.rs?status=active", "system/Flag.rs?code=x", "system/Flag.rs?status=active&code=x")]
    [InlineData("system/Flag.rs", "", "")]
    [InlineData("system/Flag.rs?code=x", "system/Flag.rs?code=x system/Flag.rs?code=y", "system/Flag.rs?code=x")]
    [InlineData("system/Flag.rs?code=x", "system/Flag.r?code=x system/Flag.s?code=y", "system/Flag.r?code=x system/Flag.s?code=x&code=y")]
    public void What_lasts_is_no_more_than_was_and_is_allowed(string then, string still, string both) =>
        Assert.Equal(both, string.Join(' ', Scope.Both(Scope.ReadAll(then), Scope.ReadAll(still))));

    private async Task<string> Subscribed(string scope, params string[] facilities)
    {
        var reply = await Send(
            "POST",
            "/fhir/Subscription",
            $"{ToSubscribe} {scope}",
            Subscription(_board.Address()),
            facilities: facilities
        );
        Assert.True(reply.Status == HttpStatusCode.Created, reply.Text);
        var id = (string)reply.Json["id"]!;
        await _ward.Until(async () => (string)(await Send("GET", $"/fhir/Subscription/{id}", All)).Json["status"]! == "active");
        return id;
    }

    private async Task<string> Bed(string facility)
    {
        var reply = await Send(
            "POST",
            "/episodes",
            All,
            RunningService.Episode($"bed of the {facility}", "2026-03-14T08:00:00Z"),
            facilities: facility
        );
        Assert.True(reply.Status == HttpStatusCode.Created, reply.Text);
        return (string)reply.Json["id"]!;
    }

    private async Task<Reply> Send(
        string method,
        string address,
        string scopes,
        JsonNode? body = null,
        string client = "monitor",
        params string[] facilities
    )
    {
        using var request = new HttpRequestMessage(new(method), new Uri(address, UriKind.Relative));
        request.Headers.TryAddWithoutValidation("Authorization", NamedCallers.Bearer(client, scopes, facilities));
        if (body is not null)
            request.Content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json");
        using var response = await _ward.Http.SendAsync(request);
        return await Reply.Of(response);
    }
}
