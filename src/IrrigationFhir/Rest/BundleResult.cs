using Hl7.Fhir.Model;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>A reply that is a Bundle, written already.</summary>
internal sealed class BundleResult(ReadOnlyMemory<byte> json) : IFhirAnswer
{
    /// <inheritdoc/>
    public int StatusCode => StatusCodes.Status200OK;

    /// <inheritdoc/>
    public ReadOnlyMemory<byte> Json => json;

    /// <inheritdoc/>
    public Task ExecuteAsync(HttpContext httpContext)
    {
        // A list of a patient's resources is nobody else's to keep.
        httpContext.Response.Headers.CacheControl = "no-store";
        return FhirReply.Write(httpContext, StatusCode, json);
    }
}

/// <summary>A reply that is any resource, not from the store.</summary>
internal sealed class FhirResult(Resource resource) : IFhirAnswer
{
    /// <inheritdoc/>
    public int StatusCode => StatusCodes.Status200OK;

    /// <inheritdoc/>
    public ReadOnlyMemory<byte> Json => FhirJson.WriteUtf8(resource);

    /// <inheritdoc/>
    public Task ExecuteAsync(HttpContext httpContext) => FhirReply.Write(httpContext, StatusCode, Json);
}
