using System.Collections.Immutable;
using NodaTime;

namespace Irrigation.Criteria;

/// <summary>The four answers of a decision that compares a value with a threshold.</summary>
public enum Answer
{
    /// <summary>The whole 95 % interval lies on the criterion's side of the threshold.</summary>
    Met,

    /// <summary>The whole interval lies on the other side.</summary>
    NotMet,

    /// <summary>The interval covers the threshold.</summary>
    Indeterminate,

    /// <summary>Nothing can be said, and the reasons say why.</summary>
    NotEvaluable,
}

/// <summary>The customary readings of "less than so much for so many hours": both are in use, and they differ.</summary>
public enum Reading
{
    /// <summary>The mean rate over the window.</summary>
    MeanOverWindow,

    /// <summary>The rate of every consecutive hour in it.</summary>
    EveryHour,
}

/// <summary>Why nothing can be said.</summary>
public enum Obstacle
{
    /// <summary>No date of birth: adult windows are for known adults.</summary>
    AgeUnknown,

    /// <summary>The criterion is for another age.</summary>
    AgeDoesNotFit,

    /// <summary>No weight was charted.</summary>
    WeightUnknown,

    /// <summary>The weight in force is not plausible.</summary>
    WeightImplausible,

    /// <summary>Closed intervals do not cover enough of the window.</summary>
    NotCovered,

    /// <summary>The output of a part is unknown.</summary>
    OutputUnknown,

    /// <summary>Something was not charted, so that the doubts are not known: a bag without drainage, drainage without irrigant.</summary>
    DoubtsUnknown,

    /// <summary>
    /// The interval is wider than the threshold and does not lie wholly above it: not decidable with this irrigation rate and way of
    /// measuring. The probability still says something.
    /// </summary>
    TooUncertain,

    /// <summary>A reading is doubted, and nobody has confirmed it yet.</summary>
    Doubted,

    /// <summary>The whole interval lies below 0: a term of the balance is missing, and how much urine there was is not known.</summary>
    BelowZero,

    /// <summary>A gap between readings is too long to say anything by the hour.</summary>
    Gap,

    /// <summary>Part was not read yet, and what it may hold is in no interval to decide by: a bag without a flow, another route.</summary>
    StillOpen,
}

/// <summary>A threshold on a rate: strict (&lt;) or inclusive (≤), for a duration that is inclusive (≥).</summary>
/// <param name="Name">The criterion: <c>kdigo</c>, <c>prifle</c>, <c>neonatal-kdigo</c>.</param>
/// <param name="Stage">1 to 3.</param>
/// <param name="Window">The trailing hours.</param>
/// <param name="Threshold">In mL/kg/h; for anuria null.</param>
/// <param name="Inclusive">≤ instead of &lt;.</param>
/// <param name="Group">The age that it is for.</param>
/// <param name="Source">Where it comes from.</param>
public sealed record RateCriterion(
    string Name,
    int Stage,
    Duration Window,
    decimal? Threshold,
    bool Inclusive,
    AgeGroup Group,
    string Source
);

/// <summary>A result of a criterion. It is of urine output alone: a "urine-output criterion stage n", never a diagnosis.</summary>
public sealed record CriterionResult
{
    /// <summary>The criterion.</summary>
    public required string Name { get; init; }

    /// <summary>Its stage; 0 for a criterion without stages.</summary>
    public required int Stage { get; init; }

    /// <summary>What names it among all criteria: <c>kdigo-1</c>, <c>kdigo-3-anuria</c>, <c>oliguria</c>.</summary>
    public string Slug => Stage == 0 ? Name : $"{Name}-{Stage}{(Unit == "mL" ? "-anuria" : "")}";

    /// <summary>Which of the two readings.</summary>
    public required Reading Reading { get; init; }

    /// <summary>The trailing window.</summary>
    public required Interval Window { get; init; }

    /// <summary>One of four.</summary>
    public required Answer Answer { get; init; }

    /// <summary>The threshold in <see cref="Unit"/>.</summary>
    public required decimal Threshold { get; init; }

    /// <summary>How the value has to lie to the threshold for the criterion to be met: <c>&lt;</c>, <c>&lt;=</c> or <c>&gt;</c>.</summary>
    public required string Comparison { get; init; }

    /// <summary>mL/kg/h, or mL in the window.</summary>
    public required string Unit { get; init; }

    /// <summary>The best value in <see cref="Unit"/>; null where there is none. For every-hour, the highest hour.</summary>
    public decimal? Value { get; init; }

    /// <summary>Its 95 % interval.</summary>
    public (decimal Low, decimal High)? Interval95 { get; init; }

    /// <summary>How much of the window closed intervals cover, 0 to 1.</summary>
    public required decimal Coverage { get; init; }

    /// <summary>The weight it rests on, with its kind and date; null where none is needed.</summary>
    public WeightInForce? Weight { get; init; }

    /// <summary>
    /// The probability that the criterion is met, 0 to 1, to a millionth: of a value on its side of the threshold, given the best estimate,
    /// its standard uncertainty, and that output is not negative (<see cref="Conformance"/>). Stated with all four answers; null where
    /// anything but a wide interval stands in the way: no interval, a doubted reading, an age or weight without a threshold.
    /// </summary>
    /// <remarks>By every hour an upper bound: the least of the hours' probabilities, exact where the hours share their errors.</remarks>
    public double? Probability { get; init; }

    /// <summary>Rests on a part that is still open, such as a bag that hangs: worked out again when that has been read.</summary>
    public bool Provisional { get; init; }

    /// <summary>Why nothing can be said; empty for the other answers.</summary>
    public ImmutableArray<Obstacle> Obstacles { get; init; } = [];
}

/// <summary>Decides with an interval: four answers, never three.</summary>
public static class Decision
{
    /// <summary>Whether a value lies below a threshold.</summary>
    /// <param name="low">Lower end of its 95 % interval.</param>
    /// <param name="high">Upper end.</param>
    /// <param name="threshold">In the same unit.</param>
    /// <param name="inclusive">Whether the threshold itself counts as below.</param>
    public static Answer Below(decimal low, decimal high, decimal threshold, bool inclusive = false)
    {
        if (inclusive ? high <= threshold : high < threshold)
            return Answer.Met;
        return (inclusive ? low > threshold : low >= threshold) ? Answer.NotMet : Answer.Indeterminate;
    }

    /// <summary>Whether a value lies above a threshold (strictly).</summary>
    public static Answer Above(decimal low, decimal high, decimal threshold) =>
        Below(low, high, threshold, inclusive: true) switch
        {
            Answer.Met => Answer.NotMet,
            Answer.NotMet => Answer.Met,
            var other => other,
        };

    /// <summary>All of several: one that is not met decides; else the weakest of the rest.</summary>
    public static Answer All(IEnumerable<Answer> answers)
    {
        var all = answers.ToHashSet();
        return all.Contains(Answer.NotMet) ? Answer.NotMet
            : all.Contains(Answer.NotEvaluable) ? Answer.NotEvaluable
            : all.Contains(Answer.Indeterminate) ? Answer.Indeterminate
            : Answer.Met;
    }

    /// <summary>One of several: one that is met decides; else the strongest of the rest.</summary>
    public static Answer Any(IEnumerable<Answer> answers)
    {
        var all = answers.ToHashSet();
        return all.Contains(Answer.Met) ? Answer.Met
            : all.Contains(Answer.Indeterminate) ? Answer.Indeterminate
            : all.Contains(Answer.NotEvaluable) ? Answer.NotEvaluable
            : Answer.NotMet;
    }
}
