using IrrigationFhir.Store;
using Microsoft.Extensions.Diagnostics.HealthChecks;
using NodaTime;

namespace IrrigationFhir.Subscriptions;

/// <summary>Whether subscribers are told: how many events wait, for how long, and how many subscriptions are in error.</summary>
/// <remarks>
/// An endpoint that fails degrades and never takes the service out: the fault is on the other side, and entries are still to be taken.
/// </remarks>
internal sealed class DeliveryCheck(SubscriptionStore subscriptions, Database database, Endpoints endpoints, TimeProvider clock)
    : IHealthCheck
{
    /// <inheritdoc/>
    public async Task<HealthCheckResult> CheckHealthAsync(HealthCheckContext context, CancellationToken cancellationToken = default)
    {
        if (!database.IsReady)
            return HealthCheckResult.Degraded("not known while the database is not open");
        var queue = await subscriptions.ReadQueue(cancellationToken);
        var data = new Dictionary<string, object>
        {
            ["active"] = queue.ByStatus.GetValueOrDefault("active"),
            ["requested"] = queue.ByStatus.GetValueOrDefault("requested"),
            ["inError"] = queue.ByStatus.GetValueOrDefault("error"),
            ["failing"] = queue.Failing,
            ["eventsWaiting"] = queue.Waiting,
            ["oldestWaitingSeconds"] = queue.OldestWaiting is { } oldest
                ? Math.Round((Instant.FromDateTimeOffset(clock.GetUtcNow()) - oldest).TotalSeconds, 1)
                : 0,
            ["endpointsLeftAlone"] = endpoints.OpenCircuits,
        };
        return queue.Failing > 0 || queue.ByStatus.ContainsKey("error")
            ? HealthCheckResult.Degraded(
                "subscribers that could not be told: GET /fhir/Subscription?status=error, and $status says why",
                data: data
            )
            : HealthCheckResult.Healthy("subscribers are told", data);
    }
}
