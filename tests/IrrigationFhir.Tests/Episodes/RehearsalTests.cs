using System.Text.Json;
using Irrigation.Episodes;
using IrrigationFhir.Record;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>What is rehearsed at a start could be sent as it is, goes all the way, and is stored nowhere.</summary>
public class RehearsalTests
{
    [Fact]
    public async Task It_goes_all_the_way_and_leaves_nothing()
    {
        await using var service = RunningService.Start("2026-03-14T12:00:00Z");
        ActivatorUtilities.CreateInstance<Rehearsal>(service.Services).Play();
        Assert.Empty((await service.Read("/episodes"))["episodes"]!.AsArray());
        Assert.Null((await service.Read("/fhir/Observation"))["entry"]);
    }

    [Fact]
    public void Every_entry_of_it_can_be_read()
    {
        foreach (var sent in Rehearsal.Morning)
        {
            var problems = new List<EntryProblem>();
            using var json = JsonDocument.Parse(sent);
            EntryReader.Read(json.RootElement, "entry", problems);
            Assert.True(problems.Count == 0, $"{sent}: {string.Join(", ", problems)}");
        }
    }
}
