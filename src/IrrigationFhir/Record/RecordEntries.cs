using System.Collections.Immutable;
using System.Text.Json;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>The main path: from what was sent to what is stored and published.</summary>
internal sealed class RecordEntries(EpisodesInMemory episodes, ReviseEpisode revise, EntrySettings settings, TimeProvider clock)
{
    /// <summary>Records entries in an episode: all of them or none, or with <paramref name="lenient"/> those that can be.</summary>
    public Task<EntriesOutcome> Handle(string episodeId, IReadOnlyList<JsonElement> sent, bool lenient, CancellationToken stop) =>
        Handle(episodeId, sent, lenient, static (_, _, _) => null, stop);

    /// <summary>
    /// The same for a sender who is promised more: <paramref name="condition"/> says of the entry at an index what it breaks, by the very
    /// log that it would be appended to.
    /// </summary>
    public async Task<EntriesOutcome> Handle(
        string episodeId,
        IReadOnlyList<JsonElement> sent,
        bool lenient,
        Func<int, Entry, EpisodeLog, EntryProblem?> condition,
        CancellationToken stop
    )
    {
        List<Sent> read;
        using (Steps.From("read"))
            read = [.. sent.Select(Read)];
        if (!lenient && read.SelectMany(r => r.Problems).ToList() is { Count: > 0 } problems)
            return new EntriesOutcome.Rejected(problems);

        return await EpisodeGate.UntilSaved(episodeId, token => Record(episodeId, read, lenient, condition, token), stop);
    }

    private async ValueTask<EntriesOutcome?> Record(
        string episodeId,
        IReadOnlyList<Sent> read,
        bool lenient,
        Func<int, Entry, EpisodeLog, EntryProblem?> condition,
        CancellationToken stop
    )
    {
        using var steps = Steps.From("load");
        if (await episodes.Find(episodeId, stop) is not { } found)
            return new EntriesOutcome.UnknownEpisode();
        var episode = await episodes.Watched(found, stop);

        steps.Next("balance");
        var now = Instant.FromDateTimeOffset(clock.GetUtcNow());
        var judged = Judge(read, episode.Log, condition, now);
        if (!lenient && judged.SelectMany(s => s.Problems).ToList() is { Count: > 0 } problems)
            return new EntriesOutcome.Rejected(problems);

        var accepted = judged.Where(s => s.Problems.Count == 0).ToList();
        var revision = Revision.ByEntries(episode, [.. accepted.Select(s => s.Entry!)], now, steps);
        if (await revise.Save(revision, [.. accepted.Select(s => s.Json!)], steps, stop) is not { } revised)
            return null;

        var outcomes = revision.Appended!.Outcomes;
        var replies = Replies(judged, outcomes, DoubtsOfChange.By(outcomes, revision.Intervals, revision.After.Balance));
        var (version, zone) = (revised.Episode.Row.Version, episode.Definition.Frame.Zone);
        return new EntriesOutcome.Recorded(version, zone, replies, revision.Intervals, revised.Changed, revised.Withheld);
    }

    /// <summary>An entry in error may leave its time to the entry that it withdraws; null where there is none.</summary>
    public static Entry? WithTime(Entry entry, EpisodeLog log) =>
        entry is not EnteredInError || entry.At != Instant.MinValue ? entry
        : log.Current(entry.Key) is { } current ? entry with { Header = entry.Header with { At = current.Entry.At } }
        : null;

    /// <summary>
    /// What is wrong with an entry by itself, whatever the log holds: its content, or a time that is still to come. Records nothing.
    /// </summary>
    public IReadOnlyList<EntryProblem> Problems(JsonElement json)
    {
        var sent = Read(json, 0);
        return sent.Entry is null or EnteredInError
            ? sent.Problems
            : [.. Alone(sent, sent.Entry, Instant.FromDateTimeOffset(clock.GetUtcNow()), [])];
    }

    private static Sent Read(JsonElement json, int index)
    {
        var problems = new List<EntryProblem>();
        var request = EntryReader.Read(json, $"entries[{index}]", problems);
        return new(index, request?.Entry, request?.Json, problems, request?.Entry.Key ?? KeyOf(json));
    }

    /// <summary>What a refused entry is called, so that its sender finds it; null where it does not say.</summary>
    private static EntryKey? KeyOf(JsonElement json)
    {
        string? Text(string name) =>
            json.ValueKind == JsonValueKind.Object && json.TryGetProperty(name, out var value) && value.ValueKind == JsonValueKind.String
                ? value.GetString()
                : null;
        return
            Text("source") is { Length: > 0 and <= EntryReader.LongestKey } source
            && Text("id") is { Length: > 0 and <= EntryReader.LongestKey } id
            ? new EntryKey(source, id)
            : null;
    }

    /// <summary>What can only be judged with the log and the clock at hand.</summary>
    private List<Sent> Judge(IReadOnlyList<Sent> read, EpisodeLog log, Func<int, Entry, EpisodeLog, EntryProblem?> condition, Instant now)
    {
        var first = new Dictionary<EntryKey, int>();
        var judged = new List<Sent>(read.Count);
        foreach (var sent in read)
        {
            var entry = sent.Entry is null ? null : WithTime(sent.Entry, log);
            judged.Add(
                sent.Entry is null
                    ? sent
                    : sent with
                    {
                        Entry = entry,
                        Problems =
                        [
                            .. Alone(sent, entry, now, first),
                            .. entry is not null && condition(sent.Index, entry, log) is { } broken
                                ? [broken]
                                : Array.Empty<EntryProblem>(),
                        ],
                    }
            );
            if (entry is not null)
                first.TryAdd(entry.Key, sent.Index);
        }

        Refuse(judged, log, Contradictions.Of, now);

        // A confirmation rests on its reading, which may have been refused just now.
        if (judged.Exists(s => s.Entry is ReadingConfirmed))
            Refuse(judged, log, Confirmations.Of, now);
        return judged;
    }

    /// <summary>What stands against entries in the log that would result, so that the order within a request does not matter.</summary>
    private static void Refuse(List<Sent> judged, EpisodeLog log, Func<Entry, EpisodeLog, string, EntryProblem?> against, Instant now)
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
                judged[i] = sent with { Problems = [problem] };
        }
    }

    private IEnumerable<EntryProblem> Alone(Sent sent, Entry? entry, Instant now, Dictionary<EntryKey, int> first)
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
        List<Sent> judged,
        ImmutableArray<(Disposition Disposition, LoggedEntry Logged)> outcomes,
        ILookup<EntryKey, Doubt> doubts
    )
    {
        var next = 0;
        return
        [
            .. judged.Select(s =>
                s.Problems.Count > 0
                    ? new EntryReply(s.Index, s.Key, null, null, s.Problems, [])
                    : new EntryReply(
                        s.Index,
                        s.Entry!.Key,
                        outcomes[next].Disposition,
                        outcomes[next++].Logged,
                        [],
                        [.. doubts[s.Entry!.Key]]
                    )
            ),
        ];
    }

    private sealed record Sent(int Index, Entry? Entry, string? Json, IReadOnlyList<EntryProblem> Problems, EntryKey? Key)
    {
        public string Where => $"entries[{Index}]";
    }
}
