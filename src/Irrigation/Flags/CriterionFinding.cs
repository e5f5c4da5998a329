using Irrigation.Criteria;

namespace Irrigation.Flags;

/// <summary>From the answer of a urine-output criterion, and the probability beside it, to a finding.</summary>
/// <remarks>
/// <para>Met raises, and so does a probability from <see cref="FlagSettings.CriterionRaisedFrom"/> on. From
/// <see cref="FlagSettings.CriterionPossibleFrom"/> on it is raised as possible: one step lower, and somebody is asked to confirm the
/// measurement first.</para>
/// <para>A flag that stands is cleared when the criterion is not met, or less probable than
/// <see cref="FlagSettings.CriterionClearedBelow"/>. In between it stands as possible, so that a probability that wavers round one limit
/// raises one flag and not ten; and it steps down only below the limit of a possible one, for the same reason.</para>
/// <para>What cannot be told is undecided and says why. A flag that stands then goes on standing and says so itself: no rule is raised
/// and undecided at once.</para>
/// </remarks>
internal static class CriterionFinding
{
    /// <summary>Whether the criterion is met, or probable enough to be taken for met.</summary>
    public static bool Raises(CriterionResult result, FlagSettings settings) =>
        result.Answer == Answer.Met || result.Probability >= (double)settings.CriterionRaisedFrom;

    /// <summary>Whether it is probable enough to be called possible.</summary>
    public static bool IsPossible(CriterionResult result, FlagSettings settings) =>
        result.Probability >= (double)settings.CriterionPossibleFrom;

    /// <summary>Whether it is too probable for its flag to be cleared.</summary>
    public static bool Lingers(CriterionResult result, FlagSettings settings) =>
        result.Answer != Answer.NotMet && result.Probability >= (double)settings.CriterionClearedBelow;

    /// <summary>What the rule says.</summary>
    /// <param name="result">The answer.</param>
    /// <param name="bedside">Where it was asked.</param>
    /// <param name="slug">The rule's slug: how its flag stands matters.</param>
    /// <param name="priority">Of a criterion that is met.</param>
    /// <param name="about">What the text begins with.</param>
    /// <param name="mayBe">It is possible for another reason than its own probability.</param>
    public static Finding Of(CriterionResult result, Bedside bedside, string slug, FlagPriority priority, string about, bool mayBe = false)
    {
        var (settings, standing) = (bedside.Settings, bedside.Standing(slug));
        if (Raises(result, settings))
            return Raised(result, bedside, priority, about);

        var possible = mayBe || IsPossible(result, settings);
        if (possible || (standing is not null && Lingers(result, settings)))
        {
            var lower = priority == FlagPriority.Low ? priority : priority - 1;
            var held = standing?.Latest.Priority ?? lower;
            var says = $"possible, confirm the measurement first: {about}";
            return Raised(result, bedside, possible || held < lower ? held : lower, says) with { Possible = true };
        }

        if (result.Answer == Answer.NotMet || (standing is not null && result.Probability is not null))
            return new Finding.NotRaised();
        var undecided = Undecided(result, bedside, about);
        return standing is null ? undecided : GoesOn(standing, bedside, undecided) with { Criterion = result };
    }

    /// <summary>In per cent, and never more certain than it can be.</summary>
    public static string Percent(double probability) =>
        probability switch
        {
            < 0.005 => "under 1 %",
            > 0.995 => "over 99 %",
            _ => FormattableString.Invariant($"{probability * 100:0} %"),
        };

    private static Finding.Raised Raised(CriterionResult result, Bedside bedside, FlagPriority priority, string about) =>
        new(priority, $"{about}: {Says(result, bedside)}.{Provisional(result, bedside)}")
        {
            Evidence = bedside.Latest is { } latest ? [Evidence.Of(latest)] : [],
            Criterion = result,
        };

    private static Finding.Raised GoesOn(FlagPeriod standing, Bedside bedside, Finding.Undecided undecided)
    {
        var was = $"{(standing.Latest.Possible ? "possible" : "it stands")} since {bedside.Said(standing.Start)}";
        var why = $"{was}, and whether it has ended cannot be told: {undecided.Why}; needs {undecided.Needs}.";
        return standing.Latest with { Says = why, LookAgain = null };
    }

    private static Finding.Undecided Undecided(CriterionResult result, Bedside bedside, string about)
    {
        if (result.Answer == Answer.Indeterminate)
        {
            return new(
                $"{about}: {Says(result, bedside)}: the interval covers the threshold",
                "a more exact measurement: weighed drainage, calibrated bags, or a slower flow"
            );
        }

        var obstacles = string.Join(", ", result.Obstacles.Select(o => Slug.Words(o)));
        var needs = string.Join(", ", result.Obstacles.Select(Needs).Distinct());
        return new($"{about}: not evaluable, {obstacles}{Probability(result)}", needs);
    }

    /// <summary>Value, window, interval, probability, threshold, weight.</summary>
    private static string Says(CriterionResult result, Bedside bedside)
    {
        var value = result.Value is { } known ? FormattableString.Invariant($"{known:0.##} {result.Unit}") : "no value";
        var window = $" from {bedside.Said(result.Window.Start)} to {bedside.Said(result.Window.End)}";
        var interval = result.Interval95 is var (from, to) ? FormattableString.Invariant($", 95 % interval {from:0.##} to {to:0.##}") : "";
        var threshold = FormattableString.Invariant($"; threshold {result.Comparison} {result.Threshold:0.##} {result.Unit}");
        var weight = result.Weight is { } by ? $", by {by.Weight} of {bedside.Said(by.At)}" : "";
        return $"{value}{window}{interval}{Probability(result)}{threshold}{weight}";
    }

    private static string Probability(CriterionResult result) =>
        (result.Probability, result.Reading) switch
        {
            (null, _) => "",
            ({ } atMost, Reading.EveryHour) => FormattableString.Invariant($", probability at most {Math.Max(1, atMost * 100):0} %"),
            ({ } probability, Reading.MeanOverWindow) => $", probability {Percent(probability)}",
        };

    private static string Provisional(CriterionResult result, Bedside bedside)
    {
        if (!result.Provisional)
            return "";
        var hangs = bedside.Lines.Any(line => bedside.Balance.BagHangs(line, bedside.At));
        return $" This is provisional: {(hangs ? "a bag still hangs" : "something was not read yet")}; worked out again when it is read.";
    }

    private static string Needs(Obstacle obstacle) =>
        obstacle switch
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
            Obstacle.StillOpen => "a reading of the bag, or of the other route",
        };
}
