using IrrigationFhir.Access;
using IrrigationFhir.Health;
using Microsoft.Extensions.Diagnostics.HealthChecks;

namespace IrrigationFhir.Tokens;

/// <summary>Whether the file of clients as it lies there is in force.</summary>
/// <remarks>A faulty one degrades and does not take the service out: what was registered before stays in force.</remarks>
internal sealed class ClientsCheck(Clients clients) : IHealthCheck
{
    /// <inheritdoc/>
    public Task<HealthCheckResult> CheckHealthAsync(HealthCheckContext context, CancellationToken cancellationToken = default)
    {
        var data = new Dictionary<string, object> { ["registered"] = clients.Now.All.Count, ["faults"] = clients.Faults };
        return Task.FromResult(
            clients.Faults == 0
                ? HealthCheckResult.Healthy("clients are as they are registered", data)
                : HealthCheckResult.Degraded(
                    "Access:ClientsFile has changed and cannot be used; the log says why, and what was registered before is in force",
                    data: data
                )
        );
    }
}

/// <summary>The same as figures.</summary>
internal sealed class ClientMetrics
{
    /// <summary>Defines them; read when somebody asks.</summary>
    public ClientMetrics(Figures figures, Clients clients) =>
        figures.Read<Clients>(
            _ => Task.FromResult<Clients?>(clients),
            new("irrigationfhir.clients.registered", "{client}", "Clients that are registered.", known => known.Now.All.Count),
            new(
                "irrigationfhir.clients.faults",
                "{fault}",
                "Faults of the file of clients; with any, what was registered before is in force.",
                known => known.Faults
            )
        );
}
