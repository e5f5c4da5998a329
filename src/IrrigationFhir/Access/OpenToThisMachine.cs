using System.Net;

namespace IrrigationFhir.Access;

/// <summary>An open service is reached from its own machine alone: looked after before it starts, after, and at each connection.</summary>
internal static class OpenToThisMachine
{
    private const string WaysOut =
        "an open service is reached from this machine alone: set Access:Mode to tokens or own, or Access:OpenToNetwork=true where "
        + "something else guards it";

    /// <summary>Settings that would have an open service reached from elsewhere.</summary>
    public static IEnumerable<string> Widened(IConfiguration configuration)
    {
        foreach (var port in new[] { "http_ports", "https_ports" })
        {
            // Of no effect where addresses are given.
            if (configuration["urls"] is not { Length: > 0 } && configuration[port] is { Length: > 0 } ports)
                yield return $"{port}: '{ports}' listens at every address of this machine; {WaysOut}";
        }

        foreach (
            var url in (configuration["urls"] ?? "").Split(';', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries)
        )
        {
            if (!IsHere(url))
                yield return $"urls: '{url}' can be reached from elsewhere; {WaysOut}";
        }

        foreach (var endpoint in configuration.GetSection("Kestrel:Endpoints").GetChildren())
        {
            if (endpoint["Url"] is { Length: > 0 } url && !IsHere(url))
                yield return $"{endpoint.Path}:Url: '{url}' can be reached from elsewhere; {WaysOut}";
        }
    }

    /// <summary>Whether a server's address is one of this machine alone; what cannot be read is not.</summary>
    public static bool IsHere(string url)
    {
        try
        {
            var address = BindingAddress.Parse(url);
            return address.IsUnixPipe
                || address.IsNamedPipe
                || address.Host.Equals("localhost", StringComparison.OrdinalIgnoreCase)
                || (IPAddress.TryParse(address.Host.Trim('[', ']'), out var ip) && IPAddress.IsLoopback(ip));
        }
        catch (FormatException)
        {
            return true; // no address at all: HostSettings says so
        }
    }
}
