using Microsoft.Net.Http.Headers;

namespace IrrigationFhir.Rest;

/// <summary>What Content-Type says of a body.</summary>
internal static class BodyMediaType
{
    /// <summary>The media types of FHIR JSON; a client that knows no better may say that it is JSON (R4, http, mime types).</summary>
    private static readonly HashSet<string> FhirJson = [FhirReply.MediaType, "application/json", "text/json"];

    /// <summary>The media type in lower case, without parameters; null without the header, and as sent where it is no media type.</summary>
    public static string? Of(HttpRequest request) =>
        request.GetTypedHeaders().ContentType?.MediaType.Value?.ToLowerInvariant() ?? request.ContentType;

    /// <summary>Whether it is FHIR JSON, of whatever version.</summary>
    public static bool IsFhirJson(HttpRequest request) => Of(request) is { } type && FhirJson.Contains(type);

    /// <summary>The version of FHIR that the body is said to be of, where it is not read here; null for R4 and for silence.</summary>
    public static string? OtherVersion(HttpRequest request) =>
        request.GetTypedHeaders().ContentType?.Parameters.Select(OtherVersion).FirstOrDefault(version => version is not null);

    /// <summary>The version in a parameter <c>fhirVersion</c> of a media type where it is not R4's; null otherwise.</summary>
    public static string? OtherVersion(NameValueHeaderValue parameter) =>
        parameter.Name.Equals("fhirVersion", StringComparison.OrdinalIgnoreCase)
        && HeaderUtilities.RemoveQuotes(parameter.Value).Value is var version
        && version is not ("4.0" or "4.0.0" or "4.0.1")
            ? version ?? ""
            : null;
}
