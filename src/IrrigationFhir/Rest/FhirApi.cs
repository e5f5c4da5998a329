using System.Globalization;
using Hl7.Fhir.Model;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Http.Extensions;
using Microsoft.AspNetCore.Server.Kestrel.Core;
using NodaTime;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Rest;

/// <summary>The FHIR RESTful API, reading side: read, version read, history, search, metadata.</summary>
internal static class FhirApi
{
    private static readonly string[] Reading = [HttpMethods.Get, HttpMethods.Head];

    /// <summary>Adds its settings, the limits on request bodies, and keeps addresses with their query strings out of the log.</summary>
    public static IServiceCollection AddFhir(this IServiceCollection services, IConfiguration configuration)
    {
        var settings = FhirSettings.Read(configuration);
        services.AddSingleton(settings);
        services.AddSingleton<CapabilityStatements>();
        services.AddSingleton<CapabilityClaim>(SupportedProfiles.Claim);
        services.Configure<KestrelServerOptions>(kestrel => kestrel.Limits.MaxRequestBodySize = settings.MaxBodyBytes);
        // The framework logs the whole address of each request, and a search address names patients.
        services.AddLogging(logging => logging.AddFilter("Microsoft.AspNetCore.Hosting.Diagnostics", LogLevel.Warning));
        return services;
    }

    /// <summary>Maps the routes of every type in <see cref="IndexedTypes"/>.</summary>
    public static IEndpointRouteBuilder MapFhir(this IEndpointRouteBuilder app)
    {
        var fhir = app.MapGroup(FhirBase.Path).AddEndpointFilter(Negotiation.RequireJson).AddEndpointFilter(RequireExactCase).ExcludeFromDescription();
        fhir.MapMethods("/metadata", Reading, (HttpContext http, CapabilityStatements statements) => new FhirResult(statements.For(http.Request)));
        foreach (var type in IndexedTypes.All)
        {
            var name = type.Name;
            fhir.MapMethods($"/{name}", Reading, (HttpContext http, ResourceStore store, CancellationToken stop) => Search(http, type, store, stop));
            fhir.MapPost($"/{name}/_search", (HttpContext http, ResourceStore store, CancellationToken stop) => Search(http, type, store, stop));
            fhir.MapMethods($"/{name}/{{id}}", Reading, (string id, ResourceStore store, CancellationToken stop) => Read(name, id, store, stop));
            fhir.MapMethods($"/{name}/{{id}}/_history", Reading, (HttpContext http, string id, ResourceStore store, CancellationToken stop) => History(http, name, id, store, stop));
            fhir.MapMethods($"/{name}/{{id}}/_history/{{version}}", Reading, (string id, string version, ResourceStore store, CancellationToken stop) => VersionRead(name, id, version, store, stop));
        }

        return app;
    }

    private static async Task<IResult> Read(string type, string id, ResourceStore store, CancellationToken stop) =>
        await store.Read(type, id, stop) is { } found ? new ResourceResult(found) : NotFound($"{type}/{id}");

    private static async Task<IResult> VersionRead(string type, string id, string version, ResourceStore store, CancellationToken stop) =>
        long.TryParse(version, NumberStyles.None, CultureInfo.InvariantCulture, out var number) && await store.VersionRead(type, id, number, stop) is { } found
            ? new ResourceResult(found)
            : NotFound($"{type}/{id}/_history/{version}");

    private static async Task<IResult> History(HttpContext http, string type, string id, ResourceStore store, CancellationToken stop)
    {
        var settings = http.RequestServices.GetRequiredService<FhirSettings>();
        var zone = http.RequestServices.GetRequiredService<StoreSettings>().TimeZone;
        var (request, problems) = HistoryRequest.Read(http.Request.Query, settings, zone);
        if (request is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        var versions = await store.History(type, id, request.Count + 1, request.Since, request.Before, stop);
        if (versions.Count == 0 && await store.Read(type, id, stop) is null)
            return NotFound($"{type}/{id}");

        var at = FhirBase.Of(http.Request, settings);
        var page = versions.Take(request.Count).ToList();
        var address = $"{at}/{type}/{id}/_history";
        var next = versions.Count > page.Count && page.Count > 0 ? address + (request with { Before = page[^1].VersionId }).ToQuery() : null;
        return new BundleResult(Bundles.History(at, page, address + request.ToQuery(), next));
    }

    private static async Task<IResult> Search(HttpContext http, IndexedType type, ResourceStore store, CancellationToken stop)
    {
        var request = http.Request;
        var parameters = Pairs(request.Query);
        if (HttpMethods.IsPost(request.Method))
        {
            if (!request.HasFormContentType)
                return new OutcomeResult(StatusCodes.Status415UnsupportedMediaType, Outcome.Problem("unsupported-media-type", request.ContentType ?? "no Content-Type", "application/x-www-form-urlencoded", null, OperationOutcome.IssueType.NotSupported));
            try
            {
                parameters = parameters.Concat(Pairs(await request.ReadFormAsync(stop)));
            }
            catch (InvalidDataException)
            {
                return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Problem("form-unreadable", "a form that cannot be read", "percent-encoded pairs of name and value", null, OperationOutcome.IssueType.Structure));
            }
        }

        var settings = http.RequestServices.GetRequiredService<FhirSettings>();
        var clock = http.RequestServices.GetRequiredService<TimeProvider>();
        var at = FhirBase.Of(request, settings);
        var (search, problems) = SearchReader.Read(type, parameters, new(
            Negotiation.IsStrict(request),
            at,
            Instant.FromDateTimeOffset(clock.GetUtcNow()),
            http.RequestServices.GetRequiredService<StoreSettings>().TimeZone,
            settings.DefaultCount,
            settings.MaxCount));
        if (search is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        var page = await store.Search(search.Query, stop);
        var query = search.Query;
        var self = Address(at, type, search.Honoured, query.Order, query.After);
        var next = page.Next is { } position ? Address(at, type, search.Honoured, query.Order, position) : null;
        return new BundleResult(Bundles.Search(at, page, self, next));
    }

    private static string Address(string at, IndexedType type, IEnumerable<KeyValuePair<string, string>> parameters, SearchOrder order, SearchPosition? after)
    {
        var query = new QueryBuilder(parameters);
        if (after is { } position)
            query.Add(SearchRequest.PageParameter, PageMark.Write(order, position));
        return $"{at}/{type.Name}{query}";
    }

    private static IEnumerable<KeyValuePair<string, string>> Pairs(IEnumerable<KeyValuePair<string, Microsoft.Extensions.Primitives.StringValues>> values) =>
        from pair in values
        from value in pair.Value
        select new KeyValuePair<string, string>(pair.Key, value ?? "");

    private static OutcomeResult NotFound(string address) => new(
        StatusCodes.Status404NotFound,
        Outcome.Problem("unknown-resource", address, "the type, id and version of a stored resource", null, OperationOutcome.IssueType.NotFound));

    /// <summary>FHIR addresses are case-sensitive, routing here is not.</summary>
    public static async ValueTask<object?> RequireExactCase(EndpointFilterInvocationContext context, EndpointFilterDelegate next)
    {
        var http = context.HttpContext;
        var pattern = (http.GetEndpoint() as RouteEndpoint)?.RoutePattern;
        var given = http.Request.Path.Value?.Trim('/').Split('/') ?? [];
        var literals = pattern?.PathSegments.Select(segment => segment.Parts is [Microsoft.AspNetCore.Routing.Patterns.RoutePatternLiteralPart literal] ? literal.Content : null) ?? [];
        return literals.Zip(given).All(pair => pair.First is null || pair.First == pair.Second)
            ? await next(context)
            : NotFound(http.Request.Path.Value ?? "/");
    }
}
