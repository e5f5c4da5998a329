using System.Net;
using System.Net.Security;
using System.Security.Authentication;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using System.Text.Json.Nodes;
using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Access;

/// <summary>TLS that ends at the service: certificates from files, and gateways that come with one of their own (R-ACC-14).</summary>
public sealed class TlsTests : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("tls-").FullName;

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    [Fact]
    public async Task A_certificate_that_is_replaced_is_served_without_a_restart()
    {
        using var client = new TestClient();
        var first = Certificate("ward.example");
        Write(first);
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")], Https());
        var address = Address(service, "https");
        Assert.Equal(first.Thumbprint, (await Served(address)).Thumbprint);

        // Half of it is there: the last one stays.
        var second = Certificate("ward.example");
        Write(second, certificateToo: false);
        service.Ward.Clock.Advance(TimeSpan.FromSeconds(3));
        Assert.Equal(first.Thumbprint, (await Served(address)).Thumbprint);
        Write(second);
        service.Ward.Clock.Advance(TimeSpan.FromSeconds(3));
        Assert.Equal(second.Thumbprint, (await Served(address)).Thumbprint);
    }

    [Theory]
    [InlineData(SslProtocols.Tls12, true)]
    [InlineData(SslProtocols.Tls13, true)]
#pragma warning disable SYSLIB0039, CA5397 // that it is refused is what is looked at
    [InlineData(SslProtocols.Tls11, false)]
#pragma warning restore SYSLIB0039, CA5397
    public async Task TLS_is_of_version_1_2_or_newer(SslProtocols protocol, bool taken)
    {
        using var client = new TestClient();
        Write(Certificate("ward.example"));
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")], Https());
        var address = Address(service, "https");
        if (taken)
            await Served(address, protocol);
        else
            await Assert.ThrowsAnyAsync<Exception>(() => Served(address, protocol));
    }

    [Fact]
    public async Task A_gateway_comes_with_a_certificate_that_is_registered_and_with_no_other()
    {
        Write(Certificate("ward.example"));
        var (own, strange) = (Certificate("gateway.example"), Certificate("gateway.example"));
        var gateway = new JsonObject
        {
            ["id"] = "gateway",
            ["scopes"] = new JsonArray("system/Observation.rs"),
            ["certificates"] = new JsonArray(own.GetCertHashString(HashAlgorithmName.SHA256)),
        };
        await using var service = GuardedService.Start(
            [gateway],
            [.. Https(), ("Kestrel:Endpoints:Https:ClientCertificateMode", "RequireCertificate")]
        );
        var address = Address(service, "https");

        async Task<HttpStatusCode> Get(string path, X509Certificate2? certificate, string? token = null)
        {
            using var handler = new HttpClientHandler { ServerCertificateCustomValidationCallback = (_, _, _, _) => true };
            if (certificate is not null)
                handler.ClientCertificates.Add(certificate);
            using var http = new HttpClient(handler);
            using var request = new HttpRequestMessage(HttpMethod.Get, new Uri(address, path));
            if (token is not null)
                request.Headers.Authorization = new("Bearer", token);
            using var response = await http.SendAsync(request);
            return response.StatusCode;
        }

        Assert.Equal(HttpStatusCode.OK, await Get("/fhir/Observation", own));
        Assert.Equal(HttpStatusCode.Forbidden, await Get("/fhir/Flag", own));
        Assert.Equal(HttpStatusCode.Unauthorized, await Get("/fhir/Observation", own, "forged"));
        await Assert.ThrowsAsync<HttpRequestException>(() => Get("/fhir/Observation", strange));
        await Assert.ThrowsAsync<HttpRequestException>(() => Get("/fhir/Observation", null));

        gateway["enabled"] = false;
        service.Register(gateway);
        await Assert.ThrowsAsync<HttpRequestException>(() => Get("/fhir/Observation", own));
    }

    private (string, string)[] Https() =>
        [
            ("Kestrel:Endpoints:Https:Url", "https://127.0.0.1:0"),
            ("Kestrel:Endpoints:Https:Certificate:Path", Path.Combine(_folder, "tls.crt")),
            ("Kestrel:Endpoints:Https:Certificate:KeyPath", Path.Combine(_folder, "tls.key")),
            ("Kestrel:Endpoints:Http:Url", "http://127.0.0.1:0"),
        ];

    private void Write(X509Certificate2 certificate, bool certificateToo = true)
    {
        File.WriteAllText(Path.Combine(_folder, "tls.key"), certificate.GetECDsaPrivateKey()!.ExportPkcs8PrivateKeyPem());
        if (certificateToo)
            File.WriteAllText(Path.Combine(_folder, "tls.crt"), certificate.ExportCertificatePem());
    }

    private static X509Certificate2 Certificate(string name)
    {
        using var key = ECDsa.Create(ECCurve.NamedCurves.nistP256);
        var request = new CertificateRequest($"CN={name}", key, HashAlgorithmName.SHA256);
        using var made = request.CreateSelfSigned(DateTimeOffset.UtcNow.AddYears(-10), DateTimeOffset.UtcNow.AddYears(10));
        return X509CertificateLoader.LoadPkcs12(made.Export(X509ContentType.Pkcs12), null, X509KeyStorageFlags.Exportable);
    }

    private static Uri Address(GuardedService service, string scheme) =>
        service
            .Ward.Services.GetRequiredService<IServer>()
            .Features.Get<IServerAddressesFeature>()!
            .Addresses.Select(address => new Uri(address))
            .Single(address => address.Scheme == scheme);

    /// <summary>The certificate that a service shows.</summary>
    private static async Task<X509Certificate2> Served(Uri address, SslProtocols protocol = SslProtocols.None)
    {
        using var tcp = new System.Net.Sockets.TcpClient();
        await tcp.ConnectAsync(address.Host, address.Port);
#pragma warning disable CA5359 // which certificate is shown is what is looked at
        await using var tls = new SslStream(tcp.GetStream(), false, (_, _, _, _) => true);
#pragma warning restore CA5359
        await tls.AuthenticateAsClientAsync(
            new SslClientAuthenticationOptions { TargetHost = "ward.example", EnabledSslProtocols = protocol }
        );
        return X509CertificateLoader.LoadCertificate(tls.RemoteCertificate!.GetRawCertData());
    }
}
