using IrrigationFhir.Access;
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
/// <param name="Owner">Whose it is, and what that client was allowed.</param>
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
    Instant? LastSentAt,
    LastingAccess Owner
)
{
    /// <summary>Whether a client may be told now of what is or was told here, in whole resources or less.</summary>
    public bool MayBeToldTo(Caller client, PayloadContent? content = null) =>
        (Request with { Content = content ?? Request.Content }).MayBeToldTo(client)
        && (client.Facilities is null || Owner.Facilities?.All(client.Sees) is true);
}
