using Microsoft.Extensions.Configuration.Memory;

namespace IrrigationFhir.Rest;

/// <summary>Keeps out of the log what the framework writes of requests: paths and queries hold ids of patients and episodes.</summary>
/// <remarks>
/// Levels and scopes are the operator's matter (<c>Logging</c>), and whoever looks for a fault turns them up. So this is no rule among
/// theirs, which a rule for one provider would outdo, but a condition on every rule: no configuration lifts it.
/// </remarks>
internal static class RequestLogging
{
    /// <summary>
    /// Nothing of these at any level: the start and end of each request, with the scope that every line in between would carry, request
    /// lines that cannot be read, and calls to endpoints, whose addresses may hold secrets.
    /// </summary>
    private static readonly string[] Never =
    [
        "Microsoft.AspNetCore.Hosting.Diagnostics",
        "Microsoft.AspNetCore.Server.Kestrel.BadRequests",
        "System.Net.Http.",
        "Microsoft.Extensions.Http.",
    ];

    /// <summary>Below Information these write what they see: the path that is matched, the value that cannot be bound, the host.</summary>
    private const string Framework = "Microsoft.AspNetCore.";

    /// <summary>Where nobody says otherwise the framework tells of what is wrong, and not of every step of every request.</summary>
    public static void SayLessOfRequests(this IConfigurationBuilder configuration) =>
        configuration.Sources.Insert(
            0,
            new MemoryConfigurationSource { InitialData = [new("Logging:LogLevel:Microsoft.AspNetCore", nameof(LogLevel.Warning))] }
        );

    /// <summary>Adds the condition, to the rules of the configuration and to each that comes by a reload.</summary>
    public static IServiceCollection KeepRequestsOutOfTheLog(this IServiceCollection services) =>
        services.PostConfigure<LoggerFilterOptions>(options =>
        {
            // Where no rule fits, none is asked: so there is one that fits everything, before all others.
            List<LoggerFilterRule> rules = [new(null, null, options.MinLevel, null), .. options.Rules];
            options.Rules.Clear();
            foreach (var rule in rules)
                options.Rules.Add(Guarded(rule));
        });

    private static LoggerFilterRule Guarded(LoggerFilterRule rule) =>
        new(
            rule.ProviderName,
            rule.CategoryName,
            rule.LogLevel,
            (provider, category, level) => Allows(category, level) && (rule.Filter?.Invoke(provider, category, level) ?? true)
        );

    private static bool Allows(string? category, LogLevel level) =>
        category is null
        || (
            !Array.Exists(Never, name => category.StartsWith(name, StringComparison.OrdinalIgnoreCase))
            && (level >= LogLevel.Information || !category.StartsWith(Framework, StringComparison.OrdinalIgnoreCase))
        );
}
