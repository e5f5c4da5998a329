using Irrigation.Measures;

namespace Irrigation.Flags;

/// <summary>F13. Irrigant runs in and the drain is clamped.</summary>
public static class InflowWhileClamped
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "inflow-while-clamped",
            "Inflow while clamped",
            FlagCategory.Safety,
            "the mass balance: what runs in cannot run out",
            Cautions.InflowIntoClamp,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Clamped is not { } clamp)
            return new Finding.NotRaised();
        if (bedside.Inflow is not { } flow)
            return new Finding.Undecided(
                $"the drain is clamped since {bedside.Said(clamp.At)}, a bag hangs, and no flow is charted",
                "the flow, or that it is stopped"
            );
        if (flow <= FlowRate.Stopped)
            return new Finding.NotRaised();
        var (limit, whence) = bedside.DistensionLimit;
        var runsIn = $"{flow} runs in while the drain is clamped since {bedside.Said(clamp.At)}";
        return new Finding.Raised(FlagPriority.High, $"{runsIn}. The bladder's limit is {limit} ({whence}).")
        {
            Evidence = [Evidence.Of(clamp)],
        };
    }
}
