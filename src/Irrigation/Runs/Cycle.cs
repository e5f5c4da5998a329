using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Runs;

/// <summary>How it is known which run and cycle an entry belongs to.</summary>
public enum FoundBy
{
    /// <summary>Its entries name it.</summary>
    Name,

    /// <summary>By the times of its entries.</summary>
    Time,
}

/// <summary>What to know of an aliquot.</summary>
public enum AliquotMark
{
    /// <summary>More than is usual.</summary>
    AboveUsual,

    /// <summary>Not given in full.</summary>
    NotInFull,

    /// <summary>Resistance was met.</summary>
    Resistance,
}

/// <summary>One cycle of an intermittent or open irrigation: instilled, held or clamped for its time, returned.</summary>
/// <param name="Number">From 1.</param>
/// <param name="Found">Whether its entries name the cycle.</param>
/// <param name="Given">What was instilled, in the order of time; at least one.</param>
/// <param name="Returns">The readings that measured what came back, in the order of time.</param>
/// <param name="In">What was instilled.</param>
/// <param name="Back">
/// What came back, what was charted as leaked beside the catheter included; null where no return was charted for this cycle, which is not
/// 0, or its reading tells nothing.
/// </param>
/// <param name="Leaked">The part of that which was charted as leaked; null where none was.</param>
public sealed record Cycle(
    int Number,
    FoundBy Found,
    ImmutableArray<IrrigantInstilled> Given,
    ImmutableArray<Entry> Returns,
    Measured In,
    Measured? Back,
    Volume? Leaked
)
{
    /// <summary>
    /// The first of the cycles that its return is of: those before it whose own return nobody charted came back with this one. The number
    /// of the cycle itself where it stands alone, or nothing came back yet.
    /// </summary>
    public int ReturnFrom { get; init; } = Number;

    /// <summary>How many cycles its return is of, itself and those that follow one another before it; 1 where it stands alone.</summary>
    public int ReturnOf { get; init; } = 1;

    /// <summary>What was instilled in the cycles that its return is of.</summary>
    public Measured InOfReturn { get; init; } = In;

    /// <summary>
    /// What did not come back of the cycles that its return is of; below 0 what came back beyond, which is urine. Null without a return.
    /// </summary>
    public Measured? Shortfall => Back is { } back ? InOfReturn - back : null;

    /// <summary>The 95 % interval of that; null where that is.</summary>
    public VolumeRange? Shortfall95 => Shortfall is { } measured ? RunOfCycles.Interval(measured) : null;

    /// <summary>From the last aliquot until the clamp was released, or else the first return; null while that is not known.</summary>
    public Duration? Stayed { get; init; }

    /// <summary>Whether the drain was clamped meanwhile.</summary>
    public bool Clamped { get; init; }

    /// <summary>What the return looked like; null where nobody said.</summary>
    public DrainageAppearance? Looked { get; init; }

    /// <summary>How it was borne; null where nobody said.</summary>
    public ToleranceNoted? Borne { get; init; }

    /// <summary>What to know of what was given.</summary>
    public ImmutableArray<AliquotMark> Marks { get; init; } = [];

    /// <summary>The first aliquot.</summary>
    public Instant Start => Given[0].At;

    /// <summary>When its return was complete, as far as it is charted; null without one.</summary>
    public Instant? ReturnedAt => Returns.IsEmpty ? null : Returns[^1].At;
}
