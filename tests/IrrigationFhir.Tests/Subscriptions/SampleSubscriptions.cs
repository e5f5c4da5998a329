using System.Collections.Immutable;
using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Subscriptions;
using Duration = NodaTime.Duration;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Tests.Subscriptions;

/// <summary>Subscriptions of an invented ward board.</summary>
internal static class SampleSubscriptions
{
    /// <summary>2026-03-14T20:00:00Z.</summary>
    public static readonly Instant Now = Instant.FromUtc(2026, 3, 14, 20, 0);

    /// <summary>Allows what ends in .example.</summary>
    public static readonly IEndpointRules Rules = new ExampleOnly();

    /// <summary>A subscription as the guide's Subscription-subscription-admission.json is made, to a topic of ours.</summary>
    public static Subscription Subscription(SubscriptionTopic? topic = null, params string[] filters)
    {
        topic ??= Topics.FlagRaised;
        var subscription = new Subscription
        {
            Status = Hl7.Fhir.Model.Subscription.SubscriptionStatus.Requested,
            Reason = "The board of an invented ward",
            Criteria = Ours.Profiles.SubscriptionTopic(topic.Slug),
            End = new DateTimeOffset(2026, 12, 31, 12, 0, 0, TimeSpan.Zero),
            Channel = new()
            {
                Type = Hl7.Fhir.Model.Subscription.SubscriptionChannelType.RestHook,
                Endpoint = "https://board.example/notify?board=7",
                Payload = "application/fhir+json",
                Header = ["Authorization: Bearer open-sesame"],
                Extension =
                [
                    new(Profiles.Backport.HeartbeatPeriod, new UnsignedInt(86400)),
                    new(Profiles.Backport.Timeout, new UnsignedInt(60)),
                    new(Profiles.Backport.MaxCount, new PositiveInt(20)),
                ],
            },
        };
        foreach (var filter in filters)
            subscription.CriteriaElement!.Extension.Add(new(Profiles.Backport.FilterCriteria, new FhirString(filter)));
        subscription.Channel.PayloadElement!.Extension.Add(new(Profiles.Backport.PayloadContent, new Code("id-only")));
        return subscription;
    }

    /// <summary>The same for an endpoint on this machine where nobody listens.</summary>
    public static Subscription Here(SubscriptionTopic? topic = null, params string[] filters)
    {
        var subscription = Subscription(topic, filters);
        subscription.Channel!.Endpoint = Nobody + "notify";
        return subscription;
    }

    /// <summary>Where nobody listens (the port of the discard service, RFC 863).</summary>
    public const string Nobody = "https://127.0.0.1:9/";

    /// <summary>The same as stored.</summary>
    public static SubscriptionState State(
        PayloadContent content = PayloadContent.IdOnly,
        string status = "active",
        long events = 2,
        string? error = null
    ) =>
        new(
            "board-7",
            1,
            status,
            new(
                Topics.FlagRaised,
                [],
                new("https://board.example/notify"),
                "application/fhir+json",
                content,
                ImmutableArray<string>.Empty,
                Duration.FromDays(1),
                null,
                20,
                null
            ),
            error,
            events,
            0,
            null,
            null,
            0,
            null,
            null,
            LastingAccess.Local
        );

    private sealed class ExampleOnly : IEndpointRules
    {
        public string? Refusal(Uri endpoint) =>
            endpoint.Host.EndsWith(".example", StringComparison.Ordinal) || endpoint.IsLoopback ? null : "a host outside .example";
    }
}
