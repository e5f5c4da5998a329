using IrrigationFhir.Fhir;

namespace IrrigationFhir.Rest;

/// <summary>Writes a body of FHIR JSON.</summary>
internal static class FhirReply
{
    /// <summary>The only media type this service writes under /fhir and for errors.</summary>
    public const string MediaType = "application/fhir+json";

    /// <summary>The words of the service that answers.</summary>
    /// <remarks>Whoever finds a fault knows its code alone; whose it is shows only here, where the answer leaves.</remarks>
    public static Vocabulary Words(HttpContext context) => context.RequestServices.GetRequiredService<Vocabulary>();

    /// <summary>Sends a body; on HEAD only its headers.</summary>
    public static async Task Write(HttpContext context, int status, ReadOnlyMemory<byte> json)
    {
        var response = context.Response;
        response.StatusCode = status;
        response.ContentType = MediaType + "; charset=utf-8";
        response.ContentLength = json.Length;
        if (!HttpMethods.IsHead(context.Request.Method))
            await response.Body.WriteAsync(json, context.RequestAborted);
    }
}
