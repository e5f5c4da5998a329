using System.Collections.Concurrent;
using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using IrrigationFhir.Access;
using IrrigationFhir.Audit;
using IrrigationFhir.Model;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Hosting.Server;
using Duration = NodaTime.Duration;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Subscriptions;

/// <summary>
/// Sends one subscription what waits for it: handshake, events in order, heartbeat; and settles its status by the answers.
/// </summary>
internal sealed class DeliverToSubscription(
    SubscriptionStore subscriptions,
    SubscriptionEventStore events,
    ResourceStore resources,
    Endpoints endpoints,
    IEndpointRules rules,
    IServiceProvider services,
    SubscriptionSettings settings,
    SubscriptionMetrics metrics,
    ToldEvents told,
    IServer server,
    FhirSettings fhir,
    TimeProvider clock,
    ICallers callers,
    Notifications notifications,
    AuditTrail audit
)
{
    // What was recorded as disclosed is not recorded again for each attempt to send it.
    private readonly ConcurrentDictionary<string, long> _disclosed = new();

    // Nor is what was passed over counted again.
    private readonly ConcurrentDictionary<string, long> _passed = new();

    /// <summary>Sends one notification after another, until nothing is left or an attempt fails.</summary>
    public async ValueTask<DeliveryOutcome> Deliver(string id, CancellationToken stop)
    {
        while (await subscriptions.Find(id, stop) is { } row)
        {
            var subscription = StoredRequest.State(row);
            if (subscription.Status == "off")
                break;
            if (subscription.Request.End <= Now)
            {
                await ChangeStatus(subscription, "off", null, stop);
                break;
            }

            if (subscription.Status == "error")
                break;
            // What its client may have is judged each time: what it was allowed when it asked may have ended since.
            if (callers.Still(subscription.Owner) is not { } owner || !subscription.MayBeToldTo(owner))
            {
                await ChangeStatus(subscription, "error", "no longer authorized: its client may not have what the topic tells of", stop);
                break;
            }

            var (notification, upTo) = await NextNotification(subscription, owner, stop);
            if (notification is null && upTo is { } passed)
            {
                // None of them may be told. The numbers show the gap.
                await subscriptions.RecordPassedOver(id, passed, CancellationToken.None);
                continue;
            }

            if (notification is null)
                break;

            if (upTo is { } last && !Disclose(subscription, notification, last))
                return new DeliveryOutcome.Failed(null);
            var attempt = await Send(subscription, notification, stop);
            if (attempt.Failure is null)
            {
                if (subscription.Status == "requested")
                    await ChangeStatus(subscription, "active", null, CancellationToken.None);
                else
                    await subscriptions.RecordAcknowledgement(id, upTo, CancellationToken.None);
                continue;
            }

            if (!attempt.WasSent)
                return new DeliveryOutcome.Failed(attempt.RetryAfter);

            await subscriptions.RecordFailure(id, attempt.Failure, CancellationToken.None);
            if (ReasonToGiveUp(subscription) is not { } reason)
                return new DeliveryOutcome.Failed(attempt.RetryAfter);
            await ChangeStatus(subscription, "error", $"{reason}: {attempt.Failure}", stop);
        }

        return new DeliveryOutcome.NothingLeft();
    }

    private string Base => FhirBase.Of(server, fhir);

    private Instant Now => Instant.FromDateTimeOffset(clock.GetUtcNow());

    /// <summary>What is to be sent next, and up to which event it goes; null where nothing is, or of those events nothing.</summary>
    private async Task<(Bundle? Notification, long? UpTo)> NextNotification(
        SubscriptionState subscription,
        Caller owner,
        CancellationToken stop
    )
    {
        if (subscription.Status == "requested")
            return (notifications.Of(NotificationKind.Handshake, Base, subscription, [], Now), null);
        if (subscription.Delivered < subscription.Events)
        {
            var rows = await events.Read(
                subscription.Id,
                subscription.Delivered + 1,
                subscription.Events,
                subscription.Request.MaxCount,
                stop
            );
            if (rows.Count == 0)
            {
                // Kept no longer: it was in error for longer than events are kept. The numbers show the gap.
                await subscriptions.RecordAcknowledgement(subscription.Id, subscription.Events, CancellationToken.None);
                return (null, null);
            }

            var may = await told.Of(rows, owner, subscription.Request.Content, stop);
            if (may.Count < rows.Count && (!_passed.TryGetValue(subscription.Id, out var known) || known < rows[^1].Number))
            {
                _passed[subscription.Id] = rows[^1].Number;
                metrics.CountWithheld(rows.Count - may.Count);
            }

            return (
                may.Count == 0
                    ? null
                    : notifications.Of(NotificationKind.EventNotification, Base, subscription, [.. may.Select(NotificationEvent.Of)], Now),
                rows[^1].Number
            );
        }

        return subscription.Request.Heartbeat is { } silence && subscription.LastSentAt + silence <= Now
            ? (notifications.Of(NotificationKind.Heartbeat, Base, subscription, [], Now), null)
            : (null, null);
    }

    /// <summary>Records whose resources are about to be sent; false where that cannot be recorded just now.</summary>
    private bool Disclose(SubscriptionState subscription, Bundle notification, long upTo)
    {
        var sent = notification.Entry.Select(entry => entry.Resource).Where(resource => resource is not (null or Parameters)).ToList();
        if (sent.Count == 0 || (_disclosed.TryGetValue(subscription.Id, out var known) && known >= upTo))
            return true;
        var endpoint = subscription.Request.Endpoint.GetLeftPart(UriPartial.Authority); // the rest of it may be secret
        var to = new Actor(subscription.Owner.Client, null, null, endpoint, null);
        try
        {
            foreach (
                var of in sent.Select(r => new ShownVersion(r!.TypeName, r.Id!, long.TryParse(r.Meta?.VersionId, out var v) ? v : 1))
                    .GroupBy(r => r.Episode)
            )
            {
                var episodes = of.Key is { } episode ? new[] { episode } : [];
                audit.Record(
                    new(Deed.Disclose, "notification") { Resources = [.. of.Select(one => one.Address)], Episodes = episodes },
                    to
                );
            }
        }
        catch (AuditUnavailable)
        {
            return false;
        }

        _disclosed[subscription.Id] = upTo;
        return true;
    }

    private async Task<AttemptOutcome> Send(SubscriptionState subscription, Bundle notification, CancellationToken stop)
    {
        // The rules may be stricter now than when it was subscribed.
        if (rules.Refusal(subscription.Request.Endpoint) is { } refusal)
            return new(refusal);
        var body = FhirJson.WriteUtf8(notification);
        var timeout = subscription.Request.Timeout?.ToTimeSpan() ?? settings.Timeout;
        var client = services.GetRequiredService<NotificationClient>(); // a new one each time, so that its handler is renewed
        var attempt = await endpoints.Call(
            subscription.Request.Endpoint,
            timeout,
            token => client.Send(subscription.Request, body, token),
            stop
        );
        if (attempt.WasSent)
            metrics.CountAttempt(acknowledged: attempt.Failure is null);
        return attempt;
    }

    /// <summary>Why no further attempt is made after the one that has just failed; null where one is.</summary>
    private string? ReasonToGiveUp(SubscriptionState subscription) =>
        subscription.Status == "requested"
            ? subscription.Attempts + 1 >= settings.HandshakeAttempts
                ? $"the handshake failed {subscription.Attempts + 1} times"
                : null
            : Now - (subscription.FailingSince ?? Now) >= Duration.FromTimeSpan(settings.RetryFor)
                ? FormattableString.Invariant(
                    $"nothing could be told for {settings.RetryFor.TotalHours:0.##} h, in {subscription.Attempts + 1} attempts"
                )
                : null;

    /// <summary>Gives a subscription another status, and its client a new version that says so; unless the client was first.</summary>
    private async Task ChangeStatus(SubscriptionState subscription, string status, string? error, CancellationToken stop)
    {
        if (
            await resources.Read(nameof(Subscription), subscription.Id, stop) is not { } current
            || current.VersionId != subscription.Version
        )
            return;
        var resource = FhirJson.Read<Subscription>(current.Json);
        resource.Status = EnumUtility.ParseLiteral<Subscription.SubscriptionStatus>(status);
        resource.Error = error;
        await subscriptions.ChangeStatus(subscription.Id, current.VersionId, status, error, ResourceDraft.Of(resource), stop);
    }
}
