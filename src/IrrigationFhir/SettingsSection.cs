using System.ComponentModel;
using System.Reflection;
using NodaTime;

namespace IrrigationFhir;

/// <summary>The configuration cannot be used; <see cref="Exception.Message"/> names every fault, one a line.</summary>
internal sealed class SettingsFault(IEnumerable<string> faults) : Exception(string.Join(Environment.NewLine, faults));

/// <summary>Reads a section of the configuration into an object: whatever is wrong with it is named at once.</summary>
/// <remarks>The framework's binder stops at the first value that it cannot convert, and passes over names that it does not know.</remarks>
internal static class SettingsSection
{
    /// <summary>Reads the section's values into the properties of the same names; what is not set keeps its default.</summary>
    /// <param name="configuration">The whole configuration.</param>
    /// <param name="name">The section.</param>
    /// <param name="own">What is wrong with values that could be read, one sentence each.</param>
    /// <param name="emptyIsUnset">Whether an empty value keeps the default, as where an environment always names the variable.</param>
    /// <exception cref="SettingsFault">Values that are unreadable, out of range, or not settings; all of them.</exception>
    public static T Read<T>(IConfiguration configuration, string name, Func<T, IEnumerable<string>> own, bool emptyIsUnset = false)
        where T : new()
    {
        var (section, settings) = (configuration.GetSection(name), new T());
        var properties = typeof(T).GetProperties().Where(p => p.SetMethod?.IsPublic == true).ToList();
        List<string> faults = [.. Strangers(section, [.. properties.Select(p => p.Name)])];
        foreach (var property in properties.Where(p => section.GetSection(p.Name).Exists()))
        {
            var child = section.GetSection(property.Name);
            if (emptyIsUnset && child.Value is "")
                continue;
            if (Value(child, property) is { } value)
                property.SetValue(settings, value);
            else
                faults.Add($"{child.Path}: '{child.Value}'; {Expected(property.PropertyType)} is expected");
        }

        faults.AddRange(own(settings));
        return faults.Count == 0 ? settings : throw new SettingsFault(faults);
    }

    /// <summary>What stands in a section and is none of its settings: a mistyped name would leave a default in force unseen.</summary>
    public static IEnumerable<string> Strangers(IConfigurationSection section, params string[] names) =>
        section
            .GetChildren()
            .Where(child => !names.Contains(child.Key, StringComparer.OrdinalIgnoreCase))
            .Select(child => $"{child.Path}: not a setting; {section.Path} has {string.Join(", ", names.Order(StringComparer.Ordinal))}");

    private static object? Value(IConfigurationSection child, PropertyInfo property)
    {
        var type = Nullable.GetUnderlyingType(property.PropertyType) ?? property.PropertyType;
        if (type == typeof(string))
            return child.Value;
        if (type == typeof(DateTimeZone))
            return child.Value is { } zone ? DateTimeZoneProviders.Tzdb.GetZoneOrNull(zone) : null;
        if (type == typeof(string[]))
            return child.Value is { Length: > 0 } ? null : child.GetChildren().Select(item => item.Value ?? "").ToArray();
        try
        {
            return child.Value is { } text ? TypeDescriptor.GetConverter(type).ConvertFromInvariantString(text) : null;
        }
        catch (Exception fault) when (fault is FormatException or ArgumentException or OverflowException)
        {
            return null;
        }
    }

    private static string Expected(Type type) =>
        type == typeof(bool) ? "true or false"
        : type == typeof(TimeSpan) ? "a time such as 00:00:10"
        : type == typeof(DateTimeZone) ? "an IANA zone such as Europe/Berlin"
        : type == typeof(string) ? "one value"
        : type.IsEnum ? $"one of {string.Join(", ", Enum.GetNames(type).Select(Irrigation.Slug.Of))}"
        : type == typeof(string[]) ? "a list, each value under its number (…:0, …:1),"
        : "a whole number";
}
