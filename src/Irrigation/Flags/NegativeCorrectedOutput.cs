using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;

namespace Irrigation.Flags;

/// <summary>F4. A closed interval with an output below 0: evidence that fluid stayed behind, leaked, or a volume is wrong.</summary>
/// <remarks>
/// Said of an interval whose irrigant was not read yet where all of its 95 % interval lies below 0, for that holds the doubts about the
/// irrigant; and then it is provisional. Cleared by the next interval that is not below 0. Where all irrigant was given by the aliquot an
/// output that may be 0 says nothing: what did not come back is for <see cref="ReturnShort"/>.
/// </remarks>
public static class NegativeCorrectedOutput
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "negative-corrected-output",
            "Corrected output below zero",
            FlagCategory.Safety,
            "negative outputs of this very subtraction in an open dataset (clinical reference 1.2)",
            $"{Cautions.NotAbsorption} {Cautions.Graduations}",
            Judge,
            Looks.AtClosings
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Latest is not { } latest)
            return new Finding.NotRaised();
        var span = $"from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)}";
        if (latest.Output is not { } output)
        {
            return new Finding.Undecided($"the output {span} is not known", "readings of the bag and of the drainage");
        }

        if (output.Headline >= Volume.Zero)
            return new Finding.NotRaised();
        var provisional = latest.Status == OutputStatus.Preliminary;
        var certain = output.Interval95?.High < Volume.Zero;
        if (provisional && !certain)
        {
            return new Finding.Undecided($"the output {span} is {output.Headline} and preliminary", "a reading of the bag");
        }

        if (!certain && ByAliquotAlone(bedside, latest))
            return new Finding.NotRaised();
        var covers = certain ? "all of it below 0" : "it covers 0";
        var interval = output.Interval95 is { } range ? $" The 95 % interval is {AsRead.Range(range)}: {covers}." : "";
        var until = provisional ? " This is provisional: the bag was not read yet." : "";
        return new Finding.Raised(FlagPriority.Low, $"corrected output {output.Headline} {span}, which is below 0.{interval}{until}")
        {
            Evidence = [Evidence.Of(latest)],
        };
    }

    private static bool ByAliquotAlone(Bedside bedside, ClosedInterval interval)
    {
        var irrigant = interval.Parts.Where(part => part.Kind is PartKind.Irrigant or PartKind.IrrigantFromRate).ToList();
        return irrigant.Count > 0
            && irrigant.TrueForAll(part => bedside.Log.Current(part.Entry)?.Entry is IrrigantInstilled { IsAliquot: true });
    }
}
