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
    /// <summary>Reads and checks the section.</summary>
    /// <exception cref="SettingsFault">The zone is unknown, the folder cannot be one, or something is no setting; all faults.</exception>
    public static StoreSettings Read(IConfiguration configuration)
    {
        List<string> faults = [.. SettingsSection.Strangers(configuration.GetSection("Data"), nameof(Folder), nameof(TimeZone))];
        var folder = configuration["Data:Folder"] is { Length: > 0 } given ? given : "data";
        var zone = configuration["Data:TimeZone"] is { Length: > 0 } name ? name : "UTC";
        for (var at = Path.GetFullPath(folder); at is not null; at = Path.GetDirectoryName(at))
        {
            if (File.Exists(at)) faults.Add($"Data:Folder: '{folder}', but '{at}' is a file; a folder is expected");
        }

        var found = DateTimeZoneProviders.Tzdb.GetZoneOrNull(zone);
        if (found is null) faults.Add($"Data:TimeZone: '{zone}'; an IANA zone such as Europe/Berlin is expected");
        return faults.Count == 0 ? new(folder, found!) : throw new SettingsFault(faults);
    }
}
