using System.Globalization;
using System.Text;
using IrrigationFhir.Problems;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>The reply to a create or update, as <c>Prefer: return=…</c> asks.</summary>
/// <param name="stands">What became of it.</param>
/// <param name="at">The address of the FHIR base.</param>
internal sealed class WrittenResult(Written.Stands stands, string at) : IResult
{
    private string Message =>
        stands.Resource is not null ? stands.Disposition : $"{stands.Disposition}; the resource failed its own profile and is withheld";

    /// <inheritdoc/>
    public Task ExecuteAsync(HttpContext httpContext)
    {
        var headers = httpContext.Response.Headers;
        headers.CacheControl = "private, no-cache";
        if (stands.Resource is { } stored)
        {
            headers.ETag = EntityTags.Of(stored.VersionId);
            headers.LastModified = stored.LastUpdated.ToDateTimeUtc().ToString("R", CultureInfo.InvariantCulture);
            if (stands.Status == StatusCodes.Status201Created)
                headers.Location = $"{at}/{stored.Type}/{stored.Id}/_history/{stored.VersionId}";
            else
                headers.ContentLocation = $"{at}/{stored.Type}/{stored.Id}/_history/{stored.VersionId}";
        }

        if (Preferences.Return(httpContext.Request) == "minimal")
        {
            httpContext.Response.StatusCode = stands.Status;
            httpContext.Response.ContentLength = 0;
            return Task.CompletedTask;
        }

        return Preferences.Return(httpContext.Request) == "OperationOutcome" || stands.Resource is null
            ? FhirReply.Write(
                httpContext,
                stands.Status,
                FhirJson.WriteUtf8(Outcomes.AllIsWell(Message, stands.Warnings).Under(FhirReply.Words(httpContext)))
            )
            : FhirReply.Write(httpContext, stands.Status, Encoding.UTF8.GetBytes(stands.Resource.Json));
    }
}
