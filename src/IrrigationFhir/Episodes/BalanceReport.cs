using System.Globalization;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Measures;
using IrrigationFhir.Fhir;
using NodaTime;

namespace IrrigationFhir.Episodes;

/// <summary>The balance with every intermediate step.</summary>
/// <param name="Episode">The episode's id; null for a log that was never stored.</param>
/// <param name="AsOf">The moment of asking.</param>
/// <param name="Convention">How the simple number is made, in machine-readable form.</param>
/// <param name="Equation">The mass balance; D and I as in each interval.</param>
/// <param name="Intervals">From reading to reading, stream by stream.</param>
/// <param name="Hours">Clock hours.</param>
/// <param name="Shifts">Shifts of the facility.</param>
/// <param name="Days">Local days.</param>
/// <param name="Trailing">The last 6, 12 and 24 elapsed hours before the moment of asking.</param>
/// <param name="Open">The time since the last closing point.</param>
/// <param name="Caution">What every reader should know.</param>
internal sealed record BalanceReport(
    string? Episode,
    string AsOf,
    string Convention,
    string Equation,
    IReadOnlyList<IntervalReport> Intervals,
    IReadOnlyList<WindowReport> Hours,
    IReadOnlyList<WindowReport> Shifts,
    IReadOnlyList<WindowReport> Days,
    IReadOnlyList<WindowReport> Trailing,
    OpenReport Open,
    string Caution)
{
    /// <summary>The report of a balance as of a moment.</summary>
    public static BalanceReport Of(FluidBalance balance, string? episode, Instant asOf)
    {
        var frame = balance.Log.Frame;
        IReadOnlyList<WindowReport> Calendar(WindowKind kind) =>
            [.. Irrigation.Balance.Calendar.Windows(kind, frame, frame.Start, Latest(balance)).Select(w => WindowReport.Of(balance.Over(kind, w), frame.Zone))];
        return new(
            episode,
            Wire.Time(asOf, frame.Zone),
            "drainage-minus-irrigant",
            "U = D - I + (R1 - R0) + A + L - B",
            [.. balance.Streams.SelectMany(stream => balance[stream]).Select(i => IntervalReport.Of(i, frame.Zone))],
            Calendar(WindowKind.ClockHour),
            Calendar(WindowKind.Shift),
            Calendar(WindowKind.LocalDay),
            [.. new[] { 6, 12, 24 }.Select(hours => WindowReport.Of(balance.Over(WindowKind.Trailing, new(asOf - NodaTime.Duration.FromHours(hours), asOf)), frame.Zone))],
            OpenReport.Of(balance.Open(asOf), frame.Zone),
            Texts.Caution);
    }

    private static Instant Latest(FluidBalance balance) =>
        balance.Streams.Select(stream => balance[stream][^1].End).Append(balance.Log.Frame.Start).Max();
}

/// <summary>A quantity with its unit.</summary>
internal sealed record Amount(decimal Value, string Unit)
{
    /// <summary>A volume in mL; null where unknown.</summary>
    public static Amount? Of(Volume? volume) => volume is { } known ? new(Wire.Number(known.Millilitres), "mL") : null;

    /// <summary>Elapsed time in hours.</summary>
    public static Amount Of(NodaTime.Duration time) => new(Wire.Quantity(time).Value!.Value, "h");
}

/// <summary>Corrected urine output: headline, best estimate with its standard uncertainty, 95 % interval.</summary>
internal sealed record OutputReport(Amount Headline, Amount? BestEstimate, Amount? StandardUncertainty, RangeReport? Interval95)
{
    /// <summary>The report of an output; null where there is none.</summary>
    public static OutputReport? Of(UrineOutput? output) => output is null ? null : new(
        Amount.Of(output.Headline)!,
        Amount.Of(output.BestEstimate?.Value),
        Amount.Of(output.BestEstimate?.StandardUncertainty),
        output.Interval95 is { } range ? new(Amount.Of(range.Low)!, Amount.Of(range.High)!) : null);
}

/// <summary>Both ends of an interval.</summary>
internal sealed record RangeReport(Amount Low, Amount High);

/// <summary>A closed interval with its working.</summary>
internal sealed record IntervalReport(
    string Stream,
    string Start,
    string End,
    Amount Duration,
    string Status,
    OutputReport? CorrectedUrineOutput,
    string? AbsentReason,
    Amount? SimpleOutput,
    Amount? IrrigantInstilled,
    Amount? Drained,
    Amount Urine,
    Amount? RetainedChange,
    Amount? Leaked,
    IReadOnlyList<string> AssumedZero,
    IReadOnlyList<string> Caveats,
    IReadOnlyList<PartReport> Parts)
{
    /// <summary>The report of an interval.</summary>
    public static IntervalReport Of(ClosedInterval interval, DateTimeZone zone) => new(
        interval.Stream,
        Wire.Time(interval.Start, zone),
        Wire.Time(interval.End, zone),
        Amount.Of(interval.Length),
        Slug.Of(interval.Status),
        OutputReport.Of(interval.Output),
        interval.Absent is { } absent ? Slug.Of(absent) : null,
        Amount.Of(interval.Simple),
        Amount.Of(interval.Instilled),
        Amount.Of(interval.Drained),
        Amount.Of(interval.Urine)!,
        Amount.Of(interval.RetainedChange),
        Amount.Of(interval.Leaked),
        [.. interval.AssumedZero.Select(t => Slug.Of(t))],
        [.. interval.Caveats.Select(c => Slug.Of(c))],
        [.. interval.Parts.Select(p => new PartReport(Slug.Of(p.Kind), p.Entry.Source, p.Entry.Id, Wire.Time(p.Start, zone), Wire.Time(p.End, zone), Amount.Of(p.Whole), Amount.Of(p.Amount)))]);
}

/// <summary>One line of the working: which entry gave how much.</summary>
internal sealed record PartReport(string Kind, string Source, string Id, string From, string To, Amount? Whole, Amount? Share);

/// <summary>A window.</summary>
internal sealed record WindowReport(
    string Start,
    string End,
    Amount Duration,
    Amount Covered,
    string Status,
    OutputReport? CorrectedUrineOutput,
    string? AbsentReason,
    Amount? SimpleOutput,
    Amount? IrrigantInstilled,
    Amount? IrrigantCharted,
    Amount? DrainageCharted,
    IReadOnlyList<string> Caveats)
{
    /// <summary>The report of a window.</summary>
    public static WindowReport Of(OutputWindow window, DateTimeZone zone) => new(
        Wire.Time(window.Start, zone),
        Wire.Time(window.End, zone),
        Amount.Of(window.Length),
        Amount.Of(window.Covered),
        Slug.Of(window.Status),
        OutputReport.Of(window.Output),
        window.Absent is { } absent ? Slug.Of(absent) : null,
        Amount.Of(window.Simple),
        Amount.Of(window.Instilled),
        Amount.Of(window.IrrigantCharted),
        Amount.Of(window.DrainageCharted),
        [.. window.Caveats.Select(c => Slug.Of(c))]);
}

/// <summary>The time since the last closing point.</summary>
internal sealed record OpenReport(string Start, string AsOf, Amount? IrrigantInstilled, string? ClampedSince, IReadOnlyList<string> Caveats)
{
    /// <summary>The report of an open interval.</summary>
    public static OpenReport Of(OpenInterval open, DateTimeZone zone) => new(
        Wire.Time(open.Start, zone),
        Wire.Time(open.AsOf, zone),
        Amount.Of(open.Instilled),
        open.ClampedSince is { } since ? Wire.Time(since, zone) : null,
        [.. open.Caveats.Select(c => Slug.Of(c))]);
}
