using Hl7.Fhir.Model;
using IrrigationFhir.Rest;
using Microsoft.Extensions.Configuration;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Rest;

/// <summary>A host that anybody can write into a request comes back in no link.</summary>
public class AllowedHostsTests
{
    private static readonly (string, string)[] Nothing = [];

    [Theory]
    [InlineData("elsewhere.example")]
    [InlineData("elsewhere.example:5000")]
    [InlineData("127.0.0.1.elsewhere.example")]
    [InlineData("localhost.elsewhere.example")]
    [InlineData("203.0.113.7")]
    public async Task A_foreign_host_is_refused_and_not_repeated(string host)
    {
        await using var fhir = await FhirOverHttp.Start(null, Nothing);
        foreach (var address in new[] { "fhir/Observation", "fhir/metadata", "nowhere" })
        {
            using var reply = await Ask(fhir, address, host);
            var refused = (await FhirOverHttp.Read<OperationOutcome>(reply, 421)).Issue.Single();
            Assert.Equal("host-not-allowed", refused.Details!.Coding.Single().Code);
            Assert.DoesNotContain(host, $"{reply.Headers} {await reply.Content.ReadAsStringAsync()}", StringComparison.Ordinal);
        }
    }

    [Theory]
    [InlineData("localhost")]
    [InlineData("LOCALHOST:81")]
    [InlineData("127.0.0.1")]
    [InlineData("127.4.4.4:5000")]
    [InlineData("[::1]:5000")]
    public async Task This_machine_is_answered_by_default(string host)
    {
        await using var fhir = await FhirOverHttp.Start(null, Nothing);
        using var reply = await Ask(fhir, "fhir/Observation", host);
        var found = await FhirOverHttp.Read<Bundle>(reply, 200);
        Assert.StartsWith($"http://{host}/fhir/Observation", found.SelfLink!.OriginalString, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("ward.example; *.quay.example", "ward.example", 200)]
    [InlineData("ward.example; *.quay.example", "WARD.example:8080", 200)]
    [InlineData("ward.example; *.quay.example", "north.quay.example", 200)]
    [InlineData("ward.example; *.quay.example", "quay.example", 421)]
    [InlineData("ward.example; *.quay.example", "localhost", 421)]
    [InlineData("*", "elsewhere.example", 200)]
    public async Task A_site_says_which_hosts_it_answers_to(string allowed, string host, int status)
    {
        await using var fhir = await FhirOverHttp.Start(null, ("AllowedHosts", allowed), ("Access:OpenToNetwork", "true"));
        using var reply = await Ask(fhir, "fhir/Observation", host);
        Assert.Equal(status, (int)reply.StatusCode);
    }

    [Fact]
    public async Task With_a_configured_base_links_carry_that_whatever_the_host()
    {
        await using var fhir = await FhirOverHttp.Start(
            null,
            ("Fhir:BaseUrl", "https://ward.example/fhir"),
            ("Access:OpenToNetwork", "true")
        );
        using var reply = await Ask(fhir, "fhir/Observation", "elsewhere.example");
        var found = await FhirOverHttp.Read<Bundle>(reply, 200);
        Assert.DoesNotContain("elsewhere", found.SelfLink!.OriginalString, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Probes_and_metrics_answer_to_any_host_and_repeat_none()
    {
        await using var fhir = await FhirOverHttp.Start(null, Nothing);
        foreach (var address in new[] { "health/live", "health/ready", "metrics" })
        {
            using var reply = await Ask(fhir, address, "10.1.2.3:8080");
            Assert.Equal(200, (int)reply.StatusCode);
            Assert.DoesNotContain("10.1.2.3", await reply.Content.ReadAsStringAsync(), StringComparison.Ordinal);
        }
    }

    [Theory]
    [InlineData("https://ward.example")]
    [InlineData("ward.example:8080")]
    [InlineData("ward.*")]
    public void A_setting_that_no_host_could_match_is_a_fault(string host)
    {
        var configuration = new ConfigurationBuilder().AddInMemoryCollection([new("AllowedHosts", $"ward.example;{host}")]).Build();
        var fault = Assert.Single(AllowedHosts.Faults(configuration));
        Assert.StartsWith($"AllowedHosts: '{host}'; a host without scheme and port", fault, StringComparison.Ordinal);
    }

    private static async Task<HttpResponseMessage> Ask(FhirOverHttp fhir, string address, string host)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, address);
        request.Headers.Host = host;
        return await fhir.Client.SendAsync(request);
    }
}
