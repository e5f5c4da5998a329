using System.Net;
using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Health;
using IrrigationFhir.Outbound;
using IrrigationFhir.Rest;
using Microsoft.AspNetCore.RateLimiting;
using Microsoft.Extensions.DependencyInjection.Extensions;
using Microsoft.Extensions.Options;

namespace IrrigationFhir.Tokens;

/// <summary>Wires who asks: tokens, clients, limits. Which of it is in force is a matter of <c>Access:Mode</c>.</summary>
internal static class TokensSetup
{
    /// <summary>Adds it. Needs the store, and comes after the gate, whose settings are its own.</summary>
    public static IServiceCollection AddTokens(this IServiceCollection services, IConfiguration configuration)
    {
        var settings = services.Select(service => service.ImplementationInstance).OfType<AccessSettings>().Single();
        services.AddSingleton<Clients>().AddSingleton<GatewayCertificates>().AddSingleton<AccessLimits>().AddSingleton<ClientMetrics>();
        services.AddSingleton<SigningKeys>().AddSingleton<KeysOfClients>().AddSingleton<IssuerOfSite>();
        services.AddSingleton<ClientAssertions>().AddSingleton<TokenApi>().AddSingleton<SmartConfiguration>();
        services.TryAddSingleton<ResolveAddresses>(Dns.GetHostAddressesAsync);
        services
            .AddHttpClient<KeyFetcher>(http =>
            {
                http.Timeout = KeyFetcher.Patience;
                http.MaxResponseContentBufferSize = KeyFetcher.MostBytes;
            })
            .ConfigurePrimaryHttpMessageHandler(provider =>
                new Connections(settings.Networks, settings.AllowLoopback).Handler(
                    provider.GetRequiredService<ResolveAddresses>(),
                    settings.Authorities
                )
            )
            .RemoveAllLoggers();
        if (settings.Mode != AccessMode.Open)
            services.Replace(ServiceDescriptor.Singleton<ICallers, TokenCallers>());
        services.ServeCertificates(configuration);
        services.AddSingleton<IPostConfigureOptions<RateLimiterOptions>>(provider => new PostConfigureOptions<RateLimiterOptions>(
            null,
            options => AccessLimits.Add(options, settings, provider.GetRequiredService<Clients>(), provider.GetRequiredService<IAudit>())
        ));
        services.AddSingleton<CapabilityClaim>(statement => Claim(statement, settings));
        if (settings.Mode != AccessMode.Open)
            services.AddHealthChecks().AddCheck<ClientsCheck>("clients", tags: [HealthApi.Ready]);
        return services;
    }

    /// <summary>Maps the routes; tokens are issued where the service issues them itself.</summary>
    public static void MapTokens(this IEndpointRouteBuilder app)
    {
        var services = app.ServiceProvider;
        app.MapGet($"{FhirBase.Path}/.well-known/smart-configuration", (HttpContext http, SmartConfiguration smart) => smart.Answer(http))
            .Needs(AccessNeeds.Nothing)
            .ExcludeFromDescription();
        if (services.GetRequiredService<AccessSettings>().Mode == AccessMode.Open)
            return;
        services.GetRequiredService<ClientMetrics>();
        if (services.GetRequiredService<AccessSettings>().Mode != AccessMode.Own)
            return;
        app.MapPost(Addresses.TokenPath, (HttpContext http, TokenApi tokens) => tokens.Issue(http))
            .Needs(AccessNeeds.Nothing)
            .TakesLittle(services)
            .ExcludeFromDescription();
        app.MapGet(Addresses.KeysPath, (HttpContext http, TokenApi tokens) => tokens.Keys(http))
            .Needs(AccessNeeds.Nothing)
            .ExcludeFromDescription();
    }

    /// <summary>Says in the statement of a service that is not open how its callers are known.</summary>
    private static void Claim(CapabilityStatement statement, AccessSettings settings)
    {
        if (settings.Mode == AccessMode.Open || statement.Kind != CapabilityStatementKind.Instance)
            return;
        statement.Rest[0].Security = new()
        {
            Cors = false,
            Service = [new() { Coding = [Codes.SmartOnFhir], Text = "SMART Backend Services" }],
            Description =
                "A bearer token whose scopes (system/…) cover the request: .well-known/smart-configuration says where tokens are issued. "
                + (
                    settings.PatientClaim is null
                        ? "Scopes patient/ and user/ grant nothing: no patients and no users are kept here."
                        : "Scopes patient/ reach what is about the patient that the token names; user/ grant nothing."
                ),
        };
    }
}
