using System.Globalization;
using System.Net;
using System.Net.Security;
using System.Security.Authentication;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using IrrigationFhir.Outbound;
using IrrigationFhir.Subscriptions;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;
using Microsoft.Extensions.Configuration;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;
using Microsoft.Extensions.Logging.Abstractions;

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

    [Fact]
    public async Task A_gateway_is_known_by_a_name_for_which_an_authority_of_the_site_vouches()
    {
        Write(Certificate("ward.example"));
        var (site, others) = (Authority("Site"), Authority("Site"));
        File.WriteAllText(Path.Combine(_folder, "site.pem"), site.ExportCertificatePem());
        JsonObject Gateway(string id, params string[] names) =>
            new()
            {
                ["id"] = id,
                ["scopes"] = new JsonArray("system/Observation.rs"),
                ["certificates"] = new JsonArray([.. names.Select(name => (JsonNode)name)]),
            };
        JsonNode[] clients =
        [
            Gateway("north", "dns:Gateway.ward.example"),
            Gateway("south", "uri:urn:ward:south", "dns:south.ward.example"),
        ];
        await using var service = GuardedService.Start(
            clients,
            [
                .. Https(),
                ("Kestrel:Endpoints:Https:ClientCertificateMode", "RequireCertificate"),
                ("Access:ClientAuthorities", Path.Combine(_folder, "site.pem")),
            ]
        );
        var address = Address(service, "https");
        async Task<bool> IsLetIn(X509Certificate2 certificate)
        {
            using var handler = new HttpClientHandler { ServerCertificateCustomValidationCallback = (_, _, _, _) => true };
            handler.ClientCertificates.Add(certificate);
            using var http = new HttpClient(handler);
            try
            {
                using var response = await http.GetAsync(new Uri(address, "/fhir/Observation"));
                return response.StatusCode == HttpStatusCode.OK;
            }
            catch (HttpRequestException)
            {
                return false;
            }
        }

        Assert.True(await IsLetIn(Issued(site, names => names.AddDnsName("gateway.ward.example"))));
        Assert.True(await IsLetIn(Issued(site, names => names.AddDnsName("GATEWAY.ward.example"))));
        Assert.True(await IsLetIn(Issued(site, names => names.AddUri(new("urn:ward:south")))));
        Assert.False(await IsLetIn(Issued(site, names => names.AddDnsName("ward.example"))), "another name");
        Assert.False(await IsLetIn(Issued(site, names => names.AddDnsName("*.ward.example"))), "a name that is many");
        Assert.False(await IsLetIn(Issued(site, names => names.AddUri(new("urn:ward:SOUTH")))), "another URI");
        Assert.False(await IsLetIn(Issued(site, names => names.AddEmailAddress("gateway.ward.example"))), "a name of another kind");
        Assert.False(await IsLetIn(Issued(site, null, "gateway.ward.example")), "a common name alone");
        Assert.False(await IsLetIn(Issued(others, names => names.AddDnsName("gateway.ward.example"))), "another authority of that name");
        Assert.False(
            await IsLetIn(Issued(site, names => names.AddDnsName("gateway.ward.example"), purpose: "1.3.6.1.5.5.7.3.1")),
            "a server's"
        );
        Assert.False(await IsLetIn(Issued(site, names => names.AddDnsName("gateway.ward.example"), days: -1)), "out of its time");
        Assert.False(
            await IsLetIn(
                Issued(
                    site,
                    names =>
                    {
                        names.AddDnsName("gateway.ward.example");
                        names.AddDnsName("south.ward.example");
                    }
                )
            ),
            "two clients' names"
        );

        clients[0]["enabled"] = false;
        service.Register(clients);
        Assert.False(await IsLetIn(Issued(site, names => names.AddDnsName("gateway.ward.example"))), "let in no longer");
    }

    [Theory]
    [InlineData("dns:gateway.ward.example", "Access:ClientAuthorities")]
    [InlineData("dns:not a name", "64 hexadecimal digits")]
    [InlineData("uri:no uri", "64 hexadecimal digits")]
    [InlineData("email:a@ward.example", "64 hexadecimal digits")]
    public void A_name_that_nobody_vouches_for_or_that_is_none_is_refused(string name, string says)
    {
        var file = Path.Combine(_folder, "clients.json");
        File.WriteAllText(
            file,
            GuardedService.ClientsIn(
                new JsonObject
                {
                    ["id"] = "north",
                    ["scopes"] = new JsonArray("system/*.rs"),
                    ["certificates"] = new JsonArray(name),
                }
            )
        );
        var fault = Assert.Throws<SettingsFault>(() => Registrations.Read(file, new() { Mode = AccessMode.Own })).Message;
        Assert.Contains(says, fault, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Endpoints_that_ask_who_calls_are_shown_a_certificate_of_the_service_as_its_file_says_now()
    {
        var (site, shown) = (Authority("Site"), new System.Collections.Concurrent.ConcurrentQueue<string?>());
        File.WriteAllText(Path.Combine(_folder, "site.pem"), site.ExportCertificatePem());
        var builder = WebApplication.CreateSlimBuilder();
        builder.Logging.ClearProviders();
        builder.WebHost.ConfigureKestrel(kestrel =>
            kestrel.Listen(
                IPAddress.Loopback,
                0,
                listener =>
                    listener.UseHttps(https =>
                    {
                        https.ServerCertificate = Issued(site, names => names.AddDnsName("localhost"), purpose: "1.3.6.1.5.5.7.3.1");
                        https.ClientCertificateMode = Microsoft.AspNetCore.Server.Kestrel.Https.ClientCertificateMode.AllowCertificate;
                        https.AllowAnyClientCertificate();
                    })
            )
        );
        await using var endpoint = builder.Build();
        endpoint.Run(http =>
        {
            shown.Enqueue(http.Connection.ClientCertificate?.Thumbprint);
            return Task.CompletedTask;
        });
        await endpoint.StartAsync();
        var address = new Uri(endpoint.Urls.Single().Replace("127.0.0.1", "localhost", StringComparison.Ordinal));

        var (first, second) = (
            Issued(site, names => names.AddDnsName("irrigation.ward.example")),
            Issued(site, names => names.AddDnsName("irrigation.ward.example"))
        );
        var clock = new Microsoft.Extensions.Time.Testing.FakeTimeProvider();
        Write(first);
        (string, string?)[] settings =
        [
            ("Subscriptions:AllowLoopback", "true"),
            ("Subscriptions:CertificateAuthorities", Path.Combine(_folder, "site.pem")),
            ("Subscriptions:ClientCertificate", Path.Combine(_folder, "tls.crt")),
            ("Subscriptions:ClientCertificateKey", Path.Combine(_folder, "tls.key")),
        ];
        var read = SubscriptionSettings.Read(
            new ConfigurationBuilder().AddInMemoryCollection(settings.Select(pair => KeyValuePair.Create(pair.Item1, pair.Item2))).Build()
        );
        var rules = new OutboundRules(read, new(read.Own!, clock, NullLogger<PemCertificate>.Instance));
        async Task Call(OutboundRules by)
        {
            using var http = new HttpClient(by.Handler(System.Net.Dns.GetHostAddressesAsync));
            using var response = await http.GetAsync(address);
        }

        await Call(rules);
        Write(second);
        clock.Advance(TimeSpan.FromSeconds(3));
        await Call(rules);
        await Call(new(read));
        Assert.Equal([first.Thumbprint, second.Thumbprint, null], shown);
    }

    [Theory]
    [InlineData("Subscriptions:ClientCertificate", "nothing.pem", "no certificate and its key")]
    [InlineData("Subscriptions:ClientCertificateKey", "nothing.pem", "without Subscriptions:ClientCertificate")]
    [InlineData("Access:ClientAuthorities", "nothing.pem", "cannot be read")]
    public void Files_that_hold_no_certificate_are_faults_of_the_settings(string name, string file, string says)
    {
        var configuration = new ConfigurationBuilder()
            .AddInMemoryCollection([KeyValuePair.Create(name, (string?)Path.Combine(_folder, file))])
            .Build();
        var fault = Assert.Throws<SettingsFault>(() =>
            name.StartsWith("Access", StringComparison.Ordinal)
                ? (object)AccessSettings.Read(configuration)
                : SubscriptionSettings.Read(configuration)
        );
        Assert.Contains(name, fault.Message, StringComparison.Ordinal);
        Assert.Contains(says, fault.Message, StringComparison.Ordinal);
    }

    private static X509Certificate2 Authority(string name)
    {
        using var key = ECDsa.Create(ECCurve.NamedCurves.nistP256);
        var request = new CertificateRequest($"CN={name}", key, HashAlgorithmName.SHA256);
        request.CertificateExtensions.Add(new X509BasicConstraintsExtension(true, false, 0, true));
        request.CertificateExtensions.Add(new X509KeyUsageExtension(X509KeyUsageFlags.KeyCertSign, true));
        using var made = request.CreateSelfSigned(DateTimeOffset.UtcNow.AddYears(-10), DateTimeOffset.UtcNow.AddYears(10));
        return X509CertificateLoader.LoadPkcs12(made.Export(X509ContentType.Pkcs12), null, X509KeyStorageFlags.Exportable);
    }

    /// <summary>A certificate by an authority; by default of a client, valid at the service's time.</summary>
    private static X509Certificate2 Issued(
        X509Certificate2 authority,
        Action<SubjectAlternativeNameBuilder>? named,
        string common = "irrigation",
        string purpose = "1.3.6.1.5.5.7.3.2",
        int days = 3000
    )
    {
        using var key = ECDsa.Create(ECCurve.NamedCurves.nistP256);
        var request = new CertificateRequest($"CN={common}", key, HashAlgorithmName.SHA256);
        request.CertificateExtensions.Add(new X509BasicConstraintsExtension(false, false, 0, true));
        request.CertificateExtensions.Add(new X509EnhancedKeyUsageExtension([new(purpose)], false));
        if (named is not null)
        {
            var names = new SubjectAlternativeNameBuilder();
            named(names);
            request.CertificateExtensions.Add(names.Build());
        }

        var (begin, now) = (DateTimeOffset.UtcNow.AddYears(-9), DateTimeOffset.Parse(GuardedService.Now, CultureInfo.InvariantCulture));
        using var signed = request.Create(authority, begin, now.AddDays(days), RandomNumberGenerator.GetBytes(8));
        using var whole = signed.CopyWithPrivateKey(key);
        return X509CertificateLoader.LoadPkcs12(whole.Export(X509ContentType.Pkcs12), null, X509KeyStorageFlags.Exportable);
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
