using IrrigationFhir.Access;
using Microsoft.Extensions.Configuration;

namespace IrrigationFhir.Tests.Access;

/// <summary>Tokens travel encrypted outside this machine, or the service does not start (R-ACC-14).</summary>
public sealed class PlainHttpTests
{
    private static readonly string[] Tokens =
    [
        "--Access:Mode=tokens",
        "--Access:Issuer=https://issuer.example",
        "--Access:Audience=https://ward.example/fhir",
    ];

    [Theory]
    [InlineData("urls=http://0.0.0.0:5000", true)]
    [InlineData("urls=http://*:5000", true)]
    [InlineData("urls=http://ward.example:5000", true)]
    [InlineData("urls=https://*:5443;http://[::]:5000", true)]
    [InlineData("http_ports=8080", true)]
    [InlineData("Kestrel:Endpoints:Ward:Url=http://10.1.2.3:80", true)]
    [InlineData("urls=https://*:5443", false)]
    [InlineData("https_ports=8443", false)]
    [InlineData("Kestrel:Endpoints:Ward:Url=https://*:5443", false)]
    [InlineData("urls=http://127.0.0.1:5000;http://[::1]:5000;http://localhost:5000", false)]
    [InlineData("urls=http://unix:/run/irrigation.sock", false)]
    public void An_address_without_TLS_is_of_this_machine_alone(string setting, bool refused)
    {
        foreach (var mode in new[] { "tokens", "own" })
        {
            Assert.Equal(refused, Faults(mode, setting).Contains("travel unencrypted", StringComparison.Ordinal));
            Assert.DoesNotContain("unencrypted", Faults(mode, setting, "Access:Proxies:0=10.20.0.0/16"), StringComparison.Ordinal);
            Assert.DoesNotContain("unencrypted", Faults(mode, setting, "Access:PlainHttp=true"), StringComparison.Ordinal);
        }
    }

    [Fact]
    public void An_open_service_has_nothing_to_say_of_it() =>
        Assert.Contains("Access:PlainHttp: true", Faults("open", "Access:PlainHttp=true"), StringComparison.Ordinal);

    [Theory]
    [InlineData("--urls=http://0.0.0.0:0", null)]
    [InlineData(null, "18081")]
    public async Task Such_a_start_ends_with_2_and_touches_nothing(string? argument, string? ports)
    {
        var folder = Directory.CreateTempSubdirectory("plain-").FullName;
        var (code, _, errors) = await ProgramProcess.RunWith(
            folder,
            ports is null ? [] : [("ASPNETCORE_HTTP_PORTS", ports)],
            argument is null ? Tokens : [.. Tokens, argument]
        );
        Assert.True(code == 2, $"{code}: {errors}");
        Assert.Contains("tokens would travel unencrypted", errors, StringComparison.Ordinal);
        Assert.Contains("Access:Proxies", errors, StringComparison.Ordinal);
        Assert.Contains("Access:PlainHttp", errors, StringComparison.Ordinal);
        Assert.False(Directory.Exists(Path.Combine(folder, "data")));
    }

    [Fact]
    public async Task A_site_that_encrypts_by_other_means_says_so_and_is_told_at_each_start()
    {
        var folder = Directory.CreateTempSubdirectory("plain-").FullName;
        await using var service = await ProgramProcess.Serve(folder, [.. Tokens, "--Access:PlainHttp=true"]);
        Assert.Contains("tokens are taken unencrypted", service.Said, StringComparison.Ordinal);
    }

    private static string Faults(string mode, params string[] settings)
    {
        var configuration = new ConfigurationBuilder().AddCommandLine([$"Access:Mode={mode}", .. settings]).Build();
        return Assert.Throws<SettingsFault>(() => AccessSettings.Read(configuration)).Message;
    }
}
