using IrrigationFhir.Episodes;
using Microsoft.OpenApi;

namespace IrrigationFhir.Rest;

/// <summary>The OpenAPI contract of the JSON API.</summary>
internal static class Contract
{
    /// <summary>Adds the document.</summary>
    public static IServiceCollection AddContract(this IServiceCollection services) => services.AddOpenApi("irrigationfhir", options =>
    {
        options.OpenApiVersion = OpenApiSpecVersion.OpenApi3_1;
        options.AddDocumentTransformer((document, _, _) =>
        {
            document.Info = new()
            {
                Title = "IrrigationFhir",
                Version = "1",
                Description = "Corrected urine output under bladder irrigation: entries in, balance and profile-validated FHIR R4 out. " +
                    "Every error is a FHIR OperationOutcome. The FHIR API under /fhir describes itself at /fhir/metadata. " + Texts.Caution,
            };
            document.Servers = [];
            return System.Threading.Tasks.Task.CompletedTask;
        });
    });

    /// <summary>Maps <c>/openapi/irrigationfhir.json</c>.</summary>
    public static void MapContract(this IEndpointRouteBuilder app) => app.MapOpenApi("/openapi/{documentName}.json");
}
