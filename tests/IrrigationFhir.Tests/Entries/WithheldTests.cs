using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Entries;

/// <summary>
/// A measured fact outlives what we make of it: a resource that fails its profile is withheld and named, the entry stays.
/// </summary>
public class WithheldTests
{
    [Fact]
    public async Task A_resource_that_fails_its_profile_is_withheld_and_named_and_the_entry_is_kept()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z");
        var described = RunningService.Episode("stay-w", "2026-03-14T08:00:00Z");
        described["encounter"] = new JsonObject { ["reference"] = "Patient/9" }; // R4: an encounter is an Encounter
        var episode = await ward.Open(described);

        var reply = await ward.Post($"/episodes/{episode}/entries", Emptied("drain-1", "12:00", 300));

        Assert.Equal(["recorded"], reply.Outcomes);
        Assert.Empty(reply.Changed);
        var withheld = reply.Json["withheld"]!.AsArray();
        Assert.Contains(withheld, w => ((string)w!["id"]!).StartsWith($"{episode}.bladder-drainage.", StringComparison.Ordinal));
        Assert.All(withheld, w => Assert.NotEqual("", (string)w!["faults"]!));
        Assert.Single((await ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());
        Assert.Equal(
            300m,
            (decimal)(await ward.Read($"/episodes/{episode}/balance"))["intervals"]![0]!["correctedUrineOutput"]!["headline"]!["value"]!
        );

        var health = await ward.Read("/health/ready");
        Assert.Equal("degraded", (string)health["status"]!);
        Assert.Equal(withheld.Count, (int)health["checks"]!["withheld-resources"]!["data"]!["withheld"]!);
        Assert.Equal(404, (int)(await ward.Get($"/fhir/{withheld[0]!["type"]}/{withheld[0]!["id"]}")).Status);
    }
}
