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
    /// <exception cref="InvalidOperationException">The zone is unknown.</exception>
    public static StoreSettings Read(IConfiguration configuration)
    {
        var folder = configuration["Data:Folder"] is { Length: > 0 } given ? given : "data";
        var zone = configuration["Data:TimeZone"] is { Length: > 0 } name ? name : "UTC";
        return new(folder, DateTimeZoneProviders.Tzdb.GetZoneOrNull(zone)
            ?? throw new InvalidOperationException($"Data:TimeZone: '{zone}'; an IANA zone such as Europe/Berlin is expected"));
    }
}
