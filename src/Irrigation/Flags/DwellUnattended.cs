using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>F13. The drain is clamped, and nothing on record shows that somebody was with the patient.</summary>
/// <remarks>
/// Whoever notes how the patient bears it, feels or scans the bladder, looks at the drainage or calls somebody was there.
/// </remarks>
public static class DwellUnattended
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "dwell-unattended",
            "Dwell not attended",
            FlagCategory.Safety,
            "common practice, no source: nobody is left with a clamped catheter forgotten; the time is our judgement",
            Cautions.MissingIsNotZero,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Clamped is not { } clamp)
            return new Finding.NotRaised();
        var seen = clamp.At;
        Entry?[] presence =
        [
            bedside.Last<ToleranceNoted>(),
            bedside.Last<BladderPalpated>(),
            bedside.Last<DrainageAppearance>(),
            bedside.Last<Escalated>(),
            bedside.Last<FlagAcknowledged>(),
            bedside.Log[Channel.Scan].LastAtOrBefore(bedside.At),
        ];
        foreach (var entry in presence)
        {
            if (entry?.At > seen)
                seen = entry.At;
        }

        var due = seen + bedside.Settings.DwellAttendedEvery;
        if (bedside.At < due)
            return new Finding.NotRaised { LookAgain = due };
        var nobody = $"nobody charted anything at the bedside since {bedside.Said(seen)}";
        var limit = FormattableString.Invariant($"limit {bedside.Settings.DwellAttendedEvery.TotalMinutes:0.#} min");
        return new Finding.Raised(FlagPriority.High, $"drain clamped since {bedside.Said(clamp.At)}, and {nobody} ({limit}).")
        {
            Evidence = [Evidence.Of(clamp)],
        };
    }
}
