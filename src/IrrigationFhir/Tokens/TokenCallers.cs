using System.Collections.Concurrent;
using System.Runtime.InteropServices;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using IrrigationFhir.Access;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Tokens;

/// <summary>Who asks, by the access token in the header of the request, or by the certificate of a gateway's connection.</summary>
/// <remarks>
/// A token that was found good is remembered for a minute by its digest: checking the signature is what costs. Whether its client is still
/// registered is looked at each time.
/// </remarks>
internal sealed partial class TokenCallers(
    AccessSettings settings,
    FhirSettings fhir,
    Clients clients,
    SigningKeys ownKeys,
    IssuerOfSite issuer,
    AccessLimits limits,
    GatewayCertificates gateways,
    TimeProvider clock,
    ILogger<TokenCallers> log
) : ICallers
{
    /// <summary>What tokens of a site's issuer may be signed by; our own are ES384.</summary>
    public static readonly IReadOnlyList<string> Algorithms = ["RS256", "RS384", "ES256", "ES384", "PS256"];

    private const string NotGood = "not-authenticated";
    private const int MostRemembered = 10_000;

    /// <summary>Characters of an Authorization header that are near what a request can hold.</summary>
    private const int LongHeader = 4096;

    private static readonly string[] OwnAlgorithms = ["ES384"];
    private static readonly TimeSpan Remembered = TimeSpan.FromMinutes(1);

    private readonly ConcurrentDictionary<(UInt128, UInt128), Known> _known = new();

    // Clients whose long tokens were told: of those that are known alone, so that nobody makes up more.
    private readonly ConcurrentDictionary<string, bool> _long = new();

    /// <inheritdoc/>
    public async Task<(Caller? Caller, string? Refusal)> Of(HttpContext http)
    {
        if (http.Request.Headers.Authorization is not [{ } header])
            return ByCertificate(http) is { } gateway ? (gateway, null) : (null, NotGood);
        if (!header.StartsWith("Bearer ", StringComparison.OrdinalIgnoreCase))
            return (null, NotGood);
        var text = header["Bearer ".Length..].Trim();
        var audience = settings.Audience ?? FhirBase.Of(http.Request, fhir);
        var (key, now) = (Digest(text, audience), clock.GetUtcNow());
        if (_known.TryGetValue(key, out var known) && now < known.Until && known.Clients == clients.Version)
            return IsBound(http, known.Certificate) ? (known.Caller, null) : (null, NotGood);
        var (caller, refusal, until, certificate) = await Judge(http, text, audience, now);
        if (caller is null || !IsBound(http, certificate))
            return (null, limits.IsOneTooMany(http) ? AccessLimits.Code : refusal ?? NotGood);
        if (header.Length > LongHeader && _long.TryAdd(caller.Client, true))
            LogLong(caller.Client, header.Length);

        Remember(key, new(caller, until < now + Remembered ? until : now + Remembered, clients.Version, certificate), now);
        return (caller, null);
    }

    /// <inheritdoc/>
    public Caller? Still(LastingAccess then) =>
        then.Client == Caller.Local.Client ? null // asked for while the service was open
        : !clients.AreRegistered ? then.Within(null, null)
        : clients.Now.Find(then.Client) is { } client ? then.Within(client.Scopes, client.Facilities)
        : null;

    private async Task<(Caller? Caller, string? Refusal, DateTimeOffset Until, string? Certificate)> Judge(
        HttpContext http,
        string text,
        string audience,
        DateTimeOffset now
    )
    {
        var own = settings.Mode == AccessMode.Own;
        var (algorithms, stop) = (own ? OwnAlgorithms : Algorithms, http.RequestAborted);
        if (Jwt.Read(text) is not { } jwt || !algorithms.Contains(jwt.Algorithm) || !IsOfType(jwt.Header("typ"), own))
            return default;
        var named = own ? (await ownKeys.Live(stop)).Published.Where(key => key.Kid == jwt.Kid) : await issuer.Find(jwt.Kid, stop);
        if (!await jwt.IsSignedBy(named.Where(key => PublicKeys.Fits(key, jwt.Algorithm)), algorithms))
            return default;
        var expected = own ? Addresses.Issuer(http.Request, fhir) : settings.Issuer;
        if (
            jwt.Text("iss") != expected
            || jwt.Texts("aud")?.Contains(audience) != true
            || !jwt.HasBegun(now)
            || jwt.Expires is not { } expires
        )
            return default;
        if (expires <= now - Jwt.Skew)
            return (null, "token-expired", default, null);
        return IsUnderstood(jwt, out var certificate) && CallerOf(jwt, own) is { } caller
            ? (caller, null, expires + Jwt.Skew, certificate)
            : default;
    }

    private Caller? CallerOf(Jwt jwt, bool own)
    {
        var id = (own ? jwt.Text("client_id") : jwt.Text("client_id") ?? jwt.Text("azp") ?? jwt.Text("appid") ?? jwt.Text("sub")) ?? "";
        if (id.Length == 0 || id == Caller.Local.Client)
            return null;
        var registered = clients.AreRegistered ? clients.Now.Find(id) : new(id);
        if (registered is null)
            return null;

        // Text with blanks, or a list (each perhaps with blanks): both are met. Some issuers say scp.
        var scopes = jwt.Texts("scope") ?? jwt.Texts("scp") ?? [];
        var asked = scopes.SelectMany(Scope.ReadAll);
        if (PatientOf(jwt) is { } patient)
            asked = asked.Concat(scopes.SelectMany(text => Scope.ReadAll(text, patient)));
        return new(id, registered.Granted(asked))
        {
            Token = jwt.Text("jti"),
            Facilities = Facilities(
                registered,
                own ? null
                    : settings.FacilityClaim is { } claim ? jwt.Texts(claim) ?? []
                    : null
            ),
            MayReadAudit = registered.Audit,
        };
    }

    /// <summary>The identifier of the patient that a token names; null where it names none, or the system is not known.</summary>
    private Token? PatientOf(Jwt jwt)
    {
        if (settings is not { Mode: AccessMode.Tokens, PatientClaim: { } claim } || jwt.Text(claim) is not { Length: > 0 } text)
            return null;
        if (settings.PatientSystem is { } system)
            return new(system, text);
        return text.Split('|') is [{ Length: > 0 } named, { Length: > 0 } value] ? new(named, value) : null;
    }

    private static IReadOnlyList<string>? Facilities(Registration registered, IReadOnlyList<string>? claimed) =>
        claimed is null ? registered.Facilities
        : registered.Facilities is null ? claimed
        : [.. registered.Facilities.Intersect(claimed)];

    private static bool IsOfType(string? type, bool own) =>
        type?.ToLowerInvariant() switch
        {
            "at+jwt" or "application/at+jwt" => true,
            "jwt" => !own, // ours say what they are: an assertion is none
            _ => false,
        };

    /// <summary>Whether what it is bound to can be looked at here (RFC 7800): a certificate can (RFC 8705), other keys cannot.</summary>
    private static bool IsUnderstood(Jwt jwt, out string? certificate)
    {
        certificate = null;
        if (jwt.Claim("cnf") is not { } confirmation)
            return true;
        if (
            confirmation.ValueKind != JsonValueKind.Object
            || confirmation.EnumerateObject().ToList() is not [{ Name: "x5t#S256", Value.ValueKind: JsonValueKind.String } only]
        )
            return false;
        certificate = only.Value.GetString();
        return true;
    }

    private static bool IsBound(HttpContext http, string? certificate) =>
        certificate is null
        || (http.Connection.ClientCertificate is { } shown && Base64UrlEncoder.Encode(SHA256.HashData(shown.RawData)) == certificate);

    private Caller? ByCertificate(HttpContext http)
    {
        if (http.Request.Headers.Authorization.Count > 0 || http.Connection.ClientCertificate is not { } shown)
            return null;
        return gateways.Find(shown) is { } client
            ? new(client.Id, client.Granted(client.Scopes ?? [])) { Facilities = client.Facilities, MayReadAudit = client.Audit }
            : null;
    }

    private void Remember((UInt128, UInt128) key, Known known, DateTimeOffset now)
    {
        if (_known.Count >= MostRemembered)
        {
            foreach (var (old, _) in _known.Where(pair => pair.Value.Until <= now || pair.Value.Clients != known.Clients))
                _known.TryRemove(old, out _);
            if (_known.Count >= MostRemembered)
                _known.Clear();
        }

        _known[key] = known;
    }

    /// <summary>Of the token and of whom it has to be for: what that is may follow from the address that the request was sent to.</summary>
    private static (UInt128, UInt128) Digest(string token, string audience)
    {
        Span<byte> digest = stackalloc byte[SHA256.HashSizeInBytes];
        SHA256.HashData(Encoding.UTF8.GetBytes($"{audience}\n{token}"), digest);
        return (MemoryMarshal.Read<UInt128>(digest), MemoryMarshal.Read<UInt128>(digest[16..]));
    }

    [LoggerMessage(
        1,
        LogLevel.Warning,
        "Access tokens of {Client} are long ({Characters} characters in the header): all headers of a request hold 16 KiB; fewer or wider "
            + "scopes make them shorter"
    )]
    private partial void LogLong(string client, int characters);

    private sealed record Known(Caller Caller, DateTimeOffset Until, int Clients, string? Certificate);
}
