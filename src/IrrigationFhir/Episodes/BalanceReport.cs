using Irrigation;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Measures;
using Irrigation.Runs;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Rest;
using NodaTime;

namespace IrrigationFhir.Episodes;

/// <summary>The balance with every intermediate step.</summary>
/// <param name="Episode">The episode's id; null for a log that was never stored.</param>
/// <param name="AsOf">The moment of asking.</param>
/// <param name="TimeZone">The facility's time zone (IANA), on whose wall clock every time is written.</param>
/// <param name="Convention">How the simple number is made, in machine-readable form.</param>
/// <param name="Equation">The mass balance; D and I as in each interval.</param>
/// <param name="Intervals">From reading to reading, stream by stream.</param>
/// <param name="Runs">Runs of cycles: intermittent and open irrigations, and manual washouts.</param>
/// <param name="Hours">Clock hours of the last 31 days that have readings.</param>
/// <param name="Shifts">Shifts of the facility, of the same days.</param>
/// <param name="Days">Local days, the same.</param>
/// <param name="Trailing">
/// The last 6, 12 and 24 elapsed hours before the latest closed interval's end, or before the moment of asking if that is earlier.
/// </param>
/// <param name="Criteria">
/// The urine-output criteria that fit the patient's age, at the same moment, each in both readings. Of urine output alone: no diagnosis.
/// </param>
/// <param name="Open">The time since the last closing point.</param>
/// <param name="Forecasts">
/// What would come when, if things go on as they are: for each line with a hanging bag, each drainage container in use, and the bladder;
/// and when the next irrigation is due by the order.
/// Empty once the episode has ended.
/// </param>
/// <param name="Drips">
/// What to count at each gravity line for what was ordered or set, what was counted, and how far the one is from the other. Empty where
/// a pump runs them, where nothing is wanted, and once the episode has ended.
/// </param>
/// <param name="Caution">What every reader should know.</param>
internal sealed record BalanceReport(
    string? Episode,
    string AsOf,
    string TimeZone,
    string Convention,
    string Equation,
    IReadOnlyList<IntervalReport> Intervals,
    IReadOnlyList<RunReport> Runs,
    IReadOnlyList<WindowReport> Hours,
    IReadOnlyList<WindowReport> Shifts,
    IReadOnlyList<WindowReport> Days,
    IReadOnlyList<WindowReport> Trailing,
    IReadOnlyList<CriterionReport> Criteria,
    OpenReport Open,
    IReadOnlyList<ForecastReport> Forecasts,
    IReadOnlyList<LineDripReport> Drips,
    string Caution
)
{
    /// <summary>
    /// What a ward round asks for: irrigant and output since the start, since a moment, by the day; looks; conditions for weaning.
    /// </summary>
    public NumbersReport? Numbers { get; init; }

    /// <summary>The report of a balance as of a moment.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="episode">The episode's id; null for a log that was never stored.</param>
    /// <param name="definition">The episode: who is irrigated decides which criteria and limits fit.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <param name="limits">Settings of the criteria.</param>
    /// <param name="forecasts">Settings of the forecasts.</param>
    public static BalanceReport Of(
        FluidBalance balance,
        string? episode,
        EpisodeDefinition definition,
        Instant asOf,
        CriteriaSettings limits,
        ForecastSettings forecasts
    )
    {
        var frame = balance.Log.Frame;
        var patient = new Patient(definition.BirthDate, frame.Zone);
        var latest = Instant.Min(asOf, Latest(balance));
        WeightInForce? WeightAt(Instant at) => WeightInForce.Of(balance.Log, at, patient, limits);
        IReadOnlyList<WindowReport> Calendar(WindowKind kind) =>
            [
                .. Irrigation
                    .Balance.Calendar.Windows(
                        kind,
                        frame,
                        Instant.Max(frame.Start, Latest(balance) - balance.Settings.LongestApportioned),
                        Latest(balance)
                    )
                    .Select(w => WindowReport.Of(balance.Over(kind, w), WeightAt(w.End), frame.Zone)),
            ];
        return new(
            episode,
            FhirValues.Time(asOf, frame.Zone),
            frame.Zone.Id,
            "drainage-minus-irrigant",
            "U = D - I + (R1 - R0) + A + L - B",
            [.. balance.Streams.SelectMany(stream => balance[stream]).Select(i => IntervalReport.Of(i, WeightAt(i.End), balance))],
            [.. RunsOfCycles.Of(balance, asOf).Select(run => RunReport.Of(run, frame.Zone))],
            Calendar(WindowKind.ClockHour),
            Calendar(WindowKind.Shift),
            Calendar(WindowKind.LocalDay),
            [
                .. new[] { 6, 12, 24 }.Select(hours =>
                    WindowReport.Of(
                        balance.Over(WindowKind.Trailing, new(latest - NodaTime.Duration.FromHours(hours), latest)),
                        WeightAt(latest),
                        frame.Zone
                    )
                ),
            ],
            [
                .. UrineOutputCriteria
                    .At(balance, patient, latest, limits)
                    .Concat(UrineOutputCriteria.Volumes(balance, patient, latest, limits))
                    .Select(c => CriterionReport.Of(c, frame.Zone)),
            ],
            OpenReport.Of(balance.Open(asOf), frame.Zone),
            [
                .. Irrigation
                    .Balance.Forecasts.Of(balance, patient.YearsAt(asOf), definition.BladderCapacity, asOf, forecasts)
                    .Concat(NextIrrigation.Forecasts(balance, asOf))
                    .Select(f => ForecastReport.Of(f, frame.Zone)),
            ],
            [.. LineDrip.Of(balance, asOf).Select(drip => LineDripReport.Of(drip, frame.Zone))],
            Texts.Caution
        );
    }

    private static Instant Latest(FluidBalance balance) =>
        balance.Streams.Select(stream => balance[stream][^1].End).Append(balance.Log.Frame.Start).Max();
}

/// <summary>Corrected urine output: headline, best estimate with its standard uncertainty, 95 % interval.</summary>
/// <param name="Headline">The mass balance on the volumes as charted; may be negative.</param>
/// <param name="BestEstimate">With known bias taken out; null where something was not charted, so that its doubts are not known.</param>
/// <param name="StandardUncertainty">One standard deviation of the best estimate; null where that is.</param>
/// <param name="Interval95">Two standard uncertainties to either side of the best estimate; null where that is.</param>
internal sealed record OutputReport(Amount Headline, Amount? BestEstimate, Amount? StandardUncertainty, RangeReport? Interval95)
{
    /// <summary>The report of an output; null where there is none.</summary>
    public static OutputReport? Of(UrineOutput? output) =>
        output is null
            ? null
            : new(
                Amount.Of(output.Headline)!,
                Amount.Of(output.BestEstimate?.Value),
                Amount.Of(output.BestEstimate?.StandardUncertainty),
                output.Interval95 is { } range ? new(Amount.Of(range.Low)!, Amount.Of(range.High)!) : null
            );
}

/// <summary>The headline as a rate over the covered time.</summary>
/// <param name="PerHour">In mL/h.</param>
/// <param name="PerKilogramHour">In mL/kg/h; null where no weight is in force.</param>
/// <param name="Weight">The weight it rests on; null where none is in force.</param>
internal sealed record RateReport(Amount PerHour, Amount? PerKilogramHour, WeightReport? Weight)
{
    /// <summary>The report of a rate; null where there is no output or no time.</summary>
    public static RateReport? Of(UrineOutput? output, NodaTime.Duration over, WeightInForce? weight, DateTimeZone zone)
    {
        if (output is null || over <= NodaTime.Duration.Zero)
            return null;
        var rate = UrineRate.Of(output.Headline, over, weight);
        return new(
            new(FhirValues.Number(rate.PerHour), "mL/h"),
            rate.PerKilogramHour is { } perKilogram ? new(FhirValues.Number(perKilogram), "mL/kg/h") : null,
            WeightReport.Of(weight, zone)
        );
    }
}

/// <summary>The weight that a rate rests on, its kind, when it was taken, and why it is doubted.</summary>
/// <param name="Weight">In kg.</param>
/// <param name="Kind">actual, stated, estimated, ideal or dosing.</param>
/// <param name="At">When it was taken.</param>
/// <param name="Doubt">Why it is not plausible; null where it is.</param>
internal sealed record WeightReport(Amount Weight, string Kind, string At, string? Doubt)
{
    /// <summary>The report of a weight; null where none is in force.</summary>
    public static WeightReport? Of(WeightInForce? weight, DateTimeZone zone) =>
        weight is null
            ? null
            : new(
                new(FhirValues.Number(weight.Weight.Kilograms), "kg"),
                Slug.Of(weight.Weight.Kind),
                FhirValues.Time(weight.At, zone),
                weight.Doubt
            );
}

/// <summary>A result of a urine-output criterion.</summary>
/// <param name="Criterion">Its name: kdigo, prifle, neonatal-kdigo, oliguria, polyuria, low-hourly-output.</param>
/// <param name="Stage">1 to 3; 0 for a criterion without stages.</param>
/// <param name="Reading">mean-over-window, or every-hour of it.</param>
/// <param name="Start">Start of the window.</param>
/// <param name="End">End of the window.</param>
/// <param name="Answer">met, not-met, indeterminate (the interval covers the threshold), or not-evaluable.</param>
/// <param name="Comparison">How the value has to lie to the threshold for it to be met: &lt;, &lt;= or &gt;.</param>
/// <param name="Threshold">The threshold.</param>
/// <param name="Value">The best estimate of the window, or of its highest hour; null where there is none.</param>
/// <param name="Interval95">Its 95 % interval; null where there is none.</param>
/// <param name="Probability">
/// The probability that it is met, 0 to 1, given the best estimate, its uncertainty and that output is not below 0 (JCGM 106:2012); of
/// every-hour, at most so much. Null where there is no interval, or a reading is doubted.
/// </param>
/// <param name="Provisional">Whether it rests on a part that is still open, and is worked out again when that has been read.</param>
/// <param name="Coverage">How much of the window closed intervals cover, 0 to 1.</param>
/// <param name="Weight">The weight it rests on; null where none is needed or in force.</param>
/// <param name="Obstacles">Why nothing can be said; empty for the other answers.</param>
internal sealed record CriterionReport(
    string Criterion,
    int Stage,
    string Reading,
    string Start,
    string End,
    string Answer,
    string Comparison,
    Amount Threshold,
    Amount? Value,
    RangeReport? Interval95,
    decimal? Probability,
    bool Provisional,
    decimal Coverage,
    WeightReport? Weight,
    IReadOnlyList<string> Obstacles
)
{
    /// <summary>The report of a result.</summary>
    public static CriterionReport Of(CriterionResult result, DateTimeZone zone) =>
        new(
            result.Name,
            result.Stage,
            Slug.Of(result.Reading),
            FhirValues.Time(result.Window.Start, zone),
            FhirValues.Time(result.Window.End, zone),
            Slug.Of(result.Answer),
            result.Comparison,
            new(result.Threshold, result.Unit),
            result.Value is { } value ? new(FhirValues.Number(value), result.Unit) : null,
            result.Interval95 is { } range
                ? new(new(FhirValues.Number(range.Low), result.Unit), new(FhirValues.Number(range.High), result.Unit))
                : null,
            result.Probability is { } probability ? FhirValues.Probability(probability) : null,
            result.Provisional,
            FhirValues.Number(result.Coverage),
            WeightReport.Of(result.Weight, zone),
            [.. result.Obstacles.Select(o => Slug.Of(o))]
        );
}

/// <summary>A closed interval with its working.</summary>
/// <param name="Stream">bladder, or a route of urine that does not pass it.</param>
/// <param name="Start">The reading before, or the episode's start.</param>
/// <param name="End">The closing reading; the moment of clamping, where it was taken during a clamp.</param>
/// <param name="Duration">In h.</param>
/// <param name="Status">final, preliminary, amended or corrected.</param>
/// <param name="CorrectedUrineOutput">U; null where it cannot be worked out.</param>
/// <param name="Rate">U over the time; null where U is.</param>
/// <param name="AbsentReason">Why there is no number; null where there is one.</param>
/// <param name="AbsentSays">The same in words; where no flow was charted, on which line and for how many minutes.</param>
/// <param name="SimpleOutput">Drainage minus irrigant as charted, at the times charted.</param>
/// <param name="IrrigantInstilled">I; null where unknown.</param>
/// <param name="Drained">D, urine from bladder routes included; null where unknown.</param>
/// <param name="Urine">The part of D that was charted as urine, free of irrigant.</param>
/// <param name="RetainedChange">R1 − R0; null where no scans anchor it and it was taken as 0.</param>
/// <param name="Leaked">L; null where none was charted and it was taken as 0.</param>
/// <param name="Blood">B, blood and clots removed; null where none was charted and it was taken as 0.</param>
/// <param name="AssumedZero">Terms that were taken as 0 because nobody measured them.</param>
/// <param name="Caveats">What to know before relying on it.</param>
/// <param name="Doubts">
/// Why it cannot be taken as it stands; empty where nothing speaks against it. It stays in every sum, and out of every decision until
/// somebody confirms or corrects the reading.
/// </param>
/// <param name="Parts">The working: which entry gave how much.</param>
internal sealed record IntervalReport(
    string Stream,
    string Start,
    string End,
    Amount Duration,
    string Status,
    OutputReport? CorrectedUrineOutput,
    RateReport? Rate,
    string? AbsentReason,
    string? AbsentSays,
    Amount? SimpleOutput,
    Amount? IrrigantInstilled,
    Amount? Drained,
    Amount Urine,
    Amount? RetainedChange,
    Amount? Leaked,
    Amount? Blood,
    IReadOnlyList<string> AssumedZero,
    IReadOnlyList<string> Caveats,
    IReadOnlyList<DoubtReport> Doubts,
    IReadOnlyList<PartReport> Parts
)
{
    /// <summary>The report of an interval.</summary>
    public static IntervalReport Of(ClosedInterval interval, WeightInForce? weight, FluidBalance balance) =>
        new(
            interval.Stream,
            FhirValues.Time(interval.Start, balance.Log.Frame.Zone),
            FhirValues.Time(interval.End, balance.Log.Frame.Zone),
            Amount.Of(interval.Length),
            Slug.Of(interval.Status),
            OutputReport.Of(interval.Output),
            RateReport.Of(interval.Output, interval.Length, weight, balance.Log.Frame.Zone),
            interval.Absent is { } absent ? Slug.Of(absent) : null,
            interval.AbsentSays(balance),
            Amount.Of(interval.Simple),
            Amount.Of(interval.Instilled),
            Amount.Of(interval.Drained),
            Amount.Of(interval.Urine)!,
            Amount.Of(interval.RetainedChange),
            Amount.Of(interval.Leaked),
            Amount.Of(interval.Blood),
            [.. interval.AssumedZero.Select(t => Slug.Of(t))],
            [.. interval.Caveats.Select(c => Slug.Of(c))],
            [.. interval.Doubts.Select(DoubtReport.Of)],
            [.. interval.Parts.Select(p => PartReport.Of(p, balance))]
        );
}

/// <summary>One line of the working: which entry gave how much.</summary>
/// <param name="Kind">What it stands for: irrigant, irrigant-from-rate, drainage, urine, leak, blood, retained.</param>
/// <param name="EntryKind">The kind of the entry.</param>
/// <param name="Source">The entry's source.</param>
/// <param name="Id">The entry's id.</param>
/// <param name="From">Start of the time that it measured.</param>
/// <param name="To">End of it.</param>
/// <param name="Whole">What it measured over that time; null where it does not say.</param>
/// <param name="Share">What of it falls into the interval; null where unknown.</param>
/// <param name="Readings">The two readings that it is the difference of; null where one says it all.</param>
/// <param name="Spread">By what the share was taken; null where all of it falls into the interval.</param>
/// <param name="Rate">The charted flow, where the volume was worked out from it.</param>
/// <param name="Weighed">What a weighed volume was worked out from.</param>
internal sealed record PartReport(
    string Kind,
    string EntryKind,
    string Source,
    string Id,
    string From,
    string To,
    Amount? Whole,
    Amount? Share,
    ReadingsReport? Readings,
    SpreadReport? Spread,
    Amount? Rate,
    WeighedReport? Weighed
)
{
    /// <summary>The report of a part.</summary>
    public static PartReport Of(Part part, FluidBalance balance)
    {
        var (entry, zone) = (balance.Log.Current(part.Entry)!.Entry, balance.Log.Frame.Zone);
        return new(
            Slug.Of(part.Kind),
            entry.Kind,
            part.Entry.Source,
            part.Entry.Id,
            FhirValues.Time(part.Start, zone),
            FhirValues.Time(part.End, zone),
            Amount.Of(part.Whole),
            Amount.Of(part.Amount),
            ReadingsReport.Of(part.Readings),
            part.Spread is { } spread ? new(Slug.Of(spread.By), Of(spread.Share, spread.By), Of(spread.Whole, spread.By)) : null,
            part.Kind == PartKind.IrrigantFromRate && entry is FlowSet flow
                ? new(FhirValues.Number(flow.Rate.MillilitresPerHour), "mL/h")
                : null,
            entry is DrainageWeighed weighed
                ? new(
                    Of(weighed.Gross),
                    weighed.Tare is { } tare ? Of(tare) : null,
                    weighed.GramsPerMillilitre ?? balance.Settings.DrainageDensity
                )
                : null
        );
    }

    private static Amount Of(decimal share, SpreadBy by) => new(FhirValues.Number(share), by == SpreadBy.ChartedFlow ? "mL" : "h");

    private static Amount Of(Mass mass) => new(FhirValues.Number(mass.Grams), "g");
}

/// <summary>Two readings of one bag, pump or container.</summary>
/// <param name="Before">The one before: the bag's label or what was left in it, what the counter showed, what the container held.</param>
/// <param name="Tubing">What stayed in the tubing of a new bag; null where that was not charted or is another's.</param>
/// <param name="Discarded">What left it in between and never reached the bladder (irrigant-discarded); null where none did.</param>
/// <param name="After">The entry's own.</param>
internal sealed record ReadingsReport(Amount Before, Amount? Tubing, Amount? Discarded, Amount After)
{
    /// <summary>The report of two readings; null where one says it all.</summary>
    public static ReadingsReport? Of(Readings? two) =>
        two is null ? null : new(Amount.Of(two.Before)!, Amount.Of(two.Tubing), Amount.Of(two.Discarded), Amount.Of(two.After)!);
}

/// <summary>By what a share was taken of a whole.</summary>
/// <param name="By">charted-flow (mL), unclamped-time or elapsed-time (h).</param>
/// <param name="Share">What of it falls into the interval.</param>
/// <param name="Whole">All of it.</param>
internal sealed record SpreadReport(string By, Amount Share, Amount Whole);

/// <summary>A container on a scale.</summary>
/// <param name="Gross">What the scale showed.</param>
/// <param name="Tare">The empty container; null where the scale had been set to zero with it.</param>
/// <param name="GramsPerMillilitre">The charted density; where none was charted, the one of the settings.</param>
internal sealed record WeighedReport(Amount Gross, Amount? Tare, decimal GramsPerMillilitre);

/// <summary>A window.</summary>
/// <param name="Start">Its first instant.</param>
/// <param name="End">The first instant after it.</param>
/// <param name="Duration">Elapsed time in h, whatever the wall clock says.</param>
/// <param name="Covered">How much of it closed intervals cover, in h.</param>
/// <param name="Status">final, preliminary, amended or corrected.</param>
/// <param name="CorrectedUrineOutput">Its share of every closed interval that reaches into it; null where there is none.</param>
/// <param name="Rate">The same over the covered time.</param>
/// <param name="AbsentReason">Why there is no number; null where there is one.</param>
/// <param name="SimpleOutput">Drainage minus irrigant as charted in the window.</param>
/// <param name="IrrigantInstilled">What ran in over the covered part, by the irrigant's flow.</param>
/// <param name="IrrigantCharted">Irrigant charted in the window.</param>
/// <param name="DrainageCharted">Drainage and urine charted in the window.</param>
/// <param name="Caveats">What to know before relying on it.</param>
/// <param name="Shares">Which part of which interval gave how much; they add up to the headline.</param>
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
    IReadOnlyList<string> Caveats,
    IReadOnlyList<ShareReport> Shares
)
{
    /// <summary>The report of a window.</summary>
    public static WindowReport Of(OutputWindow window, WeightInForce? weight, DateTimeZone zone) =>
        new(
            FhirValues.Time(window.Start, zone),
            FhirValues.Time(window.End, zone),
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
            [.. window.Caveats.Select(c => Slug.Of(c))],
            [.. window.Shares.Select(s => ShareReport.Of(s, zone))]
        );
}

/// <summary>The part of a closed interval that falls into a window, by elapsed time.</summary>
/// <param name="Stream">The interval's stream.</param>
/// <param name="Start">The interval's start.</param>
/// <param name="End">The interval's end.</param>
/// <param name="Duration">The interval's length in h.</param>
/// <param name="Whole">The interval's headline; null where unknown.</param>
/// <param name="From">Start of the part.</param>
/// <param name="To">End of the part.</param>
/// <param name="Covered">The part's length in h.</param>
/// <param name="Amount">What it gives: the whole times the part's length over the interval's; null where unknown.</param>
internal sealed record ShareReport(
    string Stream,
    string Start,
    string End,
    Amount Duration,
    Amount? Whole,
    string From,
    string To,
    Amount Covered,
    Amount? Amount
)
{
    /// <summary>The report of a share.</summary>
    public static ShareReport Of(WindowShare share, DateTimeZone zone) =>
        new(
            share.Interval.Stream,
            FhirValues.Time(share.Interval.Start, zone),
            FhirValues.Time(share.Interval.End, zone),
            Rest.Amount.Of(share.Interval.Length),
            Rest.Amount.Of(share.Interval.Output?.Headline),
            FhirValues.Time(share.From, zone),
            FhirValues.Time(share.To, zone),
            Rest.Amount.Of(share.To - share.From),
            Rest.Amount.Of(share.Amount)
        );
}

/// <summary>What would come when, if things go on as they are.</summary>
/// <param name="Kind">
/// bag-empty, container-full (to the part at which it is to be emptied), or distension-limit (behind a clamp, or if the outflow stopped
/// now).
/// </param>
/// <param name="What">The line, the drainage container, or bladder.</param>
/// <param name="In">How long from <c>asOf</c>, in h; 0 where it has come already; null where it cannot be told.</param>
/// <param name="At">When; null where it cannot be told.</param>
/// <param name="Assumption">What it rests on, or why it cannot be told.</param>
internal sealed record ForecastReport(string Kind, string What, Amount? In, string? At, string Assumption)
{
    /// <summary>The report of a forecast.</summary>
    public static ForecastReport Of(Forecast forecast, DateTimeZone zone) =>
        new(
            forecast.Kind,
            forecast.What,
            forecast.In is { } time ? Amount.Of(time) : null,
            forecast.At is { } at ? FhirValues.Time(at, zone) : null,
            forecast.Assumption
        );
}

/// <summary>The time since the last closing point.</summary>
/// <param name="Start">The last closing point, or the episode's start.</param>
/// <param name="AsOf">The moment of asking.</param>
/// <param name="IrrigantInstilled">What has run in since; null where unknown.</param>
/// <param name="ClampedSince">Since when the drain is clamped; null where it is not.</param>
/// <param name="Caveats">What to know.</param>
internal sealed record OpenReport(string Start, string AsOf, Amount? IrrigantInstilled, string? ClampedSince, IReadOnlyList<string> Caveats)
{
    /// <summary>The report of an open interval.</summary>
    public static OpenReport Of(OpenInterval open, DateTimeZone zone) =>
        new(
            FhirValues.Time(open.Start, zone),
            FhirValues.Time(open.AsOf, zone),
            Amount.Of(open.Instilled),
            open.ClampedSince is { } since ? FhirValues.Time(since, zone) : null,
            [.. open.Caveats.Select(c => Slug.Of(c))]
        );
}
