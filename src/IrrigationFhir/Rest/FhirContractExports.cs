using Hl7.Fhir.Model;
using Microsoft.OpenApi;
using static IrrigationFhir.Rest.FhirContractParameters;
using static IrrigationFhir.Rest.FhirContractReplies;

namespace IrrigationFhir.Rest;

/// <summary>Exports and tables in the FHIR contract, where the statement claims them.</summary>
internal static class FhirContractExports
{
    private const string Later = "The export is begun; `Content-Location` says where it is asked how it stands.";

    /// <summary>Adds what is claimed of the service as a whole.</summary>
    public static void Describe(FhirContractSection section, CapabilityStatement.RestComponent rest)
    {
        foreach (var operation in rest.Operation)
        {
            switch (operation.Name)
            {
                case "export":
                    Export(section, "/$export", "exportAll", "Everything, as files.", operation.Documentation, []);
                    var ofPatients = rest.Resource.SelectMany(type => type.Operation).FirstOrDefault(known => known.Name == "export");
                    Export(
                        section,
                        "/Patient/$export",
                        "exportOfPatients",
                        "What is about patients, as files.",
                        ofPatients?.Documentation,
                        [Query("patient", Text(), "`Patient/[id]`, or `system|value` of an identifier; several with commas.")]
                    );
                    Export(section, "/Group/{id}/$export", "exportOfGroup", "Refused: no Group is held here.", null, [Ref("id")]);
                    Standing(section);
                    break;
                case "viewdefinition-run":
                    Views(section);
                    break;
            }
        }
    }

    private static void Export(FhirContractSection section, string below, string id, string summary, string? says, IOpenApiParameter[] own)
    {
        IOpenApiParameter[] about =
        [
            Query("_outputFormat", OneOf("application/fhir+ndjson", "application/ndjson", "ndjson"), "The format; there is one."),
            Query("_since", Text(), "Only what was stored after this instant."),
            Query("_type", Text(), "The types wanted, with commas between them."),
            Query("_typeFilter", Text(), "A search such as `Observation?status=final`; several mean any of them."),
            Query("_elements", Text(), "Names of elements at the root, with commas between them; what is mandatory stays."),
            .. own,
        ];
        IOpenApiParameter[] inPath = [.. own.OfType<OpenApiParameterReference>()];
        OpenApiResponses Begun(params string[] more) =>
            Replies([("202", new() { Description = Later })], ["400", "404", "406", .. more, "429"]);
        section.Get(
            below,
            new()
            {
                OperationId = id,
                Summary = summary,
                Description = says,
                Parameters = [.. about, Ref("Prefer")],
                Responses = Begun(),
            }
        );
        section.Post(
            below,
            new()
            {
                OperationId = id + "ByBody",
                Summary = summary,
                Description = says,
                Parameters = [.. inPath, Ref("Prefer")],
                RequestBody = FhirContractBodies.ParametersOrForm(),
                Responses = Begun("413", "415"),
            }
        );
    }

    private static void Standing(FhirContractSection section)
    {
        section.Get(
            "/exports/{id}",
            new()
            {
                OperationId = "readExport",
                Summary = "How an export stands.",
                Parameters = [Ref("id")],
                Responses = Replies(
                    [
                        ("200", Json("The manifest: `transactionTime`, and where each file is.")),
                        (
                            "202",
                            new() { Description = "It is not done; `X-Progress` says how far it is, `Retry-After` when to ask again." }
                        ),
                        ("303", new() { Description = "An export of views has ended; `Location` says where its result is." }),
                    ],
                    "404"
                ),
            }
        );
        section.Delete(
            "/exports/{id}",
            new()
            {
                OperationId = "cancelExport",
                Summary = "Cancels an export, or takes its files away.",
                Parameters = [Ref("id")],
                Responses = Replies([("202", new() { Description = "It is gone." })], "404"),
            }
        );
        section.Get(
            "/exports/{id}/{file}",
            new()
            {
                OperationId = "readExportedFile",
                Summary = "A file of an export: whole, or from where a broken download ended.",
                Parameters = [Ref("id"), InPath("file", "The file's name, as the manifest has it.")],
                Responses = Replies([("200", Json("The file.")), ("206", Json("The part that was asked for."))], "404"),
            }
        );
    }

    private static void Views(FhirContractSection section)
    {
        section.Get(
            "/ViewDefinition",
            new()
            {
                OperationId = "searchViewDefinitions",
                Summary = "The tables that resources can be read as (SQL on FHIR 2).",
                Parameters =
                [
                    Query("name", Text(), "How the name begins."),
                    Query("url", Text(), "The canonical URL."),
                    Query("resource", Text(), "The type that it is about."),
                ],
                Responses = Replies("Bundle", "The definitions.", "400", "406"),
            }
        );
        section.Get(
            "/ViewDefinition/{id}",
            new()
            {
                OperationId = "readViewDefinition",
                Summary = "One table: its columns, and what each means.",
                Parameters = [Ref("id")],
                Responses = Replies([("200", Json("The definition."))], "404", "406"),
            }
        );
        IOpenApiParameter[] about =
        [
            Query("_format", OneOf("json", "ndjson", "csv", "parquet"), "The format, in place of Accept."),
            Query("header", OneOf("true", "false"), "Whether csv names its columns."),
            Query("patient", Text(), "`Patient/[id]`, or `system|value` of an identifier."),
            Query("_since", Text(), "Only what was stored after this instant."),
            Query("_limit", Whole(1), "So many rows at most."),
        ];
        foreach (var (spelling, name) in new[] { ("$viewdefinition-run", "run"), ("$run", "runShort") })
        {
            if (spelling != "$run")
                Run(section, $"/{spelling}", $"{name}View", about, []);
            Run(section, $"/ViewDefinition/{spelling}", $"{name}ViewDefinition", about, []);
            Run(section, $"/ViewDefinition/{{id}}/{spelling}", $"{name}ViewDefinitionOf", about, [Ref("id")]);
        }

        foreach (var (spelling, name) in new[] { ("$viewdefinition-export", "export"), ("$export", "exportShort") })
        {
            if (spelling != "$export")
                ExportViews(section, $"/{spelling}", $"{name}Views", []);
            ExportViews(section, $"/ViewDefinition/{spelling}", $"{name}ViewDefinitions", []);
            ExportViews(section, $"/ViewDefinition/{{id}}/{spelling}", $"{name}ViewDefinition", [Ref("id")]);
        }
    }

    private static void Run(FhirContractSection section, string below, string id, IOpenApiParameter[] about, IOpenApiParameter[] inPath)
    {
        IOpenApiParameter[] which = inPath.Length > 0 ? inPath : [Query("viewReference", Text(), "A view of ours, by id, name or URL.")];
        section.Get(
            below,
            new()
            {
                OperationId = id,
                Summary = "The rows of a table at once. $viewdefinition-run and $run are the same.",
                Parameters = [.. which, .. about],
                Responses = Replies([("200", Json("The rows."))], "400", "404", "406", "422", "429"),
            }
        );
        section.Post(
            below,
            new()
            {
                OperationId = id + "ByBody",
                Summary = "The same, also of a view that is sent along (viewResource), over what is held here or sent along (resource).",
                Parameters = inPath,
                RequestBody = FhirContractBodies.ParametersOrForm(),
                Responses = Replies([("200", Json("The rows."))], "400", "404", "406", "413", "422", "429"),
            }
        );
    }

    private static void ExportViews(FhirContractSection section, string below, string id, IOpenApiParameter[] inPath) =>
        section.Post(
            below,
            new()
            {
                OperationId = id,
                Summary = "The rows of tables, as files.",
                Parameters = [.. inPath, Ref("Prefer")],
                RequestBody = FhirContractBodies.ParametersOrForm(),
                Responses = Replies([("202", new() { Description = Later })], "400", "404", "406", "413", "422", "429"),
            }
        );

    private static OpenApiResponse Json(string says) =>
        new()
        {
            Description = says,
            Content = new Dictionary<string, OpenApiMediaType> { ["application/json"] = new() { Schema = new OpenApiSchema() } },
        };
}
