using IrrigationFhir.Health;
using Microsoft.Extensions.Diagnostics.HealthChecks;

namespace IrrigationFhir.Validation;

/// <summary>Wires the validator: warmed by one thread before the service calls itself ready.</summary>
internal static class ProfileValidation
{
    /// <summary>Adds the validator, its warm-up and its part of readiness.</summary>
    public static IServiceCollection AddProfileValidation(this IServiceCollection services)
    {
        services.AddSingleton<ProfileValidator>().AddSingleton<WarmUp>();
        services.AddHostedService(provider => provider.GetRequiredService<WarmUp>());
        services.AddHealthChecks().AddCheck<Warm>("profiles", tags: [HealthApi.Ready]);
        return services;
    }

    /// <summary>Begins with the profiles at once, beside what else is done at a start; who starts the service waits for them.</summary>
    public static void WarmProfiles(this WebApplication app) => app.Services.GetRequiredService<WarmUp>();

    /// <summary>
    /// Before the first request is let in: parallel callers of a cold validator would wait for each other. A broken profile stops the
    /// start.
    /// </summary>
    private sealed class WarmUp(ProfileValidator profiles, Figures figures) : IHostedService
    {
        private readonly Task warming = ProfileValidator.OnItsOwnThread(() =>
        {
            profiles.Warm();
            return true;
        });

        public Task StartAsync(CancellationToken cancellationToken)
        {
            figures.Read<ProfileValidator>(
                _ => Task.FromResult<ProfileValidator?>(profiles),
                new("irrigationfhir.profiles.shapes", "{shape}", "Shapes of resources known to be valid.", now => now.Shapes.Known),
                new(
                    "irrigationfhir.profiles.wrong_shapes",
                    "{shape}",
                    "Resources taken for valid by their shape that were found not to be: a mistake in this program.",
                    now => now.Shapes.Wrong
                )
            );
            return warming.WaitAsync(cancellationToken);
        }

        public Task StopAsync(CancellationToken cancellationToken) => Task.CompletedTask;
    }

    /// <summary>
    /// Degraded once a shape was found wrong: every verdict since then is right again, but this program has a mistake that whoever
    /// maintains it has to hear of.
    /// </summary>
    private sealed class Warm(ProfileValidator profiles) : IHealthCheck
    {
        public Task<HealthCheckResult> CheckHealthAsync(HealthCheckContext context, CancellationToken cancellationToken = default)
        {
            var (known, wrong) = profiles.Shapes;
            var data = new Dictionary<string, object> { ["shapes"] = known, ["wrongShapes"] = wrong };
            return Task.FromResult(
                !profiles.IsReady ? HealthCheckResult.Unhealthy("the profiles are being validated once", data: data)
                : wrong > 0 ? HealthCheckResult.Degraded("a resource was taken for valid by its shape that is not; report it", data: data)
                : HealthCheckResult.Healthy("every profile has been validated once", data)
            );
        }
    }
}
