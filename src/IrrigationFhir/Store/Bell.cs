namespace IrrigationFhir.Store;

/// <summary>Rung when there is news; whoever waits for news wakes up. Rung while nobody waits, the next who waits does not.</summary>
internal sealed class Bell : IDisposable
{
    private readonly SemaphoreSlim rung = new(0, 1);

    /// <summary>There is news.</summary>
    public void Ring()
    {
        try
        {
            rung.Release();
        }
        catch (SemaphoreFullException)
        {
            // It rings already.
        }
    }

    /// <summary>Waits for news.</summary>
    public Task Wait(CancellationToken stop) => rung.WaitAsync(stop);

    /// <inheritdoc/>
    public void Dispose() => rung.Dispose();
}
