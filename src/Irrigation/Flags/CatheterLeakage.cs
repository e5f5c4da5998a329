using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>As seen: fluid by-passes the catheter. Stands a shift after the last leak.</summary>
public static class CatheterLeakage
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new("catheter-leakage", "Leakage beside the catheter", FlagCategory.Clinical, "as seen", Cautions.Outflow, Judge);

    private static Finding Judge(Bedside bedside)
    {
        if (
            bedside.Log[Channel.Leak].LastAtOrBefore(bedside.At) is not LeakEstimated leak
            || bedside.At >= leak.At + bedside.Settings.EntryFlagStands
        )
            return new Finding.NotRaised();
        return new Finding.Raised(
            FlagPriority.Low,
            $"about {leak.Amount} leaked beside the catheter or was spilt by {bedside.Said(leak.At)}."
        )
        {
            Evidence = [Evidence.Of(leak)],
            LookAgain = leak.At + bedside.Settings.EntryFlagStands,
        };
    }
}
