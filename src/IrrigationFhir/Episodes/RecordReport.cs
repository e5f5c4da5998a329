using System.ComponentModel;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using Irrigation.Runs;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Rest;
using NodaTime;

namespace IrrigationFhir.Episodes;

/// <summary>Whether the record is complete, what contradicts itself, and how the flow was changed.</summary>
internal sealed record RecordReport(
    [property: Description("The moment of asking.")] string AsOf,
    [property: Description("Whether nothing that is needed is missing.")] bool Complete,
    [property: Description("What is missing, by name.")] IReadOnlyList<string> Missing,
    [property: Description("Every item that is needed, and why.")] IReadOnlyList<RecordItemReport> Items,
    [property: Description("What on record contradicts itself, by name.")] IReadOnlyList<string> Contradictions,
    [property: Description(
        "Each change of flow of the last 31 days: what the drainage looked like before and after, and the ordered range."
    )]
        IReadOnlyList<TitrationReport> Titration,
    [property: Description("Each run of cycles, and whether its record is complete by the checklist of its method.")]
        IReadOnlyList<RunRecordReport> Runs,
    [property: Description("Each time the drain was clamped: a dwell, or a trial.")] IReadOnlyList<ClampReport> Clamps,
    [property: Description("Each trial to do without irrigation, or without drainage, of the last 31 days, and what followed it.")]
        IReadOnlyList<TrialReport> Trials,
    [property: Description("How long the catheter has been in place, by the hour and by a daily count.")] CatheterDaysReport CatheterDays,
    [property: Description("Times at which the closed system was opened.")] IReadOnlyList<string> ClosureBreaks
)
{
    private static readonly Caveat[] Contradicting =
    [
        Caveat.TwoMeasuresOnOneLine,
        Caveat.BagLevelRose,
        Caveat.PumpCounterReset,
        Caveat.ContainerReset,
        Caveat.DrainageWhileClamped,
        Caveat.ImplausibleFlow,
        Caveat.ImplausibleVolume,
    ];

    /// <summary>The report.</summary>
    public static RecordReport Of(Episode episode, FlagRecord flags)
    {
        var (bedside, zone) = (flags.Now, episode.Definition.Frame.Zone);
        var items = CompleteRecord.Of(bedside).ToList();
        var from = bedside.At - bedside.Balance.Settings.LongestApportioned;
        var days = Irrigation.Flags.CatheterDays.Of(bedside.Log, bedside.Facts.CatheterInserted, bedside.At, bedside.Settings.CountedAt);
        return new(
            FhirValues.Time(flags.AsOf, zone),
            items.TrueForAll(item => item.IsRecorded),
            [.. items.Where(item => !item.IsRecorded).Select(item => item.Name)],
            [.. items.Select(item => new RecordItemReport(item.Name, item.IsRecorded, item.Trigger))],
            [.. Contradicts(flags, bedside, from)],
            [
                .. bedside
                    .Lines.SelectMany(line => Irrigation.Flags.Titration.Of(bedside.Log, line, from, bedside.At))
                    .OrderBy(change => change.Change.At)
                    .Select(change => TitrationReport.Of(change, zone)),
            ],
            [
                .. RunsOfCycles
                    .Of(bedside.Balance, bedside.At)
                    .Where(run => run.End >= from)
                    .Select(run => RunRecordReport.Of(bedside, run, zone)),
            ],
            [.. ClampsOf(bedside, from, zone)],
            [.. WeaningTrial.Of(flags, from).Select(trial => TrialReport.Of(trial, bedside, zone))],
            new(
                days.Inserted is { } inserted ? FhirValues.Time(inserted, zone) : null,
                days.Removed is { } removed ? FhirValues.Time(removed, zone) : null,
                days.Hours is { } hours ? FhirValues.Number(hours) : null,
                days.Days
            ),
            [.. bedside.Log[Slug.Of(nameof(ClosedSystemOpened))].After(from, bedside.At).Select(opened => FhirValues.Time(opened.At, zone))]
        );
    }

    private static IEnumerable<string> Contradicts(FlagRecord flags, Bedside bedside, Instant from)
    {
        foreach (var flag in flags.Standing.Where(flag => flag.Slug is "order-mismatch" or "implausible" or "inflow-while-clamped"))
            yield return flag.Latest.Says;
        foreach (var interval in bedside.Balance.Reaching(FluidBalance.Bladder, from, bedside.At))
        {
            foreach (var caveat in interval.Caveats.Where(caveat => Contradicting.Contains(caveat)))
                yield return $"{Words.Of(caveat)} from {bedside.Said(interval.Start)} to {bedside.Said(interval.End)}";
        }
    }

    private static IEnumerable<ClampReport> ClampsOf(Bedside bedside, Instant from, DateTimeZone zone)
    {
        var clamps = bedside.Log[Channel.Clamp];
        foreach (var clamp in clamps.After(from, bedside.At).OfType<DrainClamped>())
        {
            var released = clamps.NextAfter(clamp.At) as DrainReleased;
            var dwell = Orders.InForce(bedside.Log, clamp.At)?.Terms.Dwell;
            yield return new(
                FhirValues.Time(clamp.At, zone),
                released is null ? null : FhirValues.Time(released.At, zone),
                released is null ? null : FhirValues.Number((decimal)(released.At - clamp.At).TotalMinutes),
                dwell is { } ordered ? FhirValues.Number((decimal)ordered.TotalMinutes) : null
            );
        }
    }
}

/// <summary>The record of a run of cycles.</summary>
internal sealed record RunRecordReport(
    [property: Description("When the first of it was instilled.")] string Start,
    [property: Description("As the sender calls it; absent where nobody named it.")] string? Name,
    [property: Description("How it was done.")] string Method,
    [property: Description("Whether nothing that is needed is missing.")] bool Complete,
    [property: Description("What is missing, by name.")] IReadOnlyList<string> Missing,
    [property: Description("Every item that is needed, and why.")] IReadOnlyList<RecordItemReport> Items,
    [property: Description("The run in words, and each of its cycles.")] IReadOnlyList<string> InWords
)
{
    /// <summary>The report of a run.</summary>
    public static RunRecordReport Of(Bedside bedside, RunOfCycles run, DateTimeZone zone)
    {
        var items = RunRecord.Of(bedside, run).ToList();
        return new(
            FhirValues.Time(run.Start, zone),
            run.Name,
            run.Method,
            items.TrueForAll(item => item.IsRecorded),
            [.. items.Where(item => !item.IsRecorded).Select(item => item.Name)],
            [.. items.Select(item => new RecordItemReport(item.Name, item.IsRecorded, item.Trigger))],
            [.. RunReport.Lines(run, zone)]
        );
    }
}

/// <summary>Something that the record needs.</summary>
internal sealed record RecordItemReport(
    [property: Description("What, in the trade's words.")] string Name,
    [property: Description("Whether it is there; what was charted as not assessed counts.")] bool Recorded,
    [property: Description("Why it is needed: always, or what asked for it.")] string Because
);

/// <summary>A change of flow.</summary>
internal sealed record TitrationReport(
    [property: Description("When.")] string At,
    [property: Description("The line.")] string Line,
    [property: Description("The flow before; absent where none was charted.")] Amount? From,
    [property: Description("The flow after.")] Amount To,
    [property: Description("What the drainage looked like within the hour before; absent where nobody looked.")] string? Before,
    [property: Description("What it looked like within the hour after; absent where nobody looked.")] string? After,
    [property: Description("Why, if it was noted.")] string? Reason,
    [property: Description("By whom.")] string? Performer,
    [property: Description("Lower end of the ordered range.")] Amount? OrderedAtLeast,
    [property: Description("Upper end of the ordered range.")] Amount? OrderedAtMost,
    [property: Description("Whether the flow lies in the ordered range; absent where none is ordered.")] bool? WithinOrder
)
{
    /// <summary>The report of a change.</summary>
    public static TitrationReport Of(Irrigation.Flags.Titration change, DateTimeZone zone) =>
        new(
            FhirValues.Time(change.Change.At, zone),
            change.Change.Line,
            Flow(change.From),
            Flow(change.Change.Rate)!,
            change.Before is { } before ? Looked.Says(before) : null,
            change.After is { } after ? Looked.Says(after) : null,
            change.Reason,
            change.Change.Header.Performer,
            Flow(change.Order?.AtLeast),
            Flow(change.Order?.AtMost),
            change.WithinOrder
        );

    private static Amount? Flow(FlowRate? rate) => rate is { } known ? new(FhirValues.Number(known.MillilitresPerHour), "mL/h") : null;
}

/// <summary>A time for which the drain was clamped.</summary>
internal sealed record ClampReport(
    [property: Description("When it was clamped.")] string Clamped,
    [property: Description("When it was released; absent while it is clamped.")] string? Released,
    [property: Description("For how many minutes.")] decimal? Minutes,
    [property: Description("The ordered dwell in minutes; absent where no order names one.")] decimal? OrderedMinutes
);

/// <summary>A trial to do without irrigation or drainage, and what followed.</summary>
internal sealed record TrialReport(
    [property:
        Description("How it began: the irrigation was stopped, or the drain was clamped without an ordered dwell."),
        WordsOf(typeof(TrialKind))
    ]
        string Kind,
    [property: Description("When it began.")] string Stopped,
    [property: Description("Up to when it was observed; the moment of asking while it goes on.")] string ObservedUntil,
    [property: Description("For how many minutes.")] decimal Minutes,
    [property: Description("What ended the observation; absent while it goes on."), WordsOf(typeof(TrialEnd))] string? EndedBy,
    [property: Description("The first sign that it did not hold; absent where none is known.")] RecurrenceReport? Recurrence,
    [property: Description("What it rests on that none is known.")] string? NoRecurrence,
    [property: Description("The first urine voided after it began; absent where none is charted.")] TimedAmount? FirstVoid,
    [property: Description("Why there is none.")] string? NoFirstVoid,
    [property: Description(
        "The first bladder scan after that void and before the next, the post-void residual; absent where there is none."
    )]
        TimedAmount? Residual,
    [property: Description("Why there is none.")] string? NoResidual,
    [property: Description("The whole of it in one sentence.")] string InWords
)
{
    /// <summary>The report of a trial.</summary>
    public static TrialReport Of(WeaningTrial trial, Bedside bedside, DateTimeZone zone) =>
        new(
            Slug.Of(trial.Kind),
            FhirValues.Time(trial.Stopped, zone),
            FhirValues.Time(trial.Until, zone),
            FhirValues.Number((decimal)(trial.Until - trial.Stopped).TotalMinutes),
            trial.EndedBy is { } end ? Slug.Of(end) : null,
            trial.Recurrence is { } back ? new(FhirValues.Time(back.At, zone), back.Says) : null,
            trial.NoRecurrence,
            trial.FirstVoid is { } voided
                ? new(FhirValues.Time(voided.At, zone), FhirValues.Number(voided.Amount.Millilitres), "mL")
                : null,
            trial.NoVoid,
            trial.Residual is { } scan ? new(FhirValues.Time(scan.At, zone), FhirValues.Number(scan.Held.Millilitres), "mL") : null,
            trial.NoResidual,
            trial.Says(bedside)
        );
}

/// <summary>A sign that a trial did not hold.</summary>
internal sealed record RecurrenceReport([property: Description("When.")] string At, [property: Description("What, in words.")] string What);

/// <summary>An amount, and when it was.</summary>
internal sealed record TimedAmount(
    [property: Description("When.")] string At,
    [property: Description("The number.")] decimal Value,
    [property: Description("Its unit.")] string Unit
);

/// <summary>How long a catheter has been in place.</summary>
internal sealed record CatheterDaysReport(
    [property: Description("When it was inserted, if known.")] string? Inserted,
    [property: Description("When it was removed, once it was.")] string? Removed,
    [property: Description("Elapsed hours in place.")] decimal? Hours,
    [property: Description("How many times a count once a day met it.")] int? DailyCounts
);
