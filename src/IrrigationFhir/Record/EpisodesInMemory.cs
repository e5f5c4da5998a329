using System.Text.Json;
using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Store;
using Microsoft.Extensions.Caching.Memory;

namespace IrrigationFhir.Record;

/// <summary>Loads episodes. What is loaded stays in memory, and only what arrived since is read again.</summary>
/// <remarks>
/// The store's version decides whether the copy in memory is the newest, so any number of replicas may share a store. The first
/// touch of an episode reads its whole log, and how its rules stood is remembered beside it (<see cref="EpisodeMemory"/>); after that a
/// request costs what its own entries cost.
/// </remarks>
internal sealed class EpisodesInMemory(
    EpisodeStore store,
    EpisodeMemory memory,
    BalanceSettings settings,
    FlagLimits limits,
    StoreSettings kept
) : IDisposable
{
    // A bed that is irrigated is looked at all the time; one that has ended is asked for by a handover or a late entry, and then no more.
    private static readonly TimeSpan KeptUnasked = TimeSpan.FromHours(2);
    private static readonly TimeSpan KeptOnceEnded = TimeSpan.FromMinutes(5);

    /// <summary>From so many entries on, sharing the reading out costs less than it saves.</summary>
    private const int Many = 500;

    // Size is counted in entries.
    private readonly MemoryCache cache = new(new MemoryCacheOptions { SizeLimit = kept.EntriesInMemory, TrackStatistics = true });

    /// <summary>How many entries are held, an episode counting 50 more than it has.</summary>
    public long Held => cache.GetCurrentStatistics()!.CurrentEstimatedSize ?? 0;

    /// <summary>The episode as it stands in the store; null where the id is unknown.</summary>
    public async Task<StoredEpisode?> Find(string id, CancellationToken stop) =>
        await store.Find(id, stop) is { } row ? await Load(row, stop) : null;

    /// <summary>The episode of a row.</summary>
    public async Task<StoredEpisode> Load(EpisodeRow row, CancellationToken stop)
    {
        if (cache.TryGetValue(row.Id, out StoredEpisode? known) && known!.Row.Version == row.Version)
            return known;

        var definition = known?.Definition.Json == row.Json ? known.Definition : Read(row.Json);
        var reusable = known is not null && known.Definition == definition && known.Row.LastSequence <= row.LastSequence;
        if (!reusable)
            return Keep(await FromStore(row, definition, stop));

        var then = new StoredEpisode(row, definition, known!.Balance)
        {
            // Whoever changed it may have ended the strays: they are looked for again.
            Flags = known.FlagsNoLongerRaised.Count > 0 ? null : known.Flags,
            Labels = known.Labels,
            RememberedUpTo = known.RememberedUpTo,
        };
        return Keep(With(then, await store.LoadEntries(row.PatientKey, row.Id, then.Log.LastSequence, stop)));
    }

    /// <summary>An episode of which nothing is in memory.</summary>
    private async Task<StoredEpisode> FromStore(EpisodeRow row, EpisodeDefinition definition, CancellationToken stop)
    {
        var rows = await store.LoadEntries(row.PatientKey, row.Id, 0, stop);
        var stored = memory.Saved(row) ? await store.Remembered(row.PatientKey, row.Id, stop) : null;
        if (stored is null || memory.Read(stored, row) is not { } remembered)
            return Of(rows);
        var then = Of(rows.TakeWhile(entry => entry.Sequence <= stored.LastSequence)) with { RememberedUpTo = stored.LastSequence };
        return With(memory.Recalled(then, remembered), rows.SkipWhile(entry => entry.Sequence <= stored.LastSequence));

        StoredEpisode Of(IEnumerable<EntryRow> entries)
        {
            var (read, log) = (Read([.. entries]), EpisodeLog.Empty(definition.Frame));
            foreach (var (entry, receivedAt) in read)
                log = Append(log, entry, receivedAt).Log;
            return new(row, definition, FluidBalance.Of(log, settings)) { Labels = SecurityLabel.With([], read.Select(one => one.Entry)) };
        }
    }

    /// <summary>An episode with entries that were stored since, and as it was published last.</summary>
    private StoredEpisode With(StoredEpisode episode, IEnumerable<EntryRow> arrived)
    {
        var (balance, criteria, changes) = (episode.Balance, episode.Criteria, new List<Change>());
        var read = Read([.. arrived]);
        foreach (var (entry, receivedAt) in read)
        {
            var appended = Append(balance.Log, entry, receivedAt);
            (balance, var intervals) = balance.After(appended);
            changes.AddRange(appended.Changes);
            var weighed = WeightReach.Of(balance, episode.Patient, appended.Changes, limits.Criteria);
            criteria = criteria?.After(balance, episode.Patient, intervals, weighed);
        }

        var asOf = NodaTime.Instant.Max(
            episode.Row.FlagsAsOf ?? NodaTime.Instant.MinValue,
            episode.Flags?.AsOf ?? NodaTime.Instant.MinValue
        );
        return episode with
        {
            Balance = balance,
            Criteria = criteria,
            Flags = episode.Flags?.After(balance, changes, asOf).Record,
            Labels = SecurityLabel.With(episode.Labels, read.Select(one => one.Entry)),
        };
    }

    /// <summary>The episode with its flags, as they were published last, and its criteria.</summary>
    public async Task<StoredEpisode> Watched(StoredEpisode episode, CancellationToken stop)
    {
        if (episode is { Flags: not null, Criteria: not null })
            return episode;
        var criteria = CriteriaRecord.Of(episode.Balance, episode.Patient, limits.Criteria, (double)limits.Flags.CriterionPossibleFrom);
        if (episode.Flags is not null)
        {
            return Keep(episode with { Criteria = criteria, PublishedOtherwise = await PublishedOtherwise(episode, stop) });
        }

        var flags = FlagRecord.Of(episode.Balance, episode.Definition.Facts, limits, episode.Row.FlagsAsOf ?? NodaTime.Instant.MinValue);
        var stored = await store.StandingFlags(episode.Row.PatientKey, episode.Id, stop);
        var standing = flags.Standing.Select(flag => FlagMapper.IdOf(episode, flag)).ToHashSet();
        return Keep(
            episode with
            {
                Flags = flags,
                Criteria = criteria,
                PublishedOtherwise = await PublishedOtherwise(episode, stop),
                FlagsNoLongerRaised = [.. stored.Where(flag => !standing.Contains(flag.Key)).Select(flag => flag.Value)],
            }
        );
    }

    private Task<IReadOnlyDictionary<string, string>> PublishedOtherwise(StoredEpisode episode, CancellationToken stop) =>
        store.PublishedOtherwise(
            episode.Row.PatientKey,
            episode.Id,
            EarlierManner.Mark,
            $"{episode.Id}{EarlierManner.HourlyCriterion}",
            stop
        );

    /// <summary>Keeps what was just saved.</summary>
    public StoredEpisode Keep(StoredEpisode episode) =>
        cache.Set(
            episode.Id,
            episode,
            new MemoryCacheEntryOptions
            {
                Size = episode.Log.LastSequence + 50,
                SlidingExpiration = episode.Definition.Frame.End is null ? KeptUnasked : KeptOnceEnded,
            }
        );

    /// <summary>The description kept in a row.</summary>
    public EpisodeDefinition Read(string json)
    {
        using var document = JsonDocument.Parse(json);
        return EpisodeReader.Read(document.RootElement, kept.TimeZone, [])
            ?? throw new InvalidOperationException("a stored episode that is no longer readable");
    }

    /// <inheritdoc/>
    public void Dispose() => cache.Dispose();

    private static Appended Append(EpisodeLog log, Entry entry, NodaTime.Instant receivedAt) =>
        log.Append([RecordEntries.WithTime(entry, log)!], receivedAt);

    /// <remarks>Each by itself, so many of them are read on all processors; this thread works too.</remarks>
    private static (Entry Entry, NodaTime.Instant ReceivedAt)[] Read(EntryRow[] rows)
    {
        var read = new (Entry, NodaTime.Instant)[rows.Length];
        if (rows.Length < Many)
        {
            for (var i = 0; i < rows.Length; i++)
                read[i] = Read(rows[i]);
        }
        else
        {
            Parallel.For(0, rows.Length, i => read[i] = Read(rows[i]));
        }

        return read;
    }

    private static (Entry, NodaTime.Instant) Read(EntryRow row)
    {
        using var document = JsonDocument.Parse(row.Json);
        var entry =
            EntryReader.Read(document.RootElement, "entry", [])?.Entry
            ?? throw new InvalidOperationException("a stored entry that is no longer readable");
        return (entry, row.ReceivedAt);
    }
}
