using System.Net;
using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Problems;
using Microsoft.AspNetCore.HostFiltering;
using Microsoft.Extensions.Primitives;

namespace IrrigationFhir.Rest;

/// <summary>Hosts that the service answers to: without <c>Fhir:BaseUrl</c> links carry the host that the request names.</summary>
/// <remarks>
/// Setting <c>AllowedHosts</c>, as ASP.NET Core has it: names without ports, <c>*.domain</c>, <c>*</c> for any, separated by semicolons.
/// Where it is not set, any host if links come from <c>Fhir:BaseUrl</c> and the service is not of this machine alone, and otherwise names
/// and addresses of this machine: a name of elsewhere that resolves to it would let a page from there ask an open service. Probes and
/// <c>/metrics</c> write no links, and are asked by the address of a container: they answer to any.
/// </remarks>
internal static class AllowedHosts
{
    private const string Key = "AllowedHosts";

    private static readonly string[] Anywhere = ["/health", "/metrics"];

    /// <summary>Takes the place of the framework's own filter, whose refusal is no OperationOutcome.</summary>
    public static IServiceCollection AddAllowedHosts(this IServiceCollection services) =>
        services.Configure<HostFilteringOptions>(framework => framework.AllowedHosts = ["*"]);

    /// <summary>Refuses requests to other hosts (421, RFC 9110, 7.4). Put it after what turns failures into OperationOutcomes.</summary>
    public static WebApplication UseAllowedHosts(this WebApplication app)
    {
        var hosts = Read(app.Configuration);
        var any =
            hosts.Contains("*")
            || (
                hosts.Count == 0
                && app.Services.GetRequiredService<FhirSettings>().BaseUrl is not null
                && !app.Services.GetRequiredService<AccessSettings>().IsOfThisMachine
            );
        if (any)
            return app;
        app.Use(
            (context, next) =>
                IsAnywhere(context.Request.Path) || Allows(context.Request.Host, hosts) ? next(context) : Refused.ExecuteAsync(context)
        );
        return app;
    }

    /// <summary>What is wrong with the setting.</summary>
    public static IEnumerable<string> Faults(IConfiguration configuration) =>
        Read(configuration)
            .Select(host => host.Value!)
            .Where(host => host != "*" && Uri.CheckHostName(Named(host)) == UriHostNameType.Unknown)
            .Select(host => $"{Key}: '{host}'; a host without scheme and port, *.domain or * is expected, several separated by semicolons");

    private static OutcomeResult Refused =>
        new(
            StatusCodes.Status421MisdirectedRequest,
            Outcome.Of(
                Outcome.Problem(
                    "host-not-allowed",
                    "a Host that this service does not answer to",
                    "one that AllowedHosts names, or Fhir:BaseUrl set to the address that clients see",
                    null
                )
            )
        );

    private static List<StringSegment> Read(IConfiguration configuration) =>
        [
            .. (configuration[Key] ?? "")
                .Split(';', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries)
                .Select(host => new StringSegment(host)),
        ];

    private static string Named(string host) => (host.StartsWith("*.", StringComparison.Ordinal) ? host[2..] : host).Trim('[', ']');

    private static bool IsAnywhere(PathString path) =>
        Array.Exists(Anywhere, start => path.StartsWithSegments(start, StringComparison.Ordinal));

    private static bool Allows(HostString host, List<StringSegment> hosts) =>
        host.HasValue && (hosts.Count == 0 ? IsThisMachine(host.Host) : HostString.MatchesAny(host.Value, hosts));

    private static bool IsThisMachine(string host) =>
        host.Equals("localhost", StringComparison.OrdinalIgnoreCase)
        || (IPAddress.TryParse(host.Trim('[', ']'), out var address) && IPAddress.IsLoopback(address));
}
