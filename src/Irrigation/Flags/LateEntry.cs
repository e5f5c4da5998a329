using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>
/// F18. Something was charted late, or a correction changed a flag that had been told: what had been said before was said without it.
/// </summary>
/// <remarks>
/// Stands for a shift: from when a late entry was charted, where the sender tells that; from when it arrived, where it, a correction or
/// a withdrawal changed a flag that had been told (<see cref="Revisions"/>). Alone among the flags the latter depends on the order of
/// arrival, for so does what had been told.
/// </remarks>
public static class LateEntry
{
    private const int MostNamed = 5;

    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "late-entry",
            "Late entry",
            FlagCategory.DataQuality,
            "mean 47 min late (Sci Rep 2021, s41598-021-97026-8); the limit is our judgement",
            Cautions.MissingIsNotZero,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        var (latest, again) = Late(bedside);
        var stands = bedside.Settings.EntryFlagStands;
        var revised = bedside.Log[Slug.Of(nameof(FlagRevised))].After(bedside.At - stands, bedside.At).Cast<FlagRevised>().ToList();
        if (latest is null && revised.Count == 0)
            return new Finding.NotRaised { LookAgain = again };

        Instant?[] changes = [again, latest?.Header.RecordedAt + stands, revised.Count == 0 ? null : revised[0].At + stands];
        return new Finding.Raised(
            FlagPriority.Low,
            string.Join(' ', new[] { Says(latest, bedside), Says(revised, bedside) }.OfType<string>())
        )
        {
            Evidence = latest is null ? [] : [Evidence.Of(latest)],
            LookAgain = changes.Min(),
        };
    }

    /// <summary>The entry that was charted late last and still counts, and when another is known to have been.</summary>
    private static (Entry? Latest, Instant? Again) Late(Bedside bedside)
    {
        var (late, stands) = (bedside.Balance.Settings.LateAfter, bedside.Settings.EntryFlagStands);
        Entry? latest = null;
        Instant? again = null;
        foreach (var entry in bedside.Log[Channel.Everything].After(bedside.At - stands - Duration.FromDays(1), bedside.At))
        {
            if (entry.Header.RecordedAt is not { } charted || charted - entry.At <= late)
                continue;
            if (charted > bedside.At)
            {
                if (!(again <= charted))
                    again = charted;
            }
            else if (bedside.At < charted + stands && !(latest?.Header.RecordedAt >= charted))
            {
                latest = entry;
            }
        }

        return (latest, again);
    }

    private static string? Says(Entry? latest, Bedside bedside)
    {
        if (latest is null)
            return null;
        var charted =
            $"{Words.Of(latest.Kind)} of {bedside.Said(latest.At)} was charted at {bedside.Said(latest.Header.RecordedAt!.Value)}";
        var limit = FormattableString.Invariant($"late after {bedside.Balance.Settings.LateAfter.TotalMinutes:0.#} min");
        return $"{charted} ({limit}). What was said in between was said without it.";
    }

    private static string? Says(List<FlagRevised> revised, Bedside bedside)
    {
        if (revised.Count == 0)
            return null;
        var named = revised
            .AsEnumerable()
            .Reverse()
            .Take(MostNamed)
            .Select(r =>
                $"Told otherwise before: {FlagRules.InWords(r.Flag)} since {bedside.Said(r.Since)} {Otherwise(r.Revision)}, "
                + $"as what arrived at {bedside.Said(r.At)} shows."
            );
        var more = revised.Count > MostNamed ? FormattableString.Invariant($" And {revised.Count - MostNamed} more.") : "";
        return $"{string.Join(" ", named)}{more}";
    }

    private static string Otherwise(FlagRevision revision) =>
        revision switch
        {
            FlagRevision.NeverSo => "was never so",
            FlagRevision.EndsOtherwise => "ended at another time than told, or has not ended",
            FlagRevision.OtherPriority => "has another priority than told",
        };
}
