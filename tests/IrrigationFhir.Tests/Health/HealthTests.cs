using System.Net.Http.Json;
using System.Text.Json;
using IrrigationFhir.Health;
using IrrigationFhir.Tests.Rest;
using IrrigationFhir.Tests.Store;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Diagnostics.HealthChecks;

namespace IrrigationFhir.Tests.Health;

public class HealthTests
{
    [Fact]
    public async Task Ready_once_the_store_answers_and_every_named_check_agrees()
    {
        var profilesWarm = false;
        await using var fhir = await FhirOverHttp.Start(services =>
            services
                .AddHealthChecks()
                .AddCheck(
                    "profiles",
                    () => profilesWarm ? HealthCheckResult.Healthy() : HealthCheckResult.Unhealthy("warming up"),
                    tags: [HealthApi.Ready]
                )
        );

        Assert.Equal((200, "ready"), await Probe(fhir, "live"));
        var (status, body) = await Ask(fhir, "ready");
        Assert.Equal((503, "not-ready"), (status, body.GetProperty("status").GetString()));
        Assert.Equal("warming up", body.GetProperty("checks").GetProperty("profiles").GetProperty("description").GetString());
        Assert.Equal("ready", body.GetProperty("checks").GetProperty("store").GetProperty("status").GetString());

        profilesWarm = true;
        Assert.Equal((200, "ready"), await Probe(fhir, "ready"));
    }

    [Fact]
    public async Task Withheld_resources_are_counted_and_do_not_take_the_service_out()
    {
        await using var fhir = await FhirOverHttp.Start();
        var episode = await fhir.OpenEpisode("night");
        await fhir.Episodes.Save(StoreOnDisk.Change(episode, []) with { Withheld = [new("Observation", "planted-id", "obs-6")] }, default);

        var (status, body) = await Ask(fhir, "ready");

        Assert.Equal((200, "degraded"), (status, body.GetProperty("status").GetString()));
        Assert.Equal(
            1,
            body.GetProperty("checks").GetProperty("withheld-resources").GetProperty("data").GetProperty("withheld").GetInt32()
        );
        Assert.DoesNotContain("planted-id", body.GetRawText(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Alive_but_not_ready_when_the_store_is_closed()
    {
        await using var fhir = await FhirOverHttp.Start();
        await fhir.Database.DisposeAsync();

        Assert.Equal((200, "ready"), await Probe(fhir, "live"));
        Assert.Equal((503, "not-ready"), await Probe(fhir, "ready"));
    }

    private static async Task<(int Status, string? Word)> Probe(FhirOverHttp fhir, string probe)
    {
        var (status, body) = await Ask(fhir, probe);
        return (status, body.GetProperty("status").GetString());
    }

    private static async Task<(int Status, JsonElement Body)> Ask(FhirOverHttp fhir, string probe)
    {
        using var reply = await fhir.Client.GetAsync($"health/{probe}");
        Assert.Equal("application/json", reply.Content.Headers.ContentType?.MediaType);
        return ((int)reply.StatusCode, await reply.Content.ReadFromJsonAsync<JsonElement>());
    }
}
