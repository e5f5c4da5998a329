using IrrigationFhir.Access;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>A subscription as stored.</summary>
/// <param name="Id">Its logical id.</param>
/// <param name="Status"><c>requested</c>, <c>active</c>, <c>error</c> or <c>off</c>.</param>
/// <param name="Topic">Slug of its topic.</param>
/// <param name="Filters">
/// As JSON: an array of objects with <c>p</c>, the parameter, and <c>any</c>, the values of which one has to match.
/// </param>
/// <param name="Request">What its client asked for, as the room of subscriptions chose to write it. Beware: it holds secrets.</param>
/// <param name="Error">Why it is in error; null where it is not.</param>
/// <param name="Events">Events so far; the number of the latest.</param>
/// <param name="Delivered">Up to which event the endpoint has acknowledged.</param>
/// <param name="StartedAt">When it was first active; events count from then. Null before.</param>
/// <param name="FailingSince">Since when nothing was acknowledged; null while all is well.</param>
/// <param name="Attempts">Failed ones since then.</param>
/// <param name="LastFailure">What failed last, without anything that an endpoint or a patient said.</param>
/// <param name="LastSentAt">When a notification was last acknowledged; null before the first.</param>
/// <param name="Heartbeat">After how much silence it wants to hear that all is well; null for never.</param>
/// <param name="EndsAt">When it ends; null for never.</param>
/// <param name="Version">The version of its resource.</param>
internal sealed record SubscriptionRow(
    string Id,
    string Status,
    string Topic,
    string Filters,
    string Request,
    string? Error,
    long Events,
    long Delivered,
    Instant? StartedAt,
    Instant? FailingSince,
    int Attempts,
    string? LastFailure,
    Instant? LastSentAt,
    Duration? Heartbeat,
    Instant? EndsAt,
    long Version = 0
)
{
    /// <summary>Whose it is, and what that client was allowed when it last said what it wants.</summary>
    public LastingAccess Owner { get; init; } = LastingAccess.Local;
}

/// <summary>An event of a subscription: a version of a resource.</summary>
/// <param name="Number">Its number in the subscription, from 1.</param>
/// <param name="At">When it was stored.</param>
/// <param name="Event">What became of the resource.</param>
/// <param name="Type">The resource's FHIR type.</param>
/// <param name="Id">The resource's id.</param>
/// <param name="VersionId">The version that the event made.</param>
/// <param name="Json">That version; null where it is no longer there.</param>
internal sealed record SubscriptionEventRow(long Number, Instant At, string Event, string Type, string Id, long VersionId, string? Json);

/// <summary>What became of a change of a subscription.</summary>
internal abstract record SubscriptionOutcome
{
    /// <summary>It is on disk.</summary>
    public sealed record Saved(ResourceVersion Version) : SubscriptionOutcome;

    /// <summary>There is none of that id.</summary>
    public sealed record Unknown : SubscriptionOutcome;

    /// <summary>It has another version than expected; nothing is stored.</summary>
    public sealed record Conflict(long Actual) : SubscriptionOutcome;

    /// <summary>There are as many as there may be; nothing is stored.</summary>
    public sealed record TooMany(int Most) : SubscriptionOutcome;
}

/// <summary>How deliveries stand over all subscriptions.</summary>
/// <param name="Waiting">Events not acknowledged yet, of subscriptions that are not off.</param>
/// <param name="OldestWaiting">When the oldest of them was stored; null where none waits.</param>
/// <param name="ByStatus">Subscriptions by their status.</param>
/// <param name="Failing">Active subscriptions whose last attempt failed.</param>
internal sealed record DeliveryQueue(long Waiting, Instant? OldestWaiting, IReadOnlyDictionary<string, long> ByStatus, long Failing);
