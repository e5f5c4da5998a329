using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Criteria;
using IrrigationFhir.Model;
using NodaTime;

namespace IrrigationFhir.Fhir;

/// <summary>The urine-output criteria over the windows that trail the last closing of a clock hour.</summary>
/// <remarks>
/// One evaluation a clock hour, however often the drainage is read in it, so that what a request costs stays bounded: the id is
/// the hour's, and a later closing in the same hour makes a new version of it, which is amended.
/// </remarks>
internal static class UrineOutputCriterionMapper
{
    /// <summary>The profile's slug.</summary>
    public const string Slug = "urine-output-criterion";

    /// <summary>The longest window there is: so far a change can reach forward.</summary>
    public static NodaTime.Duration LongestWindow { get; } =
        NodaTime.Duration.Max(NodaTime.Duration.FromHours(24), UrineOutputCriteria.All.Max(criterion => criterion.Window));

    /// <summary>The id of a criterion in one of its readings, of a clock hour.</summary>
    public static string IdOf(Episode episode, Interval hour, string criterion, Reading reading) =>
        $"{FhirValues.WindowId(episode.Id, Slug, 'h', hour.Start)}-{FhirValues.Digest($"{criterion} {Irrigation.Slug.Of(reading)}", 6)}";

    /// <summary>Every criterion that fits the patient at the last closing of a clock hour; none where the hour has no closing.</summary>
    public static IReadOnlyList<Observation> ToObservations(Episode episode, Interval hour, CriteriaSettings limits, bool withdrawn = false)
    {
        var balance = episode.Balance;
        var closings = balance
            .Reaching(FluidBalance.Bladder, hour.Start - NodaTime.Duration.Epsilon, hour.End)
            .Where(i => i.End >= hour.Start && i.End < hour.End)
            .Select(i => i.End)
            .ToList();
        if (closings.Count == 0)
            return [];

        var patient = new Irrigation.Criteria.Patient(episode.Definition.BirthDate, episode.Definition.Frame.Zone);
        var windows = new Dictionary<Interval, OutputWindow>();
        OutputWindow Over(Interval window) =>
            windows.TryGetValue(window, out var known) ? known : windows[window] = balance.Over(WindowKind.Trailing, window);
        return
        [
            .. UrineOutputCriteria
                .At(balance, patient, closings[^1], limits)
                .Concat(UrineOutputCriteria.Volumes(balance, patient, closings[^1], limits))
                .Select(result => ToObservation(result, Over(result.Window), hour, closings.Count > 1, episode, withdrawn)),
        ];
    }

    private static Observation ToObservation(
        CriterionResult result,
        OutputWindow window,
        Interval hour,
        bool again,
        Episode episode,
        bool withdrawn
    ) =>
        new()
        {
            Id = IdOf(episode, hour, result.Slug, result.Reading),
            Meta = new() { Profile = [Profiles.UrineOutputCriterion] },
            Status =
                withdrawn ? ObservationStatus.EnteredInError
                : result.Provisional ? ObservationStatus.Preliminary
                : CorrectedUrineOutputMapper.StatusOf(window.Status == OutputStatus.Final && again ? OutputStatus.Amended : window.Status),
            Category = Codes.FluidCategories(),
            Code = Codes.UrineOutputCriterion(result.Slug),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Effective = FhirValues.Period(window.Start, window.End, episode.Definition.Frame.Zone),
            Value = Codes.CriterionAnswer(Irrigation.Slug.Of(result.Answer)),
            Method = Codes.CriterionReading(Irrigation.Slug.Of(result.Reading)),
            Note = [new() { Text = Texts.Caution }],
            DerivedFrom =
            [
                .. CorrectedUrineOutputMapper.Sources(window, episode).Distinct().Select(id => new ResourceReference($"Observation/{id}")),
                .. UrineOutputRateMapper.WeightReference(episode, result.Weight),
            ],
            Component =
            [
                new() { Code = Codes.Component("criterion-threshold"), Value = Threshold(result) },
                .. result.Value is { } value
                    ? [new() { Code = Codes.Component("criterion-value"), Value = Quantity(value, result) }]
                    : Array.Empty<Observation.ComponentComponent>(),
                .. result.Interval95 is var (low, high)
                    ?
                    [
                        new()
                        {
                            Code = Codes.Component("interval-95"),
                            Value = new Hl7.Fhir.Model.Range { Low = Quantity(low, result), High = Quantity(high, result) },
                        },
                    ]
                    : Array.Empty<Observation.ComponentComponent>(),
                .. Probability(result),
                new()
                {
                    Code = Codes.Component("coverage"),
                    Value = Codes.Quantity(FhirValues.Number(result.Coverage * 100), Codes.Units.Percent),
                },
                .. UrineOutputRateMapper.WeightComponents(result.Weight),
                .. result.Obstacles.Select(obstacle => new Observation.ComponentComponent
                {
                    Code = Codes.Component("obstacle"),
                    Value = Codes.CriterionObstacle(Irrigation.Slug.Of(obstacle)),
                }),
            ],
        };

    /// <remarks>That every hour meets it is at most as probable as said: how much of their doubts the hours share is not known.</remarks>
    private static IEnumerable<Observation.ComponentComponent> Probability(CriterionResult result)
    {
        if (result.Probability is not { } probability)
            yield break;
        var percent = Codes.Quantity(FhirValues.Number(FhirValues.Probability(probability) * 100), Codes.Units.Percent);
        if (result.Reading == Reading.EveryHour)
            percent.Comparator = Hl7.Fhir.Model.Quantity.QuantityComparator.LessOrEqual;
        yield return new() { Code = Codes.Component("probability-met"), Value = percent };
    }

    private static Quantity Threshold(CriterionResult result)
    {
        var threshold = Quantity(result.Threshold, result);
        threshold.Comparator = result.Comparison switch
        {
            "<" => Hl7.Fhir.Model.Quantity.QuantityComparator.LessThan,
            "<=" => Hl7.Fhir.Model.Quantity.QuantityComparator.LessOrEqual,
            ">" => Hl7.Fhir.Model.Quantity.QuantityComparator.GreaterThan,
            _ => throw new ArgumentOutOfRangeException(nameof(result), result.Comparison, "not a comparison of a criterion"),
        };
        return threshold;
    }

    private static Quantity Quantity(decimal number, CriterionResult result) =>
        Codes.Quantity(
            FhirValues.Number(number),
            result.Unit == Codes.Units.Millilitre.Code ? Codes.Units.Millilitre : Codes.Units.MillilitrePerKilogramHour
        );
}
