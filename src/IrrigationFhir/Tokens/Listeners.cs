using System.Net.Security;
using System.Security.Cryptography;
using IrrigationFhir.Access;
using Microsoft.AspNetCore.HttpOverrides;
using Microsoft.AspNetCore.Server.Kestrel.Core;
using Microsoft.Extensions.Options;

namespace IrrigationFhir.Tokens;

/// <summary>What connections have to bring: certificates of gateways, and what proxies say of whom they pass on.</summary>
/// <remarks>
/// The server's own certificate stands in the configuration of Kestrel, which reads its files again when they change and speaks TLS 1.2
/// and 1.3 where the system does.
/// </remarks>
internal static class Listeners
{
    /// <summary>Where a listener asks for a certificate, takes those that are registered; no authority is asked.</summary>
    public static IServiceCollection TakeRegisteredCertificates(this IServiceCollection services) =>
        services.AddSingleton<IConfigureOptions<KestrelServerOptions>>(provider => new ConfigureOptions<KestrelServerOptions>(kestrel =>
            kestrel.ConfigureHttpsDefaults(https =>
            {
                var clients = provider.GetRequiredService<Clients>();
                https.ClientCertificateValidation = (shown, _, fault) =>
                    !fault.HasFlag(SslPolicyErrors.RemoteCertificateNotAvailable)
                    && clients.Now.FindByCertificate(Convert.ToHexString(SHA256.HashData(shown.RawData))) is not null;
            })
        ));

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
