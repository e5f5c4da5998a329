using System.Net;
using System.Net.Sockets;

namespace IrrigationFhir.Subscriptions;

/// <summary>The call was not made: the endpoint's address is one that nobody may be sent to.</summary>
internal sealed class AddressNotAllowed() : HttpRequestException("the endpoint's address is not allowed");

/// <summary>
/// Where a call may go: what is asked of an endpoint when somebody subscribes, and of its address each time a connection is made.
/// </summary>
/// <remarks>
/// A name is not trusted to mean the same address twice: the addresses that it has at the moment of connecting are looked at, and the
/// connection goes to one of those. If one of several is not allowed, none is used.
/// </remarks>
internal sealed class OutboundRules(SubscriptionSettings settings) : IEndpointRules
{
    // IANA special-purpose registries for IPv4 (RFC 6890 and updates) and IPv6. What holds an IPv4 address inside is refused as a whole.
    private static readonly IPNetwork[] Private =
    [
        .. new[] { "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "100.64.0.0/10", "fc00::/7" }.Select(IPNetwork.Parse),
    ];

    private static readonly IPNetwork[] Never =
    [
        .. new[]
        {
            "0.0.0.0/8",
            "127.0.0.0/8",
            "169.254.0.0/16",
            "192.0.0.0/24",
            "192.0.2.0/24",
            "192.88.99.0/24",
            "198.18.0.0/15",
            "198.51.100.0/24",
            "203.0.113.0/24",
            "224.0.0.0/4",
            "240.0.0.0/4",
            "::/96",
            "64:ff9b::/96",
            "64:ff9b:1::/48",
            "100::/64",
            "2001::/23",
            "2001:db8::/32",
            "2002::/16",
            "3fff::/20",
            "5f00::/16",
            "fe80::/10",
            "fec0::/10",
            "ff00::/8",
        }.Select(IPNetwork.Parse),
    ];

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

    /// <summary>Whether a connection may go to an address.</summary>
    public bool Allows(IPAddress address)
    {
        if (address.IsIPv4MappedToIPv6)
            address = address.MapToIPv4();
        if (IPAddress.IsLoopback(address))
            return settings.AllowLoopback;
        if (Array.Exists(Never, network => network.Contains(address)))
            return false;
        return !Array.Exists(Private, network => network.Contains(address)) || settings.Networks.Any(network => network.Contains(address));
    }

    /// <summary>Connects to one of the addresses that a host has now.</summary>
    /// <param name="host">Name and port.</param>
    /// <param name="resolve">Finds the addresses of a name.</param>
    /// <param name="stop">Gives up.</param>
    /// <exception cref="AddressNotAllowed">One of them is not allowed.</exception>
    /// <exception cref="SocketException">There is none, or none answers.</exception>
    public async ValueTask<Stream> Connect(DnsEndPoint host, ResolveAddresses resolve, CancellationToken stop)
    {
        var addresses = IPAddress.TryParse(host.Host, out var literal) ? [literal] : await resolve(host.Host, stop);
        if (addresses.Length == 0)
            throw new SocketException((int)SocketError.HostNotFound);
        if (!addresses.All(Allows))
            throw new AddressNotAllowed();
        var socket = new Socket(SocketType.Stream, ProtocolType.Tcp) { NoDelay = true };
        try
        {
            await socket.ConnectAsync(addresses, host.Port, stop);
            return new NetworkStream(socket, ownsSocket: true);
        }
        catch
        {
            socket.Dispose();
            throw;
        }
    }

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
