using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Access;
using IrrigationFhir.Model;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>The main path: from what was sent to what is stored and published.</summary>
internal sealed class RecordEntries(
    EpisodesInMemory episodes,
    ResourceStore resources,
    ReviseEpisode revise,
    EntrySettings settings,
    TimeProvider clock
)
{
    /// <summary>Records entries in an episode: all of them or none, or with <paramref name="lenient"/> those that can be.</summary>
    /// <param name="episodeId">In which.</param>
    /// <param name="sent">The entries.</param>
    /// <param name="caller">Who sends them: what each does has to be allowed.</param>
    /// <param name="lenient">Whether those that can be are recorded.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<EntriesOutcome> Handle(
        string episodeId,
        IReadOnlyList<SentEntry> sent,
        Caller caller,
        bool lenient,
        CancellationToken stop
    )
    {
        if (!lenient && sent.SelectMany(entry => entry.Problems).ToList() is { Count: > 0 } problems)
            return new EntriesOutcome.Rejected(problems);
        return await EpisodeGate.UntilSaved(episodeId, token => Record(episodeId, sent, caller, lenient, token), stop);
    }

    private async ValueTask<EntriesOutcome?> Record(
        string episodeId,
        IReadOnlyList<SentEntry> sent,
        Caller caller,
        bool lenient,
        CancellationToken stop
    )
    {
        using var steps = Steps.From("load");
        if (await episodes.Find(episodeId, stop) is not { } found)
            return new EntriesOutcome.UnknownEpisode();
        var episode = await episodes.Watched(found, stop);

        steps.Next("balance");
        var now = Instant.FromDateTimeOffset(clock.GetUtcNow());
        var judged = Judge(sent, caller, episode.Log, now);
        if (!lenient && judged.SelectMany(s => s.Problems).ToList() is { Count: > 0 } problems)
            return new EntriesOutcome.Rejected(problems);

        var (accepted, revision) = Revised();
        if (await RefuseUnknownFlags(judged, revision.After, stop))
        {
            if (!lenient)
                return new EntriesOutcome.Rejected([.. judged.SelectMany(s => s.Problems)]);
            (accepted, revision) = Revised();
        }

        if (await revise.Save(revision, [.. accepted.Select(s => s.Json!)], steps, stop) is not { } revised)
            return null;

        var outcomes = revision.Appended!.Outcomes;
        var replies = Replies(
            judged,
            outcomes,
            DoubtsOfChange.By(outcomes, revision.Intervals, revision.After.Balance),
            revision.After.Balance
        );
        var (version, zone) = (revised.Episode.Row.Version, episode.Definition.Frame.Zone);
        return new EntriesOutcome.Recorded(version, zone, replies, revision.Intervals, revised.Changed, revised.Withheld);

        (List<SentEntry> Accepted, Revision Revision) Revised()
        {
            var taken = judged.Where(s => s.Problems.Count == 0).ToList();
            return (taken, Revision.ByEntries(episode, [.. taken.Select(s => s.Entry!)], now, steps));
        }
    }

    /// <summary>Which flags there are is known only once everything that arrived is worked out; whether any entry was refused.</summary>
    private async Task<bool> RefuseUnknownFlags(List<SentEntry> judged, Episode after, CancellationToken stop)
    {
        var refused = false;
        for (var i = 0; i < judged.Count; i++)
        {
            if (judged[i] is not { Problems.Count: 0, Entry: { } entry } sent)
                continue;
            if (await SpokenOf.Problem(entry, after, resources, sent.Where, stop) is not { } problem)
                continue;
            judged[i] = sent.Refused(problem);
            refused = true;
        }

        return refused;
    }

    /// <summary>An entry in error may leave its time to the entry that it withdraws; null where there is none.</summary>
    public static Entry? WithTime(Entry entry, EpisodeLog log) =>
        entry is not EnteredInError || entry.At != Instant.MinValue ? entry
        : log.Current(entry.Key) is { } current ? entry with { Header = entry.Header with { At = current.Entry.At } }
        : null;

    /// <summary>
    /// What is wrong with an entry by itself, whatever the log holds: its content, or a time that is still to come. Records nothing.
    /// </summary>
    public IReadOnlyList<EntryProblem> Problems(SentEntry sent) =>
        sent.Entry is null or EnteredInError
            ? sent.Problems
            : sent.Refused(Alone(sent, sent.Entry, Instant.FromDateTimeOffset(clock.GetUtcNow()), [])).Problems;

    /// <summary>
    /// Refuses what the caller may not do: record (Observation c), amend or withdraw (u), or say that a flag was seen (Flag u).
    /// </summary>
    private static SentEntry Allowed(SentEntry sent, EpisodeLog log, Caller caller)
    {
        if (sent.Entry is not { } entry)
            return sent;
        var (need, what) =
            entry is FlagAcknowledged ? (new Need("Flag", Letters.Update), "say that a flag was seen")
            : entry is EnteredInError ? (new("Observation", Letters.Update), "withdraw")
            : log.Current(entry.Key) is { } current && current.Entry != entry ? (new("Observation", Letters.Update), "amend")
            : (new("Observation", Letters.Create), "record");
        return caller.Covers(need with { Whole = true }) ? sent : sent.Refused([.. sent.Problems, Forbidden.To(what, sent.Where)]);
    }

    /// <summary>What can only be judged with the log and the clock at hand.</summary>
    private List<SentEntry> Judge(IReadOnlyList<SentEntry> sent, Caller caller, EpisodeLog log, Instant now)
    {
        var first = new Dictionary<EntryKey, int>();
        var judged = new List<SentEntry>(sent.Count);
        foreach (var one in sent)
        {
            judged.Add(Allowed(Judge(one, log, now, first), log, caller));
            if (judged[^1].Entry is { } entry)
                first.TryAdd(entry.Key, judged.Count - 1);
        }

        Refuse(judged, log, Contradictions.Of, now);

        // A confirmation rests on its reading, which may have been refused just now.
        if (judged.Exists(s => s.Entry is ReadingConfirmed))
            Refuse(judged, log, Confirmations.Of, now);
        return judged;
    }

    private SentEntry Judge(SentEntry sent, EpisodeLog log, Instant now, Dictionary<EntryKey, int> first)
    {
        if (sent.Entry is null)
            return sent;
        var entry = WithTime(sent.Entry, log);
        var broken = entry is null ? null : sent.Promise(entry, log);
        EntryProblem[] promised = broken is null ? [] : [broken];
        return sent.Refused([.. Alone(sent, entry, now, first), .. promised]) with { Entry = entry };
    }

    /// <summary>What stands against entries in the log that would result, so that the order within a request does not matter.</summary>
    private static void Refuse(List<SentEntry> judged, EpisodeLog log, Func<Entry, EpisodeLog, string, EntryProblem?> against, Instant now)
    {
        var result = log.Append(judged.Where(s => s.Problems.Count == 0).Select(s => s.Entry!), now).Log;
        for (var i = 0; i < judged.Count; i++)
        {
            var sent = judged[i];
            if (
                sent.Problems.Count > 0
                || result.Current(sent.Entry!.Key)!.Entry != sent.Entry
                || log.Current(sent.Entry.Key)?.Entry == sent.Entry
            )
                continue;
            if (against(sent.Entry, result, sent.Where) is { } problem)
                judged[i] = sent.Refused(problem);
        }
    }

    private IEnumerable<EntryProblem> Alone(SentEntry sent, Entry? entry, Instant now, Dictionary<EntryKey, int> first)
    {
        if (entry is null)
        {
            yield return EntryProblem.NothingToRetract(sent.Where, sent.Entry!.Key);
            yield break;
        }

        if (entry is FlagRevised)
            yield return EntryProblem.WrittenHere($"{sent.Where}.kind", entry.Kind);
        else if (entry.Key.Source == Revisions.Source)
            yield return EntryProblem.WrittenHere($"{sent.Where}.source", entry.Key.Source);
        if (first.TryGetValue(entry.Key, out var index))
            yield return EntryProblem.SameIdTwice($"{sent.Where}.id", entry.Key, index);
        if (entry.At > now + settings.FutureTolerance)
            yield return EntryProblem.InFuture($"{sent.Where}.at", entry.At, now, settings.FutureTolerance);
        if (entry.Header.RecordedAt > now + settings.FutureTolerance)
            yield return EntryProblem.InFuture($"{sent.Where}.recordedAt", entry.Header.RecordedAt.Value, now, settings.FutureTolerance);
    }

    private static List<EntryReply> Replies(
        List<SentEntry> judged,
        ImmutableArray<(Disposition Disposition, LoggedEntry Logged)> outcomes,
        ILookup<EntryKey, Doubt> doubts,
        FluidBalance balance
    )
    {
        var next = 0;
        return
        [
            .. judged.Select(s =>
                s.Problems.Count > 0
                    ? new EntryReply(s.Key, null, null, s.Problems, [])
                    : new EntryReply(s.Entry!.Key, outcomes[next].Disposition, outcomes[next++].Logged, [], [.. doubts[s.Entry!.Key]])
                    {
                        Drips = Drips(s.Entry, balance),
                    }
            ),
        ];
    }

    /// <summary>What an order or a flow that stands says of the drip: of the flow's line, of an order's every line.</summary>
    private static ImmutableArray<LineDrip> Drips(Entry entry, FluidBalance balance)
    {
        if (entry is not (OrderSet or FlowSet) || balance.Log.Current(entry.Key)?.Entry != entry)
            return [];
        IEnumerable<string> lines =
            entry is FlowSet flow ? [flow.Line]
            : Channel.Lines(balance.Log) is { Count: > 0 } known ? known
            : ["1"];
        return [.. lines.Select(line => LineDrip.Of(balance, line, entry.At)).OfType<LineDrip>()];
    }
}
