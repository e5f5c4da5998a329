using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using Microsoft.OpenApi;

namespace IrrigationFhir.Rest;

/// <summary>The request bodies of the FHIR contract, and examples of them.</summary>
internal static class FhirContractBodies
{
    /// <summary>A resource.</summary>
    /// <param name="type">Its type.</param>
    /// <param name="says">What is sent.</param>
    /// <param name="example">One that is taken as it stands, or null.</param>
    /// <param name="or">Another type that may be sent in its place.</param>
    /// <param name="required">Whether there has to be a body.</param>
    public static OpenApiRequestBody Resource(string type, string says, JsonNode? example = null, string? or = null, bool required = true)
    {
        var sent = FhirContractSchemas.Ref(type);
        return new()
        {
            Description = $"{says} `Content-Encoding: gzip` is read too.",
            Required = required,
            Content = new Dictionary<string, OpenApiMediaType>
            {
                [FhirReply.MediaType] = new()
                {
                    Schema = or is null ? sent : new OpenApiSchema { OneOf = [FhirContractSchemas.Ref(or), sent] },
                    Example = example,
                },
            },
        };
    }

    /// <summary>The parameters of a search as a form.</summary>
    public static OpenApiRequestBody SearchForm(string address) =>
        new()
        {
            Required = true,
            Content = new Dictionary<string, OpenApiMediaType> { [OperationParameters.Form] = Form($"The parameters of GET {address}.") },
        };

    /// <summary>The parameters of an operation, as a resource or a form.</summary>
    public static OpenApiRequestBody ParametersOrForm() =>
        new()
        {
            Required = true,
            Content = new Dictionary<string, OpenApiMediaType>
            {
                [FhirReply.MediaType] = new() { Schema = FhirContractSchemas.Ref("Parameters") },
                [OperationParameters.Form] = Form(null),
            },
        };

    /// <summary>A bladder scan as a device sends it: the published example under an identifier of the sender's.</summary>
    public static JsonNode Measurement(string number, Profiles profiles)
    {
        var scan = (Observation)
            Definitions
                .Examples(profiles.CanonicalBase)
                .Single(example => example.Meta!.Profile.Contains(profiles.Canonical("bladder-scan-volume")))
                .DeepCopy();
        (scan.Id, scan.Meta) = (null, null);
        scan.Identifier = [new("https://ward.example/scanner-gateway", $"scan-{number}")];
        return JsonNode.Parse(FhirJson.Write(scan))!;
    }

    /// <summary>Two bladder scans in one transaction.</summary>
    public static JsonNode Transaction(Profiles profiles) =>
        new JsonObject
        {
            ["resourceType"] = "Bundle",
            ["type"] = "transaction",
            ["entry"] = new JsonArray([
                .. new[] { "2", "3" }.Select(number => new JsonObject
                {
                    ["resource"] = Measurement(number, profiles),
                    ["request"] = new JsonObject { ["method"] = "POST", ["url"] = "Observation" },
                }),
            ]),
        };

    private static OpenApiMediaType Form(string? says) =>
        new()
        {
            Schema = new OpenApiSchema
            {
                Type = JsonSchemaType.Object,
                Description = says,
                AdditionalProperties = FhirContractParameters.Text(),
            },
        };
}
