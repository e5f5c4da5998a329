using System.Text.Json;
using Irrigation.Episodes;
using IrrigationFhir.Problems;
using Microsoft.Net.Http.Headers;

namespace IrrigationFhir.Rest;

/// <summary>The body of a FHIR request: JSON.</summary>
internal static class FhirBody
{
    /// <summary>Reads it, or says why not.</summary>
    public static async Task<(JsonElement Json, OutcomeResult? Refused)> Read(HttpRequest request, CancellationToken stop)
    {
        if (!BodyMediaType.IsFhirJson(request))
            return Refuse(
                StatusCodes.Status415UnsupportedMediaType,
                "unsupported-media-type",
                "Content-Type",
                BodyMediaType.Of(request) ?? "none",
                FhirReply.MediaType
            );
        if (BodyMediaType.OtherVersion(request) is { } version)
            return Refuse(
                StatusCodes.Status415UnsupportedMediaType,
                "unsupported-media-type",
                "Content-Type",
                $"fhirVersion={version}",
                "fhirVersion=4.0, or none"
            );

        // FHIR JSON is UTF-8; read as that, another encoding would change texts without anyone noticing.
        var charset = HeaderUtilities.RemoveQuotes(request.GetTypedHeaders().ContentType?.Charset ?? default);
        if (charset.Length > 0 && !charset.Equals("utf-8", StringComparison.OrdinalIgnoreCase))
            return Refuse(
                StatusCodes.Status415UnsupportedMediaType,
                "unsupported-media-type",
                "Content-Type",
                $"charset={charset}",
                "charset=utf-8, or none"
            );

        var (json, fault) = JsonBody.ReadOne(await JsonBody.ReadAll(request, stop));
        if (fault is null && json.ValueKind != JsonValueKind.Object)
            fault = EntryProblem.WrongType("body", "no object", "a resource: a JSON object");

        // The SDK takes it, SQLite stores it, PostgreSQL refuses it: so it is refused here.
        if (fault is null && HoldsNull(json))
            fault = new("null-character", "body", "a text with the character U+0000", "texts without it: FHIR has no such character");
        return fault is { } problem ? (default, new(StatusCodes.Status400BadRequest, Outcomes.Of([problem]))) : (json, null);
    }

    private static (JsonElement, OutcomeResult?) Refuse(int status, string code, string where, string saw, string expected) =>
        (default, new(status, Outcome.Problem(code, saw, expected, where)));

    private static bool HoldsNull(JsonElement json) =>
        json.ValueKind switch
        {
            JsonValueKind.String => json.GetString()!.Contains('\0', StringComparison.Ordinal),
            JsonValueKind.Array => json.EnumerateArray().Any(HoldsNull),
            JsonValueKind.Object => json.EnumerateObject().Any(p => p.Name.Contains('\0', StringComparison.Ordinal) || HoldsNull(p.Value)),
            _ => false,
        };
}
