namespace IrrigationFhir.Subscriptions;

/// <summary>
/// The right to deliver, of one process among those that share a folder: the system gives it back when a process dies, however it dies.
/// </summary>
internal sealed class DeliveryLock : IDisposable
{
    private readonly FileStream _file;

    private DeliveryLock(FileStream file) => _file = file;

    /// <summary>Waits until no other process holds it.</summary>
    /// <param name="folder">The folder of the store.</param>
    /// <param name="pollInterval">How long to wait between two attempts.</param>
    /// <param name="stop">Gives up.</param>
    public static async Task<DeliveryLock> Acquire(string folder, TimeSpan pollInterval, CancellationToken stop)
    {
        var path = Path.Combine(folder, "delivery.lock");
        while (true)
        {
            try
            {
                return new(new FileStream(path, FileMode.OpenOrCreate, FileAccess.ReadWrite, FileShare.None));
            }
            catch (IOException)
            {
                await Task.Delay(pollInterval, stop);
            }
        }
    }

    /// <inheritdoc/>
    public void Dispose() => _file.Dispose();
}
