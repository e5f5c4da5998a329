using System.Globalization;
using System.Text;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.Net.Http.Headers;

namespace IrrigationFhir.Rest;

/// <summary>A reply that is one version of a resource, with ETag and Last-Modified; 304 when the client has it already.</summary>
/// <remarks>The tag is weak, because a part of a version is sent under the tag of the whole.</remarks>
internal sealed class ResourceResult(ResourceVersion version, Shape shape) : IResult
{
    /// <inheritdoc/>
    public Task ExecuteAsync(HttpContext httpContext)
    {
        var headers = httpContext.Response.Headers;
        headers.ETag = ETag(version);
        headers.LastModified = version.LastUpdated.ToDateTimeUtc().ToString("R", CultureInfo.InvariantCulture);
        // Others' caches must not keep a patient's data; the client's own may, and asks each time.
        headers.CacheControl = "private, no-cache";
        if (!IsKnownTo(httpContext.Request))
            return FhirReply.Write(httpContext, StatusCodes.Status200OK, Encoding.UTF8.GetBytes(Shaping.Of(version, shape)));

        httpContext.Response.StatusCode = StatusCodes.Status304NotModified;
        return Task.CompletedTask;
    }

    /// <summary>The weak entity tag of a version.</summary>
    public static string ETag(ResourceVersion version) => $"W/\"{version.VersionId}\"";

    private bool IsKnownTo(HttpRequest request)
    {
        // RFC 9110, 13.2.2: If-Modified-Since counts only where there is no If-None-Match.
        if (request.Headers.IfNoneMatch is { Count: > 0 } tags)
        {
            return EntityTagHeaderValue.TryParseList(tags, out var known)
                && known.Any(tag => tag.Tag == "*" || tag.Tag == $"\"{version.VersionId}\"");
        }

        return request.GetTypedHeaders().IfModifiedSince is { } since
            && version.LastUpdated.ToUnixTimeSeconds() <= since.ToUnixTimeSeconds();
    }
}
