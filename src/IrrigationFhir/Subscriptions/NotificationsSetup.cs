using System.Net;
using IrrigationFhir.Health;
using IrrigationFhir.Outbound;

namespace IrrigationFhir.Subscriptions;

/// <summary>Wires the delivery of notifications.</summary>
internal static class NotificationsSetup
{
    /// <summary>Adds what sends notifications, its figures and its health check. Needs the store.</summary>
    public static IServiceCollection AddNotifications(this IServiceCollection services, IConfiguration configuration)
    {
        var settings = SubscriptionSettings.Read(configuration);
        services.AddSingleton(settings);
        services.AddSingleton(provider => new OutboundRules(
            settings,
            settings.Own is { } files ? ActivatorUtilities.CreateInstance<PemCertificate>(provider, files) : null
        ));
        services.AddSingleton<IEndpointRules>(provider => provider.GetRequiredService<OutboundRules>());
        services.AddSingleton<Endpoints>();
        services.AddSingleton<SubscriptionMetrics>();
        services.AddSingleton<ResolveAddresses>(Dns.GetHostAddressesAsync);
        services
            .AddHttpClient<NotificationClient>(http => http.Timeout = Timeout.InfiniteTimeSpan) // each call has a time of its own
            .ConfigurePrimaryHttpMessageHandler(provider =>
                provider.GetRequiredService<OutboundRules>().Handler(provider.GetRequiredService<ResolveAddresses>())
            )
            .RemoveAllLoggers(); // they would write the endpoint's address, which may hold a secret
        services.AddSingleton<Notifications>();
        services.AddSingleton<ToldEvents>();
        services.AddSingleton<DeliverToSubscription>();
        services.AddSingleton<DeliverNotifications>();
        services.AddHostedService(provider => provider.GetRequiredService<DeliverNotifications>());
        services.AddHealthChecks().AddCheck<DeliveryCheck>("notifications", tags: [HealthApi.Ready]);
        return services;
    }
}
