using Irrigation.Episodes;

namespace Irrigation.Balance;

/// <summary>What a derived number cannot be.</summary>
public enum DoubtKind
{
    /// <summary>More urine than a body makes, even at the lower end of the interval.</summary>
    OutputAboveCeiling,

    /// <summary>More than a drainage container holds.</summary>
    MoreThanContainerHolds,

    /// <summary>A container weighed less than it weighs empty.</summary>
    BelowTare,

    /// <summary>Two nearly equal emptyings within minutes, and nothing that could have filled it again: charted twice.</summary>
    ChartedTwice,

    /// <summary>The level fell and no emptying was charted: emptied without a word, or mistyped.</summary>
    LevelFell,

    /// <summary>A tare that is left out where it was charted before: the jump is that of the empty container.</summary>
    TareForgotten,

    /// <summary>More in one entry than is ever charted: marked, and in no decision's way.</summary>
    ImplausibleVolume,

    /// <summary>A flow that gravity cannot deliver through an irrigation catheter: marked, and in no decision's way.</summary>
    ImplausibleFlow,
}

/// <summary>A doubt about a derived number: of what kind, which reading it hangs on, and in words.</summary>
/// <param name="Kind">What it cannot be.</param>
/// <param name="Reading">The reading to look at again.</param>
/// <param name="Says">In words: what was seen and what could be.</param>
public sealed record Doubt(DoubtKind Kind, EntryKey Reading, string Says);
