using System.Collections.Concurrent;
using System.Globalization;
using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Subscriptions;
using IrrigationFhir.Tests.Intake;
using IrrigationFhir.Tests.Rest;
using IrrigationFhir.Tests.Store;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Subscriptions;

[Collection(EveningOnTheWard.Name)]
public class SubscriptionsApiTests(EveningOnTheWard evening)
{
    private static Codes Codes => Ours.Codes;

    private const string Secret = "open-sesame";

    private readonly RunningService _ward = evening.Service;
    private readonly Sender _client = new(evening.Service, "");

    [Fact]
    public async Task A_new_subscription_is_requested_and_found_again_without_its_secrets_R_SUB_12()
    {
        var log = new ConcurrentQueue<string>();
        _ward.Services.GetRequiredService<ILoggerFactory>().AddProvider(new FhirOverHttp.Recorder(log));
        var asked = SampleSubscriptions.Here(Topics.FlagRaised, "Flag?code=no-drainage");
        asked.Text = new()
        {
            Status = Narrative.NarrativeStatus.Generated,
            Div = $"<div xmlns=\"http://www.w3.org/1999/xhtml\">Bearer {Secret}</div>",
        };
        asked.Channel!.Endpoint = $"{SampleSubscriptions.Nobody}{Guid.NewGuid()}";
        asked.Id = "mine";
        var created = (await Post(asked)).Is(201);

        Assert.Equal(("W/\"1\"", "requested"), (created.ETag, (string)created.Json["status"]!));
        Assert.NotEqual("mine", created.Id);
        Assert.EndsWith($"/fhir/Subscription/{created.Id}/_history/1", created.Location, StringComparison.Ordinal);
        Assert.Equal("Authorization: (withheld)", (string)created.Json["channel"]!["header"]![0]!);
        Assert.Equal("Flag?code=no-drainage", (string)created.Json["_criteria"]!["extension"]![0]!["valueString"]!);
        FhirJsonDeserializer.STRICT.Deserialize<Subscription>(created.Text);

        var endpoint = Uri.EscapeDataString(asked.Channel.Endpoint);
        var topic = Ours.Profiles.SubscriptionTopic(Topics.FlagRaised.Slug);
        foreach (
            var search in new[]
            {
                $"?url={endpoint}",
                $"?_id={created.Id}&status=requested",
                $"?url={endpoint}&criteria={Uri.EscapeDataString(topic.ToUpperInvariant()[..20])}",
                $"?url={endpoint}&criteria:exact={Uri.EscapeDataString(topic)}",
                $"?url={endpoint}&type=rest-hook",
                $"?url={endpoint}&payload=application%2Ffhir%2Bjson",
                $"?url={endpoint}&end=2026-12-31",
                $"?url={endpoint}&_profile={Uri.EscapeDataString(Profiles.Backport.Subscription)}",
                $"/_history?_count=1",
            }
        )
        {
            var found = (await Get(search)).Is(200);
            Assert.True(found.Json["entry"]?[0]?["resource"]?["id"]?.GetValue<string>() == created.Id, $"{search}: {found.Text}");
            Assert.DoesNotContain(Secret, found.Text, StringComparison.Ordinal);
        }

        Assert.Null((await Get($"?url={endpoint}&criteria=elsewhere")).Is(200).Json["entry"]);
        Assert.Null((await Get($"?url={endpoint}x")).Is(200).Json["entry"]);
        foreach (
            var address in new[] { $"/{created.Id}", $"/{created.Id}/_history/1", $"/{created.Id}/_history", $"/{created.Id}/$status" }
        )
            Assert.DoesNotContain(Secret, (await Get(address)).Is(200).Text, StringComparison.Ordinal);

        // It is kept for the delivery, and said to nobody.
        Assert.Contains(Secret, (await Store.Find(created.Id, default))!.Request, StringComparison.Ordinal);
        Assert.DoesNotContain(
            log,
            line => line.Contains(Secret, StringComparison.Ordinal) || line.Contains(asked.Channel.Endpoint, StringComparison.Ordinal)
        );
    }

    [Fact]
    public async Task What_cannot_be_honoured_is_refused_with_every_problem_named_R_SUB_03()
    {
        var asked = SampleSubscriptions.Here(Topics.FlagRaised, "Encounter?patient=Patient/1");
        asked.Channel!.Type = Subscription.SubscriptionChannelType.Email;
        asked.Channel.Endpoint = "mailto:board@board.example";
        (await Post(asked))
            .Refuses(422, "subscription-filter-unsupported", "Subscription.criteria.extension[0].value", "Flag?patient=")
            .Refuses(422, "subscription-channel-unsupported", "Subscription.channel.type", "rest-hook")
            .Refuses(422, "subscription-endpoint-refused", "Subscription.channel.endpoint");

        // As the public test kit has it: what R4 has no code for.
        var zulip = Json(SampleSubscriptions.Here());
        zulip["channel"]!["type"] = "zulip";
        (await _client.Send(HttpMethod.Post, "/fhir/Subscription", zulip)).Refuses(
            400,
            "subscription-channel-unsupported",
            "Subscription.channel.type"
        );

        (await _client.Send(HttpMethod.Post, "/fhir/Subscription", new JsonObject { ["resourceType"] = "Flag" })).Refuses(
            400,
            "malformed-resource",
            null
        );
        (await _client.Send(HttpMethod.Post, "/fhir/Subscription", Json(SampleSubscriptions.Here()), ("If-None-Exist", "url=x"))).Refuses(
            400,
            "not-understood",
            "If-None-Exist"
        );
        (await Post(With(SampleSubscriptions.Here(), s => s.Status = Subscription.SubscriptionStatus.Active))).Refuses(
            422,
            "subscription-status-refused",
            "Subscription.status",
            "requested"
        );
        (await Post(With(SampleSubscriptions.Here(), s => s.Channel!.Header = ["X-Key: (withheld)"]))).Refuses(
            422,
            "subscription-header-refused",
            "Subscription.channel.header[0]"
        );
    }

    [Fact]
    public async Task A_client_changes_it_by_PUT_and_only_what_it_may_R_SUB_04()
    {
        var created = (await Post(SampleSubscriptions.Here())).Is(201);
        var (id, read) = (created.Id, created.Json);

        // Read and sent back, with another reason: the secret that it never saw stays.
        read["reason"] = "The board of another invented ward";
        (await Put(id, read, ("If-Match", "W/\"7\""))).Refuses(412, "version-conflict", "If-Match", "W/\"1\"");
        var changed = (await Put(id, read, ("If-Match", "W/\"1\""))).Is(200);
        Assert.Equal("W/\"2\"", changed.ETag);
        Assert.Equal("W/\"2\"", (await Put(id, read)).Is(200).ETag); // the same again changes nothing
        Assert.Equal([$"Authorization: Bearer {Secret}"], (await State(id)).Request.Headers.ToArray());

        read["id"] = "another";
        (await Put(id, read)).Refuses(400, "wrong-id", "Subscription.id");
        read.AsObject().Remove("id");
        (await Put(id, read)).Refuses(400, "wrong-id", "Subscription.id", "no id");
        read["id"] = "nowhere";
        (await Put("nowhere", read)).Refuses(404, "unknown-resource", "Subscription.id");

        read["id"] = id;
        foreach (var status in new[] { "active", "error" })
        {
            read["status"] = status;
            (await Put(id, read)).Refuses(422, "subscription-status-refused", "Subscription.status", "requested");
        }

        read["status"] = "off";
        read["end"] = "2020-01-01T00:00:00Z"; // what ended may be switched off
        Assert.Equal("off", (string)(await Put(id, read)).Is(200).Json["status"]!);
        read["status"] = "requested";
        (await Put(id, read)).Refuses(422, "subscription-ended", "Subscription.end");
        read.AsObject().Remove("end");
        Assert.Equal("requested", (string)(await Put(id, read)).Is(200).Json["status"]!);

        var deleted = (await _client.Send(HttpMethod.Delete, $"/fhir/Subscription/{id}", null)).Refuses(
            405,
            "method-not-allowed",
            null,
            "of a Subscription off"
        );
        Assert.Equal(["GET", "HEAD", "PUT"], deleted.Allow.Order());
        Assert.Equal(
            ["4", "3", "2", "1"],
            (await Get($"/{id}/_history")).Is(200).Json["entry"]!.AsArray().Select(e => (string)e!["resource"]!["meta"]!["versionId"]!)
        );
    }

    [Fact]
    public async Task An_active_one_stays_active_unless_its_endpoint_is_another_R_SUB_04()
    {
        var id = await Active();
        var read = (await Get($"/{id}")).Is(200).Json;
        Assert.Equal("active", (string)read["status"]!);
        read["reason"] = "Another reason";
        Assert.Equal("active", (string)(await Put(id, read)).Is(200).Json["status"]!);
        read["channel"]!["endpoint"] = SampleSubscriptions.Nobody + "other";
        // What was confided to one endpoint is not sent to another.
        (await Put(id, read)).Refuses(422, "subscription-header-refused", "Subscription.channel.header[0]");
        read["channel"]!["header"]![0] = "Authorization: Bearer another";
        Assert.Equal("requested", (string)(await Put(id, read)).Is(200).Json["status"]!);
        Assert.Equal("requested", (await State(id)).Status);
    }

    [Fact]
    public async Task An_error_is_shown_until_the_client_asks_anew_R_SUB_04()
    {
        var id = await Active("error", "No answer since 21:00.");
        var read = (await Get($"/{id}")).Is(200).Json;
        Assert.Equal("No answer since 21:00.", (string)read["error"]!);
        var status = (await Get($"/{id}/$status")).Is(200).Json["entry"]![0]!["resource"]!["parameter"]!.AsArray();
        Assert.Equal(
            "No answer since 21:00.",
            (string)status.Single(p => (string)p!["name"]! == "error")!["valueCodeableConcept"]!["text"]!
        );

        read["error"] = "mine";
        Assert.Equal("No answer since 21:00.", (string)(await Put(id, read)).Is(200).Json["error"]!);
        read["status"] = "requested";
        Assert.Null((await Put(id, read)).Is(200).Json["error"]);
        Assert.Null((await State(id)).Error);
    }

    [Theory]
    [InlineData("return=minimal", "")]
    [InlineData("return=OperationOutcome", "OperationOutcome")]
    [InlineData("return=representation", "Subscription")]
    public async Task The_answer_is_as_long_as_the_client_prefers_R_HTTP_07(string prefer, string type)
    {
        var created = (await _client.Send(HttpMethod.Post, "/fhir/Subscription", Json(SampleSubscriptions.Here()), ("Prefer", prefer))).Is(
            201
        );
        Assert.NotNull(created.Location);
        Assert.Equal(type, created.Text.Length == 0 ? "" : (string)created.Json["resourceType"]!);
    }

    [Fact]
    public async Task The_status_of_one_of_some_and_of_all_can_be_asked_R_SUB_09()
    {
        string one = await Active(),
            other = (await Post(SampleSubscriptions.Here())).Is(201).Id;

        var single = Bundle((await Get($"/{one}/$status?id=ignored&status=off")).Is(200));
        NotificationsTests.Lawful(single);
        Assert.Equal(["active"], StatusesOf(single));
        Assert.Equal(["active", "requested"], StatusesOf(Bundle((await Get($"/$status?id={one}&id={other}")).Is(200))).Order());
        Assert.Equal(
            ["active", "requested"],
            StatusesOf(Bundle((await Get($"/$status?id={one},{other}&status=active,requested")).Is(200))).Order()
        );
        Assert.Equal(["requested"], StatusesOf(Bundle((await Get($"/$status?id={one},{other}&status=requested")).Is(200))));
        var all = Bundle((await Get("/$status")).Is(200));
        Assert.True(all.Entry.Count >= 2);
        Assert.Equal(all.Total, all.Entry.Count);

        var posted = new JsonObject
        {
            ["resourceType"] = "Parameters",
            ["parameter"] = new JsonArray(
                new JsonObject { ["name"] = "id", ["valueId"] = one },
                new JsonObject { ["name"] = "status", ["valueCode"] = "active" }
            ),
        };
        Assert.Equal(["active"], StatusesOf(Bundle((await _client.Send(HttpMethod.Post, "/fhir/Subscription/$status", posted)).Is(200))));
        Assert.Equal(
            ["active"],
            StatusesOf(Bundle((await _client.Send(HttpMethod.Post, $"/fhir/Subscription/{one}/$status", null)).Is(200)))
        );

        (await Get("/nowhere/$status")).Refuses(404, "unknown-resource", null);
        (await Get("/$status?status=sleeping")).Refuses(400, "operation-parameter-invalid", "status", "requested, active, error, off");
        (await Get("/$status?patient=1")).Refuses(400, "operation-parameter-invalid", "patient");
    }

    [Fact]
    public async Task Events_can_be_asked_for_again_as_long_as_they_are_kept_R_SUB_09()
    {
        var id = await Active();
        await Raise(id, 4);

        var all = Bundle((await Get($"/{id}/$events")).Is(200));
        NotificationsTests.Lawful(all);
        Assert.Equal(["1", "2", "3", "4"], Numbers(all));
        Assert.Equal(("query-event", "4"), (Said(all, "type"), Said(all, "events-since-subscription-start")));
        Assert.All(all.Entry.Skip(1), entry => Assert.Null(entry.Resource)); // subscribed id-only

        // Both ends are included.
        Assert.Equal(["2", "3"], Numbers(Bundle((await Get($"/{id}/$events?eventsSinceNumber=2&eventsUntilNumber=3")).Is(200))));
        Assert.Equal(["4"], Numbers(Bundle((await Get($"/{id}/$events?eventsSinceNumber=4")).Is(200))));
        Assert.Empty(Numbers(Bundle((await Get($"/{id}/$events?eventsSinceNumber=5")).Is(200))));
        Assert.Equal(["1"], Numbers(Bundle((await Get($"/{id}/$events?eventsSinceNumber=0&eventsUntilNumber=1")).Is(200))));

        var full = Bundle((await Get($"/{id}/$events?content=full-resource&eventsSinceNumber=2&eventsUntilNumber=2")).Is(200));
        Assert.Equal("1", Assert.IsType<Flag>(full.Entry[1].Resource).Meta!.VersionId); // that version, though a later one is there
        Assert.Equal(full.Entry[1].FullUrl, FocusOf(full));
        var empty = (await Get($"/{id}/$events?content=empty")).Is(200);
        Assert.DoesNotContain("Flag", empty.Text, StringComparison.Ordinal);
        Assert.Equal(["1", "2", "3", "4"], Numbers(Bundle(empty)));

        var posted = new JsonObject
        {
            ["resourceType"] = "Parameters",
            ["parameter"] = new JsonArray(
                new JsonObject { ["name"] = "eventsSinceNumber", ["valueString"] = "3" },
                new JsonObject { ["name"] = "content", ["valueCode"] = "id-only" }
            ),
        };
        Assert.Equal(
            ["3", "4"],
            Numbers(Bundle((await _client.Send(HttpMethod.Post, $"/fhir/Subscription/{id}/$events", posted)).Is(200)))
        );

        (await Get("/nowhere/$events")).Refuses(404, "unknown-resource", null);
        (await Get($"/{id}/$events?eventsSinceNumber=-1")).Refuses(400, "operation-parameter-invalid", "eventsSinceNumber");
        (await Get($"/{id}/$events?eventsSinceNumber=1&eventsSinceNumber=2")).Refuses(
            400,
            "operation-parameter-invalid",
            "eventsSinceNumber"
        );
        (await Get($"/{id}/$events?content=some")).Refuses(400, "operation-parameter-invalid", "content", "empty, id-only, full-resource");
        (await Get($"/{id}/$events?since=1")).Refuses(400, "operation-parameter-invalid", "since");
    }

    [Fact]
    public async Task An_event_that_is_forgotten_is_gone_and_said_to_be_R_SUB_09()
    {
        await using var ward = RunningService.Start(EveningOnTheWard.Now, null, ("Subscriptions:AllowLoopback", "true"));
        var client = new Sender(ward, "");
        var id = await Active(ward);
        await Raise(ward, id, 3);
        var store = ward.Services.GetRequiredService<SubscriptionStore>();
        await store.RecordAcknowledgement(id, 2, default);
        var events = ward.Services.GetRequiredService<SubscriptionEventStore>();
        Assert.True(await events.DeleteBefore(NodaTime.Instant.FromUtc(2027, 1, 1, 0, 0), 100, default) >= 2);

        async Task<Answer> Ask(string query) => await client.Send(HttpMethod.Get, $"/fhir/Subscription/{id}/$events{query}", null);
        Assert.Equal(["3"], Numbers(Bundle((await Ask("")).Is(200))));
        Assert.Equal(["3"], Numbers(Bundle((await Ask("?eventsSinceNumber=3")).Is(200))));
        (await Ask("?eventsSinceNumber=2")).Refuses(410, "events-forgotten", "eventsSinceNumber", "before number 3");
    }

    [Fact]
    public async Task Each_topic_is_published_as_a_resource_R_SUB_11()
    {
        foreach (var topic in Topics.All)
        {
            var read = (await _client.Send(HttpMethod.Get, $"/fhir/Basic/{topic.Slug}", null)).Is(200);
            var basic = FhirJsonDeserializer.STRICT.Deserialize<Basic>(read.Text);
            DataType? Of(string element) =>
                basic
                    .Extension.Single(e => e.Url == $"http://hl7.org/fhir/5.0/StructureDefinition/extension-SubscriptionTopic.{element}")
                    .Value;
            Assert.Equal(
                (Ours.Profiles.SubscriptionTopic(topic.Slug), topic.Title),
                (((FhirUri)Of("url")!).Value, ((FhirString)Of("title")!).Value)
            );
            Assert.Equal("SubscriptionTopic", basic.Code!.Coding.Single().Code);
            Assert.Equal(
                topic.Filters,
                basic
                    .Extension.Where(e => e.Url!.EndsWith(".canFilterBy", StringComparison.Ordinal))
                    .Select(e => ((FhirString)e.Extension.Single(p => p.Url == "filterParameter").Value!).Value!)
            );
            (await _client.Send(HttpMethod.Get, $"/fhir/Basic/{topic.Slug}", null, ("If-None-Match", read.ETag!))).Is(304);
        }

        (await _client.Send(HttpMethod.Get, "/fhir/Basic/admission", null)).Refuses(404, "unknown-resource", null, "flag-raised");
        (await _client.Send(HttpMethod.Get, "/fhir/Basic/flag-raised?_summary=count", null)).Is(400);
    }

    private SubscriptionStore Store => _ward.Services.GetRequiredService<SubscriptionStore>();

    private async Task<SubscriptionState> State(string id) => StoredRequest.State((await Store.Find(id, default))!);

    private Task<string> Active(string status = "active", string? error = null) => Active(_ward, status, error);

    /// <summary>A subscription whose endpoint has answered, or no longer does.</summary>
    private static async Task<string> Active(RunningService ward, string status = "active", string? error = null)
    {
        // A topic whose events no other test makes, but for flags that it is told of here.
        var id = (await new Sender(ward, "").Send(HttpMethod.Post, "/fhir/Subscription", Json(SampleSubscriptions.Here()))).Is(201).Id;
        var store = ward.Services.GetRequiredService<SubscriptionStore>();
        await ChangeStatus(1, "active", null);
        if (status != "active")
            await ChangeStatus(2, status, error);
        return id;

        async Task ChangeStatus(long version, string to, string? why)
        {
            var state = StoredRequest.State((await store.Find(id, default))!);
            Assert.IsType<SubscriptionOutcome.Saved>(
                await store.ChangeStatus(
                    id,
                    version,
                    to,
                    why,
                    ShownSubscription.Of(SampleSubscriptions.Here(), id, to, why, state.Request.Headers),
                    default
                )
            );
        }
    }

    private Task Raise(string id, int times) => Raise(_ward, id, times);

    /// <summary>
    /// Flags of a patient of this subscription alone: all but the last are changed once afterwards, without telling anybody.
    /// </summary>
    private static async Task Raise(RunningService ward, string id, int times)
    {
        var episode = await ward.Open(RunningService.Episode($"stay of {id}", "2026-03-14T08:00:00Z"));
        var store = ward.Services.GetRequiredService<EpisodeStore>();
        for (var i = 1; i <= times; i++)
        {
            var flag = new Flag
            {
                Id = string.Create(CultureInfo.InvariantCulture, $"{episode}.f{i}"),
                Status = Flag.FlagStatus.Active,
                Code = Codes.Flag("outflow-deficit", "an invented flag"),
                Subject = new() { Identifier = new(RunningService.PatientSystem, id) },
                Period = new() { Start = "2026-03-14T09:00:00Z" },
            };
            await Save(
                flag,
                [
                    new OutboxEvent("Flag", flag.Id, "raised")
                    {
                        Topics = ["flag-raised"],
                        Attributes = [.. EventAttributes.Of(flag).Select(a => $"{a.Parameter} {a.Value}")],
                    },
                ]
            );
            flag.Status = Flag.FlagStatus.Inactive;
            await Save(flag, []);
        }

        async Task Save(Flag flag, IReadOnlyList<OutboxEvent> told)
        {
            var row = (await store.Find(episode, default))!;
            Assert.IsType<SaveOutcome.Saved>(await store.Save(StoreOnDisk.Change(row, [], flag) with { Events = told }, default));
        }
    }

    private Task<Answer> Post(Subscription asked) => _client.Send(HttpMethod.Post, "/fhir/Subscription", Json(asked));

    private Task<Answer> Put(string id, JsonNode asked, params (string Name, string Value)[] headers) =>
        _client.Send(HttpMethod.Put, $"/fhir/Subscription/{id}", asked, headers);

    private Task<Answer> Get(string address) => _client.Send(HttpMethod.Get, $"/fhir/Subscription{address}", null);

    private static JsonNode Json(Subscription asked) => JsonNode.Parse(FhirJson.Write(asked))!;

    private static Subscription With(Subscription asked, Action<Subscription> change)
    {
        change(asked);
        return asked;
    }

    private static Bundle Bundle(Answer answer)
    {
        Assert.Equal(HttpStatusCode.OK, answer.Status);
        return FhirJsonDeserializer.STRICT.Deserialize<Bundle>(answer.Text);
    }

    private static IEnumerable<string> StatusesOf(Bundle bundle) => bundle.Entry.Select(e => Of((Parameters)e.Resource!, "status"));

    private static IEnumerable<string> Numbers(Bundle bundle) => Parts(bundle, "event-number").Select(value => value.ToString()!);

    private static string FocusOf(Bundle bundle) => ((ResourceReference)Parts(bundle, "focus").Single()).Reference!;

    private static IEnumerable<DataType> Parts(Bundle bundle, string name) =>
        ((Parameters)bundle.Entry[0].Resource!).Parameter.SelectMany(p => p.Part).Where(p => p.Name == name).Select(p => p.Value!);

    private static string Said(Bundle bundle, string name) => Of((Parameters)bundle.Entry[0].Resource!, name);

    private static string Of(Parameters status, string name) => status.Parameter.Single(p => p.Name == name).Value!.ToString()!;
}
