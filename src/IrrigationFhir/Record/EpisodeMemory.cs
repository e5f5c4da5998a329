using System.Collections.Immutable;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Flags;
using IrrigationFhir.Store;
using NodaTime;
using NodaTime.Serialization.SystemTextJson;

namespace IrrigationFhir.Record;

/// <summary>
/// What an episode remembers beside its log: how its rules stood and what its criteria answered, so that after a start nobody goes through
/// the whole log again.
/// </summary>
/// <remarks>
/// It follows from the log, and from what <see cref="MadeBy"/> digests: this program, its settings, the description of the episode. Where
/// any of these is another one, it is worked out anew from the beginning.
/// </remarks>
internal sealed class EpisodeMemory(BalanceSettings settings, FlagLimits limits, DateTimeZone facilityZone)
{
    // So many entries at the most are gone through after a start; each costs its share of writing all that is remembered.
    private const int MostEntries = 64;

    /// <summary>Names this program with these settings, in a word.</summary>
    public string SavedBy { get; } = Digest(Program(settings, limits, facilityZone))[..16];

    /// <summary>
    /// Whether a version of an episode was saved by this program with these settings: then nothing of it stands otherwise.
    /// </summary>
    public bool Saved(EpisodeRow row) => row.SavedBy == $"{SavedBy}-{row.Version}";

    /// <summary>What is worth keeping of an episode that is about to be saved; null while little has come since it was last kept.</summary>
    /// <param name="after">The episode, with flags and criteria.</param>
    /// <param name="described">Whether it is described otherwise: then what is kept would no longer be believed.</param>
    public RememberedRow? Of(StoredEpisode after, bool described)
    {
        var since = after.Log.LastSequence - after.RememberedUpTo;
        if (!(described && after.RememberedUpTo > 0) && since < Math.Min(MostEntries, 8 + (after.RememberedUpTo / 8)))
            return null;
        var content = RememberedJson.Write(new(after.Flags!.Remembered, [.. after.Criteria!.Histories.Values]));
        return new(MadeBy(after.Row), after.Log.LastSequence, content);
    }

    /// <summary>What was remembered; null where something that it follows from is another one now.</summary>
    /// <param name="stored">As it was stored.</param>
    /// <param name="row">The episode.</param>
    public Remembered? Read(RememberedRow stored, EpisodeRow row) =>
        stored.MadeBy.AsSpan().SequenceEqual(MadeBy(row)) ? RememberedJson.Read(stored.Content) : null;

    /// <summary>The episode with its flags and criteria as they were remembered.</summary>
    /// <param name="then">The episode with the log of then.</param>
    /// <param name="remembered">What was remembered.</param>
    public StoredEpisode Recalled(StoredEpisode then, Remembered remembered) =>
        then with
        {
            Flags = FlagRecord.Recalled(then.Balance, then.Definition.Facts, limits, remembered.Flags),
            Criteria = CriteriaRecord.Recalled(remembered.Criteria, limits.Criteria, (double)limits.Flags.CriterionPossibleFrom),
        };

    private byte[] MadeBy(EpisodeRow row) => SHA256.HashData(Encoding.UTF8.GetBytes($"{SavedBy} {row.Json}"))[..16];

    /// <summary>Everything that the rules rest on beside the log and the description of the episode.</summary>
    private static string Program(BalanceSettings settings, FlagLimits limits, DateTimeZone facilityZone)
    {
        var options = new JsonSerializerOptions { NumberHandling = RememberedJson.Numbers }.ConfigureForNodaTime(
            DateTimeZoneProviders.Tzdb
        );
        string[] parts =
        [
            typeof(FlagRecord).Module.ModuleVersionId.ToString(),
            typeof(EpisodeMemory).Module.ModuleVersionId.ToString(),
            DateTimeZoneProviders.Tzdb.VersionId,
            facilityZone.Id,
            JsonSerializer.Serialize(settings, options),
            JsonSerializer.Serialize(limits, options),
        ];
        return string.Join(' ', parts);
    }

    private static string Digest(string text) => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text)));
}

/// <summary>What an episode remembers.</summary>
/// <param name="Flags">Its flags.</param>
/// <param name="Criteria">What every criterion answered.</param>
internal sealed record Remembered(RememberedFlags Flags, ImmutableArray<CriterionHistory> Criteria);
