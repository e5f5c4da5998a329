namespace IrrigationFhir.Store;

/// <summary>Wires the store.</summary>
internal static class EpisodeStoreSetup
{
    /// <summary>
    /// Adds the database, <see cref="EpisodeStore"/>, <see cref="ResourceStore"/>, <see cref="SubscriptionStore"/>,
    /// <see cref="SubscriptionEventStore"/>, <see cref="ExportJobStore"/>, <see cref="AccessStore"/> and <see cref="AuditStore"/>. Needs a
    /// <see cref="TimeProvider"/>.
    /// </summary>
    public static IServiceCollection AddEpisodeStore(this IServiceCollection services, IConfiguration configuration)
    {
        services.AddSingleton(StoreSettings.Read(configuration));
        services.AddSingleton<Database>();
        services.AddSingleton<EpisodeStore>();
        services.AddSingleton<ResourceStore>();
        services.AddSingleton<SubscriptionStore>();
        services.AddSingleton<SubscriptionEventStore>();
        services.AddSingleton<ExportJobStore>();
        services.AddSingleton<AccessStore>();
        services.AddSingleton<AuditStore>();
        services.AddHostedService<DatabaseStart>();
        return services;
    }

    /// <summary>
    /// Opens the store ahead of everything else, so that what is wrong with it is said once, and not by the host with a stack trace. Does
    /// nothing where no store is started, as while the build writes the contract.
    /// </summary>
    /// <exception cref="StoreFault">What lies there cannot be served, or another process serves it; nothing was changed.</exception>
    public static void OpenStore(this IHost service) =>
        service.Services.GetServices<IHostedService>().OfType<DatabaseStart>().SingleOrDefault()?.Open();

    /// <summary>Opens the store before the first request is let in; a failure stops the start.</summary>
    private sealed class DatabaseStart(Database database) : IHostedService
    {
        public void Open() => database.Start();

        public Task StartAsync(CancellationToken cancellationToken)
        {
            database.Start();
            return Task.CompletedTask;
        }

        public Task StopAsync(CancellationToken cancellationToken) => Task.CompletedTask;
    }
}
