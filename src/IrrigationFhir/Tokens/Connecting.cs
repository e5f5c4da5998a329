using System.Net.Security;
using System.Security.Authentication;
using IrrigationFhir.Access;
using IrrigationFhir.Outbound;
using Microsoft.AspNetCore.HttpOverrides;
using Microsoft.AspNetCore.Server.Kestrel.Core;
using Microsoft.Extensions.Options;

namespace IrrigationFhir.Tokens;

/// <summary>What connections have to bring: certificates of gateways, and what proxies say of whom they pass on.</summary>
internal static class Connecting
{
    /// <summary>Serves certificates from PEM files as these change, and takes certificates of gateways that are registered.</summary>
    /// <remarks>
    /// Kestrel by itself binds a listener anew when its files change: whoever connects meanwhile is refused. Here they are read again, and
    /// the listener stays.
    /// </remarks>
    public static IServiceCollection ServeCertificates(this IServiceCollection services, IConfiguration configuration) =>
        services.AddSingleton<IConfigureOptions<KestrelServerOptions>>(provider => new ConfigureOptions<KestrelServerOptions>(kestrel =>
        {
            var gateways = provider.GetRequiredService<GatewayCertificates>();
            kestrel.ConfigureHttpsDefaults(https =>
            {
                https.SslProtocols = SslProtocols.Tls12 | SslProtocols.Tls13;
                https.ClientCertificateValidation = (shown, _, fault) =>
                    !fault.HasFlag(SslPolicyErrors.RemoteCertificateNotAvailable) && gateways.Find(shown) is not null;
            });
            var listeners = kestrel.Configure(configuration.GetSection("Kestrel"), reloadOnChange: false);
            foreach (var listener in configuration.GetSection("Kestrel:Endpoints").GetChildren())
            {
                var files = listener.GetSection("Certificate");
                if (files["Path"] is not { Length: > 0 } path || files["KeyPath"] is not { Length: > 0 } key)
                    continue;
                var served = ActivatorUtilities.CreateInstance<PemCertificate>(provider, new PemFiles(path, key, files["Password"]));
                listeners.Endpoint(
                    listener.Key,
                    https => https.HttpsOptions.OnAuthenticate = (_, tls) => tls.ServerCertificateContext = served.Now
                );
            }
        }));

    /// <summary>Believes the proxies that are named, and nobody else. Put it first.</summary>
    public static WebApplication UseProxies(this WebApplication app)
    {
        var proxies = app.Services.GetRequiredService<AccessSettings>().KnownProxies;
        if (proxies.Count == 0)
            return app;
        var options = new ForwardedHeadersOptions { ForwardedHeaders = ForwardedHeaders.XForwardedFor | ForwardedHeaders.XForwardedProto };
        options.KnownProxies.Clear();
        options.KnownIPNetworks.Clear();
        foreach (var network in proxies)
            options.KnownIPNetworks.Add(network);
        app.UseForwardedHeaders(options);
        return app;
    }
}
