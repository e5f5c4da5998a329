using System.Globalization;
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

    /// <summary>Reads and checks the section.</summary>
    /// <exception cref="SettingsFault">The zone is unknown, the folder cannot be one, or something is no setting; all faults.</exception>
    public static StoreSettings Read(IConfiguration configuration)
    {
        string[] names = [nameof(Folder), nameof(TimeZone), nameof(LeastFreeMegabytes)];
        List<string> faults = [.. SettingsSection.Strangers(configuration.GetSection("Data"), names)];
        var folder = configuration["Data:Folder"] is { Length: > 0 } given ? given : "data";
        var zone = configuration["Data:TimeZone"] is { Length: > 0 } name ? name : "UTC";
        for (var at = Path.GetFullPath(folder); at is not null; at = Path.GetDirectoryName(at))
        {
            if (File.Exists(at))
                faults.Add($"Data:Folder: '{folder}', but '{at}' is a file; a folder is expected");
        }

        var found = DateTimeZoneProviders.Tzdb.GetZoneOrNull(zone);
        if (found is null)
            faults.Add($"Data:TimeZone: '{zone}'; an IANA zone such as Europe/Berlin is expected");
        var free = configuration["Data:LeastFreeMegabytes"] is { Length: > 0 } text ? text : "200";
        if (!int.TryParse(free, CultureInfo.InvariantCulture, out var megabytes) || megabytes is < 0 or > 1_000_000)
            faults.Add($"Data:LeastFreeMegabytes: '{free}'; 0 to 1000000 is expected");
        return faults.Count == 0 ? new(folder, found!) { LeastFreeMegabytes = megabytes } : throw new SettingsFault(faults);
    }
}
