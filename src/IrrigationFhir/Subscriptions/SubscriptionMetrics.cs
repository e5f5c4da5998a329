using IrrigationFhir.Store;
using NodaTime;
using Prometheus;

namespace IrrigationFhir.Subscriptions;

/// <summary>What whoever operates the service reads of deliveries: counts and ages, never whose or what.</summary>
internal sealed class SubscriptionMetrics
{
    private readonly Counter attempts;

    /// <summary>Registers the figures; those of the store are read when the page is asked for.</summary>
    public SubscriptionMetrics(CollectorRegistry registry, SubscriptionStore subscriptions, Database database, Endpoints endpoints, TimeProvider clock)
    {
        var factory = Metrics.WithCustomRegistry(registry);
        attempts = factory.CreateCounter("irrigationfhir_notification_attempts_total", "Attempts to send a notification, handshakes and heartbeats included, by result.", "result");
        attempts.WithLabels("acknowledged");
        attempts.WithLabels("failed");
        var waiting = factory.CreateGauge("irrigationfhir_notification_events_waiting", "Events that active subscriptions have not acknowledged yet.");
        var age = factory.CreateGauge("irrigationfhir_notification_oldest_waiting_seconds", "Age of the oldest of them; 0 where none waits.");
        var byStatus = factory.CreateGauge("irrigationfhir_subscriptions", "Subscriptions by status.", "status");
        var failing = factory.CreateGauge("irrigationfhir_subscriptions_failing", "Active subscriptions whose last attempt failed.");
        var broken = factory.CreateGauge("irrigationfhir_endpoints_left_alone", "Endpoints whose circuit is open.");
        registry.AddBeforeCollectCallback(async stop =>
        {
            broken.Set(endpoints.Broken);
            if (!database.IsReady) return;
            var queue = await subscriptions.Queue(stop);
            waiting.Set(queue.Waiting);
            age.Set(queue.OldestWaiting is { } oldest ? (Instant.FromDateTimeOffset(clock.GetUtcNow()) - oldest).TotalSeconds : 0);
            failing.Set(queue.Failing);
            foreach (var status in new[] { "requested", "active", "error", "off" }) byStatus.WithLabels(status).Set(queue.ByStatus.GetValueOrDefault(status));
        });
    }

    /// <summary>An attempt was made.</summary>
    public void Attempted(bool acknowledged) => attempts.WithLabels(acknowledged ? "acknowledged" : "failed").Inc();
}
