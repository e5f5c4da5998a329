using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>A hanging bag that drips: what is left in it, by its label and the charted flow.</summary>
/// <param name="Hung">The bag.</param>
/// <param name="Left">What is left.</param>
/// <param name="Flow">How fast it runs; more than 0.</param>
internal sealed record RunningBag(BagHung Hung, Volume Left, FlowRate Flow)
{
    /// <summary>Every bag that hangs and runs by itself; of one whose flow nobody charted nothing is known.</summary>
    public static IEnumerable<RunningBag> At(Bedside bedside)
    {
        foreach (var hung in Irrigants.Hanging(bedside))
        {
            if (
                bedside.Balance.LeftInBag(hung.Line, bedside.At) is { } left
                && bedside.Balance.FlowAt(hung.Line, bedside.At) is { } flow
                && flow > FlowRate.Stopped
            )
            {
                yield return new(hung, left, flow);
            }
        }
    }

    /// <summary>
    /// What to say where none of the bags is to be raised: not raised, or of one that hangs and whose flow nobody charted, that nobody can
    /// tell.
    /// </summary>
    public static Finding None(Bedside bedside)
    {
        foreach (var hung in Irrigants.Hanging(bedside))
        {
            if (bedside.Balance.FlowAt(hung.Line, bedside.At) is null && bedside.Balance.LeftInBag(hung.Line, bedside.At) is not null)
            {
                return new Finding.Undecided(
                    $"line {hung.Line}: how fast the bag of {hung.Labelled} hung at {bedside.Said(hung.At)} runs is not charted",
                    "the flow"
                );
            }
        }

        return new Finding.NotRaised();
    }

    /// <summary>When no more than an amount will be left; at once where that is so.</summary>
    public Instant? WhenLeft(Volume amount, Bedside bedside) => bedside.When(Left - amount, Flow);
}
