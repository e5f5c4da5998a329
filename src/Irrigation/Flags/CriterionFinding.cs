using Irrigation.Criteria;

namespace Irrigation.Flags;

/// <summary>From the answers of a urine-output criterion to a finding.</summary>
internal static class CriterionFinding
{
    /// <summary>Met is raised, not met is not, and what cannot be told is undecided and says why.</summary>
    public static Finding Of(CriterionResult result, Bedside bedside, FlagPriority priority, string about) => result.Answer switch
    {
        Answer.Met => new Finding.Raised(priority, $"{about}: {Says(result, bedside)}.") { Evidence = bedside.Latest is { } latest ? [Evidence.Of(latest)] : [] },
        Answer.NotMet => new Finding.NotRaised(),
        Answer.Indeterminate => new Finding.Undecided($"{about}: {Says(result, bedside)}: the interval covers the threshold", "a more exact measurement: weighed drainage, calibrated bags, or a slower flow"),
        Answer.NotEvaluable => new Finding.Undecided($"{about}: not evaluable, {string.Join(", ", result.Obstacles.Select(o => Slug.Of(o)))}", Needs(result)),
    };

    /// <summary>Value, interval, threshold, window.</summary>
    public static string Says(CriterionResult result, Bedside bedside)
    {
        var interval = result.Interval95 is { } range ? FormattableString.Invariant($", 95 % interval {range.Low:0.##} to {range.High:0.##}") : "";
        var value = result.Value is { } known ? FormattableString.Invariant($"{known:0.##} {result.Unit}") : "no value";
        var weight = result.Weight is { } by ? FormattableString.Invariant($", by {by.Weight} of {bedside.Said(by.At)}") : "";
        return FormattableString.Invariant($"{value} from {bedside.Said(result.Window.Start)} to {bedside.Said(result.Window.End)}{interval}; threshold {result.Comparison} {result.Threshold:0.##} {result.Unit}{weight}");
    }

    private static string Needs(CriterionResult result) => string.Join(", ", result.Obstacles.Select(obstacle => obstacle switch
    {
        Obstacle.AgeUnknown => "a date of birth",
        Obstacle.AgeDoesNotFit => "a criterion for this age",
        Obstacle.WeightUnknown => "a weight",
        Obstacle.WeightImplausible => "a weight that can be true",
        Obstacle.NotCovered => "readings that cover the window",
        Obstacle.OutputUnknown or Obstacle.DoubtsUnknown => "the volumes that were not charted",
        Obstacle.TooUncertain => "a more exact measurement",
        Obstacle.Doubted => "the doubted reading to be confirmed or corrected",
        Obstacle.BelowZero => "what left the bladder by another way, or the reading that is wrong",
        Obstacle.Gap => "readings without long gaps",
        Obstacle.StillOpen => "a reading of the bag",
    }).Distinct());
}
