using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Entries;

/// <summary>Implausible is marked: taken as it was charted, and said where it is read.</summary>
[Collection(EveningOnTheWard.Name)]
public sealed class ImplausibleIsMarkedTests(EveningOnTheWard evening)
{
    [Fact]
    public async Task Implausible_is_marked_300_litres_instilled_are_named_in_the_reply_and_on_their_Observation()
    {
        var episode = await evening.Open();
        var reply = await evening.Service.Record(episode, Instilled("slip", 300_000));

        var doubt = reply.Json["entries"]![0]!["doubts"]!.AsArray().Single()!;
        Assert.Equal("implausible-volume", (string)doubt["kind"]!);
        Assert.Contains("300,000 mL", doubt.ToJsonString(), StringComparison.Ordinal);
        Assert.Equal("recorded", reply.Outcomes.Single());
        var observation = await Observation(episode);
        Assert.Equal("implausible-volume", Mark(observation));
        Assert.Contains("300,000 mL", (string)observation["note"]![0]!["text"]!, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Implausible_is_marked_and_just_beside_it_nothing_is()
    {
        var episode = await evening.Open();
        var reply = await evening.Service.Record(episode, Instilled("bag", 10_000));

        Assert.Null(reply.Json["entries"]![0]!["doubts"]);
        Assert.Null(Mark(await Observation(episode)));
    }

    [Fact]
    public async Task Implausible_is_marked_until_somebody_looked_again_and_a_correction_takes_it_away()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Instilled("slip", 300_000));
        await evening.Service.Record(
            episode,
            Of("reading-confirmed", "seen", "21:00", ("reading", new JsonObject { ["source"] = Source, ["id"] = "slip" }))
        );
        Assert.Null(Mark(await Observation(episode)));

        var other = await evening.Open();
        await evening.Service.Record(other, Instilled("slip", 300_000));
        await evening.Service.Record(other, Instilled("slip", 3000));
        Assert.Null(Mark(await Observation(other)));
    }

    [Theory]
    [InlineData("drops", "implausible-flow")] // 13 L/h do not run through a catheter by gravity
    [InlineData("pump", null)] // a pump pushes
    public async Task Implausible_is_marked_a_flow_that_gravity_cannot_deliver(string how, string? mark)
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Flow("flow", "09:00", 13_000).With("how", how));

        Assert.Equal(mark, Mark(await Observation(episode)));
    }

    private static JsonObject Instilled(string id, decimal millilitres) =>
        Of("irrigant-instilled", id, "20:00", ("volume", Millilitres(millilitres))).With("how", "syringe");

    private async Task<JsonNode> Observation(string episode) =>
        (await evening.Service.Resources(episode, "Observation"))
            .Single(found => found.Key.Contains(".irrigant-", StringComparison.Ordinal))
            .Value;

    private static string? Mark(JsonNode observation) =>
        (string?)
            observation["component"]
                ?.AsArray()
                .SingleOrDefault(part => (string)part!["code"]!["coding"]![0]!["code"]! == "caveat")
                ?["valueCodeableConcept"]!["coding"]![0]!["code"];
}
