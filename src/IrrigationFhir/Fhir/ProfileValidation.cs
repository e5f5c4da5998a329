using IrrigationFhir.Health;
using Microsoft.Extensions.Diagnostics.HealthChecks;

namespace IrrigationFhir.Fhir;

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

    private sealed class WarmUp(ProfileValidator profiles, IHostApplicationLifetime lifetime, ILogger<WarmUp> log) : BackgroundService
    {
        protected override Task ExecuteAsync(CancellationToken stoppingToken) => Task.Run(
            () =>
            {
                try
                {
                    profiles.Warm();
                }
                catch (InvalidOperationException broken)
                {
                    // The message names a profile and a rule of ours, no data.
                    log.LogCritical("The profiles in this build are broken: {Fault}", broken.Message);
                    lifetime.StopApplication();
                }
            },
            stoppingToken);
    }

    private sealed class Warm(ProfileValidator profiles) : IHealthCheck
    {
        public Task<HealthCheckResult> CheckHealthAsync(HealthCheckContext context, CancellationToken cancellationToken = default) =>
            Task.FromResult(profiles.IsReady ? HealthCheckResult.Healthy("every profile has been validated once") : HealthCheckResult.Unhealthy("the profiles are being validated once"));
    }
}
