using Polly;

namespace IrrigationFhir.Record;

/// <summary>
/// Changes to one episode take turns within this process: they would only collide on its version otherwise. Replicas that share
/// a store still collide there, and run again.
/// </summary>
internal static class EpisodeGate
{
    private static readonly SemaphoreSlim[] Gates = [.. Enumerable.Range(0, 256).Select(_ => new SemaphoreSlim(1, 1))];

    /// <summary>Waits for a turn, then loads, works out and saves until nobody else was first.</summary>
    /// <param name="episodeId">Whose turn.</param>
    /// <param name="attempt">One attempt; null where somebody else was first.</param>
    /// <param name="stop">Gives up.</param>
    public static async Task<T> UntilSaved<T>(string episodeId, Func<CancellationToken, ValueTask<T?>> attempt, CancellationToken stop)
        where T : class
    {
        var gate = Gates[(uint)episodeId.GetHashCode(StringComparison.Ordinal) % Gates.Length];
        await gate.WaitAsync(stop);
        try
        {
            using var place = await Places.Changing.Enter(stop);
            return await Again<T>.Pipeline.ExecuteAsync(attempt, stop)
                ?? throw new InvalidOperationException("an episode that changed under every attempt");
        }
        finally
        {
            gate.Release();
        }
    }

    /// <summary>Somebody else was first: load and run again. Never gives up a request for it within the time a client waits.</summary>
    private static class Again<T>
        where T : class
    {
        public static readonly ResiliencePipeline<T?> Pipeline = new ResiliencePipelineBuilder<T?>()
            .AddRetry(
                new()
                {
                    ShouldHandle = new PredicateBuilder<T?>().HandleResult(outcome => outcome is null),
                    MaxRetryAttempts = 50,
                    Delay = TimeSpan.FromMilliseconds(2),
                    BackoffType = DelayBackoffType.Exponential,
                    MaxDelay = TimeSpan.FromMilliseconds(200),
                    UseJitter = true,
                }
            )
            .Build();
    }
}
