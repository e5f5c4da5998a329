using Irrigation.Balance;
using Irrigation.Flags;
using IrrigationFhir.Health;
using IrrigationFhir.Store;

namespace IrrigationFhir.Record;

/// <summary>Wires the main path: what a sender, a change of the episode, or time makes of an episode.</summary>
internal static class RecordSetup
{
    /// <summary>Adds it, with the watch over episodes that nobody charts and its part of readiness.</summary>
    public static IServiceCollection AddRecord(this IServiceCollection services)
    {
        Places.KeepThreadsFree();
        services.AddHealthChecks().AddCheck<EpisodesCheck>("episodes", tags: [HealthApi.Ready]);
        return services
            .AddSingleton(provider => new EpisodeMemory(
                provider.GetRequiredService<BalanceSettings>(),
                provider.GetRequiredService<FlagLimits>(),
                provider.GetRequiredService<StoreSettings>().TimeZone
            ))
            .AddSingleton(provider => new EpisodesInMemory(
                provider.GetRequiredService<EpisodeStore>(),
                provider.GetRequiredService<EpisodeMemory>(),
                provider.GetRequiredService<BalanceSettings>(),
                provider.GetRequiredService<FlagLimits>(),
                provider.GetRequiredService<StoreSettings>()
            ))
            .AddSingleton<ReviseEpisode>()
            .AddHostedService<Rehearsal>()
            .AddSingleton<RecordEntries>()
            .AddSingleton<OpenEpisode>()
            .AddSingleton<WatchEpisodes>()
            .AddHostedService(provider => provider.GetRequiredService<WatchEpisodes>());
    }
}
