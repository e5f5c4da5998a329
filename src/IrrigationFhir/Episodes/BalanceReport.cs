using System.Globalization;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Criteria;
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
/// <param name="Hours">Clock hours of the last 31 days that have readings.</param>
/// <param name="Shifts">Shifts of the facility, of the same days.</param>
/// <param name="Days">Local days, the same.</param>
/// <param name="Trailing">The last 6, 12 and 24 elapsed hours before the latest closed interval's end, or before the moment of asking if that is earlier.</param>
/// <param name="Criteria">The urine-output criteria that fit the patient's age, at the same moment, each in both readings. Of urine output alone: no diagnosis.</param>
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
    IReadOnlyList<CriterionReport> Criteria,
    OpenReport Open,
    string Caution)
{
    /// <summary>The report of a balance as of a moment.</summary>
    public static BalanceReport Of(FluidBalance balance, string? episode, LocalDate? birthDate, Instant asOf)
    {
        var frame = balance.Log.Frame;
        var patient = new Patient(birthDate, frame.Zone);
        var limits = CriteriaSettings.Default;
        var latest = Instant.Min(asOf, Latest(balance));
        WeightInForce? WeightAt(Instant at) => WeightInForce.Of(balance.Log, at, patient, limits);
        IReadOnlyList<WindowReport> Calendar(WindowKind kind) =>
            [.. Irrigation.Balance.Calendar.Windows(kind, frame, Instant.Max(frame.Start, Latest(balance) - balance.Settings.LongestApportioned), Latest(balance)).Select(w => WindowReport.Of(balance.Over(kind, w), WeightAt(w.End), frame.Zone))];
        return new(
            episode,
            Wire.Time(asOf, frame.Zone),
            "drainage-minus-irrigant",
            "U = D - I + (R1 - R0) + A + L - B",
            [.. balance.Streams.SelectMany(stream => balance[stream]).Select(i => IntervalReport.Of(i, WeightAt(i.End), frame.Zone))],
            Calendar(WindowKind.ClockHour),
            Calendar(WindowKind.Shift),
            Calendar(WindowKind.LocalDay),
            [.. new[] { 6, 12, 24 }.Select(hours => WindowReport.Of(balance.Over(WindowKind.Trailing, new(latest - NodaTime.Duration.FromHours(hours), latest)), WeightAt(latest), frame.Zone))],
            [.. UrineOutputCriteria.At(balance, patient, latest, limits).Concat(UrineOutputCriteria.Volumes(balance, patient, latest, limits)).Select(c => CriterionReport.Of(c, frame.Zone))],
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

/// <summary>The headline as a rate over the covered time.</summary>
internal sealed record RateReport(Amount PerHour, Amount? PerKilogramHour, WeightReport? Weight)
{
    /// <summary>The report of a rate; null where there is no output or no time.</summary>
    public static RateReport? Of(UrineOutput? output, NodaTime.Duration over, WeightInForce? weight, DateTimeZone zone)
    {
        if (output is null || over <= NodaTime.Duration.Zero) return null;
        var rate = UrineRate.Of(output.Headline, over, weight);
        return new(new(Wire.Number(rate.PerHour), "mL/h"), rate.PerKilogramHour is { } perKilogram ? new(Wire.Number(perKilogram), "mL/kg/h") : null, WeightReport.Of(weight, zone));
    }
}

/// <summary>The weight that a rate rests on, its kind, when it was taken, and why it is doubted.</summary>
internal sealed record WeightReport(Amount Weight, string Kind, string At, string? Doubt)
{
    /// <summary>The report of a weight; null where none is in force.</summary>
    public static WeightReport? Of(WeightInForce? weight, DateTimeZone zone) => weight is null ? null
        : new(new(Wire.Number(weight.Weight.Kilograms), "kg"), Slug.Of(weight.Weight.Kind), Wire.Time(weight.At, zone), weight.Doubt);
}

/// <summary>A result of a urine-output criterion.</summary>
internal sealed record CriterionReport(
    string Criterion,
    int Stage,
    string Reading,
    string Start,
    string End,
    string Answer,
    Amount Threshold,
    Amount? Value,
    RangeReport? Interval95,
    decimal Coverage,
    WeightReport? Weight,
    IReadOnlyList<string> Obstacles)
{
    /// <summary>The report of a result.</summary>
    public static CriterionReport Of(CriterionResult result, DateTimeZone zone) => new(
        result.Name,
        result.Stage,
        Slug.Of(result.Reading),
        Wire.Time(result.Window.Start, zone),
        Wire.Time(result.Window.End, zone),
        Slug.Of(result.Answer),
        new(result.Threshold, result.Unit),
        result.Value is { } value ? new(Wire.Number(value), result.Unit) : null,
        result.Interval95 is { } range ? new(new(Wire.Number(range.Low), result.Unit), new(Wire.Number(range.High), result.Unit)) : null,
        Wire.Number(result.Coverage),
        WeightReport.Of(result.Weight, zone),
        [.. result.Obstacles.Select(o => Slug.Of(o))]);
}

/// <summary>A closed interval with its working.</summary>
internal sealed record IntervalReport(
    string Stream,
    string Start,
    string End,
    Amount Duration,
    string Status,
    OutputReport? CorrectedUrineOutput,
    RateReport? Rate,
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
    public static IntervalReport Of(ClosedInterval interval, WeightInForce? weight, DateTimeZone zone) => new(
        interval.Stream,
        Wire.Time(interval.Start, zone),
        Wire.Time(interval.End, zone),
        Amount.Of(interval.Length),
        Slug.Of(interval.Status),
        OutputReport.Of(interval.Output),
        RateReport.Of(interval.Output, interval.Length, weight, zone),
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
    RateReport? Rate,
    string? AbsentReason,
    Amount? SimpleOutput,
    Amount? IrrigantInstilled,
    Amount? IrrigantCharted,
    Amount? DrainageCharted,
    IReadOnlyList<string> Caveats)
{
    /// <summary>The report of a window.</summary>
    public static WindowReport Of(OutputWindow window, WeightInForce? weight, DateTimeZone zone) => new(
        Wire.Time(window.Start, zone),
        Wire.Time(window.End, zone),
        Amount.Of(window.Length),
        Amount.Of(window.Covered),
        Slug.Of(window.Status),
        OutputReport.Of(window.Output),
        RateReport.Of(window.Output, window.Covered, weight, zone),
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
