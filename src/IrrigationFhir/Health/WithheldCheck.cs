using System.Data.Common;
using IrrigationFhir.Store;
using Microsoft.Extensions.Diagnostics.HealthChecks;

namespace IrrigationFhir.Health;

/// <summary>Counts our own resources that failed their profile and are not published.</summary>
/// <remarks>Their measured facts are stored and served, so this degrades but does not take the service out.</remarks>
internal sealed class WithheldCheck(Database database, ResourceStore resources) : IHealthCheck
{
    /// <inheritdoc/>
    public async Task<HealthCheckResult> CheckHealthAsync(HealthCheckContext context, CancellationToken cancellationToken = default)
    {
        if (!database.IsReady)
            return HealthCheckResult.Degraded("not known while the database is not open");
        long count;
        try
        {
            count = await resources.CountWithheld(cancellationToken);
        }
        catch (DbException)
        {
            return HealthCheckResult.Degraded("not known while the database does not answer");
        }

        var data = new Dictionary<string, object> { ["withheld"] = count };
        return count == 0
            ? HealthCheckResult.Healthy("every resource is published", data)
            : HealthCheckResult.Degraded("resources that failed their own profile are withheld", data: data);
    }
}
