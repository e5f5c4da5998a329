using System.Globalization;
using System.Net;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;

namespace IrrigationFhir.Access;

/// <summary>Who is let in.</summary>
internal enum AccessMode
{
    /// <summary>Everybody on this machine, and nobody else.</summary>
    Open,

    /// <summary>Whoever brings a token of the site's issuer.</summary>
    Tokens,

    /// <summary>Whoever brings a token that this service issued to a client that is registered here.</summary>
    Own,
}

/// <summary>Settings of access control, section <c>Access</c> of the configuration.</summary>
internal sealed class AccessSettings
{
    /// <summary><c>open</c>, <c>tokens</c> or <c>own</c>. Default <c>open</c>: this machine only.</summary>
    public AccessMode Mode { get; set; }

    /// <summary>
    /// Whether an open service may be reached from elsewhere: somebody else guards it (a gateway, a port of a container that is published
    /// on this machine alone). Said at each start and at <c>/health/ready</c>. Default false.
    /// </summary>
    public bool OpenToNetwork { get; set; }

    /// <summary>
    /// The issuer whose tokens are good (<c>tokens</c>), as its <c>iss</c>; its keys are found by <c>.well-known/openid-configuration</c>
    /// below it. No default.
    /// </summary>
    public string? Issuer { get; set; }

    /// <summary>
    /// Whom tokens have to be for, as their <c>aud</c>. Default: <c>Fhir:BaseUrl</c>; with <c>own</c> and without that, the FHIR base as
    /// the request addresses it.
    /// </summary>
    public string? Audience { get; set; }

    /// <summary>The claim of a token that names the facilities its client sees; without it all are seen. No default.</summary>
    public string? FacilityClaim { get; set; }

    /// <summary>
    /// The claim of a token that names its patient (<c>tokens</c>): <c>patient/</c> scopes reach what is about that one. Without it they
    /// grant nothing. No default.
    /// </summary>
    public string? PatientClaim { get; set; }

    /// <summary>
    /// The system of the identifier in <see cref="PatientClaim"/>. Without it the claim says both, as <c>system|value</c>. No default.
    /// </summary>
    public string? PatientSystem { get; set; }

    /// <summary>The facilities that are served, by the names that registrations and tokens use. Default: one without a name.</summary>
    public string[] Facilities { get; set; } = [];

    /// <summary>
    /// The file in which clients are registered, re-read when it changes. Needed with <c>own</c>; with <c>tokens</c> it says who of the
    /// issuer's clients is let in, and how far. No default.
    /// </summary>
    public string? ClientsFile { get; set; }

    /// <summary>
    /// A file with the key, 32 bytes in base64, that seals the signing keys in the store (<c>own</c>); nobody but its owner may read it.
    /// Default: <c>access.key</c> in the data folder, made by the first start.
    /// </summary>
    public string? KeyFile { get; set; }

    /// <summary>Most seconds that a token of ours lives (<c>own</c>). Default 300, range 30 to 300.</summary>
    public int TokenSeconds { get; set; } = 300;

    /// <summary>
    /// Networks of the house, as <c>10.20.0.0/16</c>, in which the issuer, or a client's address of keys, may lie although their addresses
    /// are private. Default none.
    /// </summary>
    public string[] PrivateNetworks { get; set; } = [];

    /// <summary>Whether issuer and clients' keys may lie on this machine, without TLS too: for development. Default false.</summary>
    public bool AllowLoopback { get; set; }

    /// <summary>
    /// Path of a PEM file with the certificate authorities by which issuer and clients' addresses of keys are trusted. Default: those of
    /// the system. A file that is set replaces them.
    /// </summary>
    public string? CertificateAuthorities { get; set; }

    /// <summary>
    /// Path of a PEM file with the certificate authorities that vouch for the certificates of gateways, where registrations name those by
    /// <c>dns:</c> or <c>uri:</c>. No default: without it the SHA-256 in a registration is the trust.
    /// </summary>
    public string? ClientAuthorities { get; set; }

    /// <summary>
    /// Networks of the proxies whose <c>X-Forwarded-For</c> and <c>X-Forwarded-Proto</c> are believed. Default none: nobody's are.
    /// </summary>
    public string[] Proxies { get; set; } = [];

    /// <summary>
    /// Whether requests with tokens may come unencrypted from other machines, and from no known proxy: something else encrypts them (a
    /// service mesh). Said at each start. Default false: such an address ends the start.
    /// </summary>
    public bool PlainHttp { get; set; }

    /// <summary>Requests a second and client, over time. Default 50, range 1 to 100,000; a registration may say otherwise.</summary>
    public int RequestsPerSecond { get; set; } = 50;

    /// <summary>Requests of a client at once after a pause. Default 200, range 1 to 1,000,000; a registration may say otherwise.</summary>
    public int Burst { get; set; } = 200;

    /// <summary>Access tokens a minute and client. Default 10, range 1 to 10,000.</summary>
    public int TokensPerMinute { get; set; } = 10;

    /// <summary>Exports of a client that wait or run at once. Default 2, range 1 to 8, which is what all clients have together.</summary>
    public int ExportsAtOnce { get; set; } = 2;

    /// <summary>Requests of a client for rows of views at once. Default 4, range 1 to 4, which is what all have together.</summary>
    public int ViewRunsAtOnce { get; set; } = 4;

    /// <summary>
    /// Requests a minute with a token, or assertion, that is none, from one network (/24, of IPv6 /56), after which further ones have to
    /// wait; good ones are answered. Default 60, range 1 to 100,000.
    /// </summary>
    public int FailuresPerMinute { get; set; } = 60;

    /// <summary><see cref="PrivateNetworks"/>, read.</summary>
    public IReadOnlyList<IPNetwork> Networks { get; private set; } = [];

    /// <summary><see cref="Proxies"/>, read.</summary>
    public IReadOnlyList<IPNetwork> KnownProxies { get; private set; } = [];

    /// <summary><see cref="CertificateAuthorities"/>, read; null for those of the system.</summary>
    public X509Certificate2Collection? Authorities { get; private set; }

    /// <summary><see cref="ClientAuthorities"/>, read; null where there are none.</summary>
    public X509Certificate2Collection? VouchForClients { get; private set; }

    /// <summary>Who stands in <see cref="ClientsFile"/>; nobody where there is none.</summary>
    public Registrations Registered { get; private set; } = Registrations.None;

    /// <summary>
    /// How long is kept who did what: whole days older than that are taken away. Default 3653 days (10 years), at least 1 day; our
    /// judgement, and a site's law may ask for more.
    /// </summary>
    public TimeSpan AuditKeep { get; set; } = TimeSpan.FromDays(3653);

    /// <summary>
    /// With more patients than these shown to one client within an hour, that is alerted: in the log, as a figure and as an AuditEvent.
    /// Default 500, range 0 (never) to 100,000; our judgement: more than a hospital irrigates at once.
    /// </summary>
    public int AlertPatientsPerHour { get; set; } = 500;

    /// <summary>Whether TLS has to end at every address that is reached from elsewhere.</summary>
    public bool NeedsTls => Mode != AccessMode.Open && Proxies.Length == 0 && !PlainHttp;

    /// <summary>Whether nobody but this machine may reach it.</summary>
    public bool IsOfThisMachine => Mode == AccessMode.Open && !OpenToNetwork;

    /// <summary>Reads and checks the section.</summary>
    /// <exception cref="SettingsFault">One or more settings cannot be used; the message names all of them.</exception>
    public static AccessSettings Read(IConfiguration configuration) =>
        SettingsSection.Read<AccessSettings>(configuration, "Access", read => read.Faults(configuration));

    /// <summary>Whether a text can be the name of a facility.</summary>
    public static bool IsFacility(string name) =>
        name.Length is > 0 and <= 64 && name.All(letter => char.IsAsciiLetterOrDigit(letter) || letter is '.' or '-' or '_');

    private IEnumerable<string> Faults(IConfiguration configuration)
    {
        if (!Enum.IsDefined(Mode))
            yield return $"Access:Mode: {Mode}; open, tokens or own is expected";
        if (IsOfThisMachine)
        {
            foreach (var fault in OpenToThisMachine.Widened(configuration))
                yield return fault;
            if (configuration["AllowedHosts"]?.Split(';', StringSplitOptions.TrimEntries).Contains("*") is true)
                yield return "AllowedHosts: '*' lets pages from elsewhere ask an open service; name the hosts";
        }

        foreach (var name in Facilities.Where(name => !IsFacility(name)))
            yield return $"Access:Facilities: '{name}'; 1 to 64 letters, digits, dots, hyphens or underscores are expected";
        foreach (var name in Facilities.GroupBy(name => name).Where(group => group.Count() > 1).Select(group => group.Key))
            yield return $"Access:Facilities: '{name}'; named twice";
        if (NeedsTls)
        {
            foreach (var fault in TokensInTheClear.Faults(configuration))
                yield return fault;
        }

        if (PlainHttp && Mode == AccessMode.Open)
            yield return "Access:PlainHttp: true; an open service asks for no tokens";
        if (PatientClaim is not null && Mode != AccessMode.Tokens)
            yield return "Access:PatientClaim: of effect with Access:Mode=tokens alone: tokens of this service name no patient";
        if (PatientSystem is not null && PatientClaim is null)
            yield return "Access:PatientSystem: without Access:PatientClaim no token names a patient";
        if (PatientSystem is not null && !Uri.TryCreate(PatientSystem, UriKind.Absolute, out _))
            yield return $"Access:PatientSystem: '{PatientSystem}'; an absolute URI is expected";
        if (Mode != AccessMode.Open && OpenToNetwork)
            yield return "Access:OpenToNetwork: true; it is for Access:Mode=open alone";
        if (AuditKeep < TimeSpan.FromDays(1) || AuditKeep > TimeSpan.FromDays(36_525))
            yield return $"Access:AuditKeep: '{AuditKeep}'; 1 day (1.00:00:00) to 100 years is expected";
        if (AlertPatientsPerHour is < 0 or > 100_000)
            yield return $"Access:AlertPatientsPerHour: {AlertPatientsPerHour}; 0 (never) to 100000 is expected";
        foreach (
            var fault in Mode == AccessMode.Tokens ? OfIssuer(configuration)
            : Mode == AccessMode.Own ? OfOwn(configuration)
            : []
        )
            yield return fault;
        foreach (var fault in OfClients().Concat(OfNetworks(configuration)).Concat(OfLimits()))
            yield return fault;
    }

    private IEnumerable<string> OfIssuer(IConfiguration configuration)
    {
        if (Issuer is null)
            yield return "Access:Issuer: missing; with Access:Mode=tokens the address of the issuer is expected";
        else if (!Uri.TryCreate(Issuer, UriKind.Absolute, out var issuer) || !IsFetchable(issuer) || issuer.Query != "")
            yield return $"Access:Issuer: '{Issuer}'; an absolute https address without query is expected";
        if (Audience is null && configuration["Fhir:BaseUrl"] is not { Length: > 0 })
            yield return "Access:Audience: missing; with Access:Mode=tokens it is expected, or Fhir:BaseUrl";
    }

    private IEnumerable<string> OfOwn(IConfiguration configuration)
    {
        if (ClientsFile is null)
            yield return "Access:ClientsFile: missing; with Access:Mode=own the file in which clients are registered is expected";
        if (configuration["Fhir:BaseUrl"] is { Length: > 0 } address && !address.TrimEnd('/').EndsWith("/fhir", StringComparison.Ordinal))
            yield return $"Fhir:BaseUrl: '{address}'; with Access:Mode=own an address that ends with /fhir is expected";
        if (
            configuration["Fhir:BaseUrl"] is not { Length: > 0 }
            && configuration["AllowedHosts"]?.Contains('*', StringComparison.Ordinal) is true
        )
            yield return "Fhir:BaseUrl: missing; where any host is allowed, whom a token is for would be the caller's choice";
        var file = KeyFileIn(configuration["Data:Folder"] is { Length: > 0 } folder ? folder : "data");
        if ((KeyFile is not null || File.Exists(file)) && SealingKey.Fault(file) is { } fault)
            yield return $"Access:KeyFile: '{file}' {fault}";
        if (TokenSeconds is < 30 or > 300)
            yield return $"Access:TokenSeconds: {TokenSeconds}; 30 to 300 is expected";
    }

    private IEnumerable<string> OfClients()
    {
        if (Mode == AccessMode.Open || ClientsFile is not { } file)
            return [];
        try
        {
            Registered = Registrations.Read(file, this);
            return [];
        }
        catch (SettingsFault faults)
        {
            return faults.Message.Split(Environment.NewLine).Select(fault => $"Access:ClientsFile: {fault}");
        }
    }

    private List<string> OfNetworks(IConfiguration configuration)
    {
        var faults = new List<string>();
        Networks = Read(nameof(PrivateNetworks), PrivateNetworks, faults);
        KnownProxies = Read(nameof(Proxies), Proxies, faults);
        if (bool.TryParse(configuration["forwardedHeaders_enabled"], out var anybody) && anybody)
            faults.Add("forwardedHeaders_enabled: true; it believes whoever says so: Access:Proxies names those that are believed");
        if (KnownProxies.Any(network => network.PrefixLength == 0))
            faults.Add("Access:Proxies: a network that is everything; those of the proxies alone are expected");
        if (Proxies.Length > 0 && Mode == AccessMode.Open && !OpenToNetwork)
            faults.Add("Access:Proxies: an open service is reached from this machine alone, and behind no proxy");
        Authorities = Certificates(nameof(CertificateAuthorities), CertificateAuthorities, faults);
        VouchForClients = Certificates(nameof(ClientAuthorities), ClientAuthorities, faults);
        return faults;
    }

    private static X509Certificate2Collection? Certificates(string name, string? path, List<string> faults)
    {
        if (path is null)
            return null;
        var read = new X509Certificate2Collection();
        try
        {
            read.ImportFromPemFile(path);
            if (read.Count == 0)
                faults.Add($"Access:{name}: {path}; it holds no certificate; a PEM file is expected");
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException or CryptographicException)
        {
            faults.Add($"Access:{name}: {path}; it cannot be read; a PEM file is expected");
        }

        return read;
    }

    private IEnumerable<string> OfLimits()
    {
        (string Name, int Value, int Most)[] limits =
        [
            (nameof(RequestsPerSecond), RequestsPerSecond, 100_000),
            (nameof(Burst), Burst, 1_000_000),
            (nameof(TokensPerMinute), TokensPerMinute, 10_000),
            (nameof(FailuresPerMinute), FailuresPerMinute, 100_000),
            (nameof(ExportsAtOnce), ExportsAtOnce, 8),
            (nameof(ViewRunsAtOnce), ViewRunsAtOnce, 4),
        ];
        return limits
            .Where(limit => limit.Value < 1 || limit.Value > limit.Most)
            .Select(limit =>
                string.Create(CultureInfo.InvariantCulture, $"Access:{limit.Name}: {limit.Value}; 1 to {limit.Most} is expected")
            );
    }

    /// <summary><see cref="KeyFile"/>, or where it is by default.</summary>
    /// <param name="folder">The data folder.</param>
    public string KeyFileIn(string folder) => KeyFile ?? Path.Combine(folder, "access.key");

    /// <summary>Whether keys may be fetched from an address, as far as it says by itself.</summary>
    public bool IsFetchable(Uri address) =>
        address is { IsAbsoluteUri: true, UserInfo: "", Fragment: "" }
        && (address.Scheme == "https" || (address.Scheme == "http" && address.IsLoopback && AllowLoopback));

    private static List<IPNetwork> Read(string name, string[] networks, List<string> faults)
    {
        var read = new List<IPNetwork>();
        foreach (var network in networks)
        {
            if (IPNetwork.TryParse(network, out var known))
                read.Add(known);
            else
                faults.Add($"Access:{name}: {network}; a network such as 10.20.0.0/16 is expected");
        }

        return read;
    }
}
