using System.Data.Common;
using IrrigationFhir.Store;
using Microsoft.Extensions.Diagnostics.HealthChecks;

namespace IrrigationFhir.Health;

/// <summary>The schema is up to date, a query is answered, and what comes can be stored.</summary>
internal sealed class StoreCheck(Database database, ResourceStore resources) : IHealthCheck
{
    /// <inheritdoc/>
    public async Task<HealthCheckResult> CheckHealthAsync(HealthCheckContext context, CancellationToken cancellationToken = default)
    {
        if (!database.IsReady)
            return HealthCheckResult.Unhealthy("the database is not open yet");
        try
        {
            if (await database.FindTrouble(cancellationToken) is { } failure)
                return HealthCheckResult.Unhealthy(failure.Message);
            await resources.CountWithheld(cancellationToken);
            return HealthCheckResult.Healthy("the database answers and can be written");
        }
        catch (DbException fault)
        {
            if (Database.FailureOf(fault) is not { } meant)
                return HealthCheckResult.Unhealthy("the database does not answer");
            database.Remember(meant);
            return HealthCheckResult.Unhealthy(meant.Message);
        }
    }
}
