using Irrigation;
using Irrigation.Balance;
using IrrigationFhir.Fhir;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Rest;

/// <summary>The drip of a line of an episode.</summary>
/// <param name="Line">The line.</param>
/// <param name="Wanted">
/// ordered, where the flow that is wanted is the order's; set, where it was set in mL/h. Null where none is wanted.
/// </param>
/// <param name="CountedAt">When the drops were counted; null where nobody counted.</param>
/// <param name="Drip">What to count, what was counted, how long the bag lasts.</param>
internal sealed record LineDripReport(string Line, string? Wanted, string? CountedAt, DripReport Drip)
{
    private static readonly ZonedDateTimePattern Clock = ZonedDateTimePattern.CreateWithInvariantCulture("HH:mm", null);

    /// <summary>The report of a line's drip.</summary>
    public static LineDripReport Of(LineDrip line, DateTimeZone zone) =>
        new(
            line.Line,
            line.Drip.Wanted is null ? null
                : line.IsOrdered ? "ordered"
                : "set",
            line.CountedAt is { } at ? FhirValues.Time(at, zone) : null,
            DripReport.Of(line.Drip, line.Says(counted => Clock.Format(counted.InZone(zone))))
        );
}

/// <summary>The sum that is done at a gravity line, there and back.</summary>
/// <param name="DropFactor">The drop factor of the giving set in {drop}/mL; null where it is not known.</param>
/// <param name="ToCount">What to count: one for a flow, two for the ends of a range; empty where no flow is wanted.</param>
/// <param name="Counted">What was counted; null where nothing was, or the set is not known.</param>
/// <param name="Deviation">How far that is from what is wanted; null where one of them is missing.</param>
/// <param name="Lasts">How long the volume or the hanging bag lasts; null where that cannot be told.</param>
/// <param name="Caveats">What to know before relying on it.</param>
/// <param name="Says">All of it in words, a sentence each.</param>
/// <param name="Caution">What goes with every drip.</param>
internal sealed record DripReport(
    Amount? DropFactor,
    IReadOnlyList<DropsToCountReport> ToCount,
    CountedDripReport? Counted,
    DripDeviationReport? Deviation,
    LastsReport? Lasts,
    IReadOnlyList<DripCaveatReport> Caveats,
    IReadOnlyList<string> Says,
    string Caution
)
{
    /// <summary>The report of a drip.</summary>
    /// <param name="drip">The drip.</param>
    /// <param name="says">It in words.</param>
    public static DripReport Of(Drip drip, IEnumerable<string> says) =>
        new(
            drip.Set is { } set ? new(FhirValues.Number(set.DropsPerMillilitre), Codes.Units.DropsPerMillilitre.Code) : null,
            [.. drip.ToCount.Select(DropsToCountReport.Of)],
            drip.Counted is { } counted ? CountedDripReport.Of(counted) : null,
            drip.Deviation is { } off ? DripDeviationReport.Of(off) : null,
            drip.Lasts is { } lasts ? LastsReport.Of(lasts) : null,
            [.. drip.Caveats.Select(caveat => new DripCaveatReport(Slug.Of(caveat), DripWords.Of(caveat, drip.Set)))],
            [.. says],
            Irrigation.Balance.Drip.Caution
        );

    /// <summary>Drops a minute.</summary>
    public static Amount PerMinute(decimal drops) => new(FhirValues.Number(drops), Codes.Units.DropsPerMinute.Code);
}

/// <summary>What to count for a flow.</summary>
/// <param name="End">one, or at-least and at-most for the ends of a range.</param>
/// <param name="Rate">The flow.</param>
/// <param name="Drops">Whole drops a minute, half away from zero; null where the drop factor is not known.</param>
/// <param name="Exact">The same before rounding.</param>
/// <param name="Gives">The flow that so many whole drops make.</param>
internal sealed record DropsToCountReport(
    [property: WordsOf(typeof(WantedEnd))] string End,
    Amount Rate,
    Amount? Drops,
    Amount? Exact,
    Amount? Gives
)
{
    /// <summary>The report of what to count.</summary>
    public static DropsToCountReport Of(DropsToCount count) =>
        new(
            Slug.Of(count.End),
            Amount.Of(count.Rate),
            count.Drops is { } drops ? DripReport.PerMinute(drops) : null,
            count.Exact is { } exact ? DripReport.PerMinute(exact) : null,
            count.Gives is { } gives ? Amount.Of(gives) : null
        );
}

/// <summary>What a count of drops comes to.</summary>
/// <param name="Drops">Drops a minute, as counted.</param>
/// <param name="Rate">The flow that they make.</param>
/// <param name="StandardUncertainty">One standard deviation of it: of the drop and of the counting.</param>
/// <param name="Interval95">Two of them to either side.</param>
internal sealed record CountedDripReport(Amount Drops, Amount Rate, Amount StandardUncertainty, RangeReport Interval95)
{
    /// <summary>The report of a count.</summary>
    public static CountedDripReport Of(CountedDrip counted) =>
        new(
            DripReport.PerMinute(counted.Drops),
            Amount.Of(counted.Rate),
            Amount.Of(counted.StandardUncertainty),
            new(Amount.Of(counted.Low), Amount.Of(counted.High))
        );
}

/// <summary>How far what was counted is from what is wanted.</summary>
/// <param name="By">Counted less wanted, from the nearer end of a range: below 0 where it is slower, 0 within a range.</param>
/// <param name="Percent">The same in per cent of that end; null where that is 0.</param>
/// <param name="Interval95">The same at both ends of the 95 % interval of what was counted.</param>
/// <param name="Answer">slower, faster or as-wanted, where the whole interval is; indeterminate where drops cannot tell.</param>
internal sealed record DripDeviationReport(
    Amount By,
    Amount? Percent,
    RangeReport Interval95,
    [property: WordsOf(typeof(DripAnswer))] string Answer
)
{
    /// <summary>The report of a deviation.</summary>
    public static DripDeviationReport Of(DripDeviation off) =>
        new(
            Amount.Of(off.By),
            off.Percent is { } percent ? new(FhirValues.Number(percent), "%") : null,
            new(Amount.Of(off.Low), Amount.Of(off.High)),
            Slug.Of(off.Answer)
        );
}

/// <summary>How long a volume lasts.</summary>
/// <param name="Volume">The volume: what was asked about, or what is left in the bag.</param>
/// <param name="Time">How long: at what was counted, else at the whole drops, else at the flow that is wanted.</param>
/// <param name="Shortest">At the upper end of what was counted; null where nothing was.</param>
/// <param name="Longest">At its lower end; null where nothing was counted, or where it may take more than a year.</param>
internal sealed record LastsReport(Amount Volume, Amount Time, Amount? Shortest, Amount? Longest)
{
    /// <summary>The report of it.</summary>
    public static LastsReport Of(BagLasts lasts) =>
        new(
            Amount.Of(lasts.Volume)!,
            Amount.Of(lasts.Time),
            lasts.Shortest is { } least ? Amount.Of(least) : null,
            lasts.Longest is { } most ? Amount.Of(most) : null
        );
}

/// <summary>What to know beside a drip.</summary>
/// <param name="Code">Stable; software may rely on it.</param>
/// <param name="Says">In words.</param>
internal sealed record DripCaveatReport([property: WordsOf(typeof(DripCaveat))] string Code, string Says);
