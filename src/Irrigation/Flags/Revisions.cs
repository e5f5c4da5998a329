using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>
/// What an append, or another description of the episode, turned out to change about flags that had been told: entries of the log.
/// </summary>
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

    /// <summary>What entries turned out to change; empty where nothing told was otherwise.</summary>
    /// <param name="again">The flags as they were told last, and as they ought to have been.</param>
    /// <param name="balance">The balance after the append.</param>
    /// <param name="changes">What the append brought into force, and what it took out of it.</param>
    /// <param name="receivedAt">When it arrived.</param>
    public static ImmutableArray<FlagRevised> ByEntries(
        Reconsidered again,
        FluidBalance balance,
        IEnumerable<Change> changes,
        Instant receivedAt
    )
    {
        var (late, since) = (balance.Settings.LateAfter, TellsSince(again, receivedAt));
        return changes.Any(c => c.Before is not null || (receivedAt - c.After!.At > late && c.After.At > since))
            ? Of(again, balance, receivedAt)
            : [];
    }

    /// <summary>
    /// What another description of the patient or the episode turned out to change; empty where nothing told was otherwise.
    /// </summary>
    /// <param name="again">The flags as they were told last, and as they ought to have been.</param>
    /// <param name="balance">The balance in the episode's time as it is described now.</param>
    /// <param name="receivedAt">When the description arrived.</param>
    public static ImmutableArray<FlagRevised> ByDescription(Reconsidered again, FluidBalance balance, Instant receivedAt) =>
        Of(again, balance, receivedAt);

    /// <remarks>
    /// Of the last shift only: nobody goes by a flag that began and ended before, and history that is sent piece by piece would fill the
    /// log.
    /// </remarks>
    private static Instant TellsSince(Reconsidered again, Instant receivedAt) => receivedAt - again.Said.Now.Settings.EntryFlagStands;

    private static ImmutableArray<FlagRevised> Of(Reconsidered again, FluidBalance balance, Instant receivedAt)
    {
        var frame = balance.Log.Frame;
        if (receivedAt < frame.Start || receivedAt >= frame.End)
            return []; // with the episode every flag ends: none could tell

        var since = TellsSince(again, receivedAt);
        var at = Instant.FromUnixTimeSeconds(receivedAt.ToUnixTimeSeconds());
        return
        [
            .. again
                .Revised.Where(c => (c.Before!.End ?? c.Before.Start) > since)
                .Where(c => c.Before!.Slug != LateEntry.Rule.Slug) // it tells of revisions itself, and would go round in circles
                .Select(c => new FlagRevised(new(KeyOf(c.Before!, balance.Log), at), c.Before!.Slug, c.Before.Start, RevisionOf(c))),
        ];
    }

    private static EntryKey KeyOf(FlagPeriod told, EpisodeLog log) =>
        new(Source, FormattableString.Invariant($"{log.LastSequence}.{told.Slug}.{told.Start.ToUnixTimeTicks()}"));

    private static FlagRevision RevisionOf(FlagChange change) =>
        change switch
        {
            { After: null } => FlagRevision.NeverSo,
            _ when change.Before!.End != change.After.End => FlagRevision.EndsOtherwise,
            _ => FlagRevision.OtherPriority,
        };
}
