using System.Net;
using System.Net.Sockets;
using IrrigationFhir.Access;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;

namespace IrrigationFhir.Tests.Access;

/// <summary>A service that is open is of its own machine alone, whatever widens it.</summary>
public sealed class OpenServiceTests
{
    // What can have Kestrel listen elsewhere: https://learn.microsoft.com/aspnet/core/fundamentals/servers/kestrel/endpoints
    [Theory]
    [InlineData("--urls=http://0.0.0.0:0", null, null)]
    [InlineData("--urls=http://[::]:0", null, null)]
    [InlineData("--urls=http://*:0", null, null)]
    [InlineData("--urls=http://+:0", null, null)]
    [InlineData("--urls=http://127.0.0.1:0;http://ward.example:0", null, null)]
    [InlineData("--http_ports=0", null, null)]
    [InlineData("--https_ports=0", null, null)]
    [InlineData("--Kestrel:Endpoints:Ward:Url=http://0.0.0.0:0", null, null)]
    [InlineData(null, "ASPNETCORE_URLS", "http://0.0.0.0:0")]
    [InlineData(null, "DOTNET_URLS", "http://0.0.0.0:0")]
    [InlineData(null, "ASPNETCORE_HTTP_PORTS", "18080")]
    [InlineData(null, "ASPNETCORE_HTTPS_PORTS", "18443")]
    [InlineData(null, "Kestrel__Endpoints__Ward__Url", "http://*:0")]
    public async Task What_would_have_it_reached_from_elsewhere_ends_the_start(string? argument, string? variable, string? value)
    {
        var folder = Directory.CreateTempSubdirectory("open-").FullName;
        var began = DateTime.UtcNow;
        var (code, _, errors) = await ProgramProcess.RunWith(
            folder,
            variable is null ? [] : [(variable, value!)],
            argument is null ? [] : [argument]
        );

        Assert.True(code == 2, $"{code}: {errors}");
        Assert.Contains("an open service is reached from this machine alone", errors, StringComparison.Ordinal);
        Assert.Contains("Access:Mode", errors, StringComparison.Ordinal);
        Assert.Contains("Access:OpenToNetwork", errors, StringComparison.Ordinal);
        Assert.False(Directory.Exists(Path.Combine(folder, "data")));
        Assert.True(DateTime.UtcNow - began < TimeSpan.FromMinutes(1));
    }

    [Theory]
    [InlineData("http://localhost:5000")]
    [InlineData("http://127.0.0.1:0")]
    [InlineData("http://127.8.9.1:0")]
    [InlineData("http://[::1]:0")]
    [InlineData("http://unix:/tmp/irrigation.sock")]
    public void This_machine_is_this_machine(string url) => Assert.True(OpenToThisMachine.IsHere(url));

    [Fact]
    public async Task A_site_that_guards_it_by_other_means_says_so_and_is_told_at_each_start()
    {
        var folder = Directory.CreateTempSubdirectory("open-").FullName;
        await using var service = await ProgramProcess.Serve(folder, "--Access:OpenToNetwork=true", "--AllowedHosts=*");
        Assert.Contains("without access control", service.Said, StringComparison.Ordinal);
    }

    /// <summary>The gap between listening and looking where: nobody from elsewhere is answered then either.</summary>
    [Fact]
    public async Task A_connection_from_elsewhere_is_ended()
    {
        var own = Dns.GetHostAddresses(Dns.GetHostName())
            .FirstOrDefault(address => address.AddressFamily == AddressFamily.InterNetwork && !IPAddress.IsLoopback(address));
        if (own is null)
            return; // a machine without a network has nobody elsewhere
        var builder = WebApplication.CreateSlimBuilder();
        builder.WebHost.ConfigureKestrel(kestrel =>
        {
            kestrel.ConfigureEndpointDefaults(OpenToThisMachine.RefuseStrangers);
            kestrel.Listen(own, 0);
            kestrel.Listen(IPAddress.Loopback, 0);
        });
        await using var app = builder.Build();
        app.MapGet("/", () => "answered");
        await app.StartAsync();
        using var http = new HttpClient();
        var addresses = app.Urls.ToLookup(url => new Uri(url).IsLoopback);

        await Assert.ThrowsAsync<HttpRequestException>(() => http.GetStringAsync(new Uri(addresses[false].Single())));
        Assert.Equal("answered", await http.GetStringAsync(new Uri(addresses[true].Single())));
        Assert.True(OpenToThisMachine.IsHere(new IPEndPoint(IPAddress.Loopback.MapToIPv6(), 5000)));
    }

    [Theory]
    [InlineData("X-Forwarded-For", "10.1.2.3", HttpStatusCode.Forbidden)]
    [InlineData("X-Forwarded-Host", "ward.example", HttpStatusCode.Forbidden)]
    [InlineData("X-Forwarded-Proto", "https", HttpStatusCode.Forbidden)]
    [InlineData("Forwarded", "for=10.1.2.3", HttpStatusCode.Forbidden)]
    [InlineData("Origin", "https://elsewhere.example", HttpStatusCode.Forbidden)]
    [InlineData("Origin", "null", HttpStatusCode.Forbidden)]
    [InlineData("Origin", "http://localhost:5000", HttpStatusCode.OK)]
    [InlineData("Host", "elsewhere.example", HttpStatusCode.MisdirectedRequest)]
    [InlineData("Accept", "application/json", HttpStatusCode.OK)]
    public async Task A_request_that_was_passed_on_or_comes_out_of_a_page_is_refused(string header, string value, HttpStatusCode status)
    {
        await using var ward = RunningService.Start("2026-03-14T21:00:00Z");
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/fhir/Flag", UriKind.Relative));
        request.Headers.TryAddWithoutValidation(header, value);
        using var reply = await ward.Http.SendAsync(request);
        Assert.Equal(status, reply.StatusCode);
        Assert.False(reply.Headers.Contains("Access-Control-Allow-Origin"));
    }
}
