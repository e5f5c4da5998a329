using Hl7.Fhir.Model;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Store;
using Microsoft.Extensions.DependencyInjection;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Rest;

public class CapabilityTests
{
    [Fact]
    public async Task Every_claim_of_the_CapabilityStatement_is_exercised_R_HTTP_14()
    {
        await using var fhir = await FhirOverHttp.Start();
        await fhir.OpenEpisode("night");
        await fhir.Save(
            "night",
            StoreOnDisk.Drainage("x", "2026-03-02T08:50:00Z", null, 420),
            new Procedure { Id = "x", Status = EventStatus.InProgress, Code = new("https://ward.example/codes", "irrigation"), Subject = new("Patient/1"), Performed = new Period { Start = "2026-03-02T08:00:00Z" } },
            new Provenance { Id = "x", Recorded = DateTimeOffset.Parse("2026-03-02T09:00:00Z", null), Target = [new("Observation/x")], Agent = [new() { Who = new("Practitioner/1") }] });

        var statement = await fhir.Get<CapabilityStatement>("fhir/metadata");

        Assert.Equal((FHIRVersion.N4_0_1, CapabilityStatementKind.Instance, fhir.Base), (statement.FhirVersion!.Value, statement.Kind!.Value, statement.Implementation!.Url));
        Assert.DoesNotContain(statement.Format, format => format!.Contains("xml", StringComparison.Ordinal));
        var resources = statement.Rest.Single().Resource;
        Assert.Equal(["Observation", "Procedure", "Provenance"], resources.Select(resource => resource.TypeElement!.JsonValue));
        foreach (var resource in resources)
        {
            var type = (string)resource.TypeElement!.JsonValue!;
            foreach (var interaction in resource.Interaction)
            {
                var address = interaction.Code switch
                {
                    CapabilityStatement.TypeRestfulInteraction.Read => $"fhir/{type}/x",
                    CapabilityStatement.TypeRestfulInteraction.Vread => $"fhir/{type}/x/_history/1",
                    CapabilityStatement.TypeRestfulInteraction.HistoryInstance => $"fhir/{type}/x/_history",
                    CapabilityStatement.TypeRestfulInteraction.SearchType => $"fhir/{type}",
                    _ => throw new InvalidOperationException($"{interaction.Code} is claimed and not tested."),
                };
                using var reply = await fhir.Client.GetAsync(address);
                Assert.Equal(200, (int)reply.StatusCode);
            }

            foreach (var parameter in resource.SearchParam)
            {
                Assert.StartsWith("http://hl7.org/fhir/SearchParameter/", parameter.Definition, StringComparison.Ordinal);
                var value = parameter.Type == SearchParamType.Date ? "ge2026" : "a";
                using var request = new HttpRequestMessage(HttpMethod.Get, $"fhir/{type}?{parameter.Name}={value}");
                request.Headers.Add("Prefer", "handling=strict");
                using var reply = await fhir.Client.SendAsync(request);
                var found = await FhirOverHttp.Read<Bundle>(reply, 200);
                Assert.Contains($"{parameter.Name}={value}", found.SelfLink!.ToString(), StringComparison.Ordinal);
                Assert.Equal(parameter.Type == SearchParamType.Date ? 1 : 0, found.Entry.Count);
            }
        }
    }

    [Fact]
    public async Task Another_room_adds_its_claims()
    {
        await using var fhir = await FhirOverHttp.Start(services => services.AddSingleton<CapabilityClaim>(
            statement => statement.Rest[0].Resource[0].SupportedProfile = ["https://ward.example/StructureDefinition/drainage"]));

        var statement = await fhir.Get<CapabilityStatement>("fhir/metadata");

        Assert.Equal(["https://ward.example/StructureDefinition/drainage"], statement.Rest[0].Resource[0].SupportedProfile);
    }

    [Fact]
    public void The_zone_of_dates_without_offset_must_be_known()
    {
        var configuration = new Microsoft.Extensions.Configuration.ConfigurationManager { ["Data:TimeZone"] = "Nowhere/Land" };
        Assert.Contains("Nowhere/Land", Assert.Throws<InvalidOperationException>(() => StoreSettings.Read(configuration)).Message, StringComparison.Ordinal);
    }
}
