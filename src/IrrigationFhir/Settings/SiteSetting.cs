using System.Collections.Immutable;
using System.ComponentModel;
using System.Globalization;
using System.Reflection;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Flags;
using Irrigation.Measures;
using IrrigationFhir.Record;
using NodaTime;

namespace IrrigationFhir.Settings;

/// <summary>A setting that explains itself.</summary>
/// <param name="Key">Its key in the configuration.</param>
/// <param name="Value">The value in force, with its unit.</param>
/// <param name="Default">What it is where nothing is set; null for an entry of a list.</param>
/// <param name="Range">What is accepted.</param>
/// <param name="Description">What it is for, and where its default comes from.</param>
internal sealed record SiteSetting(
    [property: Description("Its key in the configuration.")] string Key,
    [property: Description("The value in force, with its unit.")] string Value,
    [property: Description("What it is where nothing is set; absent for an entry of a list.")] string? Default,
    [property: Description("What is accepted.")] string Range,
    [property: Description("What it is for, and where its default comes from.")] string Description
);

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
        var reader = new Reader();
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

    /// <summary>
    /// Walks records of settings: what is marked with <see cref="SettingAttribute"/> is one, a record of such is a section.
    /// </summary>
    private sealed class Reader
    {
        public List<string> Faults { get; } = [];

        public List<SiteSetting> Settings { get; } = [];

        public T Section<T>(IConfigurationSection section, T defaults)
            where T : class => (T)Record(section, defaults, "", known: true);

        private object Record(IConfigurationSection section, object defaults, string about, bool known)
        {
            var type = defaults.GetType();
            var copy = type.GetMethod("<Clone>$")!.Invoke(defaults, null)!;
            var properties = type.GetProperties(BindingFlags.Public | BindingFlags.Instance).Where(p => p.CanWrite).ToList();
            var names = new HashSet<string>(StringComparer.OrdinalIgnoreCase);
            foreach (var property in properties)
            {
                if (property.GetValue(defaults) is not { } value)
                    continue;
                var child = section.GetSection(property.Name);
                var description = string.Join(' ', new[] { about, Documentation.Of(property) }.Where(text => text.Length > 0));
                if (property.GetCustomAttribute<SettingAttribute>() is { } setting)
                    property.SetValue(copy, One(child, setting, value, description, known));
                else if (value is ImmutableSortedDictionary<string, Calibration> calibrations)
                    property.SetValue(
                        copy,
                        Named(child, calibrations, new(1, 0), [nameof(Calibration.Factor), nameof(Calibration.HalfWidth)], description)
                    );
                else if (value is ImmutableSortedDictionary<string, ColourScale> scales)
                    property.SetValue(copy, Named(child, scales, new(5), [nameof(ColourScale.Grades)], description));
                else if (property.PropertyType.Assembly == typeof(SettingAttribute).Assembly && value is not MeasuringCharacters)
                    property.SetValue(copy, Record(child, value, description + SourceOf(value), known));
                else if (property.Name != nameof(MeasuringCharacter.Source))
                    continue;
                names.Add(property.Name);
            }

            SetSource(section, copy, properties, names);
            foreach (var other in section.GetChildren().Where(c => !names.Contains(c.Key)))
                Faults.Add($"{other.Path}: not a setting; {section.Path} has {string.Join(", ", names.Order(StringComparer.Ordinal))}");
            return copy;
        }

        /// <summary>A list of records by name, each of which has to be whole.</summary>
        private ImmutableSortedDictionary<string, T> Named<T>(
            IConfigurationSection section,
            ImmutableSortedDictionary<string, T> list,
            T defaults,
            string[] needed,
            string about
        )
            where T : class
        {
            foreach (var child in section.GetChildren())
            {
                foreach (var missing in needed.Where(name => child[name] is null))
                    Faults.Add($"{child.Path}:{missing}: missing");
                list = list.SetItem(child.Key, (T)Record(child, defaults, about, known: false));
            }

            return list;
        }

        private object One(IConfigurationSection section, SettingAttribute setting, object value, string description, bool known)
        {
            var (unit, standard) = (setting.Unit == "1" ? "" : $" {setting.Unit}", Write(value, setting.Unit));
            var accepted = value is bool ? "true or false" : FormattableString.Invariant($"{setting.Least} to {setting.Most}{unit}");
            var read = value;
            if (section.Value is { } text && (Parse(text, setting, value) is not { } parsed || !Within(parsed, setting, ref read)))
            {
                Faults.Add($"{section.Path}: '{text}'; {accepted} is expected, such as '{standard}'");
            }

            Settings.Add(new(section.Path, Write(read, setting.Unit), known ? standard : null, accepted, description));
            return read;
        }

        private static bool Within(object parsed, SettingAttribute setting, ref object read)
        {
            var number = parsed is bool ? 0 : Number(parsed, setting.Unit);
            if (parsed is not bool && ((double)number < setting.Least || (double)number > setting.Most))
                return false;
            read = parsed;
            return true;
        }

        private static object? Parse(string text, SettingAttribute setting, object like)
        {
            if (like is bool)
                return bool.TryParse(text, out var flag) ? flag : null;
            var words = text.Split(' ', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries);
            if (words.Length != (setting.Unit == "1" ? 1 : 2) || (words.Length == 2 && words[1] != setting.Unit))
                return null;
            if (
                !decimal.TryParse(
                    words[0],
                    NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint,
                    CultureInfo.InvariantCulture,
                    out var number
                )
            )
                return null;
            return like switch
            {
                decimal => number,
                int => number == decimal.Truncate(number) && number is > int.MinValue and < int.MaxValue ? (int)number : null,
                Volume => Volume.FromMillilitres(number),
                Pressure => Pressure.FromMillimetresOfMercury(number),
                FlowRate => FlowRate.FromMillilitresPerHour(number),
                Duration => Math.Abs(number) < 1_000_000 ? Duration.FromNanoseconds((long)(number * Nanoseconds(setting.Unit))) : null,
                _ => throw new ArgumentOutOfRangeException(nameof(like), like.GetType().Name, "no setting is of this type"),
            };
        }

        private static decimal Number(object value, string unit) =>
            value switch
            {
                decimal number => number,
                int whole => whole,
                Volume volume => volume.Millilitres,
                Pressure pressure => pressure.MillimetresOfMercury,
                FlowRate rate => rate.MillilitresPerHour,
                Duration time => time.ToInt64Nanoseconds() / Nanoseconds(unit),
                _ => throw new ArgumentOutOfRangeException(nameof(value), value.GetType().Name, "no setting is of this type"),
            };

        private static decimal Nanoseconds(string unit) =>
            unit switch
            {
                "min" => NodaConstants.NanosecondsPerMinute,
                "h" => NodaConstants.NanosecondsPerHour,
                "d" => NodaConstants.NanosecondsPerDay,
                _ => throw new ArgumentOutOfRangeException(nameof(unit), unit, "not a unit of time"),
            };

        private static string Write(object value, string unit) =>
            value is bool flag
                ? (flag ? "true" : "false")
                : Number(value, unit).ToString("0.#########", CultureInfo.InvariantCulture) + (unit == "1" ? "" : $" {unit}");

        private static string SourceOf(object value) => value is MeasuringCharacter character ? $" Default: {character.Source}." : "";

        /// <summary>Figures that a site has set no longer come from where the defaults came from.</summary>
        private static void SetSource(IConfigurationSection section, object copy, List<PropertyInfo> properties, HashSet<string> names)
        {
            if (properties.Find(p => p.Name == nameof(MeasuringCharacter.Source)) is not { } source)
                return;
            names.Add(source.Name);
            if (section[source.Name] is { Length: > 0 } said)
                source.SetValue(copy, said);
            else if (section.GetChildren().Any())
                source.SetValue(copy, "set by the site");
        }
    }
}
