using System.Text.Json.Nodes;
using IrrigationFhir.Demo;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>The episode is in every resource: anything can be joined without taking ids apart.</summary>
public class EpisodeInEveryResourceTests
{
    private static async Task<(RunningService Ward, string Episode)> Night()
    {
        var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var episode = await ward.Open(InventedNight.Episode());
        foreach (var request in InventedNight.AsCharted())
            await ward.Record(episode, [.. request.Select(entry => entry!.DeepClone())]);
        return (ward, episode);
    }

    private static string? Irrigation(JsonNode resource) =>
        (string?)resource["partOf"]?[0]?["reference"]
        ?? (string?)
            resource["extension"]
                ?.AsArray()
                .SingleOrDefault(extension => ((string)extension!["url"]!).EndsWith("/part-of-irrigation", StringComparison.Ordinal))
                ?["valueReference"]!["reference"];

    [Fact]
    public async Task Everything_published_of_a_night_points_at_the_Procedure_of_its_episode_which_names_the_episode()
    {
        var (ward, episode) = await Night();
        await using var night = ward;
        var whole = $"Procedure/{episode}.bladder-irrigation";
        var all = await ward.Resources(episode, "Flag", "Observation", "Procedure", "Provenance");
        Assert.Superset(
            new HashSet<string>(["Flag", "Observation", "Procedure", "Provenance"]),
            all.Values.Select(resource => (string)resource["resourceType"]!).ToHashSet()
        );
        foreach (var resource in all.Values.Where(resource => (string)resource["id"]! != whole.Split('/')[1]))
            Assert.True(Irrigation(resource) == whole, resource.ToJsonString());
        Assert.Equal(
            InventedNight.Episode()["identifier"]!.ToJsonString(),
            (await ward.Read($"/fhir/{whole}"))["identifier"]![0]!.ToJsonString()
        );

        foreach (var type in (string[])["Observation", "Flag"])
        {
            var found = (await ward.Read($"/fhir/{type}?part-of={whole}&_count=500"))["entry"]!.AsArray();
            Assert.Equal(all.Values.Count(resource => (string)resource["resourceType"]! == type), found.Count);
        }
    }

    [Fact]
    public async Task What_is_charted_before_the_first_irrigant_is_part_of_an_irrigation_in_preparation()
    {
        await using var ward = RunningService.Start("2026-03-14T09:00:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        await ward.Record(
            episode,
            JsonNode.Parse(
                """
                {"source": "ward", "id": "first", "kind": "drainage-emptied", "at": "2026-03-14T08:10:00Z",
                "volume": {"value": 300, "unit": "mL"}}
                """
            )!
        );
        var drained = (await ward.Resources(episode, "Observation")).Values.First();
        var whole = await ward.Read($"/fhir/{Irrigation(drained)}");
        Assert.Equal(("preparation", null), ((string)whole["status"]!, whole["performedPeriod"]));

        var end = RunningService.Episode("stay", "2026-03-14T08:00:00Z", "2026-03-14T08:30:00Z");
        Assert.Equal(System.Net.HttpStatusCode.OK, (await ward.Post("/episodes", end)).Status);
        Assert.Equal("not-done", (string)(await ward.Read($"/fhir/{Irrigation(drained)}"))["status"]!);
    }
}
