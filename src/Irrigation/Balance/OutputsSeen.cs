using NodaTime;

namespace Irrigation.Balance;

/// <summary>Outputs of trailing windows of a balance, each worked out once however many criteria and rules ask for it.</summary>
/// <param name="balance">The balance.</param>
/// <remarks>Of no use beyond the moment: it holds what it worked out. For one thread.</remarks>
public sealed class OutputsSeen(FluidBalance balance)
{
    private readonly Dictionary<Interval, OutputWindow> windows = [];

    /// <summary>The balance.</summary>
    public FluidBalance Balance => balance;

    /// <summary>The output of a window, without what ran in, what was charted and the shares.</summary>
    public OutputWindow Over(Interval window) =>
        windows.TryGetValue(window, out var known) ? known : windows[window] = balance.OutputOver(window);
}
