using System.Net.Http.Headers;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Intake;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Subscriptions;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;
using static IrrigationFhir.Tests.Intake.Sender;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Intake;

/// <summary>What is read within a Bundle is what is read at its address: the same answer, the same refusal.</summary>
[Collection(EveningOnTheWard.Name)]
public class InnerRequestsTests(EveningOnTheWard evening)
{
    private readonly RunningService _ward = evening.Service;

    [Theory]
    [InlineData("batch")]
    [InlineData("transaction")]
    public async Task Whatever_is_read_by_address_is_read_within_a_Bundle(string interaction)
    {
        var (sender, _) = await Of(evening);
        var created = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL")))).Is(201);
        var asked = JsonNode.Parse(FhirJson.Write(SampleSubscriptions.Here()))!;
        var subscription = (await new Sender(_ward, "").Send(HttpMethod.Post, "/fhir/Subscription", asked)).Is(201).Id;
        var patient = $"{RunningService.PatientSystem}|{sender.Patient["identifier"]!["value"]}";
        var token = Uri.EscapeDataString(patient);
        string[] addresses =
        [
            "metadata",
            $"Observation/{created.Id}",
            $"Observation/{created.Id}?_elements=status",
            $"/Observation/{created.Id}",
            $"Observation/{created.Id}/",
            $"Observation/{created.Id}/_history",
            $"Observation/{created.Id}/_history/1",
            "Observation/_history?_count=1",
            $"Observation?patient.identifier={token}&_sort=date",
            $"Observation?patient.identifier={patient}&colour=blue",
            $"Observation/$lastn?patient.identifier={token}&code=bladder-drainage-total",
            $"Patient/$everything?identifier={token}&_count=2",
            $"Subscription/{subscription}",
            $"Subscription/$status?id={subscription}",
            $"Subscription/{subscription}/$status",
            $"Subscription/{subscription}/$events",
            "Basic/flag-raised",
            // refusals
            "Observation/nowhere",
            $"Observation/{created.Id}/_history/99",
            $"observation/{created.Id}",
            "Observation?date=x",
            "Observation/$lastn",
            "Observation?_format=xml",
            "Patient/$everything",
            "Patient/nobody/$everything",
            "Subscription/nowhere/$status",
            $"Subscription/{subscription}/$events?content=all",
            "Basic/nothing",
            "Observation/_search",
        ];
        foreach (var strict in new[] { false, true })
        {
            (string, string)[] headers = strict ? [("Prefer", "handling=strict")] : [];
            var answered = (await sender.Bundle(interaction, addresses.Select(Read), headers)).Is(200).Json["entry"]!.AsArray();
            foreach (var (address, entry) in addresses.Zip(answered))
            {
                using var request = new HttpRequestMessage(HttpMethod.Get, $"/fhir/{address.TrimStart('/')}");
                if (strict)
                    request.Headers.Add("Prefer", "handling=strict");
                using var reply = await _ward.Http.SendAsync(request);
                var response = entry!["response"]!;
                Assert.Equal((address, $"{(int)reply.StatusCode}"), (address, ((string)response["status"]!).Split(' ')[0]));
                Assert.Equal((address, TagOf(reply)), (address, (string?)response["etag"]));
                var body = JsonNode.Parse(await reply.Content.ReadAsStringAsync());
                var inner = reply.IsSuccessStatusCode ? entry["resource"] : response["outcome"];
                Assert.True(JsonNode.DeepEquals(Lasting(body), Lasting(inner)), $"{address}: {body}\n{inner}");
            }
        }
    }

    [Theory]
    [InlineData("nothing")]
    [InlineData("../episodes")]
    [InlineData("%2E%2E/episodes")]
    [InlineData("https://elsewhere.example/fhir/metadata")]
    [InlineData("package.tgz")] // no resource
    [InlineData("/")]
    [InlineData("?")]
    public async Task What_is_no_address_of_a_resource_is_not_found_within_a_Bundle(string address)
    {
        var (sender, _) = await Of(evening);
        var entry = (await sender.Bundle("batch", [Read(address)])).Is(200).Json["entry"]![0]!;
        Assert.Null(entry["resource"]);
        var status = (string)entry["response"]!["status"]!;
        Assert.True(status == (address is "/" ? "400 Bad Request" : "404 Not Found"), status);
    }

    [Fact]
    public async Task Whoever_sent_the_Bundle_asks_what_is_in_it()
    {
        FhirQuestion? asked = null;
        var probe = new FhirRead(
            "Observation/{id}",
            question =>
            {
                asked = question;
                return Task.FromResult<IFhirAnswer>(new OutcomeResult(StatusCodes.Status200OK, new OperationOutcome()));
            },
            AccessNeeds.Of("Observation", Letters.Read)
        );
        var settings = new FhirSettings { BaseUrl = "https://irrigation.example/fhir" };
        var folder = Directory.CreateTempSubdirectory("waiting-").FullName;
        using var queue = new IrrigationFhir.Audit.AuditQueue(folder);
        var audit = new IrrigationFhir.Audit.AuditTrail(queue, null!, TimeProvider.System);
        var inner = new InnerRequests(new FhirReads([new([probe])], settings, audit), settings);
        var caller = new Caller("N-31 (invented)", Scope.ReadAll("system/Observation.r"));
        var http = new DefaultHttpContext();
        caller.Asks(http);

        await inner.Get(http, "Observation/one?code=a&code=b", strict: true);

        Assert.Same(caller, asked!.Caller);
        Assert.Equal(("one", "https://irrigation.example/fhir", true), (asked.Id, asked.Base, asked.Strict));
        Assert.Equal(["a", "b"], asked.Parameters.Select(pair => pair.Value));
    }

    [Fact]
    public void Whatever_is_read_below_the_base_is_in_the_one_table()
    {
        var table = _ward.Services.GetRequiredService<FhirReads>().All.Where(read => read.ByGet).Select(read => $"/fhir/{read.Address}");
        var routes = _ward
            .Services.GetRequiredService<EndpointDataSource>()
            .Endpoints.OfType<RouteEndpoint>()
            .Where(e => e.Metadata.GetMetadata<IHttpMethodMetadata>()?.HttpMethods.Contains("GET") == true)
            .Select(e => e.RoutePattern.RawText!)
            .Where(route => route.StartsWith("/fhir/", StringComparison.Ordinal) && !IsNoResource(route));
        Assert.Equal(table.Order(StringComparer.Ordinal), routes.Order(StringComparer.Ordinal));
    }

    /// <summary>What is answered with files and rows, or later, is asked on its own.</summary>
    private static bool IsNoResource(string route) =>
        route is "/fhir/package.tgz" or "/fhir/.well-known/smart-configuration"
        || route.StartsWith("/fhir/exports", StringComparison.Ordinal)
        || route.EndsWith("$export", StringComparison.Ordinal)
        || route.EndsWith("$viewdefinition-export", StringComparison.Ordinal)
        || route.EndsWith("$viewdefinition-run", StringComparison.Ordinal)
        || route.EndsWith("$run", StringComparison.Ordinal);

    private static JsonObject Read(string url) =>
        new()
        {
            ["request"] = new JsonObject { ["method"] = "GET", ["url"] = url },
        };

    private static string? TagOf(HttpResponseMessage reply) => reply.Headers.ETag is EntityTagHeaderValue tag ? tag.ToString() : null;

    /// <summary>Without what a Bundle says of its own making.</summary>
    private static JsonNode? Lasting(JsonNode? resource)
    {
        var copy = resource?.DeepClone();
        if ((string?)copy?["resourceType"] == "Bundle")
        {
            copy.AsObject().Remove("id");
            copy.AsObject().Remove("timestamp");
        }

        return copy;
    }
}
