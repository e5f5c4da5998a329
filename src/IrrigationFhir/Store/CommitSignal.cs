using System.Threading.Channels;

namespace IrrigationFhir.Store;

/// <summary>Wakes up one that waits for commits. Commits while nobody waits are remembered as one: the next who waits does not.</summary>
internal sealed class CommitSignal
{
    private readonly Channel<bool> _signals = Channel.CreateBounded<bool>(
        new BoundedChannelOptions(1) { FullMode = BoundedChannelFullMode.DropWrite }
    );

    /// <summary>Says that something was committed, or is to be looked at again.</summary>
    public void Notify() => _signals.Writer.TryWrite(true);

    /// <summary>Waits for the next signal.</summary>
    public async Task Wait(CancellationToken stop) => await _signals.Reader.ReadAsync(stop);
}
