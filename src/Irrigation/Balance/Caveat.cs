using System.Collections.Immutable;

namespace Irrigation.Balance;

/// <summary>What a reader of a number should know about it. A caveat travels with the number wherever it goes.</summary>
public enum Caveat
{
    /// <summary>The instilled volume comes from charted flow rates, not from a measurement.</summary>
    IrrigantFromRate,

    /// <summary>The closing reading fell between two readings of the irrigant; its share is interpolated.</summary>
    IrrigantInterpolated,

    /// <summary>Irrigant runs from a bag or pump that has not been read since: preliminary until it is.</summary>
    IrrigantNotReadYet,

    /// <summary>Drainage was charted and the irrigant of the time since the last total was not, so far; or none ever was.</summary>
    IrrigantNotCharted,

    /// <summary>The first charted irrigant has no known start; it is spread back to the start of the episode.</summary>
    IrrigantStartUnknown,

    /// <summary>How much irrigant ran in is not known.</summary>
    IrrigantUnknown,

    /// <summary>A bag was read or taken down whose hanging was not charted.</summary>
    BagStartUnknown,

    /// <summary>A bag was replaced or taken down and what was left in it was not charted.</summary>
    BagEndUnknown,

    /// <summary>More was read in a bag than at the reading before; the lower reading stands.</summary>
    BagLevelRose,

    /// <summary>First bag on a giving set, and what stayed in the tubing was not charted: the set's content counts as instilled.</summary>
    TubingPrimeNotCharted,

    /// <summary>Totals and a bag or pump were charted for the same time on one line: both are counted.</summary>
    TwoMeasuresOnOneLine,

    /// <summary>The pump's counter went back without a charted restart: what ran in between is not known.</summary>
    PumpCounterReset,

    /// <summary>
    /// Another device reads from here on: a counter is never subtracted from another device's, so what passed between the two is not known.
    /// </summary>
    DeviceChanged,

    /// <summary>The container's level fell without a charted emptying: what drained in between is not known.</summary>
    ContainerReset,

    /// <summary>The level was read a little lower than before; counted as no drainage.</summary>
    LevelBelowPrevious,

    /// <summary>What the container held at the start was not charted; it is taken as empty.</summary>
    DrainageStartUnknown,

    /// <summary>Irrigant ran in and no irrigated drainage was charted for it.</summary>
    DrainageNotCharted,

    /// <summary>A bladder scan gives the volume held, but none was done at the start to compare with.</summary>
    RetainedStartUnknown,

    /// <summary>The corrected output is negative: fluid stayed behind, leaked, or a volume is wrong. It is evidence and is kept.</summary>
    NegativeOutput,

    /// <summary>A share of a closed interval by elapsed time, not a reading.</summary>
    Apportioned,

    /// <summary>An entry was charted long after it happened.</summary>
    LateEntry,

    /// <summary>An entry was amended or withdrawn.</summary>
    CorrectedEntry,

    /// <summary>First reading of a route: when collection began is not known.</summary>
    RouteStartUnknown,

    /// <summary>Another route was being collected and has not been read since.</summary>
    OtherRouteNotRead,

    /// <summary>Flow above what gravity can deliver through an irrigation catheter.</summary>
    ImplausibleFlow,

    /// <summary>A volume larger than the ward's containers hold.</summary>
    ImplausibleVolume,

    /// <summary>Drainage was charted in the time of a clamp.</summary>
    DrainageWhileClamped,

    /// <summary>The drain was clamped in this time.</summary>
    DwellInProgress,

    /// <summary>The time between the two readings is long.</summary>
    Gap,

    /// <summary>
    /// A reading that it rests on cannot be right as it stands; it stays in the sum and out of decisions until a person confirms or
    /// corrects it.
    /// </summary>
    Doubted,

    /// <summary>When irrigant began or ceased to run is not charted to the minute; the doubt about it is in the interval.</summary>
    FlowStartUnknown,
}

/// <summary>A term of the mass balance.</summary>
public enum BalanceTerm
{
    /// <summary>A: irrigant absorbed or extravasated. Nothing at the bedside measures it.</summary>
    Absorbed,

    /// <summary>B: blood and clot in the drainage. Nothing at the bedside measures it.</summary>
    Blood,

    /// <summary>L: leaked, bypassed or spilt.</summary>
    Leaked,

    /// <summary>R1 − R0: change of what bladder, catheter and tubing hold.</summary>
    RetainedChange,
}

/// <summary>Caveats, each at most once; a bit for each, for a balance gathers them thousands of times.</summary>
internal readonly record struct CaveatSet(ulong Bits)
{
    /// <summary>None.</summary>
    public static CaveatSet Empty => default;

    /// <summary>Those of a sequence.</summary>
    public static CaveatSet Of(IEnumerable<Caveat> caveats) => caveats.Aggregate(Empty, (set, caveat) => set.Add(caveat));

    /// <summary>With one more.</summary>
    public CaveatSet Add(Caveat caveat) => new(Bits | (1UL << (int)caveat));

    /// <summary>With those of another.</summary>
    public CaveatSet Union(CaveatSet other) => new(Bits | other.Bits);

    /// <summary>Whether it is among them.</summary>
    public bool Contains(Caveat caveat) => (Bits & (1UL << (int)caveat)) != 0;

    /// <summary>In the order of <see cref="Caveat"/>.</summary>
    public ImmutableArray<Caveat> InOrder()
    {
        if (Bits == 0)
            return [];
        var caveats = ImmutableArray.CreateBuilder<Caveat>(System.Numerics.BitOperations.PopCount(Bits));
        for (var rest = Bits; rest != 0; rest &= rest - 1)
            caveats.Add((Caveat)System.Numerics.BitOperations.TrailingZeroCount(rest));
        return caveats.MoveToImmutable();
    }
}
