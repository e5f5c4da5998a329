using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Criteria;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>A urine-output criterion of an episode: what it answers, since when, and from when to when it was met.</summary>
/// <remarks>
/// One Observation a criterion, and a new version of it when an answer changes: its history is its answers as they were told, and its
/// newest version what is known now, of earlier times too.
/// </remarks>
internal sealed class UrineOutputCriterionMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;
    private UrineOutputRateMapper UrineOutputRateMapper { get; } = new(vocabulary);

    /// <summary>The profile's slug.</summary>
    public const string Slug = "urine-output-criterion";

    /// <summary>The id of a criterion: episode, slug, and the criterion's own.</summary>
    public static string IdOf(Episode episode, string criterion) => $"{episode.Id}.{Slug}.{criterion}";

    /// <summary>The Observation of a criterion that has said something.</summary>
    public Observation ToObservation(CriterionHistory history, Episode episode, bool withdrawn = false)
    {
        var (frame, now) = (episode.Definition.Frame, history.Current);
        var (result, byTheHour) = (now.Result, now.SaysNothing ? null : now.ByTheHour);
        var window = episode.Balance.Over(WindowKind.Trailing, result.Window);
        var decimals = Decimals(result);
        return new()
        {
            Id = IdOf(episode, history.Slug),
            Meta = new() { Profile = [Profiles.UrineOutputCriterion] },
            PartOf = [BladderIrrigationMapper.Whole(episode)],
            Status = withdrawn ? ObservationStatus.EnteredInError : StatusOf(history),
            Category = Codes.FluidCategories(),
            Code = Codes.UrineOutputCriterion(history.Slug),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Effective = FhirValues.Period(window.Start, window.End, frame.Zone),
            Value = Codes.CriterionAnswer(Irrigation.Slug.Of(result.Answer)),
            Method = Codes.CriterionReading(Irrigation.Slug.Of(result.Reading)),
            DerivedFrom =
            [
                .. CorrectedUrineOutputMapper.Sources(window, episode).Distinct().Select(id => new ResourceReference($"Observation/{id}")),
                .. UrineOutputRateMapper.WeightReference(episode, result.Weight),
            ],
            Component =
            [
                new() { Code = Codes.Component("criterion-threshold"), Value = Threshold(result) },
                .. Found("", result, decimals),
                .. result.Coverage == 1
                    ? Array.Empty<Observation.ComponentComponent>()
                    : [Component("coverage", FhirValues.Part(FhirValues.Number(result.Coverage * 100, 1), Codes.Units.Percent))],
                .. UrineOutputRateMapper.WeightComponents(result.Weight),
                .. Obstacles("", result),
                .. Met("met-period", history, judgement => judgement.Result, frame.Zone),
                .. byTheHour is null
                    ? Array.Empty<Observation.ComponentComponent>()
                    :
                    [
                        Component("every-hour-answer", Codes.Briefly(Codes.CriterionAnswer(Irrigation.Slug.Of(byTheHour.Answer)))),
                        .. Found("every-hour-", byTheHour, decimals),
                        .. Obstacles("every-hour-", byTheHour),
                    ],
                .. Met("every-hour-met-period", history, judgement => judgement.ByTheHour, frame.Zone),
            ],
        };
    }

    /// <summary>Preliminary while what it answers now is; corrected or amended once a window was that an answer of it rested on.</summary>
    private static ObservationStatus StatusOf(CriterionHistory history)
    {
        if (history.Current.Result.Provisional || history.Current.Status == OutputStatus.Preliminary)
            return ObservationStatus.Preliminary;
        bool Any(OutputStatus status) => history.Answers.Any(judgement => judgement.Status == status);
        return Any(OutputStatus.Corrected) ? ObservationStatus.Corrected
            : Any(OutputStatus.Amended) ? ObservationStatus.Amended
            : ObservationStatus.Final;
    }

    private Observation.ComponentComponent Component(string slug, DataType value) => new() { Code = Codes.Component(slug), Value = value };

    /// <summary>What is compared, its interval, and the probability that the criterion is met.</summary>
    /// <remarks>That every hour meets it is at most as probable as said: how much of their doubts the hours share is not known.</remarks>
    private IEnumerable<Observation.ComponentComponent> Found(string reading, CriterionResult result, int decimals)
    {
        if (result.Value is { } value)
            yield return Component(reading == "" ? "criterion-value" : $"{reading}value", Quantity(value, result, decimals));
        if (result.Interval95 is var (low, high))
        {
            var range = new Hl7.Fhir.Model.Range { Low = Quantity(low, result, decimals), High = Quantity(high, result, decimals) };
            yield return Component($"{reading}interval-95", range);
        }

        if (result.Probability is not { } probability)
            yield break;
        var percent = FhirValues.Part(FhirValues.Number(FhirValues.Probability(probability) * 100), Codes.Units.Percent);
        if (result.Reading == Reading.EveryHour)
            percent.Comparator = Hl7.Fhir.Model.Quantity.QuantityComparator.LessOrEqual;
        yield return Component($"{reading}probability-met", percent);
    }

    private IEnumerable<Observation.ComponentComponent> Obstacles(string reading, CriterionResult result) =>
        result.Obstacles.Select(obstacle =>
            Component($"{reading}obstacle", Codes.Briefly(Codes.CriterionObstacle(Irrigation.Slug.Of(obstacle))))
        );

    private IEnumerable<Observation.ComponentComponent> Met(
        string slug,
        CriterionHistory history,
        Func<CriterionJudgement, CriterionResult?> reading,
        NodaTime.DateTimeZone zone
    ) =>
        history
            .Met(reading)
            .Select(time =>
                Component(
                    slug,
                    new Hl7.Fhir.Model.Period
                    {
                        Start = FhirValues.Time(time.From, zone),
                        End = time.To is { } end ? FhirValues.Time(end, zone) : null,
                    }
                )
            );

    private static Quantity Threshold(CriterionResult result)
    {
        var threshold = Quantity(result.Threshold, result, 3);
        threshold.Comparator = result.Comparison switch
        {
            "<" => Hl7.Fhir.Model.Quantity.QuantityComparator.LessThan,
            "<=" => Hl7.Fhir.Model.Quantity.QuantityComparator.LessOrEqual,
            ">" => Hl7.Fhir.Model.Quantity.QuantityComparator.GreaterThan,
            _ => throw new ArgumentOutOfRangeException(nameof(result), result.Comparison, "not a comparison of a criterion"),
        };
        return threshold;
    }

    /// <summary>As many as the uncertainty warrants, and no fewer than the threshold has: rounding carries no value over it.</summary>
    private static int Decimals(CriterionResult result)
    {
        var uncertainty = result.Interval95 is var (low, high) ? (high - low) / (2 * UrineOutput.CoverageFactor) : (decimal?)null;
        var ofThreshold = FhirValues.Number(result.Threshold).Scale;
        return FhirValues.Decimals(uncertainty, Math.Max(ofThreshold, result.Unit == Codes.Units.Millilitre.Code ? 0 : 2));
    }

    private static Quantity Quantity(decimal number, CriterionResult result, int decimals) =>
        FhirValues.Part(
            FhirValues.Number(number, decimals),
            result.Unit == Codes.Units.Millilitre.Code ? Codes.Units.Millilitre : Codes.Units.MillilitrePerKilogramHour
        );
}
