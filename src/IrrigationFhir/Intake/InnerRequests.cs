using System.Text;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using Microsoft.AspNetCore.Routing.Template;

namespace IrrigationFhir.Intake;

/// <summary>Asks the routes of the FHIR API from within: a GET in a Bundle.</summary>
internal sealed class InnerRequests(EndpointDataSource endpoints)
{
    // Read at the first question: by then every room has mapped its routes.
    private readonly Lazy<IReadOnlyList<(TemplateMatcher Matcher, RouteEndpoint Endpoint)>> routes = new(() =>
        [
            .. endpoints
                .Endpoints.OfType<RouteEndpoint>()
                .Where(e => e.Metadata.GetMetadata<IHttpMethodMetadata>()?.HttpMethods.Contains(HttpMethods.Get) is true)
                .Select(e => (new TemplateMatcher(TemplateParser.Parse(e.RoutePattern.RawText ?? ""), []), e)),
        ]
    );

    /// <summary>A reply from within.</summary>
    internal sealed record InnerReply(int Status, string Body, string? ETag, string? LastModified);

    /// <summary>
    /// Gets an address below the FHIR base, such as <c>Observation?code=…</c>; unknown search parameters fail with
    /// <paramref name="strict"/>.
    /// </summary>
    public async Task<InnerReply> Get(HttpContext outer, string address, bool strict)
    {
        var (path, query) = address.IndexOf('?', StringComparison.Ordinal) is var mark and >= 0
            ? (address[..mark], address[mark..])
            : (address, "");
        var http = new DefaultHttpContext
        {
            RequestServices = outer.RequestServices,
            RequestAborted = outer.RequestAborted,
            User = outer.User,
        };
        (http.Request.Method, http.Request.Scheme, http.Request.Host, http.Request.PathBase) = (
            HttpMethods.Get,
            outer.Request.Scheme,
            outer.Request.Host,
            outer.Request.PathBase
        );
        http.Request.Path = $"{FhirBase.Path}/{Uri.UnescapeDataString(path.TrimStart('/'))}";
        http.Request.QueryString = new(query);
        if (strict)
            http.Request.Headers["Prefer"] = "handling=strict";
        using var body = new MemoryStream();
        http.Response.Body = body;

        var endpoint = Find(http);
        if (endpoint?.RequestDelegate is { } handle)
        {
            http.SetEndpoint(endpoint);
            await handle(http);
        }
        else
        {
            await new OutcomeResult(
                StatusCodes.Status404NotFound,
                Outcome.Problem("unknown-address", address, "an address below the FHIR base", null)
            ).ExecuteAsync(http);
        }

        return new(
            http.Response.StatusCode,
            Encoding.UTF8.GetString(body.ToArray()),
            http.Response.Headers.ETag.FirstOrDefault(),
            http.Response.Headers.LastModified.FirstOrDefault()
        );
    }

    /// <summary>The route that says the most of the path literally.</summary>
    private RouteEndpoint? Find(DefaultHttpContext http)
    {
        RouteEndpoint? best = null;
        foreach (var (matcher, endpoint) in routes.Value)
        {
            var values = new RouteValueDictionary();
            if (!matcher.TryMatch(http.Request.Path, values))
                continue;
            if (best is not null && best.RoutePattern.Parameters.Count <= endpoint.RoutePattern.Parameters.Count)
                continue;
            (best, http.Request.RouteValues) = (endpoint, values);
        }

        return best;
    }
}
