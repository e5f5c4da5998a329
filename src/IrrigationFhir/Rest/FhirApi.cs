using System.Globalization;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Server.Kestrel.Core;

namespace IrrigationFhir.Rest;

/// <summary>The FHIR RESTful API, reading side: read, version read, history, search, a patient's operations, metadata.</summary>
internal static class FhirApi
{
    private static readonly string[] Reading = [HttpMethods.Get, HttpMethods.Head];

    // An operation that changes nothing may be asked either way.
    private static readonly string[] Operating = [HttpMethods.Get, HttpMethods.Head, HttpMethods.Post];

    /// <summary>Adds its settings, the limits on request bodies and the hosts that it answers to.</summary>
    /// <remarks>Keeps what the framework writes of requests out of the log too.</remarks>
    public static IServiceCollection AddFhir(this IServiceCollection services, IConfiguration configuration)
    {
        var settings = FhirSettings.Read(configuration);
        services.AddSingleton(settings);
        services.AddSingleton<CapabilityStatements>();
        services.AddSingleton<CapabilityClaim>(SupportedProfiles.Claim);
        services.Configure<KestrelServerOptions>(kestrel =>
        {
            kestrel.Limits.MaxRequestBodySize = settings.MaxBodyBytes;

            // Read before a route is known, so that they hold for all: an access token and what proxies add are a few KiB.
            (kestrel.Limits.MaxRequestHeadersTotalSize, kestrel.Limits.MaxRequestHeaderCount) = (16 * 1024, 64);
        });
        return services.AddAllowedHosts().KeepRequestsOutOfTheLog();
    }

    /// <summary>Maps the routes of every type in <see cref="IndexedTypes"/>.</summary>
    public static IEndpointRouteBuilder MapFhir(this IEndpointRouteBuilder app)
    {
        var fhir = app.MapGroup(FhirBase.Path)
            .AddEndpointFilter(Negotiation.RequireJson)
            .AddEndpointFilter(RequireExactCase)
            .ExcludeFromDescription();
        fhir.MapMethods(
            "/metadata",
            Reading,
            (HttpContext http, CapabilityStatements statements) => new FhirResult(statements.For(http.Request))
        );
        foreach (var type in IndexedTypes.All)
        {
            var name = type.Name;
            fhir.MapMethods(
                $"/{name}/_history",
                Reading,
                (HttpContext http, ResourceStore store, CancellationToken stop) => TypeHistory(http, name, store, stop)
            );
            fhir.MapMethods(
                $"/{name}",
                Reading,
                (HttpContext http, ResourceStore store, CancellationToken stop) => Searching.Search(http, type, store, stop)
            );
            fhir.MapPost(
                    $"/{name}/_search",
                    (HttpContext http, ResourceStore store, CancellationToken stop) => Searching.Search(http, type, store, stop)
                )
                .TakesLittle(app.ServiceProvider);
            fhir.MapMethods(
                $"/{name}/{{id}}",
                Reading,
                (HttpContext http, string id, ResourceStore store, CancellationToken stop) => Read(http, name, id, store, stop)
            );
            fhir.MapMethods(
                $"/{name}/{{id}}/_history",
                Reading,
                (HttpContext http, string id, ResourceStore store, CancellationToken stop) => History(http, name, id, store, stop)
            );
            fhir.MapMethods(
                $"/{name}/{{id}}/_history/{{version}}",
                Reading,
                (HttpContext http, string id, string version, ResourceStore store, CancellationToken stop) =>
                    VersionRead(http, name, id, version, store, stop)
            );
        }

        var observation = IndexedTypes.Find("Observation")!;
        fhir.MapMethods(
                "/Observation/$lastn",
                Operating,
                (HttpContext http, ResourceStore store, CancellationToken stop) => PatientOperations.Latest(http, observation, store, stop)
            )
            .TakesLittle(app.ServiceProvider);
        fhir.MapMethods(
                "/Patient/$everything",
                Operating,
                (HttpContext http, ResourceStore store, CancellationToken stop) => PatientOperations.Everything(http, null, store, stop)
            )
            .TakesLittle(app.ServiceProvider);
        fhir.MapMethods(
                "/Patient/{id}/$everything",
                Operating,
                (HttpContext http, string id, ResourceStore store, CancellationToken stop) =>
                    PatientOperations.Everything(http, id, store, stop)
            )
            .TakesLittle(app.ServiceProvider);
        return app;
    }

    private static async Task<IResult> Read(HttpContext http, string type, string id, ResourceStore store, CancellationToken stop) =>
        await store.Read(type, id, stop) is { } stored ? Reply(http, stored) : NotFound($"{type}/{id}");

    private static async Task<IResult> VersionRead(
        HttpContext http,
        string type,
        string id,
        string version,
        ResourceStore store,
        CancellationToken stop
    ) =>
        long.TryParse(version, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
        && await store.VersionRead(type, id, number, stop) is { } stored
            ? Reply(http, stored)
            : NotFound($"{type}/{id}/_history/{version}");

    private static IResult Reply(HttpContext http, ResourceVersion stored)
    {
        var (shape, problems) = Shaping.OfRead(http.Request.Query);
        return shape is null ? new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems)) : new ResourceResult(stored, shape);
    }

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
        var next =
            versions.Count > page.Count && page.Count > 0 ? address + (request with { Before = page[^1].VersionId }).ToQuery() : null;
        return new BundleResult(Bundles.History(at, page, address + request.ToQuery(), next));
    }

    private static async Task<IResult> TypeHistory(HttpContext http, string type, ResourceStore store, CancellationToken stop)
    {
        var settings = http.RequestServices.GetRequiredService<FhirSettings>();
        var (request, problems) = HistoryRequest.Read(
            http.Request.Query,
            settings,
            http.RequestServices.GetRequiredService<StoreSettings>().TimeZone,
            ofType: true
        );
        if (request is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        var versions = await store.TypeHistory(type, request.Count + 1, request.Since, request.BeforeStored, stop);
        var at = FhirBase.Of(http.Request, settings);
        var page = versions.Take(request.Count).ToList();
        var address = $"{at}/{type}/_history";
        var next =
            versions.Count > page.Count ? address + (request with { BeforeStored = (page[^1].LastUpdated, page[^1].Id) }).ToQuery() : null;
        return new BundleResult(Bundles.History(at, page, address + request.ToQuery(), next));
    }

    private static OutcomeResult NotFound(string address) =>
        new(
            StatusCodes.Status404NotFound,
            Outcome.Problem("unknown-resource", address, "the type, id and version of a stored resource", null)
        );

    /// <summary>FHIR addresses are case-sensitive, routing here is not.</summary>
    public static async ValueTask<object?> RequireExactCase(EndpointFilterInvocationContext context, EndpointFilterDelegate next)
    {
        var http = context.HttpContext;
        var pattern = (http.GetEndpoint() as RouteEndpoint)?.RoutePattern;
        var given = http.Request.Path.Value?.Trim('/').Split('/') ?? [];
        var literals =
            pattern?.PathSegments.Select(segment =>
                segment.Parts is [Microsoft.AspNetCore.Routing.Patterns.RoutePatternLiteralPart literal] ? literal.Content : null
            ) ?? [];
        return literals.Zip(given).All(pair => pair.First is null || pair.First == pair.Second)
            ? await next(context)
            : NotFound(http.Request.Path.Value ?? "/");
    }
}
