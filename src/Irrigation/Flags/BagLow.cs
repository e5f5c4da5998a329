using Irrigation.Measures;

namespace Irrigation.Flags;

/// <summary>F14. The irrigant bag will be empty within 10 min, as set, or holds no more than a tenth.</summary>
/// <remarks>
/// By the label and the charted flow; a bag that a pump empties is not judged, for its counter does not say what is left.
/// </remarks>
public static class BagLow
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new("bag-low", "Irrigant bag low", FlagCategory.Safety, "common practice, no source; our judgement", Cautions.Prompt, Judge);

    private static Finding Judge(Bedside bedside)
    {
        var answer = RunningBag.None(bedside);
        foreach (var bag in RunningBag.At(bedside))
        {
            var low = Larger(bag.Hung.Labelled * bedside.Settings.BagLowPart, bag.Flow.Over(bedside.Settings.BagLowWithin));
            if (bag.Left <= low)
            {
                var left = $"no more than {low} left of {bag.Hung.Labelled} by the label and the charted flow of {bag.Flow}";
                var empty = bag.WhenLeft(Volume.Zero, bedside) is { } at ? $". Empty at {bedside.Said(at)}" : "";
                return new Finding.Raised(FlagPriority.Medium, $"line {bag.Hung.Line}: {left}{empty}.")
                {
                    Evidence = [Evidence.Of(bag.Hung)],
                };
            }

            if (bag.WhenLeft(low, bedside) is { } due && !(answer.LookAgain <= due))
                answer = answer with { LookAgain = due };
        }

        return answer;
    }

    private static Volume Larger(Volume one, Volume other) => one > other ? one : other;
}
