using System.Collections.Concurrent;
using IrrigationFhir.Store;
using NodaTime.Extensions;
using Duration = NodaTime.Duration;

namespace IrrigationFhir.Subscriptions;

/// <summary>Delivers to each subscription its own events, in order, one notification at a time, until it is acknowledged.</summary>
/// <remarks>
/// <para>What is to be delivered, and how far it has been, is in the store: a process that dies forgets nothing. An acknowledgement that
/// did not reach the store is the one case in which something is delivered twice, with the same number.</para>
/// <para>Each subscription with something to do has a task of its own, which ends when nothing is left; while an endpoint fails, it
/// waits and tries again, and no other subscription waits for it. One process of those that share a store delivers
/// (<see cref="DeliveryLock"/>).</para>
/// </remarks>
internal sealed class DeliverNotifications(
    SubscriptionStore subscriptions,
    SubscriptionEventStore events,
    DeliverToSubscription delivery,
    Database database,
    Endpoints endpoints,
    SubscriptionSettings settings,
    TimeProvider clock,
    ILogger<DeliverNotifications> log
) : BackgroundService
{
    /// <summary>
    /// How long what time alone brings, and what another process commits, may wait to be seen; commits of this process are signalled.
    /// </summary>
    private static readonly TimeSpan PollInterval = TimeSpan.FromSeconds(1);

    /// <summary>Most old events deleted in one step, between which others write.</summary>
    private const int DeletedAtOnce = 500;

    private readonly ConcurrentDictionary<string, RunningDelivery> _running = new(StringComparer.Ordinal);

    /// <summary>Delivers at once to a subscription that its client changed: what waits for another attempt waits no longer.</summary>
    public void RetryNow(string id)
    {
        if (_running.TryGetValue(id, out var waiting))
        {
            try
            {
                waiting.Stop.Cancel();
            }
            catch (ObjectDisposedException)
            {
                // It has just ended; the signal brings it back.
            }
        }

        database.Commits.Notify();
    }

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        var nextDeletion = clock.GetUtcNow();
        try
        {
            using var mine = await DeliveryLock.Acquire(database.Folder, PollInterval, stoppingToken);
            await using var poll = clock.CreateTimer(_ => database.Commits.Notify(), null, PollInterval, PollInterval);
            while (true)
            {
                try
                {
                    foreach (var id in await subscriptions.FindWithWork(clock.GetCurrentInstant(), stoppingToken))
                        Begin(id, stoppingToken);
                    if (clock.GetUtcNow() >= nextDeletion)
                    {
                        // In small steps between which others write; the rest when they come by the next time.
                        var oldest = clock.GetCurrentInstant() - Duration.FromTimeSpan(settings.Keep);
                        var deleted = await events.DeleteBefore(oldest, DeletedAtOnce, stoppingToken);
                        nextDeletion = clock.GetUtcNow() + (deleted == 0 ? TimeSpan.FromMinutes(10) : TimeSpan.Zero);
                        endpoints.Forget();
                    }
                }
                catch (Exception failure) when (failure is not OperationCanceledException)
                {
                    // No text of the exception: it might quote what is delivered.
                    Log.FindingWorkFailed(log, failure.GetType().Name);
                    await Task.Delay(PollInterval, stoppingToken);
                }

                await database.Commits.Wait(stoppingToken);
            }
        }
        catch (OperationCanceledException)
        {
            // The service stops; what is not acknowledged is delivered by the next one.
        }
    }

    private void Begin(string id, CancellationToken stop)
    {
        // A delivery that runs already looks again by itself; if it is just about to end, another is begun.
        while (_running.TryGetValue(id, out var already))
        {
            already.MoreToDo = true;
            if (_running.ContainsKey(id))
                return;
        }

        var running = new RunningDelivery(CancellationTokenSource.CreateLinkedTokenSource(stop));
        if (!_running.TryAdd(id, running))
        {
            running.Stop.Dispose();
            return;
        }

        _ = Task.Run(() => Run(id, running, stop), CancellationToken.None);
    }

    private async Task Run(string id, RunningDelivery running, CancellationToken stop)
    {
        try
        {
            // An attempt under way is not broken off when its client changes the subscription, only the waiting for another one.
            await endpoints.Retries.ExecuteAsync(async _ => await delivery.Deliver(id, stop), running.Stop.Token);
        }
        catch (OperationCanceledException)
        {
            running.MoreToDo = true; // the service stops, or the subscription is to be read anew
        }
        catch (Exception failure)
        {
            Log.DeliveryFailed(log, failure.GetType().Name);
            await Task.Delay(PollInterval, CancellationToken.None);
        }
        finally
        {
            _running.TryRemove(id, out _);
            running.Stop.Dispose();
            if (running.MoreToDo)
                database.Commits.Notify(); // for what came after it last read the subscription
        }
    }

    /// <summary>The delivery to one subscription, while its task runs.</summary>
    private sealed class RunningDelivery(CancellationTokenSource stop)
    {
        public CancellationTokenSource Stop => stop;

        /// <summary>Whether there was more to do for the subscription since the delivery began.</summary>
        public volatile bool MoreToDo;
    }
}

/// <summary>What delivery says to whoever operates the service; never anything of a patient or an endpoint.</summary>
internal static partial class Log
{
    [LoggerMessage(Level = LogLevel.Error, Message = "Looking for notifications to send failed ({Failure}); it is tried again.")]
    public static partial void FindingWorkFailed(ILogger logger, string failure);

    [LoggerMessage(Level = LogLevel.Error, Message = "Serving a subscription failed ({Failure}); it is tried again.")]
    public static partial void DeliveryFailed(ILogger logger, string failure);
}
