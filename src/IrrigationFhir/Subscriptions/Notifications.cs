using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Subscriptions;

/// <summary>Why something is said about a subscription; the names are those of the R5 value set subscription-notification-type.</summary>
internal enum NotificationKind
{
    /// <summary>Whether the endpoint answers, before anything else.</summary>
    Handshake,

    /// <summary>That there was nothing to say.</summary>
    Heartbeat,

    /// <summary>That something happened.</summary>
    EventNotification,

    /// <summary>The answer to <c>$status</c>.</summary>
    QueryStatus,

    /// <summary>The answer to <c>$events</c>.</summary>
    QueryEvent,
}

/// <summary>
/// Notifications as the Subscriptions R5 Backport guide 1.1.0 writes them in R4: a history whose first entry says how the subscription
/// stands.
/// </summary>
/// <remarks>
/// R4 wants request and response in every entry of a history (bdl-3, bdl-4) and no version in a fullUrl (bdl-8). Both counters are
/// strings, because R4 has no integer64.
/// </remarks>
internal sealed class Notifications(Vocabulary vocabulary)
{
    /// <summary>The Bundle of a notification or of <c>$events</c>.</summary>
    /// <param name="kind">Any but <see cref="NotificationKind.QueryStatus"/>, whose Bundle is <see cref="Statuses"/>.</param>
    /// <param name="baseUrl">The address of the FHIR base, without a slash at its end.</param>
    /// <param name="subscription">As it stands when the notification is made.</param>
    /// <param name="events">What happened, in order; none for a handshake or a heartbeat.</param>
    /// <param name="now">When the notification is made.</param>
    /// <param name="content">How much of the resources; null is as subscribed.</param>
    public Bundle Of(
        NotificationKind kind,
        string baseUrl,
        SubscriptionState subscription,
        IReadOnlyList<NotificationEvent> events,
        Instant now,
        PayloadContent? content = null
    )
    {
        var level = content ?? subscription.Request.Content;
        var status = Status(kind, baseUrl, subscription, events, now, level);
        return new()
        {
            Meta = new() { Profile = [Profiles.Backport.Notification] },
            Type = Bundle.BundleType.History,
            Timestamp = now.ToDateTimeOffset(),
            Entry =
            [
                new()
                {
                    FullUrl = $"urn:uuid:{status.Id}",
                    Resource = status,
                    Request = new() { Method = Bundle.HTTPVerb.GET, Url = $"{baseUrl}/Subscription/{subscription.Id}/$status" },
                    Response = new() { Status = "200" },
                },
                .. level == PayloadContent.Empty ? [] : events.Select(e => Entry(e, baseUrl, level)),
            ],
        };
    }

    /// <summary>The Bundle of <c>$status</c>: a searchset with the status of each subscription.</summary>
    /// <param name="baseUrl">The address of the FHIR base.</param>
    /// <param name="subscriptions">Those that were asked for.</param>
    /// <param name="now">When it was asked.</param>
    /// <param name="self">The address that asks again, or null.</param>
    public Bundle Statuses(string baseUrl, IEnumerable<SubscriptionState> subscriptions, Instant now, string? self)
    {
        var found = subscriptions.Select(subscription => Status(NotificationKind.QueryStatus, baseUrl, subscription, [], now)).ToList();
        return new()
        {
            Type = Bundle.BundleType.Searchset,
            Timestamp = now.ToDateTimeOffset(),
            Total = found.Count,
            Link = self is null ? [] : [new() { Relation = "self", Url = self }],
            Entry =
            [
                .. found.Select(status => new Bundle.EntryComponent
                {
                    FullUrl = $"urn:uuid:{status.Id}",
                    Resource = status,
                    Search = new() { Mode = Bundle.SearchEntryMode.Match },
                }),
            ],
        };
    }

    /// <summary>How a subscription stands, as Parameters.</summary>
    /// <param name="kind">Why it is said.</param>
    /// <param name="baseUrl">The address of the FHIR base.</param>
    /// <param name="subscription">The subscription.</param>
    /// <param name="events">The events that it is said with.</param>
    /// <param name="now">When it is said; with the rest it makes the id.</param>
    /// <param name="content">
    /// How much of the resources; null is as subscribed. With <c>empty</c> neither the topic nor a resource is named.
    /// </param>
    public Parameters Status(
        NotificationKind kind,
        string baseUrl,
        SubscriptionState subscription,
        IReadOnlyList<NotificationEvent> events,
        Instant now,
        PayloadContent? content = null
    )
    {
        var level = content ?? subscription.Request.Content;
        return new()
        {
            Id = IdOf(kind, subscription, events, now, level),
            Meta = new() { Profile = [Profiles.Backport.Status] },
            Parameter =
            [
                new() { Name = "subscription", Value = new ResourceReference($"{baseUrl}/Subscription/{subscription.Id}") },
                .. level == PayloadContent.Empty
                    ? Array.Empty<Parameters.ParameterComponent>()
                    :
                    [
                        new()
                        {
                            Name = "topic",
                            Value = new Canonical(vocabulary.Profiles.SubscriptionTopic(subscription.Request.Topic.Slug)),
                        },
                    ],
                new() { Name = "status", Value = new Code(subscription.Status) },
                new() { Name = "type", Value = new Code(Irrigation.Slug.Of(kind)) },
                new() { Name = "events-since-subscription-start", Value = Counter(subscription.Events) },
                .. events.Select(e => Event(e, baseUrl, level)),
                .. subscription.Status == "error"
                    ?
                    [
                        new()
                        {
                            Name = "error",
                            Value = new CodeableConcept { Text = subscription.Error ?? "Notifications do not arrive." },
                        },
                    ]
                    : Array.Empty<Parameters.ParameterComponent>(),
            ],
        };
    }

    private static Parameters.ParameterComponent Event(NotificationEvent one, string baseUrl, PayloadContent level) =>
        new()
        {
            Name = "notification-event",
            Part =
            [
                new() { Name = "event-number", Value = Counter(one.Number) },
                new() { Name = "timestamp", Value = new Hl7.Fhir.Model.Instant(one.At.ToDateTimeOffset()) },
                .. level == PayloadContent.Empty
                    ? Array.Empty<Parameters.ParameterComponent>()
                    : [new() { Name = "focus", Value = new ResourceReference(Address(one, baseUrl)) }],
            ],
        };

    private static Bundle.EntryComponent Entry(NotificationEvent one, string baseUrl, PayloadContent level)
    {
        var resource = level == PayloadContent.FullResource && one.Json is { } json ? FhirJson.Read<Resource>(json) : null;
        var gone = level == PayloadContent.FullResource && resource is null;
        return new()
        {
            FullUrl = Address(one, baseUrl),
            Resource = resource,
            // The request that could have made this version, as in the guide's examples.
            Request =
                gone ? new() { Method = Bundle.HTTPVerb.GET, Url = $"{one.Type}/{one.Id}/_history/{one.VersionId}" }
                : one.VersionId == 1 ? new() { Method = Bundle.HTTPVerb.POST, Url = one.Type }
                : new() { Method = Bundle.HTTPVerb.PUT, Url = $"{one.Type}/{one.Id}" },
            Response = new()
            {
                Status =
                    gone ? "404"
                    : one.VersionId == 1 ? "201"
                    : "200",
                Etag = EntityTags.Of(one.VersionId),
            },
        };
    }

    private static string Address(NotificationEvent one, string baseUrl) => $"{baseUrl}/{one.Type}/{one.Id}";

    private static FhirString Counter(long number) => new(number.ToString(CultureInfo.InvariantCulture));

    /// <summary>A UUID of version 8 (RFC 9562) from what is said: the same again has the same one.</summary>
    private static string IdOf(
        NotificationKind kind,
        SubscriptionState subscription,
        IReadOnlyList<NotificationEvent> events,
        Instant now,
        PayloadContent level
    )
    {
        var numbers = string.Join(',', events.Select(e => e.Number));
        var said = string.Create(
            CultureInfo.InvariantCulture,
            $"{kind}|{subscription.Id}|{subscription.Version}|{subscription.Status}|{subscription.Events}|{numbers}|"
                + $"{now.ToUnixTimeTicks()}|{level}"
        );
        var bytes = SHA256.HashData(Encoding.UTF8.GetBytes(said))[..16];
        bytes[6] = (byte)((bytes[6] & 0x0F) | 0x80);
        bytes[8] = (byte)((bytes[8] & 0x3F) | 0x80);
        return new Guid(bytes, bigEndian: true).ToString();
    }
}
