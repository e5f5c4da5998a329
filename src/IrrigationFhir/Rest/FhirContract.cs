using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Search;
using Microsoft.OpenApi;
using static IrrigationFhir.Rest.FhirContractParameters;
using static IrrigationFhir.Rest.FhirContractReplies;

namespace IrrigationFhir.Rest;

/// <summary>The OpenAPI contract of the FHIR API: what the CapabilityStatement claims, for tools that do not read one.</summary>
/// <remarks>
/// Interactions, operations and search parameters come from the statement, and so from the tables that route and search; here is
/// said how FHIR R4 has them over HTTP. It says no more of a resource than its type: profiles say that.
/// </remarks>
internal static class FhirContract
{
    private const string SystemTag = "System";

    /// <summary>The document for what a statement claims.</summary>
    /// <param name="statement">The statement.</param>
    /// <param name="profiles">The base of what its examples say.</param>
    public static OpenApiDocument Of(CapabilityStatement statement, Profiles profiles)
    {
        var rest = statement.Rest[0];
        var document = new OpenApiDocument
        {
            Info = new()
            {
                Title = "IrrigationFhir: FHIR R4",
                Version = "1",
                Description =
                    "The FHIR API of IrrigationFhir, drawn from its CapabilityStatement at /fhir/metadata. "
                    + $"Every error is an OperationOutcome, and a refused request changes nothing. {Texts.Caution}\n\n{rest.Documentation}",
            },
            Servers = Contract.ThisHost(),
            Tags = new HashSet<OpenApiTag>([
                new() { Name = SystemTag, Description = "The service as a whole." },
                .. rest.Resource.Select(resource => new OpenApiTag { Name = TypeOf(resource), Description = About(resource) }),
            ]),
            Paths = [],
            Components = new()
            {
                Parameters = Shared(),
                Responses = Refusals(),
                Schemas = FhirContractSchemas.Of(rest.Resource.Select(TypeOf).Where(type => IndexedTypes.Find(type) is not null)),
            },
        };
        DescribeSystem(new(document, SystemTag, FhirBase.Path), rest, profiles);
        FhirContractExports.Describe(new(document, SystemTag, FhirBase.Path), rest);
        foreach (var resource in rest.Resource)
        {
            var section = new FhirContractSection(document, TypeOf(resource), $"{FhirBase.Path}/{TypeOf(resource)}");
            new FhirContractInteractions(section, resource, profiles).Describe();
            foreach (var operation in resource.Operation)
                new FhirContractOperations(section, resource).Describe(operation);
        }

        return document;
    }

    private static void DescribeSystem(FhirContractSection section, CapabilityStatement.RestComponent rest, Profiles profiles)
    {
        section.Get(
            "/metadata",
            new()
            {
                OperationId = "readCapabilityStatement",
                Summary = "What this service can do.",
                Parameters = [Ref("_format")],
                Responses = Replies("CapabilityStatement", "The statement.", "406"),
            }
        );
        section.Get(
            "/.well-known/smart-configuration",
            new()
            {
                OperationId = "readSmartConfiguration",
                Summary = "How to come by an access token (SMART App Launch 2.2); 404 where the service is open and asks for none.",
                Security = [new()], // nobody has a token yet
                Responses = Replies(
                    [
                        (
                            "200",
                            new()
                            {
                                Description = "Where tokens are issued, to whom, and for which scopes.",
                                Content = new Dictionary<string, OpenApiMediaType>
                                {
                                    ["application/json"] = new() { Schema = new OpenApiSchema() },
                                },
                            }
                        ),
                    ],
                    "404"
                ),
            }
        );
        section.Get(
            "/package.tgz",
            new()
            {
                OperationId = "readPackage",
                Summary = "Profiles, terminology, search parameters and examples as one FHIR NPM package.",
                Responses = Replies(
                    [
                        (
                            "200",
                            new()
                            {
                                Description = "The package.",
                                Content = new Dictionary<string, OpenApiMediaType>
                                {
                                    ["application/gzip"] = new()
                                    {
                                        Schema = new OpenApiSchema { Type = JsonSchemaType.String, Format = "binary" },
                                    },
                                },
                            }
                        ),
                    ],
                    "406"
                ),
            }
        );
        if (rest.Interaction.Count == 0)
            return;
        section.Post(
            "",
            new()
            {
                OperationId = "recordBundle",
                Summary =
                    "A batch, whose entries stand or fall alone, or a transaction, which is of one episode and stands or falls as a whole.",
                Parameters = [Ref("Prefer"), Ref("_format")],
                RequestBody = FhirContractBodies.Resource(
                    "Bundle",
                    "Of type batch or transaction, with POST Observation, PUT Observation/[id] and GET.",
                    FhirContractBodies.Transaction(profiles)
                ),
                Responses = Replies(
                    "Bundle",
                    "A Bundle that says of each entry what became of it; in a batch also of those that were refused.",
                    ["400", "404", "405", "406", "409", "412", "413", "415", "422", "429"]
                ),
            }
        );
    }

    private static string About(CapabilityStatement.ResourceComponent resource) =>
        resource.Documentation
        ?? $"Published under the profiles {string.Join(", ", resource.SupportedProfile.Select(profile => profile!.Split('/')[^1]))}.";

    private static string TypeOf(CapabilityStatement.ResourceComponent resource) => (string)resource.TypeElement!.JsonValue!;
}
