using System.Net;
using System.Net.Security;
using System.Net.Sockets;
using System.Security.Authentication;
using System.Security.Cryptography.X509Certificates;

namespace IrrigationFhir.Outbound;

/// <summary>The call was not made: the address is one that nobody may be sent to.</summary>
internal sealed class AddressNotAllowed() : HttpRequestException("the endpoint's address is not allowed");

/// <summary>Finds the addresses of a name, each time anew.</summary>
internal delegate Task<IPAddress[]> ResolveAddresses(string host, CancellationToken stop);

/// <summary>Where a connection may go, looked at each time that one is made.</summary>
/// <remarks>
/// A name is not trusted to mean the same address twice: the addresses that it has at the moment of connecting are looked at, and the
/// connection goes to one of those. If one of several is not allowed, none is used.
/// </remarks>
/// <param name="privateNetworks">Private networks that it may go to all the same.</param>
/// <param name="allowLoopback">Whether it may go to this machine.</param>
internal sealed class Connections(IReadOnlyList<IPNetwork> privateNetworks, bool allowLoopback)
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

    /// <summary>Whether a connection may go to an address.</summary>
    public bool Allows(IPAddress address)
    {
        if (address.IsIPv4MappedToIPv6)
            address = address.MapToIPv4();
        if (IPAddress.IsLoopback(address))
            return allowLoopback;
        if (Array.Exists(Never, network => network.Contains(address)))
            return false;
        return !Array.Exists(Private, network => network.Contains(address)) || privateNetworks.Any(network => network.Contains(address));
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

    /// <summary>
    /// A handler whose connections are made here: no redirect, no proxy, no cookie, nothing unpacked, and a name looked up anew after a
    /// while.
    /// </summary>
    /// <param name="resolve">Finds the addresses of a name.</param>
    /// <param name="authorities">Whose certificates are trusted; null for those of the system.</param>
    /// <param name="own">The certificate by which the service is known where it is asked for one; null for none.</param>
    public SocketsHttpHandler Handler(
        ResolveAddresses resolve,
        X509Certificate2Collection? authorities,
        SslStreamCertificateContext? own = null
    )
    {
        var handler = new SocketsHttpHandler
        {
            AllowAutoRedirect = false,
            UseProxy = false,
            UseCookies = false,
            Credentials = null,
            ConnectCallback = (context, stop) => Connect(context.DnsEndPoint, resolve, stop),
            ActivityHeadersPropagator = null, // nobody outside needs to know how our requests hang together
            AutomaticDecompression = DecompressionMethods.None,
            PooledConnectionLifetime = TimeSpan.FromMinutes(2), // so that a name is looked up anew
            MaxResponseHeadersLength = 16, // KiB
            MaxResponseDrainSize = 16 * 1024,
            ResponseDrainTimeout = TimeSpan.FromMilliseconds(200),
        };
        handler.SslOptions.EnabledSslProtocols = SslProtocols.Tls12 | SslProtocols.Tls13;
        handler.SslOptions.ClientCertificateContext = own;
        if (authorities is not null)
        {
            handler.SslOptions.CertificateChainPolicy = new X509ChainPolicy
            {
                TrustMode = X509ChainTrustMode.CustomRootTrust,
                RevocationMode = X509RevocationMode.NoCheck,
            };
            handler.SslOptions.CertificateChainPolicy.CustomTrustStore.AddRange(authorities);
        }

        return handler;
    }
}
