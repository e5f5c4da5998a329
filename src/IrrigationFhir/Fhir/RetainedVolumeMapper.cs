using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>What the bladder held when the balance closed, where a scan anchors it.</summary>
internal sealed class RetainedVolumeMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;

    /// <summary>The profile's slug.</summary>
    public const string Slug = "retained-volume";

    /// <summary>The id of the Observation at an interval's end.</summary>
    public static string IdOf(Episode episode, ClosedInterval interval) => FhirValues.WindowId(episode.Id, Slug, 'i', interval.End);

    /// <summary>The Observation; null where no scan anchors the end.</summary>
    public Observation? ToObservation(ClosedInterval interval, Episode episode, bool withdrawn = false)
    {
        // The scan at the start, if there is one, comes before that at the end.
        if (interval.Parts.LastOrDefault(p => p.Kind == PartKind.Retained) is not { Whole: { } held } anchor)
            return null;
        return new()
        {
            Id = IdOf(episode, interval),
            Meta = new() { Profile = [Profiles.RetainedVolume] },
            PartOf = [BladderIrrigationMapper.Whole(episode)],
            Status = withdrawn ? ObservationStatus.EnteredInError : CorrectedUrineOutputMapper.StatusOf(interval.Status),
            Category = Codes.FluidCategories(),
            Code = Codes.Observation(Slug),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Effective = new FhirDateTime(FhirValues.Time(interval.End, episode.Definition.Frame.Zone)),
            Value = FhirValues.Quantity(held),
            Method = Codes.Briefly(Codes.MeasuringWay(Irrigation.Slug.Of(MeasuringWay.Scan))),
            DerivedFrom = [new($"Observation/{FhirValues.EntryId(episode.Id, "bladder-scan-volume", anchor.Entry)}")],
            Component = interval.RetainedChange is { } change
                ? [new() { Code = Codes.Component("retained-change"), Value = FhirValues.Quantity(change) }]
                : [],
        };
    }
}
