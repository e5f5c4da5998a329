using System.Collections.Immutable;
using System.Text.Json;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Entries;

/// <summary>What became of a request to record entries.</summary>
internal abstract record EntriesOutcome
{
    /// <summary>There is no such episode.</summary>
    public sealed record UnknownEpisode : EntriesOutcome;

    /// <summary>Nothing was stored.</summary>
    public sealed record Rejected(IReadOnlyList<EntryProblem> Problems) : EntriesOutcome;

    /// <summary>Stored, or there already; refused ones only where the sender allowed that.</summary>
    public sealed record Recorded(
        long Version,
        DateTimeZone Zone,
        IReadOnlyList<EntryReply> Entries,
        IReadOnlyList<IntervalChange> Recalculated,
        IReadOnlyList<ResourceVersion> Changed,
        IReadOnlyList<WithheldRow> Withheld
    ) : EntriesOutcome;
}

/// <summary>What became of one entry: logged, with what is doubted now, or refused with its problems.</summary>
internal sealed record EntryReply(
    int Index,
    EntryKey? Key,
    Disposition? Disposition,
    LoggedEntry? Logged,
    IReadOnlyList<EntryProblem> Problems,
    IReadOnlyList<Doubt> Doubts
);

/// <summary>The main path: from what was sent to what is stored and published.</summary>
internal sealed class RecordEntries(
    EpisodesInMemory episodes,
    EpisodeStore store,
    ProfileValidator profiles,
    EntrySettings settings,
    CriteriaSettings limits,
    TimeProvider clock
)
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

        return await Turns.UntilSaved(episodeId, token => Record(episodeId, read, lenient, condition, token), stop);
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
        var judged = Judge(read, episode.Log, condition, now); // no I/O from here …
        if (!lenient && judged.SelectMany(s => s.Problems).ToList() is { Count: > 0 } problems)
            return new EntriesOutcome.Rejected(problems);

        var accepted = judged.Where(s => s.Problems.Count == 0).ToList();
        var appended = episode.Log.Append(accepted.Select(s => s.Entry!), now);
        var (balance, changes) = episode.Balance.After(appended);
        var own = Revisions.Of(episode.Flags!, balance, appended, now);
        if (!own.IsEmpty)
        {
            // What had been told otherwise is itself something that happened: it arrives with what showed it.
            appended = episode.Log.Append([.. accepted.Select(s => s.Entry!), .. own], now);
            (balance, changes) = episode.Balance.After(appended);
        }

        steps.Next("flags");
        var (flags, raised) = episode.Flags!.After(balance, appended.Changes, now);
        var after = episode with { Balance = balance, Flags = flags };
        steps.Next("map");
        var news = FlagNews.Of(
            after,
            raised,
            [.. appended.Outcomes.Take(accepted.Count).Select(o => o.Logged)],
            FlagNews.Touched(after, appended.Changes)
        );
        var resources = EpisodeMapper.ToResources(episode, after, appended, changes, limits).Concat(news.Resources).ToList();
        steps.Next("validate");
        var (valid, faulty) = profiles.Sort(resources); // … to here

        var json = accepted.Select(s => s.Json!).Concat(own.Select(EntryReader.Write));
        var rows = json.Zip(appended.Outcomes)
            .Where(p => p.Second.Disposition != Disposition.Repeated)
            .Select(p => Row(p.First, p.Second.Logged))
            .ToList();
        var replies = Replies(judged, appended.Outcomes, Doubted.By(appended.Outcomes, changes, balance));
        if (rows.Count == 0)
            return new EntriesOutcome.Recorded(episode.Row.Version, episode.Definition.Frame.Zone, replies, [], [], []);

        steps.Next("save");
        var withheld = faulty.ToRows();
        var change = news.In(
            new(episode.Row.PatientKey, episode.Id, episode.Row.Version, rows, [.. valid.Select(ResourceDraft.Of)], withheld),
            flags,
            valid
        );
        if (await store.Save(change, stop) is not SaveOutcome.Saved saved)
            return null;
        episodes.Keep(
            after with
            {
                Strays = [],
                Row = episode.Row with { Version = saved.Version, LastSequence = after.Log.LastSequence, FlagsAsOf = flags.AsOf },
            }
        );
        return new EntriesOutcome.Recorded(saved.Version, episode.Definition.Frame.Zone, replies, changes, saved.Changed, withheld);
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

    private static EntryRow Row(string json, LoggedEntry logged) =>
        new(
            logged.Sequence,
            logged.Entry.Key.Source,
            logged.Entry.Key.Id,
            logged.Revision,
            logged.Entry.Kind,
            logged.Entry.At,
            logged.ReceivedAt,
            json
        );

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
