using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Flags;
using IrrigationFhir.Record;

namespace IrrigationFhir.Settings;

/// <summary>The settings that the arithmetic rests on, and how many entries a request may hold.</summary>
/// <param name="Balance">Section <c>Balance</c>, and in it section <c>Measuring</c>.</param>
/// <param name="Criteria">Section <c>Criteria</c>.</param>
/// <param name="Forecasts">Section <c>Forecasts</c>.</param>
/// <param name="Flags">Section <c>Flags</c>.</param>
/// <param name="Entries">Section <c>Entries</c>.</param>
/// <param name="All">Every one of them, in words.</param>
internal sealed record SiteSettings(
    BalanceSettings Balance,
    CriteriaSettings Criteria,
    ForecastSettings Forecasts,
    FlagSettings Flags,
    EntrySettings Entries,
    ImmutableArray<SiteSetting> All
)
{
    /// <summary>Reads the sections.</summary>
    /// <exception cref="SettingsFault">Values that are unreadable, out of range, or not settings; all of them.</exception>
    public static SiteSettings Read(IConfiguration configuration)
    {
        var reader = new SiteSettingsReader();
        var measuring = reader.Section(configuration.GetSection("Measuring"), MeasuringCharacters.Default);
        var balance = reader.Section(configuration.GetSection("Balance"), BalanceSettings.Default) with { Characters = measuring };
        var criteria = reader.Section(configuration.GetSection("Criteria"), CriteriaSettings.Default);
        var forecasts = reader.Section(configuration.GetSection("Forecasts"), ForecastSettings.Default);
        var flags = reader.Section(configuration.GetSection("Flags"), FlagSettings.Default);
        var entries = reader.Section(configuration.GetSection("Entries"), EntrySettings.Default);
        if (reader.Faults.Count > 0)
            throw new SettingsFault(reader.Faults);
        return new(balance, criteria, forecasts, flags, entries, [.. reader.Settings]);
    }

    /// <summary>Those of appsettings.json in the working directory and of the environment, for commands that need no server.</summary>
    /// <exception cref="SettingsFault">As for <see cref="Read"/>.</exception>
    public static SiteSettings Here() =>
        Read(
            new ConfigurationBuilder().AddJsonFile(Path.GetFullPath("appsettings.json"), optional: true).AddEnvironmentVariables().Build()
        );
}
