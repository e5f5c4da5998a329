using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using IrrigationFhir.Store;
using IrrigationFhir.Subscriptions;

namespace IrrigationFhir.Tests.Subscriptions;

public class NotificationsTests
{
    private static Notifications Notifications { get; } = new(Ours.Vocabulary);

    private const string Base = "https://ward.example/fhir";
    private const string Guide = "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/";

    // What every entry[0] of the guide's R4 examples has, by path; the type stands in the name of the element.
    private static readonly string[] First =
    [
        "entry[0].fullUrl=urn:uuid:",
        "entry[0].request.method=GET",
        "entry[0].request.url=…/Subscription/board-7/$status",
        "entry[0].resource.id",
        $"entry[0].resource.meta.profile[0]={Guide}backport-subscription-status-r4",
        "entry[0].resource.parameter(events-since-subscription-start).valueString",
        "entry[0].resource.parameter(status).valueCode",
        "entry[0].resource.parameter(subscription).valueReference.reference",
        "entry[0].resource.parameter(topic).valueCanonical",
        "entry[0].resource.parameter(type).valueCode",
        "entry[0].resource.resourceType=Parameters",
        "entry[0].response.status=200",
        $"meta.profile[0]={Guide}backport-subscription-notification-r4",
        "resourceType=Bundle",
        "timestamp",
        "type=history",
    ];

    private static readonly string[] Event =
    [
        "entry[0].resource.parameter(notification-event).part(event-number).valueString",
        "entry[0].resource.parameter(notification-event).part(timestamp).valueInstant",
    ];

    private static readonly string[] Focus = ["entry[0].resource.parameter(notification-event).part(focus).valueReference.reference"];

    [Fact]
    public void A_handshake_has_the_shape_of_the_guides()
    {
        // Bundle-r4-notification-handshake.json: status requested, type handshake, counter "0".
        var bundle = Notifications.Of(
            NotificationKind.Handshake,
            Base,
            SampleSubscriptions.State(status: "requested", events: 0),
            [],
            SampleSubscriptions.Now
        );
        Assert.Equal(First, Shape(bundle));
        Assert.Equal(("requested", "handshake", "0"), Said(bundle));
        Lawful(bundle);
    }

    [Fact]
    public void A_heartbeat_has_the_shape_of_the_guides()
    {
        // Bundle-r4-notification-heartbeat.json: status active, type heartbeat, and the counter stays.
        var bundle = Notifications.Of(NotificationKind.Heartbeat, Base, SampleSubscriptions.State(), [], SampleSubscriptions.Now);
        Assert.Equal(First, Shape(bundle));
        Assert.Equal(("active", "heartbeat", "2"), Said(bundle));
        Lawful(bundle);
    }

    [Fact]
    public void With_empty_content_nobody_learns_what_happened_or_to_whom()
    {
        // Bundle-r4-notification-empty.json, but for its topic, which the definition of the status (backport-subscription-status-r4)
        // would rather not see with empty; payloads.md: neither focus nor further entries.
        var bundle = Notifications.Of(
            NotificationKind.EventNotification,
            Base,
            SampleSubscriptions.State(PayloadContent.Empty),
            [Raised(2)],
            SampleSubscriptions.Now
        );
        Assert.Equal(
            [.. First.Except(["entry[0].resource.parameter(topic).valueCanonical"]).Concat(Event).Order(StringComparer.Ordinal)],
            Shape(bundle)
        );
        Assert.Equal(("active", "event-notification", "2"), Said(bundle));
        Assert.DoesNotContain("Flag", FhirJson.Write(bundle), StringComparison.Ordinal);
        Lawful(bundle);
    }

    [Fact]
    public void With_id_only_content_the_address_is_told_and_the_resource_is_not()
    {
        // Bundle-r4-notification-id-only.json for entry[0]; payloads.md allows further entries, each with fullUrl and request, without a
        // resource.
        var bundle = Notifications.Of(
            NotificationKind.EventNotification,
            Base,
            SampleSubscriptions.State(),
            [Raised(2)],
            SampleSubscriptions.Now
        );
        Assert.Equal(
            [
                .. First
                    .Concat(Event)
                    .Concat(Focus)
                    .Concat([
                        "entry[1].fullUrl=…/Flag/f2",
                        "entry[1].request.method=POST",
                        "entry[1].request.url=Flag",
                        "entry[1].response.etag",
                        "entry[1].response.status=201",
                    ])
                    .Order(StringComparer.Ordinal),
            ],
            Shape(bundle)
        );
        Assert.Equal($"{Base}/Flag/f2", FocusOf(bundle));
        Lawful(bundle);
    }

    [Fact]
    public void With_full_resource_content_the_resource_comes_along()
    {
        // Bundle-r4-notification-full-resource.json: entry[1] has fullUrl, resource, request and response.
        var bundle = Notifications.Of(
            NotificationKind.EventNotification,
            Base,
            SampleSubscriptions.State(PayloadContent.FullResource),
            [Raised(2)],
            SampleSubscriptions.Now
        );
        Assert.Equal(
            [
                .. First
                    .Concat(Event)
                    .Concat(Focus)
                    .Concat([
                        "entry[1].fullUrl=…/Flag/f2",
                        "entry[1].request.method=POST",
                        "entry[1].request.url=Flag",
                        "entry[1].response.etag",
                        "entry[1].response.status=201",
                        "entry[1].resource.code.text",
                        "entry[1].resource.id",
                        "entry[1].resource.meta.versionId",
                        "entry[1].resource.resourceType=Flag",
                        "entry[1].resource.status",
                        "entry[1].resource.subject.display",
                    ])
                    .Order(StringComparer.Ordinal),
            ],
            Shape(bundle)
        );
        Assert.Equal(Raised(2).Json, FhirJson.Write(bundle.Entry[1].Resource!));
        Lawful(bundle);
    }

    [Fact]
    public void An_update_is_told_as_one_and_two_versions_of_one_resource_may_come_together()
    {
        NotificationEvent[] events = [Raised(3) with { Id = "f" }, Raised(4) with { Id = "f", VersionId = 2 }];
        var bundle = Notifications.Of(
            NotificationKind.QueryEvent,
            Base,
            SampleSubscriptions.State(events: 9),
            events,
            SampleSubscriptions.Now,
            PayloadContent.FullResource
        );
        Assert.Equal(("active", "query-event", "9"), Said(bundle));
        Assert.Equal(
            ["POST Flag 201 W/\"1\"", "PUT Flag/f 200 W/\"2\""],
            bundle
                .Entry.Skip(1)
                .Select(e => $"{e.Request!.Method.ToString()!.ToUpperInvariant()} {e.Request.Url} {e.Response!.Status} {e.Response.Etag}")
        );
        Assert.Equal(["3", "4"], Parts(bundle, "event-number"));
        Lawful(bundle); // bdl-7 lets a history name one fullUrl twice
    }

    [Fact]
    public void A_version_that_is_no_longer_there_is_said_to_be_missing()
    {
        var bundle = Notifications.Of(
            NotificationKind.QueryEvent,
            Base,
            SampleSubscriptions.State(),
            [Raised(2) with { Json = null }],
            SampleSubscriptions.Now,
            PayloadContent.FullResource
        );
        var entry = bundle.Entry[1];
        Assert.Equal(
            (null, $"{Base}/Flag/f2", "Flag/f2/_history/1", "404"),
            (entry.Resource, entry.FullUrl, entry.Request!.Url, entry.Response!.Status)
        );
        Lawful(bundle);
    }

    [Fact]
    public void An_error_is_named_while_the_status_is_error()
    {
        // Bundle-r4-notification-error.json: query-status with a parameter error as CodeableConcept.
        var failing = Notifications.Status(
            NotificationKind.QueryStatus,
            Base,
            SampleSubscriptions.State(status: "error", error: "No answer since 19:00."),
            [],
            SampleSubscriptions.Now
        );
        Assert.Equal("No answer since 19:00.", ((CodeableConcept)failing.Parameter.Single(p => p.Name == "error").Value!).Text);
        var well = Notifications.Status(
            NotificationKind.QueryStatus,
            Base,
            SampleSubscriptions.State(error: "left over"),
            [],
            SampleSubscriptions.Now
        );
        Assert.DoesNotContain(well.Parameter, p => p.Name == "error");
    }

    [Fact]
    public void The_answer_to_status_is_a_searchset_of_Parameters()
    {
        var bundle = Notifications.Statuses(
            Base,
            [SampleSubscriptions.State(), SampleSubscriptions.State(PayloadContent.Empty, "off")],
            SampleSubscriptions.Now,
            $"{Base}/Subscription/$status"
        );
        Assert.Equal((Bundle.BundleType.Searchset, 2), (bundle.Type, bundle.Total));
        Assert.All(bundle.Entry, e => Assert.IsType<Parameters>(e.Resource));
        Assert.Equal(2, bundle.Entry.Select(e => e.FullUrl).Distinct().Count());
        Assert.All(
            bundle.Entry,
            e => Assert.Equal("query-status", ((Code)((Parameters)e.Resource!).Parameter.Single(p => p.Name == "type").Value!).Value)
        );
        Lawful(bundle);
    }

    [Fact]
    public void The_same_said_twice_is_the_same_to_the_letter() =>
        Assert.Equal(
            FhirJson.Write(
                Notifications.Of(
                    NotificationKind.EventNotification,
                    Base,
                    SampleSubscriptions.State(),
                    [Raised(2)],
                    SampleSubscriptions.Now
                )
            ),
            FhirJson.Write(
                Notifications.Of(
                    NotificationKind.EventNotification,
                    Base,
                    SampleSubscriptions.State(),
                    [Raised(2)],
                    SampleSubscriptions.Now
                )
            )
        );

    /// <summary>
    /// The rules of R4's Bundle that a notification can break (bundle.html, 4.0.1; bdl-3, bdl-4, bdl-7, bdl-8), and R4 JSON without faults.
    /// </summary>
    internal static void Lawful(Bundle bundle)
    {
        var history = bundle.Type == Bundle.BundleType.History;
        Assert.All(
            bundle.Entry,
            entry =>
            {
                Assert.Equal(history, entry.Request is not null); // bdl-3
                Assert.Equal(history, entry.Response is not null); // bdl-4
                Assert.True(entry.Resource is not null || entry.Request is not null); // bdl-5
                Assert.DoesNotContain("/_history/", entry.FullUrl!, StringComparison.Ordinal); // bdl-8
                Assert.True(Uri.IsWellFormedUriString(entry.FullUrl, UriKind.Absolute));
            }
        );
        if (!history)
            Assert.Equal(bundle.Entry.Count, bundle.Entry.Select(e => e.FullUrl + e.Resource?.Meta?.VersionId).Distinct().Count()); // bdl-7
        if (bundle.Type != Bundle.BundleType.Searchset)
            Assert.All(bundle.Entry, entry => Assert.Null(entry.Search)); // bdl-2
        if (history)
            Assert.IsType<Parameters>(bundle.Entry[0].Resource); // backport-notification-bundle-r4-1
        Assert.Equal(FhirJson.Write(bundle), FhirJson.Write(FhirJsonDeserializer.STRICT.Deserialize<Bundle>(FhirJson.Write(bundle))));
    }

    private static NotificationEvent Raised(long number) =>
        new(
            number,
            SampleSubscriptions.Now,
            "raised",
            "Flag",
            $"f{number}",
            1,
            FhirJson.Write(
                new Flag
                {
                    Id = $"f{number}",
                    Meta = new() { VersionId = "1" },
                    Status = Flag.FlagStatus.Active,
                    Code = new() { Text = "invented" },
                    Subject = new() { Display = "invented" },
                }
            )
        );

    private static (string Status, string Type, string Events) Said(Bundle bundle) =>
        (Parameter(bundle, "status"), Parameter(bundle, "type"), Parameter(bundle, "events-since-subscription-start"));

    private static string Parameter(Bundle bundle, string name) =>
        ((Parameters)bundle.Entry[0].Resource!).Parameter.Single(p => p.Name == name).Value!.ToString()!;

    private static IEnumerable<string> Parts(Bundle bundle, string name) =>
        ((Parameters)bundle.Entry[0].Resource!)
            .Parameter.SelectMany(p => p.Part)
            .Where(p => p.Name == name)
            .Select(p => p.Value!.ToString()!);

    private static string FocusOf(Bundle bundle) =>
        (
            (ResourceReference)
                ((Parameters)bundle.Entry[0].Resource!).Parameter.SelectMany(p => p.Part).Single(p => p.Name == "focus").Value!
        ).Reference!;

    /// <summary>Every leaf by its path, with the values that the guide settles.</summary>
    private static string[] Shape(Bundle bundle) =>
        [.. Leaves(JsonNode.Parse(FhirJson.Write(bundle))!, "").Distinct().Order(StringComparer.Ordinal)];

    private static IEnumerable<string> Leaves(JsonNode node, string at) =>
        node switch
        {
            JsonObject map => map.Where(p =>
                    p.Key != "name" || map["part"] is null && !map.Any(q => q.Key.StartsWith("value", StringComparison.Ordinal))
                )
                .SelectMany(p => Leaves(p.Value!, at.Length == 0 ? p.Key : $"{at}.{p.Key}")),
            JsonArray list => list.SelectMany(
                (one, i) => Leaves(one!, one is JsonObject && one["name"] is { } name ? $"{at}({name})" : $"{at}[{i}]")
            ),
            _ => [at + Settled(at, (string)node!)],
        };

    private static string Settled(string at, string value) =>
        at switch
        {
            "type" or "resourceType" or "meta.profile[0]" => $"={value}",
            "entry[0].fullUrl" => value.StartsWith("urn:uuid:", StringComparison.Ordinal) ? "=urn:uuid:" : $"={value}",
            _ when at.EndsWith(".resourceType", StringComparison.Ordinal)
                    || at.EndsWith("resource.meta.profile[0]", StringComparison.Ordinal) => $"={value}",
            _ when at.Contains(".request.", StringComparison.Ordinal)
                    || at.EndsWith(".response.status", StringComparison.Ordinal)
                    || at.EndsWith(".fullUrl", StringComparison.Ordinal) => $"={value.Replace(Base, "…", StringComparison.Ordinal)}",
            _ => "",
        };
}
