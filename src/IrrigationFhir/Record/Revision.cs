using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Model;
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>What a cause makes of an episode: worked out, and neither published nor stored. Pure.</summary>
/// <param name="Cause">Why.</param>
/// <param name="Before">The episode as it was, with its flags.</param>
/// <param name="After">As it is.</param>
/// <param name="Appended">What came into the log, what the service itself found out about flags last; null where nothing did.</param>
/// <param name="Intervals">Closed intervals that are new or became others.</param>
/// <param name="Weighed">Times for which another weight, or another age, is in force.</param>
/// <param name="Flags">Flags that became others.</param>
internal sealed record Revision(
    Cause Cause,
    StoredEpisode Before,
    StoredEpisode After,
    Appended? Appended,
    ImmutableArray<IntervalChange> Intervals,
    ImmutableArray<Interval> Weighed,
    ImmutableArray<FlagChange> Flags
)
{
    /// <summary>Entries arrive.</summary>
    /// <param name="before">The episode, with its flags and criteria.</param>
    /// <param name="entries">In the order in which they were sent.</param>
    /// <param name="now">When.</param>
    /// <param name="steps">The work so far.</param>
    public static Revision ByEntries(StoredEpisode before, IReadOnlyList<Entry> entries, Instant now, Steps steps)
    {
        var appended = before.Log.Append(entries, now);
        var (balance, intervals) = before.Balance.After(appended);

        steps.Next("flags");
        var again = before.Flags!.Reconsidered(balance, appended.Changes);
        var found = Revisions.ByEntries(again, balance, appended.Changes, now);
        if (!found.IsEmpty)
        {
            // What had been told otherwise is itself something that happened: it arrives with what showed it.
            appended = before.Log.Append([.. entries, .. found], now);
            (balance, intervals) = before.Balance.After(appended);
        }

        var (flags, changes) = again.Until(balance, Standing(found), now);
        var weighed = WeightReach.Of(balance, before.Patient, appended.Changes, before.Criteria!.Settings);
        var criteria = before.Criteria.After(balance, before.Patient, intervals, weighed);
        var cause = new Cause.EntriesArrived([.. appended.Outcomes.Take(entries.Count).Select(outcome => outcome.Logged)]);
        var after = before with
        {
            Balance = balance,
            Flags = flags,
            Criteria = criteria,
            Labels = SecurityLabel.With(before.Labels, entries),
        };
        return new(cause, before, after, appended, intervals, weighed, changes);
    }

    /// <summary>The episode is described otherwise.</summary>
    /// <param name="before">The episode, with its flags.</param>
    /// <param name="definition">As it is described now, in the same calendar and of the same patient.</param>
    /// <param name="now">When.</param>
    public static Revision ByDescription(StoredEpisode before, EpisodeDefinition definition, Instant now)
    {
        // Who is only moved to another bed is seen as before: zone and shifts are the same anyway.
        var was = before.Definition;
        var sameTime = (was.Frame.Start, was.Frame.End) == (definition.Frame.Start, definition.Frame.End);
        var (balance, intervals) = sameTime ? (before.Balance, ImmutableArray<IntervalChange>.Empty) : before.Balance.In(definition.Frame);
        var again =
            sameTime && was.Facts == definition.Facts
                ? before.Flags!.Reconsidered(balance, [])
                : before.Flags!.Reconsidered(balance, definition.Facts);
        var found = Revisions.ByDescription(again, balance, now);
        var appended = found.IsEmpty ? null : balance.Log.Append(found, now);
        if (appended is not null)
            balance = balance.After(appended).Balance;
        var (flags, changes) = again.Until(balance, Standing(found), now);
        var row = before.Row with { Json = definition.Json, ClosedAt = definition.Frame.End, Location = definition.Location };
        var after = before with { Row = row, Definition = definition, Balance = balance, Flags = flags };

        // Another date of birth is another age: criteria, thresholds and plausible weights are other ones.
        var sameAge = before.Definition.BirthDate == definition.BirthDate;
        after = after with
        {
            Criteria = sameAge
                ? before.Criteria!.After(balance, after.Patient, intervals, [])
                : before.Criteria!.Anew(balance, after.Patient),
        };
        ImmutableArray<Interval> aged = sameAge ? [] : [WeightReach.Of(balance, definition.Frame.Start, null)];
        return new(new Cause.DescribedOtherwise(now), before, after, appended, intervals, aged, changes);
    }

    /// <summary>Time passes.</summary>
    /// <param name="before">The episode, with its flags.</param>
    /// <param name="now">Until when.</param>
    public static Revision ByTime(StoredEpisode before, Instant now)
    {
        var (flags, changes) = before.Flags!.After(before.Balance, [], now);
        return new(new Cause.TimePassed(), before, before with { Flags = flags }, null, [], [], changes);
    }

    private static IEnumerable<Change> Standing(ImmutableArray<FlagRevised> found) => found.Select(entry => new Change(null, entry));
}
