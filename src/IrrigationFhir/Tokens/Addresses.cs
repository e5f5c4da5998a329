using IrrigationFhir.Rest;

namespace IrrigationFhir.Tokens;

/// <summary>Where clients find what has to do with tokens, as they see this service.</summary>
internal static class Addresses
{
    /// <summary>Below the service: where tokens are issued.</summary>
    public const string TokenPath = "/auth/token";

    /// <summary>Below the service: the keys that they are signed with.</summary>
    public const string KeysPath = "/auth/jwks";

    /// <summary>Who issues our tokens: the service itself, without a trailing slash.</summary>
    public static string Issuer(HttpRequest request, FhirSettings settings) =>
        FhirBase.Of(request, settings) is var address && address.EndsWith(FhirBase.Path, StringComparison.Ordinal)
            ? address[..^FhirBase.Path.Length]
            : address;

    /// <summary>Where tokens are issued.</summary>
    public static string Token(HttpRequest request, FhirSettings settings) => Issuer(request, settings) + TokenPath;
}
