using System.Collections.Concurrent;
using System.Data.Common;
using System.Security.Cryptography;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using Microsoft.Extensions.Diagnostics.HealthChecks;
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>Silence is an event too: looks again at episodes whose flags time alone may have changed.</summary>
/// <remarks>
/// Every minute, by one replica at a time (a lease in the store), the longest due first, and no more of them in one round than
/// <see cref="MostAtOnce"/>: what is left is due in the next. Flags are the same function of log and time as on the main path, so
/// however late a round comes, a flag begins when its pattern did. An episode that cannot be judged stands in nobody's way: it is put
/// back with growing pauses, named in the log and counted in readiness (<see cref="Failing"/>).
/// </remarks>
internal sealed class WatchEpisodes(
    EpisodesInMemory episodes,
    EpisodeStore store,
    ReviseEpisode revise,
    TimeProvider clock,
    ILogger<WatchEpisodes> log
) : BackgroundService
{
    /// <summary>Episodes looked at in one round.</summary>
    public const int MostAtOnce = 500;

    /// <summary>How long an episode that cannot be judged is left alone at the longest.</summary>
    public static readonly Duration LongestPause = Duration.FromHours(1);

    private readonly ConcurrentDictionary<string, int> failing = new();

    private static readonly TimeSpan Every = TimeSpan.FromMinutes(1);
    private readonly string me = FhirValues.Digest(Convert.ToHexString(RandomNumberGenerator.GetBytes(16)), 16);

    /// <summary>How many episodes could not be judged when they were looked at last, since this process began.</summary>
    public int Failing => failing.Count;

    /// <summary>One round; how many episodes were looked at, or null where another replica watches.</summary>
    public async Task<int?> Look(CancellationToken stop)
    {
        var now = Instant.FromDateTimeOffset(clock.GetUtcNow());
        if (!await store.TakeLease("watch", me, now, Duration.FromMinutes(2), stop))
            return null;
        var due = await store.FindWithFlagsDue(now, MostAtOnce, stop);
        foreach (var id in due)
            await LookGuarded(id, now, stop);
        return due.Count;
    }

    private async Task LookGuarded(string id, Instant now, CancellationToken stop)
    {
        try
        {
            await EpisodeGate.UntilSaved(id, token => Look(id, now, token), stop);
            failing.TryRemove(id, out _);
        }
        catch (Exception failure) when (failure is not (OperationCanceledException or DbException))
        {
            // Of this episode alone; a store that fails ends the round. No text of the exception: it might quote what was charted.
            var times = failing.AddOrUpdate(id, 1, (_, before) => before + 1);
            var pause = Duration.Min(LongestPause, Duration.FromMinutes(Math.Pow(2, Math.Min(times, 10))));
            Log.EpisodeFailed(log, id, failure.GetType().Name, times, pause.TotalMinutes);
            await store.PostponeFlagCheck(id, now + pause, stop);
        }
    }

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        using var timer = new PeriodicTimer(Every, clock);
        try
        {
            while (await timer.WaitForNextTickAsync(stoppingToken))
            {
                try
                {
                    await Look(stoppingToken);
                }
                catch (Exception failure) when (failure is not OperationCanceledException)
                {
                    // The next round tries again. No text of the exception: it might quote what was charted.
                    Log.RoundFailed(log, failure.GetType().Name);
                }
            }
        }
        catch (OperationCanceledException)
        {
            // The service stops.
        }
    }

    private async ValueTask<Looked?> Look(string id, Instant now, CancellationToken stop)
    {
        if (await episodes.Find(id, stop) is not { } found)
            return Looked.At;
        using var steps = Steps.From("look");
        var revision = Revision.ByTime(await episodes.Watched(found, stop), now);
        return await revise.Save(revision, [], steps, stop) is null ? null : Looked.At;
    }

    private sealed class Looked
    {
        public static readonly Looked At = new();
    }
}

/// <summary>Says in readiness how many episodes cannot be judged: no flag of theirs is raised or ended by silence.</summary>
internal sealed class EpisodesCheck(WatchEpisodes watch) : IHealthCheck
{
    /// <inheritdoc/>
    public Task<HealthCheckResult> CheckHealthAsync(HealthCheckContext context, CancellationToken cancellationToken = default)
    {
        var count = watch.Failing;
        var data = new Dictionary<string, object> { ["failing"] = count };
        return Task.FromResult(
            count == 0
                ? HealthCheckResult.Healthy("every episode that was due was judged", data)
                : HealthCheckResult.Degraded($"{count} episode{(count == 1 ? "" : "s")} cannot be judged; the log names them", data: data)
        );
    }
}

/// <summary>What the watch says to whoever operates the service; never anything of a patient.</summary>
internal static partial class Log
{
    [LoggerMessage(Level = LogLevel.Error, Message = "A round of looking at due episodes failed ({Failure}); the next one tries again.")]
    public static partial void RoundFailed(ILogger logger, string failure);

    [LoggerMessage(
        Level = LogLevel.Error,
        Message = "Episode {Episode} cannot be judged ({Failure}, {Times} times in a row); it is looked at again in {Minutes} min."
    )]
    public static partial void EpisodeFailed(ILogger logger, string episode, string failure, int times, double minutes);
}
