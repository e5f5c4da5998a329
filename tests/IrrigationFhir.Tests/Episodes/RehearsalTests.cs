using System.Text.Json;
using Irrigation.Episodes;
using IrrigationFhir.Record;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>
/// What is rehearsed at a start could be sent as it is: everything else about it fails a start, and so every test of the service.
/// </summary>
public class RehearsalTests
{
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
