using System.Collections.Immutable;
using Irrigation.Balance;
using NodaTime;

namespace Irrigation.Criteria;

/// <summary>One criterion at one moment, in the readings that it has.</summary>
/// <param name="At">The moment: the end of the windows.</param>
/// <param name="Result">By the mean over the window; by every hour where that is its only reading.</param>
/// <param name="ByTheHour">The same criterion by every hour; null where it has one reading.</param>
/// <param name="Status">How firm the output of the window is.</param>
/// <param name="SaysNothing">
/// Not evaluable, and nobody can do anything about it at that moment: the window is not covered yet, a gap lies behind, the age is another.
/// </param>
public sealed record CriterionJudgement(
    Instant At,
    CriterionResult Result,
    CriterionResult? ByTheHour,
    OutputStatus Status,
    bool SaysNothing
)
{
    /// <summary>The criterion.</summary>
    public string Slug { get; } = Result.Slug;

    /// <summary>Whether an obstacle is one that somebody can remove when told: chart, read, weigh, confirm, measure otherwise.</summary>
    public static bool CanBeRemoved(Obstacle obstacle) =>
        obstacle switch
        {
            Obstacle.AgeUnknown or Obstacle.WeightUnknown or Obstacle.WeightImplausible => true,
            Obstacle.OutputUnknown or Obstacle.DoubtsUnknown or Obstacle.StillOpen => true,
            Obstacle.Doubted or Obstacle.BelowZero or Obstacle.TooUncertain => true,
            Obstacle.AgeDoesNotFit or Obstacle.NotCovered or Obstacle.Gap => false,
        };

    /// <summary>Whether another judgement says the same: the answers, why there is none, and where one is open, how likely it is.</summary>
    /// <param name="other">The other.</param>
    /// <param name="likelyFrom">The probability, 0 to 1, from which it is likely; what is less than 1 less this is unlikely.</param>
    public bool SaysTheSame(CriterionJudgement other, double likelyFrom) =>
        SaysNothing || other.SaysNothing
            ? SaysNothing == other.SaysNothing
            : SaysTheSame(Result, other.Result, likelyFrom) && SaysTheSame(ByTheHour, other.ByTheHour, 1);

    private static bool SaysTheSame(CriterionResult? one, CriterionResult? other, double likelyFrom) =>
        one?.Answer == other?.Answer
        && Likelihood(one, likelyFrom) == Likelihood(other, likelyFrom)
        && (one?.Obstacles ?? []).SequenceEqual(other?.Obstacles ?? []);

    private static int Likelihood(CriterionResult? result, double likelyFrom) =>
        result is not { Probability: { } probability, Answer: Answer.Indeterminate or Answer.NotEvaluable } ? 0
        : probability >= likelyFrom ? 3
        : probability <= 1 - likelyFrom ? 1
        : 2;
}

/// <summary>What a criterion answered in the course of an episode: a judgement for each time that its answer became another one.</summary>
/// <param name="Slug">The criterion.</param>
/// <param name="Answers">
/// In the order of time, at least one. The first says something; each says something else than the one before, and holds until the next.
/// </param>
public sealed record CriterionHistory(string Slug, ImmutableArray<CriterionJudgement> Answers)
{
    /// <summary>What it answers now.</summary>
    public CriterionJudgement Current => Answers[^1];

    /// <summary>Whether this only goes on from another history: every answer in that one was given at the same moment and stands.</summary>
    /// <param name="earlier">The other.</param>
    public bool Continues(CriterionHistory earlier) =>
        Answers.Length >= earlier.Answers.Length
        && earlier.Answers.Zip(Answers).All(pair => pair.First.At == pair.Second.At && pair.First.SaysTheSame(pair.Second, 1));

    /// <summary>
    /// From when to when it was met: from the first moment at which it was found met to the first at which it no longer was; without an end
    /// while it is.
    /// </summary>
    /// <param name="reading">Of the result of a judgement that is asked about.</param>
    public IEnumerable<(Instant From, Instant? To)> Met(Func<CriterionJudgement, CriterionResult?> reading)
    {
        Instant? since = null;
        foreach (var judgement in Answers)
        {
            var met = !judgement.SaysNothing && reading(judgement)?.Answer == Answer.Met;
            if (met)
                since ??= judgement.At;
            if (met || since is not { } from)
                continue;
            yield return (from, judgement.At);
            since = null;
        }

        if (since is { } open)
            yield return (open, null);
    }
}
