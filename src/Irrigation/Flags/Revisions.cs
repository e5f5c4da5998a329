using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>What an append turned out to change about flags that had been told, as entries of the log.</summary>
/// <remarks>
/// <para>Whether a flag had been told before it was found to be otherwise depends on when what arrived. To work that out of the log again
/// would take the flags as they stood before every arrival there ever was. So it is found once, where both records are at hand, and
/// logged: from then on the flag that tells of it (<see cref="LateEntry"/>) is a function of the log like any other, outlives a
/// restart, and cannot be raised twice.</para>
/// <para>Only by a correction, a withdrawal, or an entry that arrived later than <see cref="BalanceSettings.LateAfter"/>: that a reading
/// is charted some minutes after it was taken is how wards work, and no correction.</para>
/// </remarks>
public static class Revisions
{
    /// <summary>The source of the entries that the service writes itself.</summary>
    public const string Source = "irrigation-fhir";

    /// <summary>What was found; empty where nothing told was otherwise.</summary>
    /// <param name="said">The flags as they were told last.</param>
    /// <param name="balance">The balance after the append.</param>
    /// <param name="appended">The append.</param>
    /// <param name="receivedAt">When it arrived.</param>
    public static ImmutableArray<FlagRevised> Of(FlagRecord said, FluidBalance balance, Appended appended, Instant receivedAt)
    {
        var frame = balance.Log.Frame;
        var late = balance.Settings.LateAfter;
        if (receivedAt < frame.Start || receivedAt >= frame.End)
            return []; // with the episode every flag ends: none could tell

        // Of the last shift only: nobody goes by a flag that began and ended before, and history that is sent piece by piece would fill the
        // log.
        var since = receivedAt - said.Now.Settings.EntryFlagStands;
        if (!appended.Changes.Any(c => c.Before is not null || (receivedAt - c.After!.At > late && c.After.At > since)))
            return [];

        var at = Instant.FromUnixTimeSeconds(receivedAt.ToUnixTimeSeconds());
        return
        [
            .. said.Revised(balance, appended.Changes)
                .Where(c => (c.Before!.End ?? c.Before.Start) > since)
                .Where(c => c.Before!.Slug != LateEntry.Rule.Slug) // it tells of revisions itself, and would go round in circles
                .Select(c => new FlagRevised(
                    new(
                        new(
                            Source,
                            FormattableString.Invariant($"{appended.Log.LastSequence}.{c.Before!.Slug}.{c.Before.Start.ToUnixTimeTicks()}")
                        ),
                        at
                    ),
                    c.Before.Slug,
                    c.Before.Start,
                    RevisionOf(c)
                )),
        ];
    }

    private static FlagRevision RevisionOf(FlagChange change) =>
        change switch
        {
            { After: null } => FlagRevision.NeverSo,
            _ when change.Before!.End != change.After.End => FlagRevision.EndsOtherwise,
            _ => FlagRevision.OtherPriority,
        };
}
