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
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>Loads episodes. What is loaded stays in memory, and only what arrived since is read again.</summary>
/// <remarks>
/// The store's version decides whether the copy in memory is the newest, so any number of replicas may share a store. The first
/// touch of an episode reads its whole log; after that a request costs what its own entries cost.
/// </remarks>
internal sealed class EpisodesInMemory(EpisodeStore store, BalanceSettings settings, FlagLimits limits, DateTimeZone facilityZone)
    : IDisposable
{
    // Size is counted in entries. Log and balance hold 1.6 kB of each, with the flags 3 to 6 kB. Room for one episode of 100,000 entries
    // or some 500 of a few days.
    private const long MostEntries = 150_000;

    // A bed that is irrigated is looked at all the time; one that has ended is asked for by a handover or a late entry, and then no more.
    private static readonly TimeSpan KeptUnasked = TimeSpan.FromHours(2);
    private static readonly TimeSpan KeptOnceEnded = TimeSpan.FromMinutes(5);
    private readonly MemoryCache cache = new(new MemoryCacheOptions { SizeLimit = MostEntries });

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
        var balance = reusable ? known!.Balance : FluidBalance.Of(EpisodeLog.Empty(definition.Frame), settings);
        var rows = await store.LoadEntries(row.PatientKey, row.Id, balance.Log.LastSequence, stop);
        if (!reusable)
            return Keep(
                new(row, definition, FluidBalance.Of(rows.Aggregate(balance.Log, (log, entry) => Append(log, entry).Log), settings))
            );

        var changes = new List<Change>();
        foreach (var entry in rows)
        {
            var appended = Append(balance.Log, entry);
            balance = balance.After(appended).Balance;
            changes.AddRange(appended.Changes);
        }

        // Whoever changed it may have ended the strays: they are looked for again.
        var flags = known!.FlagsNoLongerRaised.Count > 0 ? null : known.Flags;
        return Keep(new(row, definition, balance) { Flags = flags?.After(balance, changes, row.FlagsAsOf ?? flags.AsOf).Record });
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
        return EpisodeReader.Read(document.RootElement, facilityZone, [])
            ?? throw new InvalidOperationException("a stored episode that is no longer readable");
    }

    /// <inheritdoc/>
    public void Dispose() => cache.Dispose();

    private static Appended Append(EpisodeLog log, EntryRow row)
    {
        using var document = JsonDocument.Parse(row.Json);
        var entry =
            EntryReader.Read(document.RootElement, "entry", [])?.Entry
            ?? throw new InvalidOperationException("a stored entry that is no longer readable");
        return log.Append([RecordEntries.WithTime(entry, log)!], row.ReceivedAt);
    }
}
