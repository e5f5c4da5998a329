using IrrigationFhir.Access;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Access;

/// <summary>
/// Tells who asks by what they say themselves, so that what a caller may do can be tried without making tokens: whether tokens are judged
/// right is tried elsewhere. A token is client, scopes and facilities on a line each, percent-encoded; without the last all
/// facilities are seen.
/// </summary>
internal sealed class NamedCallers : ICallers
{
    /// <summary>Clients that may have nothing any more that lasts.</summary>
    public HashSet<string> Ended { get; } = [];

    /// <summary>A header for a client.</summary>
    public static string Bearer(string client, string scopes, params string[] facilities) =>
        "Bearer " + Uri.EscapeDataString($"{client}\n{scopes}{(facilities.Length == 0 ? "" : $"\n{string.Join(',', facilities)}")}");

    /// <summary>Puts it in place of the service's own.</summary>
    public void Into(IServiceCollection services) => services.AddSingleton<ICallers>(this);

    public Task<(Caller? Caller, string? Refusal)> Of(HttpContext http)
    {
        if (http.Request.Headers.Authorization.ToString() is not ['B', 'e', 'a', 'r', 'e', 'r', ' ', .. var text])
            return Task.FromResult<(Caller?, string?)>((null, "not-authenticated"));
        var parts = Uri.UnescapeDataString(text).Split('\n');
        var caller = new Caller(parts[0], Scope.ReadAll(parts[1]))
        {
            Facilities = parts.Length > 2 ? parts[2].Split(',', StringSplitOptions.RemoveEmptyEntries) : null,
            MayReadAudit = parts[0] == "auditor",
            Token = $"token-of-{parts[0]}",
        };
        return Task.FromResult<(Caller?, string?)>((caller, null));
    }

    public Caller? Still(LastingAccess then) => Ended.Contains(then.Client) ? null : then.Within(null, null);
}
