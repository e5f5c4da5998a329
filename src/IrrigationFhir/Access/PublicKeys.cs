using System.Buffers.Text;
using System.Text.Json;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Access;

/// <summary>Reads the public keys of a JWK set (RFC 7517): what signs RS384, ES384 and their like, and nothing that is secret.</summary>
/// <remarks>Keys are built anew of their public members alone, so that nothing secret can travel with one.</remarks>
internal static class PublicKeys
{
    /// <summary>Bits of an RSA key, at least and at most: shorter ones are weak, longer ones make work for whoever checks.</summary>
    private const int LeastBits = 2048;
    private const int MostBits = 8192;

    /// <summary>Most keys of one set.</summary>
    private const int Most = 100;

    private static readonly string[] Secret = ["d", "p", "q", "dp", "dq", "qi", "oth", "k"];

    /// <summary>
    /// Keys that everybody has: that of RFC 7517, appendix A.1, by the thumbprint that RFC 7638, section 3.1, gives for it. The examples
    /// of this project publish none; whoever publishes one adds it here.
    /// </summary>
    private static readonly HashSet<string> Published = ["NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs"];

    /// <summary>Bytes of a coordinate on the curves that are known.</summary>
    private static readonly Dictionary<string, int> Curves = new()
    {
        ["P-256"] = 32,
        ["P-384"] = 48,
        ["P-521"] = 66,
    };

    /// <summary>Reads a set; what cannot be used is named and left out.</summary>
    /// <param name="set">An object with <c>keys</c>.</param>
    /// <param name="at">Where it stands, for what is wrong with it. A member's value is never repeated.</param>
    /// <param name="faults">Gets what is wrong.</param>
    public static List<JsonWebKey> Read(JsonElement set, string at, ICollection<string> faults)
    {
        var read = new List<JsonWebKey>();
        if (
            set.ValueKind != JsonValueKind.Object
            || !set.TryGetProperty("keys", out var keys)
            || keys.ValueKind != JsonValueKind.Array
            || keys.GetArrayLength() > Most
        )
        {
            faults.Add($"{at}: an object whose keys are a list of at most {Most} is expected");
            return read;
        }

        foreach (var (key, number) in keys.EnumerateArray().Select((key, number) => (key, number)))
        {
            if (Fault(key) is { } fault)
                faults.Add($"{at}.keys[{number}]: {fault}");
            else
                read.Add(Built(key));
        }

        return read;
    }

    /// <summary>Whether a key can have made a signature of an algorithm.</summary>
    public static bool Fits(JsonWebKey key, string algorithm) =>
        (key.Alg is not { Length: > 0 } || key.Alg == algorithm)
        && algorithm switch
        {
            "RS256" or "RS384" or "RS512" or "PS256" or "PS384" or "PS512" => key.Kty == "RSA",
            "ES256" => key.Crv == "P-256",
            "ES384" => key.Crv == "P-384",
            "ES512" => key.Crv == "P-521",
            _ => false,
        };

    private static string? Fault(JsonElement key)
    {
        if (key.ValueKind != JsonValueKind.Object)
            return "a key (JWK) is expected";
        if (Array.Exists(Secret, member => key.TryGetProperty(member, out _)))
            return "a secret key; its public part alone is expected";
        if (Text(key, "use") is { } use && use != "sig")
            return "use is another than sig";
        if (Text(key, "kid") is not { Length: > 0 and <= 255 })
            return "kid is missing";
        var fault = Text(key, "kty") switch
        {
            "RSA" => OfRsa(key),
            "EC" => OfCurve(key),
            _ => "kty RSA or EC is expected",
        };
        return fault
            ?? (
                Published.Contains(Base64UrlEncoder.Encode(Built(key).ComputeJwkThumbprint()))
                    ? "the key of a published example: anybody can sign with it"
                    : null
            );
    }

    private static string? OfRsa(JsonElement key) =>
        Number(key, "n") is not { } modulus || Number(key, "e") is not { Length: > 0 and <= 8 } ? "n and e are expected"
        : (modulus.Length * 8) is < LeastBits or > MostBits ? $"{LeastBits} to {MostBits} bits are expected"
        : null;

    private static string? OfCurve(JsonElement key) =>
        Text(key, "crv") is not { } curve || !Curves.TryGetValue(curve, out var length) ? "crv P-256, P-384 or P-521 is expected"
        : Number(key, "x")?.Length != length || Number(key, "y")?.Length != length ? "x and y of the length of the curve are expected"
        : null;

    private static JsonWebKey Built(JsonElement key) =>
        new()
        {
            Kty = Text(key, "kty"),
            Kid = Text(key, "kid"),
            Alg = Text(key, "alg"),
            N = Text(key, "n"),
            E = Text(key, "e"),
            Crv = Text(key, "crv"),
            X = Text(key, "x"),
            Y = Text(key, "y"),
        };

    private static byte[]? Number(JsonElement key, string member)
    {
        try
        {
            return Text(key, member) is { } text ? Base64Url.DecodeFromChars(text) : null;
        }
        catch (FormatException)
        {
            return null;
        }
    }

    private static string? Text(JsonElement key, string member) =>
        key.TryGetProperty(member, out var value) && value.ValueKind == JsonValueKind.String ? value.GetString() : null;
}
