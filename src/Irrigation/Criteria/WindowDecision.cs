using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Criteria;

/// <summary>What is asked of a window: whether its output lies so to a threshold.</summary>
/// <param name="Name">The criterion.</param>
/// <param name="Stage">Its stage; 0 for a criterion without stages.</param>
/// <param name="Reading">Whether of the whole window or of an hour in it.</param>
/// <param name="Threshold">In <paramref name="Unit"/>.</param>
/// <param name="Comparison"><c>&lt;</c>, <c>&lt;=</c> or <c>&gt;</c>.</param>
/// <param name="Unit">mL/kg/h, or mL in the window.</param>
public sealed record CriterionQuestion(string Name, int Stage, Reading Reading, decimal Threshold, string Comparison, string Unit)
{
    /// <summary>Whether little output meets it; else much does.</summary>
    public bool OfLittle => Comparison != ">";

    /// <summary>Whether a value on the threshold meets it.</summary>
    public bool Inclusive => Comparison == "<=";

    /// <summary>What an interval says.</summary>
    public Answer Decide(decimal low, decimal high) =>
        OfLittle ? Decision.Below(low, high, Threshold, Inclusive) : Decision.Above(low, high, Threshold);

    /// <summary>The probability that it is met, to a millionth, by a best estimate and its standard uncertainty.</summary>
    public double Probability(decimal estimate, decimal uncertainty)
    {
        var (value, doubt, limit) = ((double)estimate, (double)uncertainty, (double)Threshold);
        return Math.Round(OfLittle ? Conformance.Below(value, doubt, limit, Inclusive) : Conformance.Above(value, doubt, limit), 6);
    }
}

/// <summary>What a window's output answers: by its interval, or not at all and why; and beside it the probability.</summary>
/// <remarks>
/// <para>An open bag is a doubt and no obstacle: it is in the interval, and a preliminary interval decides like any other. The answer
/// says that it is provisional.</para>
/// <para>Another route that was not read yet is in no interval, and what it holds can only be more. So where all of the interval lies
/// above the threshold it is answered, and else it is not.</para>
/// <para>A doubted reading, and an interval that lies below 0 as a whole, say that something is wrong or missing in the balance; that
/// there was little urine they do not say.</para>
/// </remarks>
public static class WindowDecision
{
    /// <summary>The answer of a window.</summary>
    /// <param name="asked">What is asked.</param>
    /// <param name="output">The window.</param>
    /// <param name="per">What mL are divided by to be in the unit asked for: 1, or kilogram-hours; null where they are not known.</param>
    /// <param name="ofPatient">What stands in the way whatever the window says: age and weight.</param>
    /// <param name="requiredCoverage">How much of the window has to be covered, 0 to 1.</param>
    /// <param name="longestGap">An interval longer than this says nothing; null where that does not matter.</param>
    public static CriterionResult Of(
        CriterionQuestion asked,
        OutputWindow output,
        decimal? per,
        IEnumerable<Obstacle> ofPatient,
        decimal requiredCoverage,
        Duration? longestGap
    )
    {
        // To a billionth: what is exactly on a threshold stays there, however it was divided.
        decimal In(Volume volume) => Math.Round(volume.Millilitres / per!.Value, 9);
        var known = per is null ? null : output.Output;
        (decimal Low, decimal High)? interval = known?.Interval95 is var (from, to) ? (In(from), In(to)) : null;
        double? probability = known?.BestEstimate is var (value, doubt) ? asked.Probability(In(value), In(doubt)) : null;

        var ofWindow = OfReadings(output, requiredCoverage, longestGap).Concat(OfInterval(asked, output, interval));
        ImmutableArray<Obstacle> obstacles = [.. ofPatient.Concat(ofWindow).Distinct().Order()];
        return new()
        {
            Name = asked.Name,
            Stage = asked.Stage,
            Reading = asked.Reading,
            Window = new(output.Start, output.End),
            Answer = obstacles.IsEmpty && interval is { } whole ? asked.Decide(whole.Low, whole.High) : Answer.NotEvaluable,
            Threshold = asked.Threshold,
            Comparison = asked.Comparison,
            Unit = asked.Unit,
            Value = known?.BestEstimate is { } best ? In(best.Value) : null,
            Interval95 = interval,
            Coverage = Coverage(output),
            Probability = obstacles.All(o => o == Obstacle.TooUncertain) ? probability : null,
            Provisional = output.Status == OutputStatus.Preliminary,
            Obstacles = obstacles,
        };
    }

    private static IEnumerable<Obstacle> OfReadings(OutputWindow output, decimal requiredCoverage, Duration? longestGap)
    {
        if (output.Absent is AbsentReason.IrrigantUnknown or AbsentReason.DrainageUnknown)
            yield return Obstacle.OutputUnknown;
        if (output.Absent is AbsentReason.IrrigantNotReadYet or AbsentReason.DrainageNotReadYet)
            yield return Obstacle.StillOpen;
        if (Coverage(output) < requiredCoverage)
            yield return Obstacle.NotCovered;
        if (output.Output is { BestEstimate: null })
        {
            yield return Obstacle.DoubtsUnknown;
            if (output.Status == OutputStatus.Preliminary && output.FullyCovered)
                yield return Obstacle.StillOpen;
        }

        if (output.Caveats.Contains(Caveat.Doubted))
            yield return Obstacle.Doubted;
        if (output.Intervals.Any(i => i.Length > longestGap))
            yield return Obstacle.Gap;
    }

    private static IEnumerable<Obstacle> OfInterval(CriterionQuestion asked, OutputWindow output, (decimal Low, decimal High)? interval)
    {
        var above = interval?.Low > asked.Threshold;
        if (output.Caveats.Contains(Caveat.OtherRouteNotRead) && !above)
            yield return Obstacle.StillOpen;
        if (interval is not var (low, high))
            yield break;
        if (high < 0)
            yield return Obstacle.BelowZero;

        // An interval wider than the threshold cannot show that there was so little; where all of it lies above, it shows that there was
        // more.
        if ((high - low) / 2 > asked.Threshold && !(asked.OfLittle && above))
            yield return Obstacle.TooUncertain;
    }

    private static decimal Coverage(OutputWindow output) => Elapsed.Of(output.Covered) / Elapsed.Of(output.Length);
}
