namespace IrrigationFhir.Store;

/// <summary>Wires the store.</summary>
internal static class EpisodeStoreSetup
{
    /// <summary>Adds the database, <see cref="EpisodeStore"/>, <see cref="ResourceStore"/> and <see cref="SubscriptionStore"/>. Needs a <see cref="TimeProvider"/>.</summary>
    public static IServiceCollection AddEpisodeStore(this IServiceCollection services, IConfiguration configuration)
    {
        services.AddSingleton(StoreSettings.Read(configuration));
        services.AddSingleton<Database>();
        services.AddSingleton<EpisodeStore>();
        services.AddSingleton<ResourceStore>();
        services.AddSingleton<SubscriptionStore>();
        services.AddHostedService<DatabaseStart>();
        return services;
    }

    /// <summary>Brings the schema up to date before the first request is let in; a failure stops the start.</summary>
    private sealed class DatabaseStart(Database database) : IHostedService
    {
        public Task StartAsync(CancellationToken cancellationToken)
        {
            database.Start();
            return Task.CompletedTask;
        }

        public Task StopAsync(CancellationToken cancellationToken) => Task.CompletedTask;
    }
}
