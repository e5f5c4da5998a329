using System.Text.Json;
using Microsoft.IdentityModel.JsonWebTokens;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Tokens;

/// <summary>What stands in a signed token (RFC 7519), in the places where it is judged.</summary>
internal sealed class Jwt
{
    /// <summary>By so much clocks may differ.</summary>
    public static readonly TimeSpan Skew = TimeSpan.FromSeconds(30);

    private const int MostCharacters = 8 * 1024;

    private static readonly JsonWebTokenHandler Handler = new() { MaximumTokenSizeInBytes = MostCharacters };

    private readonly JsonWebToken _token;
    private readonly JsonElement _header;
    private readonly JsonElement _claims;

    private Jwt(JsonWebToken token, JsonElement header, JsonElement claims) => (_token, _header, _claims) = (token, header, claims);

    /// <summary>The algorithm that it says it is signed by.</summary>
    public string Algorithm => _token.Alg;

    /// <summary>The name of the key that it says it is signed with.</summary>
    public string Kid => _token.Kid;

    /// <summary>When it ends; null where it does not say so.</summary>
    public DateTimeOffset? Expires => Time("exp");

    /// <summary>Takes it apart; null for what is none, is encrypted or unsigned, or rests on extensions that are not known here.</summary>
    public static Jwt? Read(string text)
    {
        if (text.Length > MostCharacters || text.Count(character => character == '.') != 2)
            return null;
        try
        {
            var token = Handler.ReadJsonWebToken(text);
            var (header, claims) = (Part(token.EncodedHeader), Part(token.EncodedPayload));
            var readable = header.ValueKind == JsonValueKind.Object && claims.ValueKind == JsonValueKind.Object;
            // RFC 7515, 4.1.11: who does not know what is critical refuses it.
            return readable && !header.TryGetProperty("crit", out _) && token is { Alg.Length: > 0, Kid.Length: > 0 and <= 255 }
                ? new(token, header, claims)
                : null;
        }
        catch (Exception fault) when (fault is ArgumentException or SecurityTokenException or JsonException or FormatException)
        {
            return null;
        }
    }

    /// <summary>A claim that is a text; null where it is not there, or is something else.</summary>
    public string? Text(string claim) => Text(_claims, claim);

    /// <summary>A member of its header that is a text.</summary>
    public string? Header(string member) => Text(_header, member);

    /// <summary>A claim that is one text, or a list of them; null where it is not there, or is something else.</summary>
    public IReadOnlyList<string>? Texts(string claim) =>
        !_claims.TryGetProperty(claim, out var value) ? null
        : value.ValueKind == JsonValueKind.String ? [value.GetString()!]
        : value.ValueKind == JsonValueKind.Array && value.EnumerateArray().All(item => item.ValueKind == JsonValueKind.String)
            ? [.. value.EnumerateArray().Select(item => item.GetString()!)]
        : null;

    /// <summary>A claim as it stands.</summary>
    public JsonElement? Claim(string claim) => _claims.TryGetProperty(claim, out var value) ? value : null;

    /// <summary>A claim that is a time in seconds since 1970; null where it is not there, or is none.</summary>
    public DateTimeOffset? Time(string claim) =>
        _claims.TryGetProperty(claim, out var value)
        && value.ValueKind == JsonValueKind.Number
        && value.TryGetDouble(out var seconds)
        && seconds is >= 0 and < 253_402_300_799
            ? DateTimeOffset.UnixEpoch.AddSeconds(seconds)
            : null;

    /// <summary>Whether one of the keys signed it, by one of the algorithms. Times, issuer and audience are not looked at.</summary>
    public async Task<bool> IsSignedBy(IEnumerable<JsonWebKey> keys, IReadOnlyCollection<string> algorithms)
    {
        if (!algorithms.Contains(Algorithm))
            return false;
        var result = await Handler.ValidateTokenAsync(
            _token,
            new TokenValidationParameters
            {
                ValidAlgorithms = algorithms,
                IssuerSigningKeyResolver = (_, _, _, _) => keys,
                RequireSignedTokens = true,
                ValidateIssuer = false,
                ValidateAudience = false,
                ValidateLifetime = false,
            }
        );
        return result.IsValid;
    }

    /// <summary>Whether it has begun, as far as it says when it does.</summary>
    public bool HasBegun(DateTimeOffset now) =>
        (Claim("nbf") is null || Time("nbf") <= now + Skew) && (Claim("iat") is null || Time("iat") <= now + Skew);

    private static JsonElement Part(string encoded)
    {
        using var json = JsonDocument.Parse(Base64UrlEncoder.DecodeBytes(encoded), new() { MaxDepth = 16 });
        return json.RootElement.Clone();
    }

    private static string? Text(JsonElement json, string name) =>
        json.TryGetProperty(name, out var value) && value.ValueKind == JsonValueKind.String ? value.GetString() : null;
}
