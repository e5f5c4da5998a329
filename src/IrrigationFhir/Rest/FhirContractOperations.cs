using Hl7.Fhir.Model;
using Microsoft.OpenApi;
using static IrrigationFhir.Rest.FhirContractParameters;
using static IrrigationFhir.Rest.FhirContractReplies;

namespace IrrigationFhir.Rest;

/// <summary>The operations of one resource type in the FHIR contract, such as <c>$validate</c> and <c>$lastn</c>.</summary>
internal sealed class FhirContractOperations(FhirContractSection section, CapabilityStatement.ResourceComponent resource)
{
    private readonly string _type = section.Tag;

    /// <summary>Adds an operation that the statement claims.</summary>
    public void Describe(CapabilityStatement.OperationComponent operation)
    {
        var says = string.IsNullOrEmpty(operation.Documentation) ? null : operation.Documentation;
        switch (operation.Name)
        {
            case "validate":
                Validate(says);
                break;
            case "lastn":
                LastN(says);
                break;
            case "everything":
                Everything(says);
                break;
            case "status":
                Status(says);
                break;
            case "events":
                Events(says);
                break;
            case "export":
                break; // said with that of the service as a whole
            default:
                throw new InvalidOperationException($"the operation {operation.Name} has no place in the contract yet");
        }
    }

    private void Validate(string? says)
    {
        IOpenApiParameter[] about =
        [
            Query("profile", Text(), "A profile of this service, or of R4; nothing is looked up elsewhere."),
            Query("mode", OneOf("create", "update", "delete"), "What would be done with it."),
            Ref("_format"),
        ];
        OpenApiResponses Judged() =>
            Replies("OperationOutcome", "The judgement, also where it finds errors.", "400", "404", "406", "413", "415");

        section.Post(
            "/$validate",
            new()
            {
                OperationId = $"validate{_type}",
                Summary = "Says what would be refused, and keeps nothing.",
                Description = says,
                Parameters = about,
                RequestBody = FhirContractBodies.Resource(
                    "Parameters",
                    $"The {_type}, or Parameters with resource, profile and mode.",
                    or: _type
                ),
                Responses = Judged(),
            }
        );
        section.Post(
            "/{id}/$validate",
            new()
            {
                OperationId = $"validateStored{_type}",
                Summary = "Says it of what is stored, or of what is sent in its place.",
                Description = says,
                Parameters = [Ref("id"), .. about],
                RequestBody = FhirContractBodies.Resource(
                    "Parameters",
                    "Nothing, where what is stored is meant.",
                    or: _type,
                    required: false
                ),
                Responses = Judged(),
            }
        );
    }

    private void LastN(string? says) =>
        ReadOnly(
            "/$lastn",
            $"latest{_type}s",
            "The latest for each code.",
            says,
            "What was found, the latest first within each code.",
            [
                Query("max", Whole(1), "How many for each code; 1 unless given."),
                .. resource.SearchParam.Select(searched => Ref($"{_type}.{searched.Name}")),
                Ref("_format"),
            ],
            ["400", "406"]
        );

    private void Everything(string? says)
    {
        const string page = "A page; `next` among its links leads on.";
        IOpenApiParameter[] narrowed =
        [
            Query("start", Text(), "Only what happened at or after this, and what has no date."),
            Query("end", Text(), "Only what happened at or before this, and what has no date."),
            Ref("_since"),
            Query("_type", Text(), "The types wanted, with commas between them."),
            Ref("_count"),
            Ref("_format"),
        ];
        ReadOnly(
            "/$everything",
            "readEverything",
            "Everything of the patient of an identifier.",
            says,
            page,
            [Query("identifier", Text(), "`system|value` of the patient."), .. narrowed],
            ["400", "404", "406"]
        );
        ReadOnly(
            "/{id}/$everything",
            "readEverythingOf",
            "Everything that refers to Patient/[id].",
            says,
            page,
            [Ref("id"), .. narrowed],
            ["400", "404", "406"]
        );
    }

    private void Status(string? says)
    {
        ReadOnly(
            "/{id}/$status",
            $"statusOf{_type}",
            "How one stands.",
            says,
            "A searchset with its status, as Parameters.",
            [Ref("id"), Ref("_format")],
            ["400", "404", "406"]
        );
        ReadOnly(
            "/$status",
            $"statusOf{_type}s",
            "How all stand.",
            says,
            "A searchset with the status of each, as Parameters.",
            [
                Query("id", Text(), "Ids, with commas between them."),
                Query("status", Text(), "Of requested, active, error, off, with commas between them."),
                Ref("_format"),
            ],
            ["400", "406"]
        );
    }

    private void Events(string? says)
    {
        const string digits = "^[0-9]+$";
        ReadOnly(
            "/{id}/$events",
            $"eventsOf{_type}",
            "What happened, also what was not delivered.",
            says,
            "A history as a notification has it, of type query-event.",
            [
                Ref("id"),
                Query("eventsSinceNumber", Text(digits), "The number of the first event."),
                Query("eventsUntilNumber", Text(digits), "The number of the last event."),
                Query("content", OneOf("empty", "id-only", "full-resource"), "How much of the resources; as subscribed unless given."),
                Ref("_format"),
            ],
            ["400", "404", "406", "410"]
        );
    }

    /// <summary>An operation that changes nothing: asked by GET, or by POST with the same parameters in the body.</summary>
    private void ReadOnly(
        string below,
        string id,
        string summary,
        string? says,
        string reply,
        IOpenApiParameter[] parameters,
        string[] refusals
    )
    {
        section.Get(
            below,
            new()
            {
                OperationId = id,
                Summary = summary,
                Description = says,
                Parameters = parameters,
                Responses = Replies("Bundle", reply, refusals),
            }
        );
        section.Post(
            below,
            new()
            {
                OperationId = id + "ByBody",
                Summary = summary,
                Description = says,
                Parameters = [.. parameters.Where(p => p is OpenApiParameterReference { Reference.Id: "id" or "_format" })],
                RequestBody = FhirContractBodies.ParametersOrForm(),
                Responses = Replies("Bundle", reply, [.. refusals, "413", "415"]),
            }
        );
    }
}
