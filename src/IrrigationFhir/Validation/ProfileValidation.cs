using IrrigationFhir.Fhir;
using IrrigationFhir.Health;
using Microsoft.Extensions.Diagnostics.HealthChecks;

namespace IrrigationFhir.Validation;

/// <summary>Wires the validator: warmed by one thread before the service calls itself ready.</summary>
internal static class ProfileValidation
{
    /// <summary>
    /// Adds the validator, its warm-up and its part of readiness. Both begin at once, beside what else is done at a start.
    /// </summary>
    /// <param name="services">The services.</param>
    /// <param name="vocabulary">Our words.</param>
    public static IServiceCollection AddProfileValidation(this IServiceCollection services, Vocabulary vocabulary)
    {
        var profiles = new ProfileValidator(vocabulary);
        var warming = ProfileValidator.OnItsOwnThread(() =>
        {
            profiles.Warm();
            return true;
        });
        services.AddSingleton(profiles);
        services.AddHostedService(provider => new WarmUp(profiles, warming, provider.GetRequiredService<Figures>()));
        services.AddHealthChecks().AddCheck<Warm>("profiles", tags: [HealthApi.Ready]);
        return services;
    }

    /// <summary>
    /// Before the first request is let in: parallel callers of a cold validator would wait for each other. A broken profile stops the
    /// start.
    /// </summary>
    private sealed class WarmUp(ProfileValidator profiles, Task warming, Figures figures) : IHostedService
    {
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
