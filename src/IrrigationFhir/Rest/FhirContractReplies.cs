using Microsoft.OpenApi;

namespace IrrigationFhir.Rest;

/// <summary>The replies of the FHIR contract: what a resource comes with, and what each refusal means whatever the address.</summary>
internal static class FhirContractReplies
{
    private static readonly (string Status, string Says)[] SaidOfRefusals =
    [
        ("400", "The request cannot be read: malformed JSON, an unknown shape, a search value that means nothing. Nothing was changed."),
        ("404", "There is no such resource, or no such address."),
        (
            "405",
            "Not with this method, or not this resource: what the service works out is not written from outside, and nothing is deleted. "
                + "Nothing was changed."
        ),
        ("406", "No format that this service writes: it writes JSON of FHIR R4."),
        (
            "409",
            "It contradicts what is recorded: other content under the same identifier whose status does not say that it corrects. "
                + "Nothing was changed."
        ),
        ("410", "An event that is no longer kept was asked for."),
        ("412", "A condition is not met: If-Match names no current version, or If-None-Exist finds several. Nothing was changed."),
        ("413", "The body is larger, or holds more entries, than is taken in one request. Nothing was changed."),
        ("415", "A media type or an encoding that this address does not read. Nothing was changed."),
        ("422", Contract.Unprocessable),
        ("429", "More writing requests than are served at once; `Retry-After` says when to try again. Nothing was changed."),
        ("500", "The service failed; its log holds the id that the answer names. Nothing was half-written."),
    ];

    /// <summary>The refusals, by their status.</summary>
    public static Dictionary<string, IOpenApiResponse> Refusals()
    {
        var refusals = SaidOfRefusals.ToDictionary(
            refusal => refusal.Status,
            IOpenApiResponse (refusal) => Reply("OperationOutcome", refusal.Says)
        );
        ((OpenApiResponse)refusals["429"]).Headers = new Dictionary<string, IOpenApiHeader> { ["Retry-After"] = Header("Seconds.") };
        return refusals;
    }

    /// <summary>A success with a resource of a type, and refusals; the failure of the service is always among them.</summary>
    public static OpenApiResponses Replies(string type, string says, params IEnumerable<string> refusals) =>
        Replies([("200", Reply(type, says))], refusals);

    /// <summary>Several successes, and refusals; the failure of the service is always among them.</summary>
    public static OpenApiResponses Replies(
        IEnumerable<(string Status, OpenApiResponse Reply)> successes,
        params IEnumerable<string> refusals
    )
    {
        var replies = new OpenApiResponses();
        foreach (var (status, reply) in successes)
            replies[status] = reply;
        foreach (var status in refusals.Append("500"))
            replies[status] = new OpenApiResponseReference(status);
        return replies;
    }

    /// <summary>The same replies; those that bring a resource say its version in headers.</summary>
    public static OpenApiResponses Versioned(OpenApiResponses replies)
    {
        foreach (var reply in replies.Values.OfType<OpenApiResponse>())
        {
            reply.Headers = new Dictionary<string, IOpenApiHeader>
            {
                ["ETag"] = Header("The version: `W/\"3\"`."),
                ["Last-Modified"] = Header("When it was stored."),
            };
        }

        return replies;
    }

    /// <summary>A reply with a resource.</summary>
    public static OpenApiResponse Reply(string type, string says) =>
        new()
        {
            Description = says,
            Content = new Dictionary<string, OpenApiMediaType> { [FhirReply.MediaType] = new() { Schema = FhirContractSchemas.Ref(type) } },
        };

    private static OpenApiHeader Header(string says) =>
        new()
        {
            Description = says,
            Schema = new OpenApiSchema { Type = JsonSchemaType.String },
        };
}
