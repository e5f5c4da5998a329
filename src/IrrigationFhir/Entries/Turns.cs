namespace IrrigationFhir.Entries;

/// <summary>
/// Requests for one episode take turns within this process: they would only collide on its version otherwise. Replicas that share
/// a store still collide there, and run again.
/// </summary>
internal static class Turns
{
    private static readonly SemaphoreSlim[] Gates = [.. Enumerable.Range(0, 256).Select(_ => new SemaphoreSlim(1, 1))];

    /// <summary>Waits for a turn; disposing ends it.</summary>
    public static async Task<IDisposable> Of(string episodeId, CancellationToken stop)
    {
        var gate = Gates[(uint)episodeId.GetHashCode(StringComparison.Ordinal) % Gates.Length];
        await gate.WaitAsync(stop);
        return new Turn(gate);
    }

    private sealed class Turn(SemaphoreSlim gate) : IDisposable
    {
        public void Dispose() => gate.Release();
    }
}
