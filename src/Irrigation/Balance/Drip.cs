using System.Collections.Immutable;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>A flow that is wanted: one, or a range of which either end may be open.</summary>
/// <param name="AtLeast">The lower end; null where there is none.</param>
/// <param name="AtMost">The upper end, not below the lower; null where there is none.</param>
public sealed record WantedFlow(FlowRate? AtLeast, FlowRate? AtMost)
{
    /// <summary>One flow and no other.</summary>
    public static WantedFlow Exactly(FlowRate rate) => new(rate, rate);

    /// <summary>Whether it is one flow and no range.</summary>
    public bool IsOne => AtLeast is not null && AtLeast == AtMost;

    /// <summary>How far a flow is above the range, below 0 where it is below it; 0 within.</summary>
    public FlowRate Off(FlowRate flow) =>
        flow < AtLeast ? flow - AtLeast.Value
        : flow > AtMost ? flow - AtMost.Value
        : FlowRate.Stopped;
}

/// <summary>What to count for a flow.</summary>
/// <param name="End">Which end of a wanted range it is; <see cref="WantedEnd.One"/> where one flow is wanted.</param>
/// <param name="Rate">The flow.</param>
/// <param name="Exact">Drops a minute before rounding; null where the drop factor is not known.</param>
/// <param name="Drops">Whole drops a minute, half away from zero; null where that is.</param>
/// <param name="Gives">The flow that so many whole drops make; null where that is.</param>
public sealed record DropsToCount(WantedEnd End, FlowRate Rate, decimal? Exact, decimal? Drops, FlowRate? Gives);

/// <summary>Which flow of those that are wanted.</summary>
public enum WantedEnd
{
    /// <summary>The only one.</summary>
    One,

    /// <summary>The lower end of a range.</summary>
    AtLeast,

    /// <summary>The upper end of a range.</summary>
    AtMost,
}

/// <summary>How a counted drip lies to what is wanted, by its 95 % interval.</summary>
public enum DripAnswer
{
    /// <summary>All of the interval is below what is wanted.</summary>
    Slower,

    /// <summary>All of the interval is above it.</summary>
    Faster,

    /// <summary>All of the interval is within what is wanted.</summary>
    AsWanted,

    /// <summary>The interval covers an end of what is wanted: the two cannot be told apart.</summary>
    Indeterminate,
}

/// <summary>How far a counted drip is from what is wanted.</summary>
/// <param name="By">Counted less wanted, from the nearer end of a range; below 0 where it is slower, 0 within a range.</param>
/// <param name="Percent">The same in per cent of that end; null where that is 0.</param>
/// <param name="Low">The same at the lower end of the 95 % interval.</param>
/// <param name="High">The same at its upper end.</param>
/// <param name="Answer">What can be said.</param>
public sealed record DripDeviation(FlowRate By, decimal? Percent, FlowRate Low, FlowRate High, DripAnswer Answer);

/// <summary>What a count of drops comes to.</summary>
/// <param name="Drops">Drops a minute as counted.</param>
/// <param name="Rate">The flow that they make.</param>
/// <param name="StandardUncertainty">One standard deviation of the flow, 0 or more.</param>
public sealed record CountedDrip(decimal Drops, FlowRate Rate, FlowRate StandardUncertainty)
{
    /// <summary>Lower end of the 95 % interval, two standard uncertainties off; may be below 0 where next to nothing drips.</summary>
    public FlowRate Low => Rate - Twice;

    /// <summary>Upper end of it.</summary>
    public FlowRate High => FlowRate.FromMillilitresPerHour(Rate.MillilitresPerHour + Twice.MillilitresPerHour);

    private FlowRate Twice => FlowRate.FromMillilitresPerHour(2 * StandardUncertainty.MillilitresPerHour);
}

/// <summary>How long a volume lasts.</summary>
/// <param name="Volume">The volume.</param>
/// <param name="Time">How long by the drops.</param>
/// <param name="Shortest">At the upper end of the flow's 95 % interval; null where nothing was counted.</param>
/// <param name="Longest">At its lower end; null where nothing was counted, or where it may take more than a year.</param>
public sealed record BagLasts(Volume Volume, Duration Time, Duration? Shortest, Duration? Longest);

/// <summary>What is to be known beside a drip.</summary>
public enum DripCaveat
{
    /// <summary>The drop factor is none that is printed on the usual sets.</summary>
    DropFactorNotListed,

    /// <summary>No drop factor is charted: drops cannot be told.</summary>
    DropFactorUnknown,

    /// <summary>The flow is less than half a drop a minute: no whole number of drops makes it.</summary>
    LessThanADrop,
}

/// <summary>
/// The sum that is done at every gravity line: what to count for a flow that is wanted, what was counted, and how far the one is from
/// the other.
/// </summary>
/// <remarks>
/// src/Irrigation/README.md, section 1.7. Drops are reported whole, half away from zero (check-value W14). The doubt of a count is that
/// of the drop (<see cref="MeasuringCharacters.Drops"/>) and of the counting (<see cref="MeasuringCharacters.DropCount"/>), as squares.
/// </remarks>
public sealed record Drip
{
    /// <summary>What is said beside every drip (common practice, no source).</summary>
    public const string Caution =
        "The drop factor printed on the packet of the giving set prevails. A gravity drip slows as the bag empties, and changes with its "
        + "height and with the patient's position: count again, for a whole minute.";

    // A drop of more than 100 mL is none: what was charted so before it could be refused is as good as no drop factor.
    private const decimal LeastFactor = 0.01m;

    private Drip(WantedFlow? wanted, DropFactor? charted, decimal? counted, Volume? volume, MeasuringCharacters characters)
    {
        var set = charted?.DropsPerMillilitre >= LeastFactor ? charted : null;
        (Wanted, Set) = (wanted, set);
        ToCount = wanted is null ? [] : [.. Ends(wanted).Select(end => Count(end.End, end.Rate, set))];
        Counted = counted is { } drops && set is { } factor ? Doubted(drops, factor, characters) : null;
        Deviation = Counted is not null && wanted is not null ? Compared(Counted, wanted) : null;
        Lasts = volume is { } held ? Lasting(held) : null;
        Caveats = [.. Noted()];
    }

    /// <summary>The flow that is wanted; null where none is.</summary>
    public WantedFlow? Wanted { get; }

    /// <summary>The drop factor of the giving set; null where it is not known, or none can be so.</summary>
    public DropFactor? Set { get; }

    /// <summary>What to count: one for a flow, two for the ends of a range; empty where none is wanted.</summary>
    public ImmutableArray<DropsToCount> ToCount { get; }

    /// <summary>What was counted; null where nothing was, or the set is not known.</summary>
    public CountedDrip? Counted { get; }

    /// <summary>How far what was counted is from what is wanted; null where one of them is missing.</summary>
    public DripDeviation? Deviation { get; }

    /// <summary>
    /// How long the volume lasts: at what was counted, else at the whole drops, else at the flow that is wanted. Null where there is no
    /// volume, where a range is wanted and nothing was counted, or where nothing drips.
    /// </summary>
    public BagLasts? Lasts { get; }

    /// <summary>What to know before relying on it.</summary>
    public ImmutableArray<DripCaveat> Caveats { get; }

    /// <summary>Works one.</summary>
    /// <param name="wanted">The flow that is wanted; null where none is.</param>
    /// <param name="set">The drop factor of the set; null where it is not known.</param>
    /// <param name="counted">Drops a minute as counted, 0 or more; null where nobody counted.</param>
    /// <param name="volume">What is to run or still hangs; null where that is not asked.</param>
    /// <param name="characters">How exact a drop and its counting are.</param>
    public static Drip Of(WantedFlow? wanted, DropFactor? set, decimal? counted, Volume? volume, MeasuringCharacters characters) =>
        new(wanted, set, counted, volume, characters);

    private static IEnumerable<(WantedEnd End, FlowRate Rate)> Ends(WantedFlow wanted)
    {
        if (wanted.IsOne)
        {
            yield return (WantedEnd.One, wanted.AtLeast!.Value);
            yield break;
        }

        if (wanted.AtLeast is { } least)
            yield return (WantedEnd.AtLeast, least);
        if (wanted.AtMost is { } most)
            yield return (WantedEnd.AtMost, most);
    }

    private static DropsToCount Count(WantedEnd end, FlowRate rate, DropFactor? set)
    {
        if (set is not { } factor)
            return new(end, rate, null, null, null);
        var whole = rate.ToDropsPerMinute(factor);
        return new(end, rate, rate.ToExactDropsPerMinute(factor), whole, FlowRate.FromDropsPerMinute(whole, factor));
    }

    private static CountedDrip Doubted(decimal drops, DropFactor set, MeasuringCharacters characters)
    {
        var rate = FlowRate.FromDropsPerMinute(drops, set);
        var (drop, count) = (characters.Drops, FlowRate.FromDropsPerMinute(characters.DropCount, set));
        decimal[] halfWidths =
        [
            rate.MillilitresPerHour * drop.Systematic,
            rate.MillilitresPerHour * drop.RandomRelative,
            count.MillilitresPerHour,
        ];
        var squares = halfWidths.Sum(half => Math.Pow((double)ErrorBudget.Rectangular(half), 2));
        return new(drops, rate, FlowRate.FromMillilitresPerHour((decimal)Math.Round(Math.Sqrt(squares), 6)));
    }

    private static DripDeviation Compared(CountedDrip counted, WantedFlow wanted)
    {
        var (by, low, high) = (wanted.Off(counted.Rate), wanted.Off(counted.Low), wanted.Off(counted.High));
        var near = by < FlowRate.Stopped ? wanted.AtLeast : wanted.AtMost ?? wanted.AtLeast;
        var percent = near is { MillilitresPerHour: not 0 } end ? by.MillilitresPerHour * 100 / end.MillilitresPerHour : (decimal?)null;
        var answer =
            high < FlowRate.Stopped ? DripAnswer.Slower
            : low > FlowRate.Stopped ? DripAnswer.Faster
            : low == high ? DripAnswer.AsWanted
            : DripAnswer.Indeterminate;
        return new(by, percent, low, high, answer);
    }

    private BagLasts? Lasting(Volume volume)
    {
        var only = ToCount is [{ } one] ? one : null;
        if ((Counted?.Rate ?? only?.Gives ?? only?.Rate) is not { } flow || Forecasts.TimeFor(volume, flow) is not { } time)
            return null;
        return Counted is { } counted
            ? new(volume, time, Forecasts.TimeFor(volume, counted.High), Later(volume, counted.Low))
            : new(volume, time, null, null);
    }

    private static Duration? Later(Volume volume, FlowRate slowest) =>
        slowest > FlowRate.Stopped ? Forecasts.TimeFor(volume, slowest) : null;

    private IEnumerable<DripCaveat> Noted()
    {
        if (Set is null)
            yield return DripCaveat.DropFactorUnknown;
        if (Set is { IsListed: false })
            yield return DripCaveat.DropFactorNotListed;
        if (ToCount.Any(count => count is { Exact: > 0, Drops: 0 }))
            yield return DripCaveat.LessThanADrop;
    }
}
