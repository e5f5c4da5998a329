using System.Text.Json.Nodes;
using IrrigationFhir.Demo;
using WireMock.RequestBuilders;
using WireMock.ResponseBuilders;
using WireMock.Server;

namespace IrrigationFhir.Tests.Demo;

/// <summary>The sender of the demo, against a server that fails as servers do.</summary>
public sealed class WardClientTests : IDisposable
{
    private const string Path = "/episodes/a-night/entries";
    private readonly WireMockServer server = WireMockServer.Start();
    private readonly HttpClient http;

    public WardClientTests() => http = new() { BaseAddress = new(server.Url!) };

    private static JsonArray Entries =>
        [
            JsonNode.Parse(
                """
                {"source": "ward-7", "id": "4712", "kind": "drainage-emptied", "at": "2026-03-14T22:00:00+01:00",
                "volume": {"value": 650, "unit": "mL"}}
                """
            ),
        ];

    private List<string> Bodies => [.. server.LogEntries.Select(entry => entry.RequestMessage!.Body!)];

    [Theory]
    [InlineData(503)]
    [InlineData(429)]
    public async Task What_may_not_have_arrived_is_sent_again_word_for_word(int status)
    {
        Answers("down", null, status, "{}");
        Answers("up", "down", 200, """{"version": 2}""");

        var reply = await new WardClient(http).Record("a-night", Entries, CancellationToken.None);

        Assert.Equal(2, (int)reply["version"]!);
        Assert.Equal([Entries.ToJsonString(), Entries.ToJsonString()], Bodies.Select(body => JsonNode.Parse(body)!.ToJsonString()));
        Assert.Equal(Bodies[0], Bodies[1]);
    }

    [Fact]
    public async Task What_was_refused_is_not_sent_again()
    {
        server
            .Given(Request.Create().WithPath(Path).UsingPost())
            .RespondWith(
                Response
                    .Create()
                    .WithStatusCode(422)
                    .WithBody(
                        """{"resourceType": "OperationOutcome", "issue": [{"diagnostics": "entries[0].volume: -40 mL; 0 or more"}]}"""
                    )
            );

        var refused = await Assert.ThrowsAsync<InvalidOperationException>(() =>
            new WardClient(http).Record("a-night", Entries, CancellationToken.None)
        );

        Assert.Equal("422: entries[0].volume: -40 mL; 0 or more", refused.Message);
        Assert.Single(Bodies);
    }

    public void Dispose()
    {
        http.Dispose();
        server.Dispose();
    }

    private void Answers(string then, string? when, int status, string body)
    {
        var given = server.Given(Request.Create().WithPath(Path).UsingPost()).InScenario("a server that comes back");
        (when is null ? given : given.WhenStateIs(when))
            .WillSetStateTo(then)
            .RespondWith(Response.Create().WithStatusCode(status).WithHeader("Content-Type", "application/json").WithBody(body));
    }
}
