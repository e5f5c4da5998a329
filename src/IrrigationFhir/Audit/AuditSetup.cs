using IrrigationFhir.Access;
using IrrigationFhir.Health;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Audit;

/// <summary>Wires the audit.</summary>
internal static class AuditSetup
{
    /// <summary>Adds what records, what stores that, and <see cref="IAudit"/>. Needs the store, and the settings of access.</summary>
    public static IServiceCollection AddAudit(this IServiceCollection services)
    {
        services.AddHealthChecks().AddCheck<AuditHealth>("audit", tags: [HealthApi.Ready]);
        return services
            .AddSingleton(service => new AuditKeeping(Duration.FromTimeSpan(service.GetRequiredService<AccessSettings>().AuditKeep)))
            .AddSingleton(service => new AuditQueue(service.GetRequiredService<StoreSettings>().Folder))
            .AddSingleton<AuditTrail>()
            .AddSingleton<IAudit>(service => service.GetRequiredService<AuditTrail>())
            .AddSingleton<BroadReading>()
            .AddSingleton<JudgedEvents>()
            .AddSingleton<StoreWaiting>()
            .AddHostedService(service => service.GetRequiredService<StoreWaiting>());
    }
}
