using Irrigation.Balance;
using Irrigation.Measures;

namespace Irrigation.Flags;

/// <summary>F4. A closed interval whose corrected output is below 0: evidence that fluid stayed behind, leaked, or a volume is wrong.</summary>
/// <remarks>Not said of an interval whose irrigant is still interpolated; cleared by the next one that is not below 0.</remarks>
public static class NegativeCorrectedOutput
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } = new(
        "negative-corrected-output",
        "Corrected output below zero",
        FlagCategory.Safety,
        "negative outputs of this very subtraction in an open dataset (clinical reference 1.2)",
        $"{Cautions.NotAbsorption} {Cautions.Graduations}",
        Judge,
        Looks.AtClosings);

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Latest is not { } latest) return new Finding.NotRaised();
        var span = $"from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)}";
        if (latest.Output is not { } output) return new Finding.Undecided($"the output {span} is not known", "readings of the bag and of the drainage");
        if (output.Headline >= Volume.Zero) return new Finding.NotRaised();
        if (latest.Status == OutputStatus.Preliminary) return new Finding.Undecided($"the output {span} is {output.Headline} and preliminary", "a reading of the bag");
        var interval = output.Interval95 is { } range ? $", 95 % interval {range.Low} to {range.High}: {(range.High < Volume.Zero ? "all of it below 0" : "it covers 0")}" : "";
        return new Finding.Raised(FlagPriority.Low, $"corrected output {output.Headline} {span}{interval}; threshold 0 mL.") { Evidence = [Evidence.Of(latest)] };
    }
}
