namespace Irrigation.Flags;

/// <summary>
/// F13. The drain is clamped past the ordered dwell. Without an ordered dwell nobody can tell: there is no universal limit.
/// </summary>
public static class DwellOverrun
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "dwell-overrun",
            "Dwell too long",
            FlagCategory.Safety,
            "the order; no universal limit is published",
            Cautions.ReleaseClamp,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Clamped is not { } clamp)
            return new Finding.NotRaised();
        if (bedside.DwellOf(clamp) is not { } dwell)
            return new Finding.Undecided(
                $"the drain is clamped since {bedside.Said(clamp.At)} and no order names a dwell",
                "an order with a dwell"
            );
        var release = clamp.At + dwell;
        var ordered = FormattableString.Invariant($"ordered dwell {dwell.TotalMinutes:0.#} min");
        return bedside.At < release
            ? new Finding.NotRaised { LookAgain = release }
            : new Finding.Raised(
                FlagPriority.High,
                $"drain clamped since {bedside.Said(clamp.At)}, to be released at {bedside.Said(release)} ({ordered})."
            )
            {
                Evidence = [Evidence.Of(clamp)],
            };
    }
}
