using IrrigationFhir.Health;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Subscriptions;

/// <summary>What whoever operates the service reads of deliveries: counts and ages, never whose or what.</summary>
internal sealed class SubscriptionMetrics
{
    private readonly CountedFigure attempts;
    private readonly CountedFigure withheld;

    /// <summary>Defines the figures; those of the store are read when they are asked for.</summary>
    public SubscriptionMetrics(Figures figures, SubscriptionStore subscriptions, Database database, Endpoints endpoints, TimeProvider clock)
    {
        attempts = figures.Counted(
            "irrigationfhir.notification.attempts",
            "{attempt}",
            "Attempts to send a notification, handshakes and heartbeats included, by result.",
            "result",
            "acknowledged",
            "failed"
        );
        withheld = figures.Counted(
            "irrigationfhir.notification.events_withheld",
            "{event}",
            "Events that were not told because their resource is none that the client may have now.",
            "by",
            "scope"
        );
        figures.Read<Endpoints>(
            _ => Task.FromResult<Endpoints?>(endpoints),
            new Figure<Endpoints>(
                "irrigationfhir.endpoints.left_alone",
                "{endpoint}",
                "Endpoints whose circuit is open.",
                known => known.OpenCircuits
            )
        );
        figures.Read<DeliveryQueue>(
            async stop => database.IsReady ? await subscriptions.ReadQueue(stop) : null,
            new(
                "irrigationfhir.notification.events_waiting",
                "{event}",
                "Events that active subscriptions have not acknowledged yet.",
                queue => queue.Waiting
            ),
            new(
                "irrigationfhir.notification.oldest_waiting",
                "s",
                "Age of the oldest of them; 0 where none waits.",
                queue => Age(queue.OldestWaiting, clock)
            ),
            new("irrigationfhir.subscriptions", "{subscription}", "Subscriptions by status.", "status", ByStatus),
            new(
                "irrigationfhir.subscriptions.failing",
                "{subscription}",
                "Active subscriptions whose last attempt failed.",
                queue => queue.Failing
            )
        );
    }

    /// <summary>An attempt was made.</summary>
    public void CountAttempt(bool acknowledged) => attempts.Add(acknowledged ? "acknowledged" : "failed");

    /// <summary>Events were passed over.</summary>
    public void CountWithheld(int events)
    {
        for (var i = 0; i < events; i++)
            withheld.Add("scope");
    }

    private static double Age(Instant? oldest, TimeProvider clock) =>
        oldest is { } at ? (Instant.FromDateTimeOffset(clock.GetUtcNow()) - at).TotalSeconds : 0;

    private static IEnumerable<(string Label, double Value)> ByStatus(DeliveryQueue queue) =>
        new[] { "requested", "active", "error", "off" }.Select(status => (status, (double)queue.ByStatus.GetValueOrDefault(status)));
}
