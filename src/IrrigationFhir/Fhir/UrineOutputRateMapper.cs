using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Measures;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>Corrected urine output of a closed interval as a rate, per hour and per kilogram of the weight in force.</summary>
/// <remarks>Without a weight it would say no more than the volume and the period of its interval.</remarks>
internal sealed class UrineOutputRateMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;

    /// <summary>The profile's slug.</summary>
    public const string Slug = "urine-output-rate";

    /// <summary>The id of an interval's Observation.</summary>
    public static string IdOf(Episode episode, ClosedInterval interval) => FhirValues.WindowId(episode.Id, Slug, 'i', interval.End);

    /// <summary>The Observation; null without a weight, and for an interval without length, which has no rate.</summary>
    public Observation? ToObservation(ClosedInterval interval, Episode episode, CriteriaSettings limits, bool withdrawn = false)
    {
        if (interval.Length <= NodaTime.Duration.Zero)
            return null;
        var frame = episode.Definition.Frame;
        if (WeightInForce.Of(episode.Log, interval.End, episode.Patient, limits) is not { } weight)
            return null;
        var doubt = interval.Output?.BestEstimate?.StandardUncertainty;
        var decimals = FhirValues.Decimals(doubt is { } u ? UrineRate.Of(u, interval.Length, null).PerHour : null);
        var rate = interval.Output is { } output ? UrineRate.Of(output.Headline, interval.Length, weight) : null;
        return new()
        {
            Id = IdOf(episode, interval),
            Meta = new() { Profile = [Profiles.UrineOutputRate] },
            PartOf = [BladderIrrigationMapper.Whole(episode)],
            Status = withdrawn ? ObservationStatus.EnteredInError : CorrectedUrineOutputMapper.StatusOf(interval.Status),
            Category = Codes.FluidCategories(),
            Code = Codes.Observation(Slug),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Effective = FhirValues.Period(interval.Start, interval.End, frame.Zone),
            Value = rate is null ? null : PerHour(rate, decimals),
            DataAbsentReason = rate is null ? CorrectedUrineOutputMapper.Absent(interval.Absent) : null,
            Method = Codes.Briefly(Codes.DrainageMinusIrrigant()),
            DerivedFrom = [new($"Observation/{CorrectedUrineOutputMapper.IdOf(episode, interval)}"), .. WeightReference(episode, weight)],
            Component =
            [
                PerWeight(rate, weight, interval, doubt),
                .. interval.Output?.Interval95 is { } range
                    ? [Range(range, interval.Length, decimals)]
                    : Array.Empty<Observation.ComponentComponent>(),
                .. WeightComponents(weight),
            ],
        };
    }

    /// <summary>The weight in force and its kind; nothing where none was charted.</summary>
    public IEnumerable<Observation.ComponentComponent> WeightComponents(WeightInForce? weight)
    {
        if (weight is null)
            yield break;
        yield return new() { Code = Codes.Component("body-weight"), Value = FhirValues.Quantity(weight.Weight) };
        yield return new()
        {
            Code = Codes.Component("weight-kind"),
            Value = Codes.Briefly(Codes.WeightKind(Irrigation.Slug.Of(weight.Weight.Kind))),
        };
    }

    /// <summary>The Observation of the weight in force, where it is published.</summary>
    public static IEnumerable<ResourceReference> WeightReference(Episode episode, WeightInForce? weight)
    {
        if (
            weight is not null
            && episode.Log["weight-measured"].LastAtOrBefore(weight.At) is { } entry
            && EntryMapper.IdOf(episode, entry) is { } id
        )
            yield return new($"Observation/{id}");
    }

    /// <remarks>A weight that cannot be true gives no rate: 0.1 mL/kg/h of a child of 220 kg is an alarm about a slip of the pen.</remarks>
    private Observation.ComponentComponent PerWeight(UrineRate? rate, WeightInForce weight, ClosedInterval interval, Volume? doubt)
    {
        var known = weight.Doubt is null ? rate?.PerKilogramHour : null;
        var decimals = FhirValues.Decimals(doubt is { } u ? UrineRate.Of(u, interval.Length, weight).PerKilogramHour : null, fewest: 2);
        return new()
        {
            Code = Codes.Component("urine-output-rate-per-weight"),
            Value = known is { } perKilogram
                ? Codes.Quantity(FhirValues.Number(perKilogram, decimals), Codes.Units.MillilitrePerKilogramHour)
                : null,
            DataAbsentReason =
                known is not null ? null
                : rate is null ? CorrectedUrineOutputMapper.Absent(interval.Absent)
                : Codes.DataAbsent("error"),
        };
    }

    private Observation.ComponentComponent Range(VolumeRange range, NodaTime.Duration over, int decimals) =>
        new()
        {
            Code = Codes.Component("interval-95"),
            Value = new Hl7.Fhir.Model.Range
            {
                Low = PerHour(UrineRate.Of(range.Low, over, null), decimals),
                High = PerHour(UrineRate.Of(range.High, over, null), decimals),
            },
        };

    private static Quantity PerHour(UrineRate rate, int decimals) =>
        Codes.Quantity(FhirValues.Number(rate.PerHour, decimals), Codes.Units.MillilitrePerHour);
}
