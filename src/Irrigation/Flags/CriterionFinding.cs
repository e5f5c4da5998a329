using Irrigation.Criteria;
using Irrigation.Measures;

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
    /// <summary>So many are named of what it takes, the nearest first: the obstacles are all named.</summary>
    private const int MostNeeds = 3;

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
    /// <param name="also">Sentences to follow; empty, or beginning with a space.</param>
    public static Finding Of(
        CriterionResult result,
        Bedside bedside,
        string slug,
        FlagPriority priority,
        string about,
        bool mayBe = false,
        string also = ""
    )
    {
        var (settings, standing) = (bedside.Settings, bedside.Standing(slug));
        if (Raises(result, settings))
            return Raised(result, bedside, priority, about, also);

        var possible = mayBe || IsPossible(result, settings);
        if (possible || (standing is not null && Lingers(result, settings)))
        {
            var lower = priority == FlagPriority.Low ? priority : priority - 1;
            var held = standing?.Latest.Priority ?? lower;
            var says = $"possibly, and to be confirmed first: {about}";
            return Raised(result, bedside, possible || held < lower ? held : lower, says, also) with { Possible = true };
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

    private static Finding.Raised Raised(CriterionResult result, Bedside bedside, FlagPriority priority, string about, string also) =>
        new(priority, $"{about}: {Says(result, bedside)}{also}{Provisional(result, bedside)}")
        {
            Evidence = bedside.Latest is { } latest ? [Evidence.Of(latest)] : [],
            Criterion = result,
        };

    private static Finding.Raised GoesOn(FlagPeriod standing, Bedside bedside, Finding.Undecided undecided)
    {
        var was = $"{(standing.Latest.Possible ? "possible" : "it stands")} since {bedside.Said(standing.Start)}";
        var why = $"{was}, and whether it has ended cannot be told. {Words.Capital(undecided.Why)}. Needs {undecided.Needs}.";
        return standing.Latest with { Says = why, LookAgain = null };
    }

    private static Finding.Undecided Undecided(CriterionResult result, Bedside bedside, string about)
    {
        if (result.Answer == Answer.Indeterminate)
        {
            return new(
                $"{about}: {Says(result, bedside)} The interval covers the threshold",
                "a more exact measurement: weighed drainage, calibrated bags, or a slower flow"
            );
        }

        var obstacles = string.Join(". ", result.Obstacles.Select(o => Words.Capital(Words.Of(o))));
        var needs = string.Join(", ", result.Obstacles.Select(Words.Needs).Distinct().Take(MostNeeds));
        var probability = Probability(result) is { Length: > 0 } known ? $". {known.TrimEnd('.')}" : "";
        return new($"{about}: cannot be said. {obstacles}{probability}", needs);
    }

    /// <summary>Value and window; interval, probability; threshold, weight: a sentence each.</summary>
    private static string Says(CriterionResult result, Bedside bedside)
    {
        var value = result.Value is { } known ? $"{AsRead.Number(known, result.Unit)} {result.Unit}" : "no value";
        var window = $"from {bedside.Said(result.Window.Start)} to {bedside.Said(result.Window.End)}";
        var interval = result.Interval95 is var (from, to)
            ? $" The 95 % interval is {AsRead.Number(from, result.Unit)} to {AsRead.Number(to, result.Unit)} {result.Unit}."
            : "";
        var weight = result.Weight is { } by ? $", by {by.Weight} of {bedside.Said(by.At)}" : "";
        var threshold =
            $" The threshold is {Words.Comparison(result.Comparison)} {AsRead.Number(result.Threshold, result.Unit)} {result.Unit}";
        return $"{value} {window}.{interval}{(Probability(result) is { Length: > 0 } met ? $" {met}" : "")}{threshold}{weight}.";
    }

    private static string Probability(CriterionResult result) =>
        (result.Probability, result.Reading) switch
        {
            (null, _) => "",
            ({ } atMost, Reading.EveryHour) => FormattableString.Invariant($"The probability is at most {Math.Max(1, atMost * 100):0} %."),
            ({ } probability, Reading.MeanOverWindow) => $"The probability is {Percent(probability)}.",
        };

    private static string Provisional(CriterionResult result, Bedside bedside)
    {
        if (!result.Provisional)
            return "";
        var hangs = bedside.Lines.Any(line => bedside.Balance.BagHangs(line, bedside.At));
        return $" This is provisional: {(hangs ? "a bag still hangs" : "something was not read yet")}.";
    }
}
