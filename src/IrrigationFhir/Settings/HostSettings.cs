using System.Globalization;
using IrrigationFhir.Health;
using IrrigationFhir.Rest;

namespace IrrigationFhir.Settings;

/// <summary>Settings of the host that the service runs in (ASP.NET Core): which there are, and whether their values can be used.</summary>
internal static class HostSettings
{
    /// <summary>Sections whose content is the host's own matter.</summary>
    /// <remarks>OpenTelemetry's variables, which its specification names, may be given as settings too.</remarks>
    private static readonly string[] Sections = ["Logging:", "Kestrel:", "OTEL_"];

    /// <summary>Keys that the host reads. Each may stand on the command line.</summary>
    public static IReadOnlyList<string> Keys { get; } =
    [
        "urls",
        "http_ports",
        "https_ports",
        "environment",
        "contentRoot",
        "webroot",
        "applicationName",
        "AllowedHosts",
        "Logging:LogLevel:Default",
        "Logging:Console:FormatterName",
        "Logging:Console:FormatterOptions:IncludeScopes",
        "Kestrel:Endpoints",
        "Kestrel:Limits",
        "shutdownTimeoutSeconds",
        "detailedErrors",
        "captureStartupErrors",
        "preferHostingUrls",
        "suppressStatusMessages",
        "hostingStartupAssemblies",
        "hostingStartupExcludeAssemblies",
        "preventHostingStartup",
        "startupAssembly",
        "OTEL_EXPORTER_OTLP_ENDPOINT",
        "OTEL_EXPORTER_OTLP_PROTOCOL",
        "OTEL_SERVICE_NAME",
        "forwardedHeaders_enabled",
        "hostBuilder:reloadConfigOnChange",
    ];

    /// <summary>Whether the host reads a key.</summary>
    public static bool Knows(string key) =>
        Keys.Contains(key, StringComparer.OrdinalIgnoreCase)
        || Sections.Any(section => key.StartsWith(section, StringComparison.OrdinalIgnoreCase));

    /// <summary>Whether a key is that of a whole section of the host's.</summary>
    public static bool IsSection(string key) => Sections.Contains($"{key}:", StringComparer.OrdinalIgnoreCase);

    /// <summary>Checks what would otherwise fail in the middle of the start, with a stack trace: addresses, ports and log levels.</summary>
    /// <exception cref="SettingsFault">Some cannot be used; all of those are named.</exception>
    public static void Check(IConfiguration configuration)
    {
        List<string> faults =
        [
            .. AllowedHosts.Faults(configuration),
            .. TelemetrySetup.Faults(configuration),
            .. Listed(configuration, "urls")
                .Where(url => !IsAddress(url))
                .Select(url => $"urls: '{url}'; an address such as http://localhost:5000 is expected"),
            .. from key in new[] { "http_ports", "https_ports" }
            from port in Listed(configuration, key)
            where !IsPort(port)
            select $"{key}: '{port}'; a port from 0 to 65535 is expected",
            .. LevelsIn(configuration.GetSection("Logging"))
                .Where(level => !Enum.TryParse<LogLevel>(level.Value, ignoreCase: true, out _))
                .Select(level => $"{level.Path}: '{level.Value}'; one of {string.Join(", ", Enum.GetNames<LogLevel>())} is expected"),
        ];
        if (faults.Count > 0)
            throw new SettingsFault(faults);
    }

    private static string[] Listed(IConfiguration configuration, string key) =>
        configuration[key]?.Split(';', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries) ?? [];

    private static bool IsAddress(string url)
    {
        try
        {
            return BindingAddress.Parse(url) is { Scheme: "http" or "https", PathBase: "" };
        }
        catch (FormatException)
        {
            return false;
        }
    }

    private static bool IsPort(string port) => port == "*" || ushort.TryParse(port, NumberStyles.None, CultureInfo.InvariantCulture, out _);

    /// <summary>Levels stand in <c>LogLevel</c>, of everything or of one provider.</summary>
    private static IEnumerable<IConfigurationSection> LevelsIn(IConfigurationSection logging) =>
        logging
            .GetChildren()
            .Select(provider => provider.GetSection("LogLevel"))
            .Prepend(logging.GetSection("LogLevel"))
            .SelectMany(levels => levels.GetChildren())
            .Where(level => level.Value is { Length: > 0 });
}
