using IrrigationFhir.Access;
using Microsoft.AspNetCore.Routing.Patterns;
using Microsoft.AspNetCore.Server.Kestrel.Core;

namespace IrrigationFhir.Rest;

/// <summary>The FHIR RESTful API, reading side: what it answers is in <see cref="FhirReading"/> and in the rooms that add to it.</summary>
internal static class FhirApi
{
    /// <summary>Adds its settings, the limits on request bodies, the hosts that it answers to, and packed replies.</summary>
    /// <remarks>Keeps what the framework writes of requests out of the log too.</remarks>
    public static IServiceCollection AddFhir(this IServiceCollection services, IConfiguration configuration)
    {
        var settings = FhirSettings.Read(configuration);
        services.AddSingleton(settings).AddSingleton(settings.Vocabulary);
        services.AddSingleton<CapabilityStatements>().AddSingleton<Searching>().AddSingleton<FhirReading>().AddSingleton<FhirReads>();
        services.AddSingleton(service => service.GetRequiredService<FhirReading>().Table());
        services.AddSingleton<AuditReading>().AddSingleton(service => service.GetRequiredService<AuditReading>().Table());
        services.AddSingleton<CapabilityClaim>(AuditReading.Claim);
        services.AddSingleton<SupportedProfiles>();
        services.AddSingleton<CapabilityClaim>(service => service.GetRequiredService<SupportedProfiles>().Claim);
        services
            .AddOptions<KestrelServerOptions>()
            .Configure<AccessSettings>(
                (kestrel, access) =>
                {
                    kestrel.Limits.MaxRequestBodySize = settings.MaxBodyBytes;

                    // Read before a route is known, so that they hold for all: an access token and what proxies add are a few KiB.
                    (kestrel.Limits.MaxRequestHeadersTotalSize, kestrel.Limits.MaxRequestHeaderCount) = (16 * 1024, 64);

                    // Said once for every connection: the framework keeps what was said last, and nothing before it.
                    kestrel.ConfigureEndpointDefaults(endpoint =>
                    {
                        if (access.IsOfThisMachine)
                            OpenToThisMachine.RefuseStrangers(endpoint);
                        UnreadableRequests.Answer(endpoint, settings.Vocabulary);
                    });
                }
            );
        return services.AddAllowedHosts().AddPackedReplies().KeepRequestsOutOfTheLog();
    }

    /// <summary>Maps the routes of everything that is read below the base, whatever room answers it.</summary>
    public static void MapFhir(this IEndpointRouteBuilder app) => app.ServiceProvider.GetRequiredService<FhirReads>().Map(app);

    /// <summary>FHIR addresses are case-sensitive, routing here is not.</summary>
    public static async ValueTask<object?> RequireExactCase(EndpointFilterInvocationContext context, EndpointFilterDelegate next)
    {
        var http = context.HttpContext;
        var path = http.Request.Path.Value ?? "/";
        return (http.GetEndpoint() as RouteEndpoint)?.RoutePattern is not { } pattern || IsExactCase(pattern, path)
            ? await next(context)
            : FhirReading.NotFound(path);
    }

    /// <summary>Whether the literal parts of an address are written as its pattern has them.</summary>
    public static bool IsExactCase(RoutePattern pattern, string path)
    {
        var literals = pattern.PathSegments.Select(segment => segment.Parts is [RoutePatternLiteralPart literal] ? literal.Content : null);
        return literals.Zip(path.Trim('/').Split('/')).All(pair => pair.First is null || pair.First == pair.Second);
    }
}
