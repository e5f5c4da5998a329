using System.Collections.Immutable;
using System.Globalization;
using System.Reflection;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Flags;
using Irrigation.Measures;
using NodaTime;

namespace IrrigationFhir.Settings;

/// <summary>
/// Walks records of settings: what is marked with <see cref="SettingAttribute"/> is one, a record of such is a section.
/// </summary>
internal sealed class SiteSettingsReader
{
    /// <summary>What is wrong with what was read so far, one sentence each.</summary>
    public List<string> Faults { get; } = [];

    /// <summary>Every setting that was read so far, in words.</summary>
    public List<SiteSetting> Settings { get; } = [];

    /// <summary>Reads a section; what is not set keeps its default.</summary>
    public T Section<T>(IConfigurationSection section, T defaults)
        where T : class => (T)ReadRecord(section, defaults, "", known: true);

    private object ReadRecord(IConfigurationSection section, object defaults, string about, bool known)
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
                property.SetValue(copy, ReadValue(child, setting, value, description, known));
            else if (value is ImmutableSortedDictionary<string, Calibration> calibrations)
                property.SetValue(
                    copy,
                    ReadByName(child, calibrations, new(1, 0), [nameof(Calibration.Factor), nameof(Calibration.HalfWidth)], description)
                );
            else if (value is ImmutableSortedDictionary<string, ColourScale> scales)
                property.SetValue(copy, ReadByName(child, scales, new(5), [nameof(ColourScale.Grades)], description));
            else if (property.PropertyType.Assembly == typeof(SettingAttribute).Assembly && value is not MeasuringCharacters)
                property.SetValue(copy, ReadRecord(child, value, description + SourceOf(value), known));
            else if (property.Name != nameof(MeasuringCharacter.Source))
                continue;
            names.Add(property.Name);
        }

        SetSource(section, copy, properties, names);
        Faults.AddRange(SettingsSection.Strangers(section, [.. names]));
        return copy;
    }

    /// <summary>A list of records by name, each of which has to be whole.</summary>
    private ImmutableSortedDictionary<string, T> ReadByName<T>(
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
            list = list.SetItem(child.Key, (T)ReadRecord(child, defaults, about, known: false));
        }

        return list;
    }

    private object ReadValue(IConfigurationSection section, SettingAttribute setting, object value, string description, bool known)
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
