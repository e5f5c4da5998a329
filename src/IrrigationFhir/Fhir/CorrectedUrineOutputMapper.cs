using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Measures;
using IrrigationFhir.Model;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Fhir;

/// <summary>Corrected urine output of a closed interval or a window as an Observation.</summary>
internal sealed class CorrectedUrineOutputMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;

    /// <summary>The profile's slug.</summary>
    public const string Slug = "corrected-urine-output";

    /// <summary>
    /// The id of a closed interval's Observation: named by its end, so that a late reading that moves its start makes a new version.
    /// </summary>
    public static string IdOf(Episode episode, ClosedInterval interval) => IdOfInterval(episode, interval.End);

    /// <summary>The id of the Observation for the closed interval that ends at a moment.</summary>
    public static string IdOfInterval(Episode episode, Instant end) => FhirValues.WindowId(episode.Id, Slug, 'i', end);

    /// <summary>The id of a window's Observation: named by its start.</summary>
    public static string IdOf(Episode episode, WindowKind kind, Instant start) =>
        FhirValues.WindowId(
            episode.Id,
            Slug,
            kind switch
            {
                WindowKind.ClockHour => 'h',
                WindowKind.Shift => 's',
                WindowKind.LocalDay => 'd',
                WindowKind.Trailing => 't',
                WindowKind.ClosedInterval => throw new ArgumentOutOfRangeException(
                    nameof(kind),
                    kind,
                    "a closed interval is named by its end"
                ),
            },
            start
        );

    /// <summary>The Observation of a closed interval.</summary>
    public Observation ToObservation(ClosedInterval interval, Episode episode, bool withdrawn = false)
    {
        var observation = Bare(
            IdOf(episode, interval),
            WindowKind.ClosedInterval,
            interval.Start,
            interval.End,
            interval.Status,
            withdrawn,
            episode
        );
        var numbers = Precision.Of(Codes, interval.Output);
        (observation.Code, observation.Value, observation.DataAbsentReason) = (
            Codes.CorrectedUrineOutput(),
            numbers.Quantity(interval.Output?.Headline),
            interval.Output is null ? Absent(interval.Absent) : null
        );
        observation.Note.AddRange(Doubts([interval]));
        observation.DerivedFrom =
        [
            .. interval
                .Parts.Select(p => episode.Log.Current(p.Entry)?.Entry)
                .Select(entry => entry is null ? null : EntryMapper.IdOf(episode, entry))
                .OfType<string>()
                .Distinct()
                .Select(id => new ResourceReference($"Observation/{id}")),
        ];
        observation.Component =
        [
            numbers.Term("irrigant-instilled", interval.Instilled, AbsentReason.IrrigantUnknown),
            numbers.Term("bladder-drainage-total", interval.Drained, AbsentReason.DrainageUnknown),
            .. numbers.Known("urine-collected", interval.Urine > Volume.Zero ? interval.Urine : null),
            .. numbers.Known("leak-estimated", interval.Leaked),
            .. numbers.Known("blood-removed", interval.Blood),
            .. numbers.Known("retained-change", interval.RetainedChange),
            .. numbers.Known("simple-output", interval.Simple == interval.Output?.Headline ? null : interval.Simple),
            .. numbers.Uncertainty(interval.Output),
            .. Caveats(interval.Caveats, interval.Status),
        ];
        return Grounded(observation);
    }

    /// <summary>
    /// Whether a window is published: a shift and a day while anything of them is known, a clock hour once all of it is covered. The
    /// intervals say what an hour that is not lacks, and when.
    /// </summary>
    public static bool IsPublished(OutputWindow window) =>
        !window.Intervals.IsEmpty && (window.Kind != WindowKind.ClockHour || window.FullyCovered);

    /// <summary>The Observation of a window.</summary>
    /// <remarks>
    /// <para>A value covers all of the window. Where closed intervals cover a part there is none: 90 mL that drained in three hours would
    /// read as a day's output. The sum of that part stands in a component that says so, with its duration; how exact it is, the intervals
    /// say that it is the sum of.</para>
    /// <para>A share of an interval is interpolated however the irrigant of that was read: the caveat that it is a share says both.</para>
    /// </remarks>
    public Observation ToObservation(OutputWindow window, Episode episode, bool withdrawn = false)
    {
        var observation = Bare(
            IdOf(episode, window.Kind, window.Start),
            window.Kind,
            window.Start,
            window.End,
            window.Status,
            withdrawn,
            episode
        );
        var numbers = Precision.Of(Codes, window.Output);
        var whole = window.FullyCovered && window.Output is not null;
        var exactHours = withdrawn || !whole ? null : ExactHours(window);
        observation.Code = Codes.CorrectedUrineOutput(Irrigation.Slug.Of(window.Kind), exactHours);
        if (whole)
            observation.Value = numbers.Quantity(window.Output!.Headline, Codes.CorrectedUrineOutputUnit(exactHours));
        else
            observation.DataAbsentReason = window.Output is null ? Absent(window.Absent) : NotCovered(window, episode);
        observation.Note.AddRange(Doubts(window.Intervals));
        observation.DerivedFrom = [.. Sources(window, episode).Distinct().Select(id => new ResourceReference($"Observation/{id}"))];
        observation.Component =
        [
            .. whole ? [] : numbers.Known("partial-volume", window.Output?.Headline),
            .. window.FullyCovered ? Array.Empty<Observation.ComponentComponent>() : [Hours("covered-duration", window.Covered)],
            .. Charted(window, numbers, whole),
            .. whole ? numbers.Uncertainty(window.Output) : [],
            .. Caveats(
                window.Caveats.Where(c => c != Caveat.IrrigantInterpolated || !window.Caveats.Contains(Caveat.Apportioned)),
                window.Status
            ),
        ];
        return Grounded(observation);
    }

    /// <summary>The totals that a shift and a day are handed over with; of an hour they would be two readings that fell into it.</summary>
    private static IEnumerable<Observation.ComponentComponent> Charted(OutputWindow window, Precision numbers, bool whole) =>
        window.Kind == WindowKind.ClockHour || !whole
            ? []
            :
            [
                numbers.Term("irrigant-instilled", window.Instilled, AbsentReason.IrrigantUnknown),
                numbers.Term("bladder-drainage-total", window.DrainageCharted, AbsentReason.DrainageUnknown),
                .. numbers.Known("simple-output", window.Simple == window.Output?.Headline ? null : window.Simple),
            ];

    /// <summary>A timed LOINC code says a rate over exactly that time: only on a complete window of that length.</summary>
    private static int? ExactHours(OutputWindow window)
    {
        if (window.Status == OutputStatus.Preliminary)
            return null;
        int[] timed = [1, 8, 12, 24];
        return timed.Cast<int?>().FirstOrDefault(hours => window.Length == NodaTime.Duration.FromHours(hours!.Value));
    }

    /// <summary>Not yet, where everything up to the last closing is covered and more may come; else nobody measured a part of it.</summary>
    private static CodeableConcept NotCovered(OutputWindow window, Episode episode)
    {
        var last = episode.Balance.LastClosing;
        var open = last < window.End && !(episode.Definition.Frame.End <= last);
        return Codes.DataAbsent(open && window.Covered == last - window.Start ? "temp-unknown" : "not-performed");
    }

    /// <summary>
    /// An hour rests on closed intervals (and other routes' readings); a shift or day on its hours where they are published, so that the
    /// list stays short, and on the intervals of the others.
    /// </summary>
    public static IEnumerable<string> Sources(OutputWindow window, Episode episode)
    {
        if (window.Kind is WindowKind.Shift or WindowKind.LocalDay)
        {
            return Calendar
                .Windows(WindowKind.ClockHour, episode.Definition.Frame, window.Start, window.End)
                .Select(hour => (Hour: hour, Intervals: window.Intervals.Where(i => i.Start < hour.End && i.End > hour.Start).ToList()))
                .Where(part => part.Intervals.Count > 0)
                .SelectMany(part =>
                    IsPublished(episode.Balance.Over(WindowKind.ClockHour, part.Hour))
                        ? [IdOf(episode, WindowKind.ClockHour, part.Hour.Start)]
                        : part.Intervals.SelectMany(interval => Sources(interval, episode))
                );
        }

        return window.Intervals.SelectMany(interval => Sources(interval, episode));
    }

    private static IEnumerable<string> Sources(ClosedInterval interval, Episode episode) =>
        interval.Stream == FluidBalance.Bladder
            ? [IdOf(episode, interval)]
            : interval.Parts.Select(p => EntryMapper.IdOf(episode, episode.Log.Current(p.Entry)!.Entry)).OfType<string>();

    /// <summary>Whether an Observation is a corrected output that says to be another than it was once published.</summary>
    public bool IsAnother(Observation observation) =>
        observation.Status is ObservationStatus.Amended or ObservationStatus.Corrected or ObservationStatus.EnteredInError
        && (observation.Meta?.Profile.Contains(Profiles.CorrectedUrineOutput) ?? false);

    /// <summary>How firm it is, in FHIR's words.</summary>
    public static ObservationStatus StatusOf(OutputStatus status) =>
        status switch
        {
            OutputStatus.Final => ObservationStatus.Final,
            OutputStatus.Preliminary => ObservationStatus.Preliminary,
            OutputStatus.Amended => ObservationStatus.Amended,
            OutputStatus.Corrected => ObservationStatus.Corrected,
        };

    private Observation Bare(
        string id,
        WindowKind kind,
        Instant start,
        Instant end,
        OutputStatus status,
        bool withdrawn,
        Episode episode
    ) =>
        new()
        {
            Id = id,
            Meta = new() { Profile = [Profiles.CorrectedUrineOutput] },
            PartOf = [BladderIrrigationMapper.Whole(episode)],
            Status = withdrawn ? ObservationStatus.EnteredInError : StatusOf(status),
            Category = Codes.OutputCategories(Irrigation.Slug.Of(kind)),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Effective = FhirValues.Period(start, end, episode.Definition.Frame.Zone),
            Method = Codes.Briefly(Codes.DrainageMinusIrrigant()),
        };

    /// <summary>What is doubted, in words: the caveat says that something is, and these what a person has to look at.</summary>
    private static IEnumerable<Annotation> Doubts(IEnumerable<ClosedInterval> intervals) =>
        intervals.SelectMany(interval => interval.Doubts).Distinct().Select(doubt => new Annotation { Text = Texts.Doubted(doubt.Says) });

    /// <summary>A withdrawn number has nothing left that it rests on; it then stands without its value.</summary>
    private static Observation Grounded(Observation observation)
    {
        if (observation.DerivedFrom.Count > 0 || observation.Value is null)
            return observation;
        (observation.Value, observation.DataAbsentReason) = (null, Codes.DataAbsent("error"));
        return observation;
    }

    /// <summary>Why there is no number, in FHIR's words.</summary>
    public static CodeableConcept Absent(AbsentReason? reason) =>
        Codes.DataAbsent(
            reason switch
            {
                AbsentReason.IrrigantNotReadYet or AbsentReason.DrainageNotReadYet => "temp-unknown",
                AbsentReason.NotCovered => "not-performed",
                AbsentReason.IrrigantUnknown or AbsentReason.DrainageUnknown => "unknown",
                null => "unknown",
            }
        );

    private Observation.ComponentComponent Hours(string slug, NodaTime.Duration time) =>
        new() { Code = Codes.Component(slug), Value = FhirValues.Quantity(time) };

    /// <summary>What a reader should know, but for what the status says already.</summary>
    private IEnumerable<Observation.ComponentComponent> Caveats(IEnumerable<Caveat> caveats, OutputStatus status) =>
        caveats
            .Where(caveat =>
                (caveat, status) is not ((Caveat.CorrectedEntry, OutputStatus.Corrected) or (Caveat.LateEntry, OutputStatus.Amended))
            )
            .Select(caveat => new Observation.ComponentComponent
            {
                Code = Codes.Component("caveat"),
                Value = Codes.Briefly(Codes.Caveat(Irrigation.Slug.Of(caveat), null)),
            });
}
