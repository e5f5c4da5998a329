using System.Text.Json;
using IrrigationFhir.Access;
using IrrigationFhir.Store;
using Microsoft.Extensions.Diagnostics.HealthChecks;
using Prometheus;

namespace IrrigationFhir.Health;

/// <summary>Probes: whether the process runs, and whether it can do its work.</summary>
internal static class HealthApi
{
    /// <summary>
    /// Checks with this tag decide on readiness; another room adds its own with <c>AddHealthChecks().AddCheck(…, tags:
    /// [HealthApi.Ready])</c>.
    /// </summary>
    public const string Ready = "ready";

    /// <summary>Adds the checks of the store.</summary>
    public static IServiceCollection AddHealth(this IServiceCollection services)
    {
        // A probe that says "not yet" is an answer, not an error.
        services.AddLogging(logging => logging.AddFilter("Microsoft.Extensions.Diagnostics.HealthChecks", LogLevel.None));
        services
            .AddHealthChecks()
            .AddCheck<StoreCheck>("store", tags: [Ready])
            .AddCheck<WithheldCheck>("withheld-resources", tags: [Ready]);

        // A registry of this service's own: several may live in one process.
        services.AddSingleton(_ =>
        {
            var registry = Metrics.NewCustomRegistry();
            DotNetStats.Register(registry);
            return registry;
        });
        services.AddSingleton<Figures>();
        return services;
    }

    /// <summary>
    /// Maps <c>/health/live</c> (200 while the process runs), <c>/health/ready</c> (503 and the reason while it cannot work) and
    /// <c>/metrics</c> (for Prometheus).
    /// </summary>
    public static IEndpointRouteBuilder MapHealth(this IEndpointRouteBuilder app)
    {
        app.MapHealthChecks("/health/live", new() { Predicate = _ => false, ResponseWriter = Write }).Needs(AccessNeeds.Nothing);
        app.MapHealthChecks("/health/ready", new() { Predicate = check => check.Tags.Contains(Ready), ResponseWriter = Write })
            .Needs(AccessNeeds.Nothing);
        app.ServiceProvider.GetRequiredService<Figures>()
            .Read<Withheld>(
                stop => CountWithheld(app.ServiceProvider, stop),
                new Figure<Withheld>(
                    "irrigationfhir.resources.withheld",
                    "{resource}",
                    "Resources that failed their own profile.",
                    now => now.Count
                )
            );
        app.MapMetrics("/metrics", app.ServiceProvider.GetRequiredService<CollectorRegistry>())
            .ExcludeFromDescription()
            .Needs(AccessNeeds.AnyToken);
        return app;
    }

    private static async Task Write(HttpContext http, HealthReport report)
    {
        http.Response.ContentType = "application/json; charset=utf-8";
        await JsonSerializer.SerializeAsync(
            http.Response.Body,
            new
            {
                status = Word(report.Status),
                checks = report.Entries.ToDictionary(
                    entry => entry.Key,
                    entry => new
                    {
                        status = Word(entry.Value.Status),
                        description = entry.Value.Description,
                        data = entry.Value.Data,
                    }
                ),
            },
            JsonSerializerOptions.Web,
            http.RequestAborted
        );
    }

    private static async Task<Withheld?> CountWithheld(IServiceProvider services, CancellationToken stop) =>
        services.GetRequiredService<Database>().IsReady
            ? new(await services.GetRequiredService<ResourceStore>().CountWithheld(stop))
            : null;

    private sealed record Withheld(long Count);

    private static string Word(HealthStatus status) =>
        status switch
        {
            HealthStatus.Healthy => "ready",
            HealthStatus.Degraded => "degraded",
            HealthStatus.Unhealthy => "not-ready",
        };
}
