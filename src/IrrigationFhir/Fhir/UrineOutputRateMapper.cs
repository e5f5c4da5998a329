using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Measures;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>Corrected urine output of a closed interval as a rate, per hour and per kilogram.</summary>
internal static class UrineOutputRateMapper
{
    /// <summary>The profile's slug.</summary>
    public const string Slug = "urine-output-rate";

    /// <summary>The id of an interval's Observation.</summary>
    public static string IdOf(Episode episode, ClosedInterval interval) => FhirValues.WindowId(episode.Id, Slug, 'i', interval.End);

    /// <summary>The Observation; null for an interval without length, which has no rate.</summary>
    public static Observation? ToObservation(ClosedInterval interval, Episode episode, CriteriaSettings limits, bool withdrawn = false)
    {
        if (interval.Length <= NodaTime.Duration.Zero)
            return null;
        var frame = episode.Definition.Frame;
        var weight = WeightInForce.Of(episode.Log, interval.End, new(episode.Definition.BirthDate, frame.Zone), limits);
        var rate = interval.Output is { } output ? UrineRate.Of(output.Headline, interval.Length, weight) : null;
        return new()
        {
            Id = IdOf(episode, interval),
            Meta = new() { Profile = [Profiles.UrineOutputRate] },
            Status = withdrawn ? ObservationStatus.EnteredInError : CorrectedUrineOutputMapper.StatusOf(interval.Status),
            Category = Codes.FluidCategories(),
            Code = Codes.Component(Slug),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Effective = FhirValues.Period(interval.Start, interval.End, frame.Zone),
            Value = rate is null ? null : Codes.Quantity(FhirValues.Number(rate.PerHour), Codes.Units.MillilitrePerHour),
            DataAbsentReason = rate is null ? CorrectedUrineOutputMapper.Absent(interval.Absent) : null,
            Method = Codes.DrainageMinusIrrigant(),
            Note = [new() { Text = Texts.Caution }],
            DerivedFrom = [new($"Observation/{CorrectedUrineOutputMapper.IdOf(episode, interval)}"), .. WeightReference(episode, weight)],
            Component =
            [
                new()
                {
                    Code = Codes.Component("corrected-volume"),
                    Value = interval.Output is { } volume ? FhirValues.Quantity(volume.Headline) : null,
                    DataAbsentReason = interval.Output is null ? CorrectedUrineOutputMapper.Absent(interval.Absent) : null,
                },
                new() { Code = Codes.Component("duration"), Value = FhirValues.Quantity(interval.Length) },
                PerWeight(rate, weight, interval),
                .. interval.Output?.Interval95 is { } range
                    ? [Range(range, interval.Length)]
                    : Array.Empty<Observation.ComponentComponent>(),
                .. WeightComponents(weight),
            ],
        };
    }

    /// <summary>The weight in force and its kind; nothing where none was charted.</summary>
    public static IEnumerable<Observation.ComponentComponent> WeightComponents(WeightInForce? weight)
    {
        if (weight is null)
            yield break;
        yield return new() { Code = Codes.Component("body-weight"), Value = FhirValues.Quantity(weight.Weight) };
        yield return new() { Code = Codes.Component("weight-kind"), Value = Codes.WeightKind(Irrigation.Slug.Of(weight.Weight.Kind)) };
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
    private static Observation.ComponentComponent PerWeight(UrineRate? rate, WeightInForce? weight, ClosedInterval interval)
    {
        var known = weight is { Doubt: null } ? rate?.PerKilogramHour : null;
        return new()
        {
            Code = Codes.Component("urine-output-rate-per-weight"),
            Value = known is { } perKilogram ? Codes.Quantity(FhirValues.Number(perKilogram), Codes.Units.MillilitrePerKilogramHour) : null,
            DataAbsentReason =
                known is not null ? null
                : rate is null ? CorrectedUrineOutputMapper.Absent(interval.Absent)
                : Codes.DataAbsent(weight is null ? "not-performed" : "error"),
        };
    }

    private static Observation.ComponentComponent Range(VolumeRange range, NodaTime.Duration over) =>
        new()
        {
            Code = Codes.Component("interval-95"),
            Value = new Hl7.Fhir.Model.Range { Low = PerHour(range.Low, over), High = PerHour(range.High, over) },
        };

    private static Quantity PerHour(Volume volume, NodaTime.Duration over) =>
        Codes.Quantity(FhirValues.Number(UrineRate.Of(volume, over, null).PerHour), Codes.Units.MillilitrePerHour);
}
