using IrrigationFhir.Access;
using IrrigationFhir.Store;
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
            || clients.Now.Find(issuer) is not { } client
            || (jwt.Header("jku") is { } address && address != client.KeysAt?.OriginalString)
        )
            return null;
        var signers = (await keys.Find(client, jwt.Kid, stop)).Where(key => PublicKeys.Fits(key, jwt.Algorithm));
        if (!await jwt.IsSignedBy(signers, Algorithms))
            return null;
        var until = Instant.FromDateTimeOffset(expires + Jwt.Skew);
        return await store.UseUp(issuer, jti, until, Instant.FromDateTimeOffset(now), stop) ? client : null;
    }
}
