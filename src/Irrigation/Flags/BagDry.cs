using Irrigation.Measures;

namespace Irrigation.Flags;

/// <summary>F14. The irrigant bag is empty, by its label and the charted flow, and nobody took it down.</summary>
public static class BagDry
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new("bag-dry", "Irrigant bag dry", FlagCategory.Safety, "common practice, no source", Cautions.Prompt, Judge);

    private static Finding Judge(Bedside bedside)
    {
        var answer = RunningBag.None(bedside);
        foreach (var bag in RunningBag.At(bedside))
        {
            if (bag.Left <= Volume.Zero)
            {
                var hung = $"the bag of {bag.Hung.Labelled} hung at {bedside.Said(bag.Hung.At)}";
                var empty = $"is empty by its label and the charted flow of {bag.Flow}";
                return new Finding.Raised(FlagPriority.Medium, $"line {bag.Hung.Line}: {hung} {empty}. An overfilled bag lasts longer.")
                {
                    Evidence = [Evidence.Of(bag.Hung)],
                };
            }

            if (bag.WhenLeft(Volume.Zero, bedside) is { } due && !(answer.LookAgain <= due))
                answer = answer with { LookAgain = due };
        }

        return answer;
    }
}
