using Irrigation.Balance;

namespace Irrigation.Flags;

/// <summary>What keeps the numbers of an interval out of a decision about the outflow.</summary>
internal static class OutflowDoubt
{
    /// <summary>The doubt that does; null where none does.</summary>
    public static Doubt? Of(ClosedInterval interval) => interval.Doubts.IsEmpty ? null : interval.Doubts[0];

    /// <summary>Undecided, where the latest interval is doubted: it neither raises a flag nor takes one down. Else null.</summary>
    public static Finding? Undecided(Bedside bedside) =>
        bedside.Latest is { } latest && Of(latest) is { } doubt
            ? new Finding.Undecided($"a reading is doubted: {doubt.Says}", "the reading confirmed, or corrected")
            : null;
}
