using System.Security.Cryptography;
using IrrigationFhir.Access;
using IrrigationFhir.Store;
using Microsoft.IdentityModel.Tokens;
using NodaTime;

namespace IrrigationFhir.Tokens;

/// <summary>Judges how a client says who it is: a token that it signed for this one request (RFC 7523, SMART Backend Services).</summary>
internal sealed class ClientAssertions(Clients clients, KeysOfClients keys, AccessStore store, TimeProvider clock)
{
    /// <summary>What a client may sign by.</summary>
    public static readonly IReadOnlyList<string> Algorithms = ["RS384", "ES384"];

    /// <summary>An assertion ends so soon.</summary>
    public static readonly TimeSpan LongestLife = TimeSpan.FromMinutes(5);

    /// <summary>Whose it is; null for whatever is wrong with it: whoever forges learns nothing. It is used up.</summary>
    /// <param name="assertion">The assertion.</param>
    /// <param name="endpoint">Whom it has to be for, and nobody else.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<Registration?> Judge(string assertion, string endpoint, CancellationToken stop)
    {
        var now = clock.GetUtcNow();
        if (
            Jwt.Read(assertion) is not { } jwt
            || !Algorithms.Contains(jwt.Algorithm)
            || !string.Equals(jwt.Header("typ"), "JWT", StringComparison.OrdinalIgnoreCase)
            || jwt.Text("iss") is not { } issuer
            || jwt.Text("sub") != issuer
            || jwt.Texts("aud") is not [var audience]
            || audience != endpoint
            || jwt.Text("jti") is not { Length: > 0 and <= 255 } jti
            || jwt.Expires is not { } expires
            || expires <= now - Jwt.Skew
            || expires > now + LongestLife + Jwt.Skew
            || !jwt.HasBegun(now)
        )
            return null;
        var client = clients.Now.Find(issuer);
        if (!await jwt.IsSignedBy(await Signers(client, jwt, stop), Algorithms) || client is null)
            return null;
        var until = Instant.FromDateTimeOffset(expires + Jwt.Skew);
        return await store.UseUp(issuer, jti, until, Instant.FromDateTimeOffset(now), stop) ? client : null;
    }

    /// <summary>
    /// The keys that an assertion is compared with: those of its client, or one of nobody. Whether a client is known is not told by how
    /// soon it is refused: a signature is checked in any case.
    /// </summary>
    /// <param name="client">The client that it says it is of; null where none is registered.</param>
    /// <param name="jwt">The assertion, of one of <see cref="Algorithms"/>.</param>
    /// <param name="stop">Gives up.</param>
    /// <returns>At least one, each of which can have made a signature of its algorithm.</returns>
    public async Task<IReadOnlyList<JsonWebKey>> Signers(Registration? client, Jwt jwt, CancellationToken stop)
    {
        var known =
            client is null || (jwt.Header("jku") is { } address && address != client.KeysAt?.OriginalString)
                ? []
                : await keys.Find(client, jwt.Kid, stop);
        var fitting = known.Where(key => PublicKeys.Fits(key, jwt.Algorithm)).ToList();
        return fitting.Count > 0 ? fitting : [Nobodys.Value[jwt.Algorithm]];
    }

    /// <summary>Public keys to which nobody has the other half: that is forgotten as soon as they are made.</summary>
    private static readonly Lazy<IReadOnlyDictionary<string, JsonWebKey>> Nobodys = new(() =>
    {
        using var rsa = RSA.Create(2048);
        using var ec = ECDsa.Create(ECCurve.NamedCurves.nistP384);
        var (n, q) = (rsa.ExportParameters(includePrivateParameters: false), ec.ExportParameters(includePrivateParameters: false).Q);
        return new Dictionary<string, JsonWebKey>
        {
            ["RS384"] = new()
            {
                Kty = "RSA",
                Kid = "nobody",
                N = Base64UrlEncoder.Encode(n.Modulus),
                E = Base64UrlEncoder.Encode(n.Exponent),
            },
            ["ES384"] = new()
            {
                Kty = "EC",
                Kid = "nobody",
                Crv = "P-384",
                X = Base64UrlEncoder.Encode(q.X),
                Y = Base64UrlEncoder.Encode(q.Y),
            },
        };
    });
}
