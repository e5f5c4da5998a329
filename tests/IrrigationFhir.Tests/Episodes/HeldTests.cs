using System.Text.Json.Nodes;
using IrrigationFhir.Record;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>What is held in memory is bounded, and nothing is answered otherwise because of it.</summary>
public class HeldTests
{
    [Fact]
    public async Task As_many_entries_are_held_as_the_site_lets_and_an_episode_that_was_let_go_is_read_again()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z", null, ("Data:EntriesInMemory", "1000"));
        await using var roomy = RunningService.Start("2026-03-14T22:00:00Z");
        var held = ward.Services.GetRequiredService<EpisodesInMemory>();
        var (beds, others) = (new List<string>(), new List<string>());
        for (var bed = 0; bed < 6; bed++)
        {
            beds.Add(await Filled(ward, $"bed {bed}", 300));
            others.Add(await Filled(roomy, $"bed {bed}", 300));
            Assert.InRange(held.Held, 1, 1000);
        }

        foreach (var (bed, other) in beds.Zip(others))
        {
            await ward.Record(bed, Emptied(1000, "2026-03-14T21:00:00Z"));
            await roomy.Record(other, Emptied(1000, "2026-03-14T21:00:00Z"));
            Assert.Equal(await Balance(roomy, other), await Balance(ward, bed));
            Assert.InRange(held.Held, 1, 1000);
        }

        // More than all of it: it is not held, and answered all the same.
        var large = await Filled(ward, "large", 1200);
        await ward.Record(large, Emptied(5000, "2026-03-14T21:00:00Z"));
        Assert.Equal(1201, (int)(await ward.Read($"/episodes/{large}"))["entries"]!);
        Assert.InRange(held.Held, 0, 1000);
    }

    private static async Task<string> Balance(RunningService ward, string bed) =>
        (await ward.Read($"/episodes/{bed}/balance"))["intervals"]!.ToJsonString();

    private static async Task<string> Filled(RunningService ward, string name, int entries)
    {
        var bed = await ward.Open(RunningService.Episode(name, "2026-03-14T00:00:00Z"));
        var start = new DateTime(2026, 3, 14, 0, 0, 0, DateTimeKind.Utc);
        await ward.Record(
            bed,
            [.. Enumerable.Range(0, entries).Select(n => Emptied(n, $"{start.AddSeconds(60 + (n * 60)):yyyy-MM-dd'T'HH:mm:ss}Z"))]
        );
        return bed;
    }

    private static JsonObject Emptied(int id, string at) =>
        new()
        {
            ["source"] = "ward",
            ["id"] = $"{id}",
            ["kind"] = "drainage-emptied",
            ["at"] = at,
            ["volume"] = new JsonObject { ["value"] = 3 + (id % 7), ["unit"] = "mL" },
        };
}
