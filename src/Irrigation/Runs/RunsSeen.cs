using System.Collections.Immutable;
using Irrigation.Balance;
using NodaTime;

namespace Irrigation.Runs;

/// <summary>The runs of cycles that are seen at a moment, found once however many rules ask for them.</summary>
/// <param name="balance">The balance of what had happened.</param>
/// <param name="at">The moment.</param>
public sealed class RunsSeen(FluidBalance balance, Instant at)
{
    private ImmutableArray<RunOfCycles>? recent;

    /// <summary>Runs of the last two days; none where nothing was given by the aliquot on the last of them.</summary>
    public ImmutableArray<RunOfCycles> Recent => recent ??= RunsOfCycles.Recent(balance, at);

    /// <summary>The run that began last, if it began no longer ago than a day; null where there is none.</summary>
    public RunOfCycles? Latest => Recent.MaxBy(run => run.Cycles[^1].Start);
}
