using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Access.GateTests.Ward;

namespace IrrigationFhir.Tests.Access;

/// <summary>
/// A scope with a query (R-ACC-11) lets write what a search by that query would find, and nothing else: neither what is sent, nor what it
/// replaces.
/// </summary>
public sealed class GranularWritesTests : IClassFixture<GateTests.Ward>
{
    private const string Drainage = "code=bladder-drainage-total";
    private readonly GateTests.Ward _ward;

    public GranularWritesTests(GateTests.Ward ward) => _ward = ward;

    [Theory]
    [InlineData("Observation.c?code=bladder-drainage-total", 201)]
    [InlineData("Observation.c?code=https://irrigationfhir.example/fhir/CodeSystem/irrigation-observation|bladder-drainage-total", 201)]
    [InlineData("Observation.c?code=https://elsewhere.example|bladder-drainage-total", 403)]
    [InlineData("Observation.c?code=9187-6", 403)]
    [InlineData("Observation.c?status=final", 201)]
    [InlineData("Observation.c?status=preliminary", 403)]
    [InlineData("Observation.c?category=laboratory", 403)]
    [InlineData("Observation.c?patient.identifier=https://ward.example/patients|P-1", 201)]
    [InlineData("Observation.c?patient.identifier=https://ward.example/patients|P-2", 403)]
    [InlineData("Observation.c?code=9187-6 Observation.c?status=final", 201)]
    [InlineData("Observation.c?code=bladder-drainage-total&status=amended", 403)]
    [InlineData("Observation.u?code=bladder-drainage-total", 403)]
    [InlineData("Observation.cruds?code:not=9187-6", 403)]
    public async Task What_is_created_would_be_found_by_the_scope(string scopes, int status)
    {
        var identifier = Guid.NewGuid().ToString();
        var reply = await Write("POST", "/fhir/Observation", scopes, Observation(identifier));
        Assert.True(status == (int)reply.Status, reply.Text);
        var found = await _ward.Ask("GET", $"/fhir/Observation?identifier={Uri.EscapeDataString(identifier)}&_summary=count", "system/*.s");
        Assert.Equal(status == 201 ? 1 : 0, (int)found.Json["total"]!);
        if (status == 403)
            return;
        var part = string.Join(' ', scopes.Split(' ').Select(one => $"system/{one.Replace(".c?", ".rs?", StringComparison.Ordinal)}"));
        var own = await _ward.Ask("GET", $"/fhir/Observation?identifier={Uri.EscapeDataString(identifier)}", part);
        Assert.Single(own.Json["entry"]!.AsArray());
    }

    [Theory]
    [InlineData("Observation.u?code=bladder-drainage-total", "amended", 200)]
    [InlineData("Observation.u?code=bladder-drainage-total", "entered-in-error", 200)]
    [InlineData("Observation.u?status=amended Observation.r", "amended", 403)] // what it replaces is final
    [InlineData("Observation.u?status=final Observation.r", "amended", 403)] // what replaces it is not
    [InlineData("Observation.u?status=final,amended", "amended", 200)]
    [InlineData("Observation.u?code=9187-6 Observation.r", "amended", 403)]
    [InlineData("Observation.u?code=9187-6", "amended", 404)] // and who may not even read it is not told that it is there
    [InlineData("Observation.c?code=bladder-drainage-total", "amended", 403)]
    public async Task What_is_updated_was_and_is_what_the_scope_would_find(string scopes, string becomes, int status)
    {
        var created = await Write("POST", "/fhir/Observation", "Observation.c", Observation(Guid.NewGuid().ToString()));
        var id = created.Location!.Split('/')[^3];
        var change = Observation((string)created.Json["identifier"]![0]!["value"]!);
        (change["id"], change["status"]) = (id, becomes);
        if (becomes == "amended")
            change["valueQuantity"]!["value"] = 60;
        var reply = await Write("PUT", $"/fhir/Observation/{id}", scopes, change);
        Assert.True(status == (int)reply.Status, reply.Text);
        var now = await _ward.Ask("GET", $"/fhir/Observation/{id}", "system/*.r");
        Assert.Equal(status == 200 ? becomes : "final", (string)now.Json["status"]!);
    }

    [Theory]
    [InlineData("Observation.c?code=bladder-drainage-total", 403)]
    [InlineData("Observation.c?code=bladder-drainage-total Observation.u?code=9187-6", 403)]
    [InlineData("Observation.cu?code=bladder-drainage-total", 200)]
    public async Task What_is_posted_again_as_amended_needs_what_an_update_needs(string scopes, int status)
    {
        var first = Observation(Guid.NewGuid().ToString());
        Assert.Equal(HttpStatusCode.Created, (await Write("POST", "/fhir/Observation", scopes, first)).Status);
        var again = await Write("POST", "/fhir/Observation", scopes, first);
        Assert.True(again.Status == HttpStatusCode.OK, again.Text);
        (first["status"], first["valueQuantity"]!["value"]) = ("amended", 70);
        var amended = await Write("POST", "/fhir/Observation", scopes, first);
        Assert.True(status == (int)amended.Status, amended.Text);
    }

    [Fact]
    public async Task In_a_bundle_each_entry_is_judged_and_a_transaction_does_nothing()
    {
        var (inside, outside) = (Observation(Guid.NewGuid().ToString()), Observation(Guid.NewGuid().ToString()));
        outside["status"] = "amended";
        JsonObject Bundle(string type) =>
            new()
            {
                ["resourceType"] = "Bundle",
                ["type"] = type,
                ["entry"] = new JsonArray([
                    .. new[] { inside, outside }.Select(one => new JsonObject
                    {
                        ["resource"] = one.DeepClone(),
                        ["request"] = new JsonObject { ["method"] = "POST", ["url"] = "Observation" },
                    }),
                ]),
            };
        const string Scopes = $"Observation.cu?{Drainage}&status=final";
        var transaction = await Write("POST", "/fhir", Scopes, Bundle("transaction"));
        Assert.Equal(HttpStatusCode.Forbidden, transaction.Status);
        var batch = await Write("POST", "/fhir", Scopes, Bundle("batch"));
        Assert.Equal(
            ["201 Created", "403 Forbidden"],
            batch.Json["entry"]!.AsArray().Select(entry => (string)entry!["response"]!["status"]!)
        );
    }

    [Fact]
    public async Task Entries_of_the_record_need_the_whole_type()
    {
        var entry = new JsonObject
        {
            ["source"] = "nurse",
            ["id"] = Guid.NewGuid().ToString(),
            ["kind"] = "urine-collected",
            ["at"] = "2026-03-14T20:30:00Z",
            ["volume"] = new JsonObject { ["value"] = 10, ["unit"] = "mL" },
        };
        var reply = await _ward.Ask("POST", "/episodes/{e}/entries", "system/Observation.cu?status=final", entry);
        Assert.Equal(HttpStatusCode.Forbidden, reply.Status);
    }

    private async Task<Reply> Write(string method, string address, string scopes, JsonObject body)
    {
        using var request = new HttpRequestMessage(new(method), new Uri(address, UriKind.Relative))
        {
            Content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/fhir+json"),
        };
        var system = string.Join(' ', scopes.Split(' ').Select(scope => $"system/{scope}"));
        request.Headers.TryAddWithoutValidation("Authorization", NamedCallers.Bearer("monitor", system));
        request.Headers.TryAddWithoutValidation("Prefer", "return=representation");
        using var response = await _ward.Service.Http.SendAsync(request);
        return await Reply.Of(response);
    }
}
