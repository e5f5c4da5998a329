using System.Globalization;
using System.Net;
using System.Security.Cryptography.X509Certificates;
using IrrigationFhir.Outbound;

namespace IrrigationFhir.Subscriptions;

/// <summary>Settings of subscriptions, section <c>Subscriptions</c> of the configuration.</summary>
internal sealed class SubscriptionSettings
{
    /// <summary>
    /// Hosts that may be told, each <c>host</c> (port 443), <c>host:port</c> or <c>*.domain</c> (any host below it). Default none: nothing
    /// about a patient leaves before somebody has said where to.
    /// </summary>
    public string[] AllowedHosts { get; set; } = [];

    /// <summary>
    /// Networks of the house, as <c>10.20.0.0/16</c>, that an allowed host may lie in although their addresses are private. Default none.
    /// </summary>
    public string[] PrivateNetworks { get; set; } = [];

    /// <summary>Whether endpoints on this machine may be told, without TLS too: for development. Default false.</summary>
    public bool AllowLoopback { get; set; }

    /// <summary>
    /// Path of a PEM file with the certificate authorities that endpoints are trusted by. Default: those of the system. A file that is set
    /// replaces them.
    /// </summary>
    public string? CertificateAuthorities { get; set; }

    /// <summary>Most subscriptions that are not off. Default 1,000, range 1 to 100,000.</summary>
    public int Most { get; set; } = 1000;

    /// <summary>How long an endpoint has to answer, unless the subscription says so itself. Default 10 s, range 1 s to 5 min.</summary>
    public TimeSpan Timeout { get; set; } = TimeSpan.FromSeconds(10);

    /// <summary>
    /// How long after the first failure it is tried again; twice that after the next, and so on, with jitter. Default 1 s, range 10 ms to 1
    /// h.
    /// </summary>
    public TimeSpan RetryFirst { get; set; } = TimeSpan.FromSeconds(1);

    /// <summary>The longest time between two attempts. Default 5 min, range 10 ms to 1 day.</summary>
    public TimeSpan RetryLongest { get; set; } = TimeSpan.FromMinutes(5);

    /// <summary>For how long it is tried before the subscription is in error. Default 24 h, range 0 (once) to 30 days.</summary>
    public TimeSpan RetryFor { get; set; } = TimeSpan.FromHours(24);

    /// <summary>How often a handshake is tried before the subscription is in error. Default 3, range 1 to 20.</summary>
    public int HandshakeAttempts { get; set; } = 3;

    /// <summary>Most notifications to one endpoint at once, where several subscriptions share it. Default 4, range 1 to 100.</summary>
    public int AtOncePerEndpoint { get; set; } = 4;

    /// <summary>How long an endpoint is left alone after attempts on it failed in a row. Default 30 s, range 0.5 s to 1 h.</summary>
    public TimeSpan BreakFor { get; set; } = TimeSpan.FromSeconds(30);

    /// <summary>
    /// For how long events are kept for <c>$events</c>. Default 7 days, range 1 h to 3,650 days. What an active subscription is still to be
    /// told is kept longer.
    /// </summary>
    public TimeSpan Keep { get; set; } = TimeSpan.FromDays(7);

    /// <summary>
    /// Path of a PEM file with the certificate by which the service is known to endpoints that ask for one, and behind it those that lead
    /// to its authority. No default: none is shown. Read again when it changes, with its key.
    /// </summary>
    public string? ClientCertificate { get; set; }

    /// <summary>Path of a PEM file with its key, without a password. Default: <see cref="ClientCertificate"/> holds it too.</summary>
    public string? ClientCertificateKey { get; set; }

    /// <summary>Where the certificate lies; null for none.</summary>
    public PemFiles? Own => ClientCertificate is { } path ? new(path, ClientCertificateKey ?? path, null) : null;

    /// <summary><see cref="PrivateNetworks"/>, read.</summary>
    public IReadOnlyList<IPNetwork> Networks { get; private set; } = [];

    /// <summary><see cref="CertificateAuthorities"/>, read; null for those of the system.</summary>
    public X509Certificate2Collection? Authorities { get; private set; }

    /// <summary>Reads and checks the section.</summary>
    /// <exception cref="SettingsFault">One or more settings cannot be used; the message names all of them.</exception>
    public static SubscriptionSettings Read(IConfiguration configuration) =>
        SettingsSection.Read<SubscriptionSettings>(configuration, "Subscriptions", read => read.Faults());

    private IEnumerable<string> Faults()
    {
        foreach (var host in AllowedHosts.Where(host => !IsHost(host)))
            yield return $"Subscriptions:AllowedHosts: {host}; a host, host:port or *.domain is expected";

        var networks = new List<IPNetwork>();
        foreach (var network in PrivateNetworks)
        {
            if (IPNetwork.TryParse(network, out var read))
                networks.Add(read);
            else
                yield return $"Subscriptions:PrivateNetworks: {network}; a network such as 10.20.0.0/16 is expected";
        }

        Networks = networks;
        if (CertificateAuthorities is { } path)
        {
            Authorities = [];
            string? fault = null;
            try
            {
                Authorities.ImportFromPemFile(path);
                if (Authorities.Count == 0)
                    fault = "it holds no certificate";
            }
            catch (Exception failure)
                when (failure is IOException or UnauthorizedAccessException or System.Security.Cryptography.CryptographicException)
            {
                fault = "it cannot be read";
            }

            if (fault is not null)
                yield return $"Subscriptions:CertificateAuthorities: {path}; {fault}; a PEM file is expected";
        }

        if (ClientCertificateKey is not null && ClientCertificate is null)
            yield return "Subscriptions:ClientCertificateKey: without Subscriptions:ClientCertificate it is of no use";
        if (Own is { } files && !PemCertificate.Holds(files))
            yield return $"Subscriptions:ClientCertificate: {files.Path}; with {files.KeyPath} no certificate and its key in PEM";
        if (Most is < 1 or > 100_000)
            yield return $"Subscriptions:Most: {Most}; 1 to 100000 is expected";
        if (HandshakeAttempts is < 1 or > 20)
            yield return $"Subscriptions:HandshakeAttempts: {HandshakeAttempts}; 1 to 20 is expected";
        if (AtOncePerEndpoint is < 1 or > 100)
            yield return $"Subscriptions:AtOncePerEndpoint: {AtOncePerEndpoint}; 1 to 100 is expected";
        foreach (
            var fault in new[]
            {
                Within(nameof(Timeout), Timeout, TimeSpan.FromSeconds(1), TimeSpan.FromMinutes(5)),
                Within(nameof(RetryFirst), RetryFirst, TimeSpan.FromMilliseconds(10), TimeSpan.FromHours(1)),
                Within(nameof(RetryLongest), RetryLongest, TimeSpan.FromMilliseconds(10), TimeSpan.FromDays(1)),
                Within(nameof(RetryFor), RetryFor, TimeSpan.Zero, TimeSpan.FromDays(30)),
                Within(nameof(BreakFor), BreakFor, TimeSpan.FromMilliseconds(500), TimeSpan.FromHours(1)),
                Within(nameof(Keep), Keep, TimeSpan.FromHours(1), TimeSpan.FromDays(3650)),
            }
        )
        {
            if (fault is not null)
                yield return fault;
        }
    }

    private static string? Within(string name, TimeSpan value, TimeSpan least, TimeSpan most) =>
        value >= least && value <= most
            ? null
            : string.Create(CultureInfo.InvariantCulture, $"Subscriptions:{name}: {value}; {least} to {most} is expected");

    private static bool IsHost(string pattern)
    {
        var host = pattern.StartsWith("*.", StringComparison.Ordinal) ? pattern[2..] : pattern;
        return Uri.TryCreate($"https://{host}", UriKind.Absolute, out var url)
            && url.PathAndQuery == "/"
            && url.UserInfo.Length == 0
            && Uri.CheckHostName(url.DnsSafeHost) != UriHostNameType.Unknown;
    }
}
