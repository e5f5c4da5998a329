using IrrigationFhir.Health;
using Microsoft.Extensions.Diagnostics.HealthChecks;

namespace IrrigationFhir.Validation;

/// <summary>Wires the validator: warmed by one thread before the service calls itself ready.</summary>
internal static class ProfileValidation
{
    /// <summary>Adds the validator, its warm-up and its part of readiness.</summary>
    public static IServiceCollection AddProfileValidation(this IServiceCollection services)
    {
        services.AddSingleton<ProfileValidator>();
        services.AddHostedService<WarmUp>();
        services.AddHealthChecks().AddCheck<Warm>("profiles", tags: [HealthApi.Ready]);
        return services;
    }

    /// <summary>
    /// Before the first request is let in: parallel callers of a cold validator would wait for each other. A broken profile stops the
    /// start.
    /// </summary>
    private sealed class WarmUp(ProfileValidator profiles) : IHostedService
    {
        public Task StartAsync(CancellationToken cancellationToken) => Task.Run(profiles.Warm, cancellationToken);

        public Task StopAsync(CancellationToken cancellationToken) => Task.CompletedTask;
    }

    private sealed class Warm(ProfileValidator profiles) : IHealthCheck
    {
        public Task<HealthCheckResult> CheckHealthAsync(HealthCheckContext context, CancellationToken cancellationToken = default) =>
            Task.FromResult(
                profiles.IsReady
                    ? HealthCheckResult.Healthy("every profile has been validated once")
                    : HealthCheckResult.Unhealthy("the profiles are being validated once")
            );
    }
}
