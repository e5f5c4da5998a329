using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Subscriptions;

/// <summary>A subscription as stored.</summary>
/// <param name="Id">Its logical id.</param>
/// <param name="Version">The version of its resource.</param>
/// <param name="Status"><c>requested</c>, <c>active</c>, <c>error</c> or <c>off</c>.</param>
/// <param name="Request">What was asked for.</param>
/// <param name="Error">What went wrong, for its owner; set where the status is <c>error</c>.</param>
/// <param name="Events">How many events there were so far: the number of the last one.</param>
/// <param name="Delivered">The number of the last event that the endpoint acknowledged.</param>
/// <param name="StartedAt">When it first became active; events count from then.</param>
/// <param name="FailingSince">When deliveries began to fail.</param>
/// <param name="Attempts">How many deliveries failed in a row.</param>
/// <param name="LastFailure">Why the last one did.</param>
/// <param name="LastSentAt">When something was last sent.</param>
internal sealed record SubscriptionState(
    string Id,
    long Version,
    string Status,
    SubscriptionRequest Request,
    string? Error,
    long Events,
    long Delivered,
    Instant? StartedAt,
    Instant? FailingSince,
    int Attempts,
    string? LastFailure,
    Instant? LastSentAt
);

/// <summary>One event of a subscription.</summary>
/// <param name="Number">From 1, without gaps, of this subscription alone.</param>
/// <param name="At">When it was stored.</param>
/// <param name="Event">What happened, as the topic calls it.</param>
/// <param name="Type">The type of the resource it is about.</param>
/// <param name="Id">The id of that resource.</param>
/// <param name="VersionId">The version of that resource which the event made.</param>
/// <param name="Json">That version; null where it is not needed or no longer there.</param>
internal sealed record NotificationEvent(long Number, Instant At, string Event, string Type, string Id, long VersionId, string? Json)
{
    /// <summary>An event, from its row.</summary>
    public static NotificationEvent Of(SubscriptionEventRow row) =>
        new(row.Number, row.At, row.Event, row.Type, row.Id, row.VersionId, row.Json);
}
