using Microsoft.OpenApi;

namespace IrrigationFhir.Rest;

/// <summary>The schemas of the FHIR contract: resources by their type alone, and what an OperationOutcome tells software.</summary>
internal static class FhirContractSchemas
{
    private const string ResourceType = "resourceType";

    /// <summary>The schemas of these types, and of those that every FHIR service writes.</summary>
    public static Dictionary<string, IOpenApiSchema> Of(IEnumerable<string> types)
    {
        var schemas = types.Concat(["Basic", "Bundle", "CapabilityStatement", "Parameters"]).ToDictionary(type => type, Resource);
        schemas["OperationOutcome"] = OperationOutcome();
        return schemas;
    }

    /// <summary>Refers to the schema of a type.</summary>
    public static IOpenApiSchema Ref(string type) => new OpenApiSchemaReference(type);

    private static IOpenApiSchema Resource(string type) =>
        new OpenApiSchema
        {
            Type = JsonSchemaType.Object,
            Description = $"A {type} of FHIR R4 (4.0.1).",
            ExternalDocs = Specification(type),
            Required = new HashSet<string> { ResourceType },
            Properties = new Dictionary<string, IOpenApiSchema> { [ResourceType] = new OpenApiSchema { Const = type } },
        };

    private static OpenApiSchema OperationOutcome() =>
        new()
        {
            Type = JsonSchemaType.Object,
            Description = "What went wrong, or that nothing did.",
            ExternalDocs = Specification("OperationOutcome"),
            Required = new HashSet<string> { ResourceType, "issue" },
            Properties = new Dictionary<string, IOpenApiSchema>
            {
                [ResourceType] = new OpenApiSchema { Const = "OperationOutcome" },
                ["issue"] = new OpenApiSchema
                {
                    Type = JsonSchemaType.Array,
                    MinItems = 1,
                    Items = Issue(),
                },
            },
        };

    private static OpenApiSchema Issue() =>
        new()
        {
            Type = JsonSchemaType.Object,
            Required = new HashSet<string> { "severity", "code" },
            Properties = new Dictionary<string, IOpenApiSchema>
            {
                ["severity"] = FhirContractParameters.OneOf("fatal", "error", "warning", "information"),
                ["code"] = Described(JsonSchemaType.String, "FHIR's word for the kind of problem."),
                ["details"] = Described(JsonSchemaType.Object, "coding[0].code is ours, and stable: software may rely on it."),
                ["diagnostics"] = Described(JsonSchemaType.String, "Where; what was seen; what is expected."),
                ["expression"] = new OpenApiSchema
                {
                    Type = JsonSchemaType.Array,
                    Items = FhirContractParameters.Text(),
                    Description = "The place in what was sent.",
                },
            },
        };

    private static OpenApiSchema Described(JsonSchemaType type, string says) => new() { Type = type, Description = says };

    private static OpenApiExternalDocs Specification(string type) =>
        new() { Url = new($"http://hl7.org/fhir/R4/{type.ToLowerInvariant()}.html") };
}
