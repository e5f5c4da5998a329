using System.Net;
using IrrigationFhir.Outbound;

namespace IrrigationFhir.Subscriptions;

/// <summary>
/// Where a call may go: what is asked of an endpoint when somebody subscribes, and of its address each time a connection is made.
/// </summary>
/// <param name="settings">The rules.</param>
/// <param name="own">The certificate by which the service is known to endpoints; null for none.</param>
internal sealed class OutboundRules(SubscriptionSettings settings, PemCertificate? own = null) : IEndpointRules
{
    private readonly Connections _connections = new(settings.Networks, settings.AllowLoopback);

    /// <summary>Why an endpoint may not be told, in a sentence; null where it may, as far as its address says by itself.</summary>
    public string? Refusal(Uri endpoint)
    {
        if (!endpoint.IsAbsoluteUri || endpoint.Scheme is not ("https" or "http"))
            return "an absolute https address is expected";
        if (endpoint.UserInfo.Length > 0)
            return "no user or password in the address: put them into channel.header";
        if (endpoint.Fragment.Length > 0)
            return "an address without # is expected";
        if (IsLoopback(endpoint))
            return settings.AllowLoopback ? null : "this machine is not told (Subscriptions:AllowLoopback, for development)";
        if (endpoint.Scheme != "https")
            return "https is expected";
        if (!settings.AllowedHosts.Any(pattern => Matches(pattern, endpoint)))
            return "the host and port are not among Subscriptions:AllowedHosts";
        return IPAddress.TryParse(endpoint.DnsSafeHost, out var address) && !Allows(address)
            ? "the address lies in a network that is not told (Subscriptions:PrivateNetworks)"
            : null;
    }

    /// <inheritdoc cref="Connections.Allows"/>
    public bool Allows(IPAddress address) => _connections.Allows(address);

    /// <inheritdoc cref="Connections.Connect"/>
    public ValueTask<Stream> Connect(DnsEndPoint host, ResolveAddresses resolve, CancellationToken stop) =>
        _connections.Connect(host, resolve, stop);

    /// <inheritdoc cref="Connections.Handler"/>
    /// <remarks>A handler is made anew every two minutes: a certificate that was replaced is shown from then on.</remarks>
    public SocketsHttpHandler Handler(ResolveAddresses resolve) => _connections.Handler(resolve, settings.Authorities, own?.Now);

    private static bool IsLoopback(Uri endpoint) =>
        endpoint.IsLoopback
        || (
            IPAddress.TryParse(endpoint.DnsSafeHost, out var address)
            && IPAddress.IsLoopback(address.IsIPv4MappedToIPv6 ? address.MapToIPv4() : address)
        );

    private static bool Matches(string pattern, Uri endpoint)
    {
        var any = pattern.StartsWith("*.", StringComparison.Ordinal);
        var allowed = new Uri($"https://{(any ? pattern[2..] : pattern)}");
        return allowed.Port == endpoint.Port
            && (
                any
                    ? endpoint.IdnHost.EndsWith($".{allowed.IdnHost}", StringComparison.OrdinalIgnoreCase)
                    : string.Equals(endpoint.IdnHost, allowed.IdnHost, StringComparison.OrdinalIgnoreCase)
            );
    }
}
