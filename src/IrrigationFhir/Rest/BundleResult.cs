using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>A reply that is a Bundle.</summary>
internal sealed class BundleResult(Func<Vocabulary, ReadOnlyMemory<byte>> write) : IFhirAnswer
{
    /// <summary>One without anything of ours in it.</summary>
    public BundleResult(ReadOnlyMemory<byte> json)
        : this(_ => json) { }

    /// <inheritdoc/>
    public int StatusCode => StatusCodes.Status200OK;

    /// <inheritdoc/>
    public IReadOnlyList<ShownVersion> Shown { get; init; } = [];

    /// <inheritdoc/>
    public ReadOnlyMemory<byte> Json(Vocabulary vocabulary) => write(vocabulary);

    /// <inheritdoc/>
    public Task ExecuteAsync(HttpContext httpContext)
    {
        // A list of a patient's resources is nobody else's to keep.
        httpContext.Response.Headers.CacheControl = "no-store";
        return FhirReply.Write(httpContext, StatusCode, Json(FhirReply.Words(httpContext)));
    }
}

/// <summary>A reply that is any resource, not from the store.</summary>
internal sealed class FhirResult(Resource resource) : IFhirAnswer
{
    /// <inheritdoc/>
    public int StatusCode => StatusCodes.Status200OK;

    /// <inheritdoc/>
    public IReadOnlyList<ShownVersion> Shown { get; init; } = [];

    /// <inheritdoc/>
    public ReadOnlyMemory<byte> Json(Vocabulary vocabulary) => FhirJson.WriteUtf8(resource);

    /// <inheritdoc/>
    public Task ExecuteAsync(HttpContext httpContext) => FhirReply.Write(httpContext, StatusCode, FhirJson.WriteUtf8(resource));
}
