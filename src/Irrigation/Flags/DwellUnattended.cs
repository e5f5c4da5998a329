using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>F13. The drain is clamped, and nothing on record shows that somebody was with the patient.</summary>
/// <remarks>
/// Whoever notes how the patient bears it, feels or scans the bladder, looks at the drainage or calls somebody was there, and
/// who is charted as attending, until that ended.
/// </remarks>
public static class DwellUnattended
{
    private static readonly string[] Showing =
    [
        Slug.Of(nameof(PatientAttended)),
        Slug.Of(nameof(ToleranceNoted)),
        Slug.Of(nameof(BladderPalpated)),
        Slug.Of(nameof(DrainageAppearance)),
        Slug.Of(nameof(Escalated)),
        Slug.Of(nameof(FlagAcknowledged)),
        Channel.Scan,
    ];

    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "dwell-unattended",
            "Dwell not attended",
            FlagCategory.Safety,
            "common practice, no source: nobody is left with a clamped catheter forgotten; the time is our judgement",
            Cautions.Attend,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Clamped is not { } clamp)
            return new Finding.NotRaised();
        var seen = LastSeen(bedside, clamp.At, bedside.At);
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

    /// <summary>
    /// Whether somebody was there throughout a dwell: at no time of it longer ago than <see cref="FlagSettings.DwellAttendedEvery"/>.
    /// </summary>
    internal static bool Attended(Bedside bedside, Instant clamped, Instant released)
    {
        var seen = clamped;
        foreach (var entry in Presence(bedside, clamped, released).OrderBy(entry => entry.Header.From ?? entry.At))
        {
            if ((entry.Header.From ?? entry.At) - seen >= bedside.Settings.DwellAttendedEvery)
                return false;
            seen = Instant.Max(seen, entry.At);
        }

        return released - seen < bedside.Settings.DwellAttendedEvery;
    }

    /// <summary>When somebody was last there: an attendance that ended is over.</summary>
    private static Instant LastSeen(Bedside bedside, Instant clamped, Instant asOf) =>
        Presence(bedside, clamped, asOf).Select(entry => entry.At).Append(clamped).Max();

    private static IEnumerable<Entry> Presence(Bedside bedside, Instant after, Instant upTo) =>
        Showing.SelectMany(channel => bedside.Log[channel].After(after, upTo));
}
