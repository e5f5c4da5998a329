using Irrigation.Balance;

namespace Irrigation.Flags;

/// <summary>What keeps the numbers of an interval out of a decision about the outflow.</summary>
internal static class OutflowDoubt
{
    /// <summary>The doubt that does; null where none does.</summary>
    /// <remarks>
    /// Beware: far too little is how a typing error looks, and how a blocked catheter looks too. It does not keep a flag from being raised;
    /// the flag names it (<see cref="DoubtfulEntry"/>).
    /// </remarks>
    public static Doubt? Of(ClosedInterval interval)
    {
        foreach (var doubt in interval.Doubts)
        {
            if (doubt.Kind != DoubtKind.FarTooLittle) return doubt;
        }

        return null;
    }

    /// <summary>Undecided, where the latest interval is doubted: it neither raises a flag nor takes one down. Else null.</summary>
    public static Finding? Undecided(Bedside bedside) => bedside.Latest is { } latest && Of(latest) is { } doubt
        ? new Finding.Undecided($"a reading is doubted: {doubt.Says}", "the reading confirmed, or corrected")
        : null;
}
