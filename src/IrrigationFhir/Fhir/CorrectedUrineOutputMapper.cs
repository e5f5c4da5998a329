using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Measures;
using IrrigationFhir.Model;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Fhir;

/// <summary>Corrected urine output of a closed interval or a window as an Observation.</summary>
internal static class CorrectedUrineOutputMapper
{
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
    public static Observation ToObservation(ClosedInterval interval, Episode episode, bool withdrawn = false)
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
        Value(observation, interval.Output, interval.Absent, null);
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
            Volume("corrected-volume", interval.Output?.Headline, interval.Absent),
            Hours("duration", interval.Length),
            Volume("irrigant-instilled", interval.Instilled, AbsentReason.IrrigantUnknown),
            Volume("bladder-drainage-total", interval.Drained, AbsentReason.DrainageUnknown),
            .. interval.Urine > Irrigation.Measures.Volume.Zero
                ? [Volume("urine-collected", interval.Urine, null)]
                : Array.Empty<Observation.ComponentComponent>(),
            .. interval.Leaked is { } leaked ? [Volume("leak-estimated", leaked, null)] : Array.Empty<Observation.ComponentComponent>(),
            .. interval.Blood is { } blood ? [Volume("blood-removed", blood, null)] : Array.Empty<Observation.ComponentComponent>(),
            .. interval.RetainedChange is { } change
                ? [Volume("retained-change", change, null)]
                : Array.Empty<Observation.ComponentComponent>(),
            Volume("simple-output", interval.Simple, interval.Absent),
            .. Uncertainty(interval.Output),
            .. interval.AssumedZero.Select(term => Coded("term-assumed-zero", Codes.BalanceTerm(Irrigation.Slug.Of(term)))),
            .. interval.Caveats.Select(Caveat),
        ];
        return Grounded(observation);
    }

    /// <summary>The Observation of a window.</summary>
    public static Observation ToObservation(OutputWindow window, Episode episode, bool withdrawn = false)
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
        Value(observation, window.Output, window.Absent, withdrawn ? null : ExactHours(window));
        observation.Note.AddRange(Doubts(window.Intervals));
        observation.DerivedFrom = [.. Sources(window, episode).Distinct().Select(id => new ResourceReference($"Observation/{id}"))];
        observation.Component =
        [
            Volume("corrected-volume", window.Output?.Headline, window.Absent),
            Hours("duration", window.Length),
            Hours("covered-duration", window.Covered),
            Volume("irrigant-instilled", window.Instilled, AbsentReason.IrrigantUnknown),
            Volume("bladder-drainage-total", window.DrainageCharted, AbsentReason.DrainageUnknown),
            Volume("simple-output", window.Simple, window.Absent),
            .. Uncertainty(window.Output),
            .. window.Caveats.Select(Caveat),
        ];
        return Grounded(observation);
    }

    /// <summary>A timed LOINC code says a rate over exactly that time: only on a complete window of that length.</summary>
    private static int? ExactHours(OutputWindow window)
    {
        if (!window.FullyCovered || window.Status == OutputStatus.Preliminary || window.Output is null)
            return null;
        int[] timed = [1, 8, 12, 24];
        return timed.Cast<int?>().FirstOrDefault(hours => window.Length == NodaTime.Duration.FromHours(hours!.Value));
    }

    /// <summary>
    /// An hour rests on closed intervals (and other routes' readings); a shift or day on its hours, so that the list stays short.
    /// </summary>
    public static IEnumerable<string> Sources(OutputWindow window, Episode episode)
    {
        if (window.Kind is WindowKind.Shift or WindowKind.LocalDay)
        {
            return Calendar
                .Windows(WindowKind.ClockHour, episode.Definition.Frame, window.Start, window.End)
                .Where(hour => window.Intervals.Any(i => i.Start < hour.End && i.End > hour.Start))
                .Select(hour => IdOf(episode, WindowKind.ClockHour, hour.Start));
        }

        return window.Intervals.SelectMany(i =>
            i.Stream == FluidBalance.Bladder
                ? [IdOf(episode, i)]
                : i.Parts.Select(p => EntryMapper.IdOf(episode, episode.Log.Current(p.Entry)!.Entry)).OfType<string>()
        );
    }

    /// <summary>Whether an Observation is a corrected output that says to be another than it was once published.</summary>
    public static bool IsAnother(Observation observation) =>
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

    private static Observation Bare(
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
            Status = withdrawn ? ObservationStatus.EnteredInError : StatusOf(status),
            Category = Codes.OutputCategories(Irrigation.Slug.Of(kind)),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Effective = FhirValues.Period(start, end, episode.Definition.Frame.Zone),
            Method = Codes.DrainageMinusIrrigant(),
            Note = [new() { Text = Texts.Caution }],
        };

    private static void Value(Observation observation, UrineOutput? output, AbsentReason? absent, int? exactHours)
    {
        observation.Code = Codes.CorrectedUrineOutput(exactHours);
        if (output is null)
            observation.DataAbsentReason = Absent(absent);
        else
            observation.Value = Codes.Quantity(FhirValues.Number(output.Headline.Millilitres), Codes.CorrectedUrineOutputUnit(exactHours));
    }

    /// <summary>What is doubted, in words: the caveat says that something is, and these what a person has to look at.</summary>
    private static IEnumerable<Annotation> Doubts(IEnumerable<ClosedInterval> intervals) =>
        intervals.SelectMany(interval => interval.Doubts).Distinct().Select(doubt => new Annotation { Text = Texts.Doubted(doubt.Says) });

    /// <summary>A withdrawn number has nothing left that it rests on; it then stands without its value.</summary>
    private static Observation Grounded(Observation observation)
    {
        if (observation.DerivedFrom.Count > 0 || observation.Value is null)
            return observation;
        (observation.Value, observation.DataAbsentReason, observation.Code) = (
            null,
            Codes.DataAbsent("error"),
            Codes.CorrectedUrineOutput(null)
        );
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

    private static Observation.ComponentComponent Volume(string slug, Volume? volume, AbsentReason? absent) =>
        new()
        {
            Code = Codes.Component(slug),
            Value = volume is { } known ? FhirValues.Quantity(known) : null,
            DataAbsentReason = volume is null ? Absent(absent) : null,
        };

    /// <summary>
    /// The best estimate with its standard uncertainty on its Quantity, and the 95 % interval; nothing where its doubts are not known.
    /// </summary>
    private static IEnumerable<Observation.ComponentComponent> Uncertainty(UrineOutput? output)
    {
        if (output?.BestEstimate is not { } best || output.Interval95 is not { } interval)
            yield break;
        var quantity = FhirValues.Quantity(best.Value);
        quantity.Extension.AddRange(Codes.Uncertainty(FhirValues.Number(best.StandardUncertainty.Millilitres)));
        yield return new() { Code = Codes.Component("best-estimate"), Value = quantity };
        yield return new()
        {
            Code = Codes.Component("interval-95"),
            Value = new Hl7.Fhir.Model.Range { Low = FhirValues.Quantity(interval.Low), High = FhirValues.Quantity(interval.High) },
        };
    }

    private static Observation.ComponentComponent Hours(string slug, NodaTime.Duration time) =>
        new() { Code = Codes.Component(slug), Value = FhirValues.Quantity(time) };

    private static Observation.ComponentComponent Caveat(Caveat caveat) => Coded("caveat", Codes.Caveat(Irrigation.Slug.Of(caveat), null));

    private static Observation.ComponentComponent Coded(string slug, CodeableConcept value) =>
        new() { Code = Codes.Component(slug), Value = value };
}
