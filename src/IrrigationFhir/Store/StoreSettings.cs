using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>Settings of the store, section <c>Data</c> of the configuration.</summary>
/// <param name="Folder">Where the database file lies; made if it is missing. Default <c>data</c> under the working directory.</param>
/// <param name="TimeZone">
/// IANA zone of dates that carry no offset, in resources and in searches. Default UTC. Changing it does not move what is already
/// indexed, so choose it before the first episode.
/// </param>
internal sealed record StoreSettings(string Folder, DateTimeZone TimeZone)
{
    /// <summary>
    /// With less room than this on the disk, in MB, the service is not ready and refuses what it would have to store (507): some room is
    /// left for the log and for reading. Default 200, range 0 (no bound) to 1,000,000; our judgement.
    /// </summary>
    public int LeastFreeMegabytes { get; init; } = 200;

    /// <summary>
    /// How many entries of episodes are held in memory, with what follows from them (3 to 6 kB each); the episodes that were asked for
    /// longest ago go first, and are read again when they are asked for. An episode with more than all of it is read each time. Default
    /// 150,000: one of 100,000 entries, or some 500 of a few days. Range 1,000 to 10,000,000.
    /// </summary>
    public int EntriesInMemory { get; init; } = 150_000;

    /// <summary>The defaults.</summary>
    public StoreSettings()
        : this("data", DateTimeZone.Utc) { }

    /// <summary>Reads and checks the section. What is empty counts as not set.</summary>
    /// <exception cref="SettingsFault">The zone is unknown, the folder cannot be one, or something is no setting; all faults.</exception>
    public static StoreSettings Read(IConfiguration configuration) =>
        SettingsSection.Read<StoreSettings>(configuration, "Data", read => read.Faults(), emptyIsUnset: true);

    private IEnumerable<string> Faults()
    {
        if (EntriesInMemory is < 1000 or > 10_000_000)
            yield return $"Data:EntriesInMemory: '{EntriesInMemory}'; 1000 to 10000000 is expected";
        for (var at = Path.GetFullPath(Folder); at is not null; at = Path.GetDirectoryName(at))
        {
            if (File.Exists(at))
                yield return $"Data:Folder: '{Folder}', but '{at}' is a file; a folder is expected";
        }

        if (LeastFreeMegabytes is < 0 or > 1_000_000)
            yield return $"Data:LeastFreeMegabytes: '{LeastFreeMegabytes}'; 0 to 1000000 is expected";
    }
}
