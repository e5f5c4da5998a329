using System.Globalization;
using System.Text;
using IrrigationFhir.Fhir;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>A reply that is one version of a resource, with ETag and Last-Modified; 304 when the client has it already.</summary>
internal sealed class ResourceResult(ResourceVersion version, Shape shape) : IFhirAnswer
{
    /// <inheritdoc/>
    public int StatusCode => StatusCodes.Status200OK;

    /// <inheritdoc/>
    public ReadOnlyMemory<byte> Json(Vocabulary vocabulary) => Text;

    /// <inheritdoc/>
    public IReadOnlyList<ShownVersion> Shown => [ShownVersion.Of(version)];

    private byte[] Text => Encoding.UTF8.GetBytes(Shaping.Of(version, shape));

    /// <inheritdoc/>
    public string? ETag => EntityTags.Of(version.VersionId);

    /// <inheritdoc/>
    public Task ExecuteAsync(HttpContext httpContext)
    {
        var headers = httpContext.Response.Headers;
        headers.ETag = ETag;
        headers.LastModified = version.LastUpdated.ToDateTimeUtc().ToString("R", CultureInfo.InvariantCulture);
        // Others' caches must not keep a patient's data; the client's own may, and asks each time.
        headers.CacheControl = "private, no-cache";
        if (!IsKnownTo(httpContext.Request))
            return FhirReply.Write(httpContext, StatusCode, Text);

        httpContext.Response.StatusCode = StatusCodes.Status304NotModified;
        return Task.CompletedTask;
    }

    /// <summary>Whether a request within a Bundle has it already, by the two elements that stand for the headers.</summary>
    /// <param name="ifNoneMatch">Entity tags, or null.</param>
    /// <param name="ifModifiedSince">A FHIR instant, or null.</param>
    public bool IsKnownTo(string? ifNoneMatch, string? ifModifiedSince) =>
        ifNoneMatch is not null
            ? EntityTags.Cover(ifNoneMatch, version.VersionId)
            : DateTimeOffset.TryParse(ifModifiedSince, CultureInfo.InvariantCulture, out var since) && IsKnownSince(since);

    // RFC 9110, 13.2.2: If-Modified-Since counts only where there is no If-None-Match.
    private bool IsKnownTo(HttpRequest request) =>
        request.Headers.IfNoneMatch is { Count: > 0 } tags
            ? EntityTags.Cover(tags, version.VersionId)
            : request.GetTypedHeaders().IfModifiedSince is { } since && IsKnownSince(since);

    private bool IsKnownSince(DateTimeOffset since) => version.LastUpdated.ToUnixTimeSeconds() <= since.ToUnixTimeSeconds();
}
