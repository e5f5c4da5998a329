namespace IrrigationFhir.Record;

/// <summary>Places at the processors. Who works out a balance takes one, and waits for it without holding a thread.</summary>
/// <remarks>
/// Without them a hundred requests that begin together would take every thread of the pool, and a probe would wait behind all of
/// them. So there are always more threads than places (<see cref="KeepThreadsFree"/>), and what costs little is answered at once.
/// </remarks>
internal sealed class Places : IDisposable
{
    private readonly SemaphoreSlim free;

    private Places(int most) => free = new(most, most);

    /// <summary>For changes: two for each processor, for a change also waits for its commit.</summary>
    public static Places Changing { get; } = new(2 * Environment.ProcessorCount);

    /// <summary>For what is worked out to be read: one for each processor, so that readers never keep the ward from charting.</summary>
    public static Places Reading { get; } = new(Environment.ProcessorCount);

    /// <summary>Keeps as many threads at hand as there are places, and some more.</summary>
    public static void KeepThreadsFree()
    {
        ThreadPool.GetMinThreads(out var workers, out var ports);
        ThreadPool.SetMinThreads(Math.Max(workers, (3 * Environment.ProcessorCount) + 8), ports);
    }

    /// <summary>Waits for a place; whoever gets one gives it back by disposing of it.</summary>
    /// <param name="stop">Gives up.</param>
    public async ValueTask<IDisposable> Enter(CancellationToken stop)
    {
        await free.WaitAsync(stop);
        return new Place(free);
    }

    /// <inheritdoc/>
    public void Dispose() => free.Dispose();

    private sealed class Place(SemaphoreSlim free) : IDisposable
    {
        private SemaphoreSlim? taken = free;

        public void Dispose() => Interlocked.Exchange(ref taken, null)?.Release();
    }
}
