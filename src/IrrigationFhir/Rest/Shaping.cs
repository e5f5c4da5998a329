using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>Sends less of a resource than there is, and marks it so that nobody stores it as the whole.</summary>
internal static class Shaping
{
    private static readonly JsonSerializerOptions Readable = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    // What is mandatory stays in any case; these tell the reader which resource it is and that it is not whole.
    private static readonly string[] Always = ["id", "meta"];

    /// <summary>
    /// How much of it a read asks for: <c>_summary</c> but for <c>count</c>, or <c>_elements</c>; null with the problems.
    /// </summary>
    public static (Shape? Shape, IReadOnlyList<OperationOutcome.IssueComponent> Problems) OfRead(IQueryCollection query)
    {
        var summary = query["_summary"].LastOrDefault(value => !string.IsNullOrEmpty(value));
        var elements = (query["_elements"].LastOrDefault() ?? "").Split(
            ',',
            StringSplitOptions.TrimEntries | StringSplitOptions.RemoveEmptyEntries
        );
        if (summary is not (null or "false" or "true" or "text" or "data"))
            return (null, [Invalid("_summary", $"'{summary}'", "true, text, data or false")]);
        if (summary is not null && elements.Length > 0)
            return (null, [Invalid("_elements", $"_elements together with _summary={summary}", "one of the two")]);
        return (new(summary == "false" ? null : summary, elements), []);

        static OperationOutcome.IssueComponent Invalid(string name, string saw, string expected) =>
            Outcome.Problem("search-value-invalid", saw, expected, name);
    }

    /// <summary>The resource as JSON: as stored, or its part with the tag SUBSETTED.</summary>
    public static string Of(ResourceVersion version, Shape shape) =>
        shape.IsWhole ? version.Json : Part(FhirJson.Read<Resource>(version.Json), shape).ToJsonString(Readable);

    /// <summary>The part of a resource that a shape asks for, which is not all of it, with the tag SUBSETTED.</summary>
    /// <param name="resource">Changed in place.</param>
    /// <param name="shape">How much of it.</param>
    public static JsonNode Part(Resource resource, Shape shape)
    {
        (resource.Meta ??= new()).Tag.Add(Codes.Subsetted());
        var part = JsonNode.Parse(
            FhirJson.Write(
                resource,
                () =>
                    shape.Summary switch
                    {
                        "true" => SerializationFilter.ForSummary(),
                        "text" => SerializationFilter.ForText(),
                        "data" => SerializationFilter.ForData(),
                        _ => SerializationFilter.ForElements([.. Always, .. shape.Elements], includeMandatory: true),
                    }
            )
        )!;

        // The SDK's filters add the mark once more, under the system that it had before R4.
        part["meta"]!["tag"]!
            .AsArray()
            .RemoveAll(tag => (string?)tag!["code"] == Codes.Subsetted().Code && (string?)tag["system"] != Codes.Systems.ObservationValue);
        return part;
    }
}
