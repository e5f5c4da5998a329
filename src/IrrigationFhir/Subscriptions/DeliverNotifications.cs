using System.Collections.Concurrent;
using Hl7.Fhir.Model;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Hosting.Server;
using Duration = NodaTime.Duration;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Subscriptions;

/// <summary>Tells subscribers: each of its own events, in order, one notification at a time, until it is acknowledged.</summary>
/// <remarks>
/// <para>What is to be told, and how far it has been, is in the store: a process that dies forgets nothing. An acknowledgement that did not
/// reach the store is the one case in which something is told twice, with the same number.</para>
/// <para>Each subscription with something to do is served by a task of its own, which ends when all is told; while an endpoint fails, it
/// waits and tries again, and nobody else waits for it. One process of those that share a store delivers (see <see cref="Turn"/>).</para>
/// </remarks>
internal sealed class DeliverNotifications(
    SubscriptionStore subscriptions,
    ResourceStore resources,
    Database database,
    Endpoints endpoints,
    IEndpointRules rules,
    IServiceProvider services,
    SubscriptionSettings settings,
    SubscriptionMetrics metrics,
    IServer server,
    FhirSettings fhir,
    TimeProvider clock,
    ILogger<DeliverNotifications> log
) : BackgroundService
{
    /// <summary>How long what time brings, and news of another process, may wait to be seen; one's own news ring the bell.</summary>
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(1);

    private readonly ConcurrentDictionary<string, Serving> served = new(StringComparer.Ordinal);

    /// <summary>
    /// Looks at a subscription again at once, because its client changed it: what waits for another attempt waits no longer.
    /// </summary>
    public void LookAgain(string id)
    {
        if (served.TryGetValue(id, out var waiting))
        {
            try
            {
                waiting.Stop.Cancel();
            }
            catch (ObjectDisposedException)
            {
                // It has just ended; the bell brings it back.
            }
        }

        database.News.Ring();
    }

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        var forgetting = clock.GetUtcNow();
        try
        {
            using var turn = await Turn.Wait(database.Folder, LookEvery, stoppingToken);
            await using var often = clock.CreateTimer(_ => database.News.Ring(), null, LookEvery, LookEvery);
            while (true)
            {
                try
                {
                    foreach (var id in await subscriptions.WithWork(Now, stoppingToken))
                        Begin(id, stoppingToken);
                    if (clock.GetUtcNow() >= forgetting)
                    {
                        // In small steps between which others write; the rest when they come by the next time.
                        var gone = await subscriptions.Forget(Now - Duration.FromTimeSpan(settings.Keep), 500, stoppingToken);
                        forgetting = clock.GetUtcNow() + (gone == 0 ? TimeSpan.FromMinutes(10) : TimeSpan.Zero);
                        endpoints.Forget();
                    }
                }
                catch (Exception failure) when (failure is not OperationCanceledException)
                {
                    // No text of the exception: it might quote what is told.
                    Log.LookingFailed(log, failure.GetType().Name);
                    await Task.Delay(LookEvery, stoppingToken);
                }

                await database.News.Wait(stoppingToken);
            }
        }
        catch (OperationCanceledException)
        {
            // The service stops; what is not acknowledged is told by the next one.
        }
    }

    private string Base => FhirBase.Of(server, fhir);

    private Instant Now => Instant.FromDateTimeOffset(clock.GetUtcNow());

    private void Begin(string id, CancellationToken stop)
    {
        // One that is served already looks again by itself; if it is just about to end, it is begun anew.
        while (served.TryGetValue(id, out var already))
        {
            already.Again = true;
            if (served.ContainsKey(id))
                return;
        }

        var serving = new Serving(CancellationTokenSource.CreateLinkedTokenSource(stop));
        if (!served.TryAdd(id, serving))
        {
            serving.Stop.Dispose();
            return;
        }

        _ = Task.Run(
            async () =>
            {
                try
                {
                    // What is under way is not broken off when its client changes the subscription, only the waiting for another attempt.
                    await endpoints.Persistence.ExecuteAsync(async _ => await Serve(id, stop), serving.Stop.Token);
                }
                catch (OperationCanceledException)
                {
                    serving.Again = true; // stopped, or to be looked at anew
                }
                catch (Exception failure)
                {
                    Log.ServingFailed(log, failure.GetType().Name);
                    await Task.Delay(LookEvery, CancellationToken.None);
                }
                finally
                {
                    served.TryRemove(id, out _);
                    serving.Stop.Dispose();
                    if (serving.Again)
                        database.News.Ring(); // for what came after its last look
                }
            },
            CancellationToken.None
        );
    }

    /// <summary>Does what a subscription has to be done for, one thing after another, until nothing is left or an attempt fails.</summary>
    private async ValueTask<Served> Serve(string id, CancellationToken stop)
    {
        while (await subscriptions.Find(id, stop) is { } row)
        {
            var subscription = StoredRequest.State(row);
            if (subscription.Status == "off")
                break;
            if (subscription.Request.End <= Now)
            {
                await Turned(subscription, "off", null, stop);
                break;
            }

            if (subscription.Status == "error")
                break;
            var (notification, upTo) = await Next(subscription, stop);
            if (notification is null)
                break;

            var sent = await Send(subscription, notification, stop);
            if (sent.Failure is null)
            {
                if (subscription.Status == "requested")
                    await Turned(subscription, "active", null, CancellationToken.None);
                else
                    await subscriptions.Acknowledged(id, upTo, CancellationToken.None);
                continue;
            }

            if (!sent.Tried)
                return new Served.Failed(sent.RetryAfter);

            if (GivenUp(subscription) is not { } why)
            {
                await subscriptions.Failed(id, sent.Failure, CancellationToken.None);
                return new Served.Failed(sent.RetryAfter);
            }

            await subscriptions.Failed(id, sent.Failure, CancellationToken.None);
            await Turned(subscription, "error", $"{why}: {sent.Failure}", stop);
        }

        return new Served.AllTold();
    }

    /// <summary>What is to be sent next, and up to which event it goes; null where nothing is.</summary>
    private async Task<(Bundle? Notification, long? UpTo)> Next(SubscriptionState subscription, CancellationToken stop)
    {
        if (subscription.Status == "requested")
            return (Notifications.Of(NotificationKind.Handshake, Base, subscription, [], Now), null);
        if (subscription.Delivered < subscription.Events)
        {
            var rows = await subscriptions.Events(
                subscription.Id,
                subscription.Delivered + 1,
                subscription.Events,
                subscription.Request.MaxCount,
                stop
            );
            if (rows.Count == 0)
            {
                // Kept no longer: it was in error for longer than events are kept. The numbers show the gap.
                await subscriptions.Acknowledged(subscription.Id, subscription.Events, CancellationToken.None);
                return (null, null);
            }

            return (
                Notifications.Of(NotificationKind.EventNotification, Base, subscription, [.. rows.Select(NotificationEvent.Of)], Now),
                rows[^1].Number
            );
        }

        return subscription.Request.Heartbeat is { } silence && subscription.LastSentAt + silence <= Now
            ? (Notifications.Of(NotificationKind.Heartbeat, Base, subscription, [], Now), null)
            : (null, null);
    }

    private async Task<Sent> Send(SubscriptionState subscription, Bundle notification, CancellationToken stop)
    {
        // The rules may be stricter now than when it was subscribed.
        if (rules.Refusal(subscription.Request.Endpoint) is { } refusal)
            return new(refusal);
        var body = FhirJson.WriteUtf8(notification);
        var patience = subscription.Request.Timeout?.ToTimeSpan() ?? settings.Timeout;
        var client = services.GetRequiredService<NotificationClient>(); // a new one each time, so that its handler is renewed
        var sent = await endpoints.Call(
            subscription.Request.Endpoint,
            patience,
            token => client.Send(subscription.Request, body, token),
            stop
        );
        if (sent.Tried)
            metrics.Attempted(sent.Failure is null);
        return sent;
    }

    /// <summary>Why no further attempt is made after the one that has just failed; null where one is.</summary>
    private string? GivenUp(SubscriptionState subscription) =>
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
    private async Task Turned(SubscriptionState subscription, string status, string? error, CancellationToken stop)
    {
        if (
            await resources.Read(nameof(Subscription), subscription.Id, stop) is not { } current
            || current.VersionId != subscription.Version
        )
            return;
        var resource = FhirJson.Read<Subscription>(current.Json);
        resource.Status = Hl7.Fhir.Utility.EnumUtility.ParseLiteral<Subscription.SubscriptionStatus>(status);
        resource.Error = error;
        await subscriptions.Turn(subscription.Id, current.VersionId, status, error, ResourceDraft.Of(resource), stop);
    }

    /// <summary>A subscription that is being served.</summary>
    private sealed class Serving(CancellationTokenSource stop)
    {
        public CancellationTokenSource Stop => stop;

        /// <summary>Whether there was more to do for it since it began.</summary>
        public volatile bool Again;
    }

    /// <summary>
    /// The right to deliver, of one process among those that share a folder: the system gives it back when a process dies, however it dies.
    /// </summary>
    private sealed class Turn(FileStream held) : IDisposable
    {
        public static async Task<Turn> Wait(string folder, TimeSpan between, CancellationToken stop)
        {
            while (true)
            {
                try
                {
                    return new(
                        new FileStream(Path.Combine(folder, "delivery.lock"), FileMode.OpenOrCreate, FileAccess.ReadWrite, FileShare.None)
                    );
                }
                catch (IOException)
                {
                    await Task.Delay(between, stop);
                }
            }
        }

        public void Dispose() => held.Dispose();
    }
}

/// <summary>What delivery says to whoever operates the service; never anything of a patient or an endpoint.</summary>
internal static partial class Log
{
    [LoggerMessage(Level = LogLevel.Error, Message = "Looking for notifications to send failed ({Failure}); it is tried again.")]
    public static partial void LookingFailed(ILogger logger, string failure);

    [LoggerMessage(Level = LogLevel.Error, Message = "Serving a subscription failed ({Failure}); it is tried again.")]
    public static partial void ServingFailed(ILogger logger, string failure);
}
