using System.Text.Json.Nodes;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Tests.Intake;
using IrrigationFhir.Tests.Repository;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Contract;

/// <summary>The contract of the FHIR API in <c>openapi/fhir.json</c>.</summary>
[Collection(EveningOnTheWard.Name)]
public class FhirContractTests(EveningOnTheWard evening)
{
    private const string Document = "openapi/fhir.json";

    private static readonly string[] Methods = ["get", "post", "put", "patch"];

    [Fact]
    public async Task The_committed_contract_is_the_one_that_the_service_serves()
    {
        await using var ward = RunningService.Start(EveningOnTheWard.Now);
        Repo.Agrees(Document, Repo.Text(await ward.Read("/openapi/fhir.json")));
    }

    /// <summary>HEAD goes with every GET; DELETE is there to be refused, but for exports.</summary>
    [Fact]
    public async Task It_names_every_address_and_method_that_is_routed_and_no_other()
    {
        var routed =
            from endpoint in evening.Service.Services.GetRequiredService<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>()
            let path = "/" + endpoint.RoutePattern.RawText!.Trim('/')
            where path == FhirBase.Path || path.StartsWith(FhirBase.Path + "/", StringComparison.Ordinal)
            from method in endpoint.Metadata.GetMetadata<IHttpMethodMetadata>()?.HttpMethods ?? []
            where Methods.Contains(method.ToLowerInvariant())
            select $"{method.ToLowerInvariant()} {path}";
        var told = (await Told())["paths"]!
            .AsObject()
            .SelectMany(path => path.Value!.AsObject().Where(o => Methods.Contains(o.Key)).Select(o => $"{o.Key} {path.Key}"));
        Assert.Equal(routed.Order(StringComparer.Ordinal), told.Order(StringComparer.Ordinal));
    }

    [Fact]
    public async Task A_search_lists_every_parameter_that_its_type_can_be_searched_by()
    {
        var document = await Told();
        foreach (var type in IndexedTypes.All)
        {
            var names = document["paths"]![$"/fhir/{type.Name}"]!["get"]!["parameters"]!
                .AsArray()
                .Select(p => (string)p!["$ref"]!)
                .Select(at => document["components"]!["parameters"]![at.Split('/')[^1]]!)
                .Where(p => (string)p["in"]! == "query")
                .Select(p => (string)p["name"]!)
                .ToList();
            Assert.Equal(names.Distinct(), names);
            Assert.Equal(type.Parameters.Select(p => p.Name), names.Take(type.Parameters.Count));
            Assert.Contains("_sort", names);
            Assert.Contains("_count", names);
        }
    }

    [Fact]
    public async Task Every_operation_has_a_name_of_its_own_answers_as_FHIR_and_refuses_with_an_outcome()
    {
        var document = await Told();
        var operations = document["paths"]!.AsObject().SelectMany(path => path.Value!.AsObject()).Select(o => o.Value!).ToList();
        Assert.Equal(operations.Count, operations.Select(o => (string)o["operationId"]!).Distinct().Count());
        foreach (var (status, reply) in operations.SelectMany(o => o["responses"]!.AsObject()))
        {
            var of = reply!["$ref"] is { } at ? document["components"]!["responses"]![((string)at!).Split('/')[^1]]! : reply;
            if (of["content"] is not JsonObject content)
            {
                Assert.Contains(status, new[] { "202", "303" }); // an export: where it is asked for is in a header
                continue;
            }

            var (media, body) = Assert.Single(content);
            Assert.Equal(
                body!["schema"] is JsonObject { Count: 0 } or null ? "application/json" // rows, manifests and files, in several formats
                    : (string?)body["schema"]!["format"] == "binary" ? "application/gzip"
                    : "application/fhir+json",
                media
            );
            if (status[0] != '2')
                Assert.Equal("#/components/schemas/OperationOutcome", (string)body!["schema"]!["$ref"]!);
        }
    }

    /// <summary>An example of what is sent is taken as it stands.</summary>
    [Fact]
    public async Task What_it_shows_as_a_request_is_taken()
    {
        await using var ward = RunningService.Start(EveningOnTheWard.Now);
        var document = await ward.Read("/openapi/fhir.json");
        JsonNode Example(string path) =>
            document["paths"]![path]!["post"]!["requestBody"]!["content"]!["application/fhir+json"]!["example"]!;
        var scan = Example("/fhir/Observation");
        var episode = RunningService.Episode("stay", "2026-03-02T00:00:00Z");
        episode["patient"] = scan["subject"]!.DeepClone();
        await ward.Open(episode);

        var sender = new Sender(ward, "");
        (await sender.Post(scan)).Is(201);
        var answer = (await sender.Send(HttpMethod.Post, "/fhir", Example("/fhir"))).Is(200);
        Assert.All(answer.Json["entry"]!.AsArray(), entry => Assert.Equal("201 Created", (string)entry!["response"]!["status"]!));
    }

    private async Task<JsonNode> Told() => await evening.Service.Read("/openapi/fhir.json");
}
