using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>F18. Something was charted late: what had been said before was said without it.</summary>
/// <remarks>Stands from when it was charted, for a shift. Only where the sender tells when it was charted.</remarks>
public static class LateEntry
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } = new("late-entry", "Late entry", FlagCategory.Safety, "mean 47 min late (Sci Rep 2021, s41598-021-97026-8); the limit is our judgement", Cautions.MissingIsNotZero, Judge);

    private static Finding Judge(Bedside bedside)
    {
        var (late, stands) = (bedside.Balance.Settings.LateAfter, bedside.Settings.EntryFlagStands);
        Entry? latest = null;
        Instant? again = null;
        foreach (var entry in bedside.Log[Channel.Everything].After(bedside.At - stands - Duration.FromDays(1), bedside.At))
        {
            if (entry.Header.RecordedAt is not { } charted || charted - entry.At <= late) continue;
            if (charted > bedside.At)
            {
                if (!(again <= charted)) again = charted;
            }
            else if (bedside.At < charted + stands && !(latest?.Header.RecordedAt >= charted))
            {
                latest = entry;
            }
        }

        if (latest is null) return new Finding.NotRaised { LookAgain = again };
        var ends = latest.Header.RecordedAt!.Value + stands;
        return new Finding.Raised(FlagPriority.Low, FormattableString.Invariant($"{latest.Kind} of {bedside.Said(latest.At)} was charted at {bedside.Said(latest.Header.RecordedAt.Value)} (late after {late.TotalMinutes:0.#} min): what was said in between was said without it.")) { Evidence = [Evidence.Of(latest)], LookAgain = again < ends ? again : ends };
    }
}
