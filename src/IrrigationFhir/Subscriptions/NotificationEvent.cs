using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Subscriptions;

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
