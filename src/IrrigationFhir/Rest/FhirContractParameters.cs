using System.Text.Json.Nodes;
using Microsoft.OpenApi;

namespace IrrigationFhir.Rest;

/// <summary>The parameters of the FHIR contract: in the address, in the query, in headers.</summary>
internal static class FhirContractParameters
{
    /// <summary>The names of those that shape the result of a search.</summary>
    public static readonly IReadOnlyList<string> ResultParameters = ["_count", "_sort", "_total", "_summary", "_elements"];

    /// <summary>Those that several operations share, by the name under which <see cref="Ref"/> finds them.</summary>
    public static Dictionary<string, IOpenApiParameter> Shared() =>
        new()
        {
            ["_count"] = Query("_count", Whole(0), "Resources per page; 0 asks for the total alone."),
            ["_sort"] = Query(
                "_sort",
                Text(),
                "Names of search parameters with commas between them, each perhaps with a minus for the reverse order."
            ),
            ["_total"] = Query("_total", OneOf("none", "estimate", "accurate"), "Whether the Bundle says how many there are in all."),
            ["_summary"] = Query("_summary", OneOf("true", "text", "data", "count", "false"), "A part of each resource."),
            ["_elements"] = Query("_elements", Text(), "Names of the elements to send, with commas between them; what is mandatory stays."),
            ["_since"] = Query("_since", Text(), "Only what was stored at or after this instant."),
            ["_format"] = Query("_format", OneOf("json", "application/json", "application/fhir+json"), "The format, in place of Accept."),
            ["id"] = InPath("id", "The resource's id."),
            ["version"] = InPath("version", "The version's number: meta.versionId."),
            ["Prefer"] = Header(
                "Prefer",
                "`return=minimal`, `representation` (the default) or `OperationOutcome`; "
                    + "`handling=strict` refuses unknown search parameters, "
                    + "`handling=lenient` reports Observations of unknown code in a transaction and records the others."
            ),
            ["If-Match"] = Header(
                "If-Match",
                "The version that is changed, as `ETag` gave it: `W/\"3\"`. With another current version the answer is 412."
            ),
            ["If-None-Exist"] = Header(
                "If-None-Exist",
                "A search, such as `identifier=system|value`: created only if it finds nothing; if it finds one, that one is the answer."
            ),
        };

    /// <summary>Refers to a parameter that the document defines once.</summary>
    public static IOpenApiParameter Ref(string parameter) => new OpenApiParameterReference(parameter);

    /// <summary>A parameter of the query.</summary>
    public static OpenApiParameter Query(string name, OpenApiSchema schema, string says) =>
        new()
        {
            Name = name,
            In = ParameterLocation.Query,
            Description = says.Trim(),
            Schema = schema,
        };

    /// <summary>A text.</summary>
    public static OpenApiSchema Text(string? pattern = null) => new() { Type = JsonSchemaType.String, Pattern = pattern };

    /// <summary>One of these texts.</summary>
    public static OpenApiSchema OneOf(params IEnumerable<string> texts) =>
        new() { Type = JsonSchemaType.String, Enum = [.. texts.Select(text => (JsonNode)text)] };

    /// <summary>A whole number that is not less than the least.</summary>
    public static OpenApiSchema Whole(int least) => new() { Type = JsonSchemaType.Integer, Minimum = Invariant(least) };

    /// <summary>A parameter that may be repeated.</summary>
    public static OpenApiSchema Repeated(OpenApiSchema each) => new() { Type = JsonSchemaType.Array, Items = each };

    private static string Invariant(int number) => number.ToString(System.Globalization.CultureInfo.InvariantCulture);

    /// <summary>A part of the address.</summary>
    public static OpenApiParameter InPath(string name, string says) =>
        new()
        {
            Name = name,
            In = ParameterLocation.Path,
            Required = true,
            Description = says,
            Schema = Text(),
        };

    private static OpenApiParameter Header(string name, string says) =>
        new()
        {
            Name = name,
            In = ParameterLocation.Header,
            Description = says,
            Schema = Text(),
        };
}
