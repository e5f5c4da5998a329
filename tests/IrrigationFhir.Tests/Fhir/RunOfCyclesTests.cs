using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Validation;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>30 mL pushed in and 12 mL back into the basin, 30 mL again and 5 mL back: as the service tells it.</summary>
public class RunOfCyclesTests
{
    private static Profiles Profiles => Ours.Profiles;

    private static JsonObject Entry(string kind, string clock, string content, string? id = null) =>
        JsonNode
            .Parse(
                $$"""
                {"source": "ward", "id": "{{id ?? kind + clock}}", "kind": "{{kind}}", "at": "2026-03-14T{{clock}}:00Z", {{content}}}
                """
            )!
            .AsObject();

    private static string Volume(int ml) =>
        $$"""
            "volume": {"value": {{ml}}, "unit": "mL"}
            """;

    private static JsonObject Given(string clock, int ml, string more = "") =>
        Entry("irrigant-instilled", clock, $"{Volume(ml)}, \"how\": \"syringe\"{more}");

    private static JsonObject Back(string clock, int ml, string? id = null) =>
        Entry("drainage-emptied", clock, $"{Volume(ml)}, \"container\": \"basin\", \"vessel\": \"basin\"", id);

    private static async Task<string> Basin(RunningService ward, params JsonObject[] more)
    {
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        JsonNode[] entries =
        [
            Given("08:10", 30, ", \"solution\": \"sodium chloride 0.9 %\", \"performer\": \"nurse\""),
            Back("08:13", 12),
            Given("08:15", 30),
            Back("08:17", 5),
            .. more,
        ];
        await ward.Record(episode, entries);
        return episode;
    }

    [Fact]
    public async Task The_balance_tells_each_cycle_with_its_interval_and_how_it_was_found()
    {
        await using var ward = RunningService.Start("2026-03-14T09:00:00Z");
        var episode = await Basin(ward);
        var run = (await ward.Read($"/episodes/{episode}/balance"))["runs"]!.AsArray().Single()!;
        Assert.Equal("time", (string)run["foundBy"]!);
        Assert.Equal(60, (decimal)run["instilled"]!["value"]!);
        Assert.Equal(17, (decimal)run["returned"]!["value"]!);
        Assert.Equal(43, (decimal)run["shortfall"]!["asCharted"]!["value"]!);
        Assert.Equal([18m, 25m], run["cycles"]!.AsArray().Select(cycle => (decimal)cycle!["shortfall"]!["asCharted"]!["value"]!));
        Assert.Contains(
            "Cycle 1: 30 mL in at 08:10; 12 mL back, 18 mL short (95 % 6.3 to 30 mL); stayed 3 min.",
            (string)run["inWords"]!,
            StringComparison.Ordinal
        );
    }

    [Fact]
    public async Task The_flag_is_urgent_and_no_output_below_0_is_told()
    {
        await using var ward = RunningService.Start("2026-03-14T09:00:00Z");
        var flags = (await ward.Read($"/episodes/{await Basin(ward)}/flags")).ToJsonString();
        Assert.Contains("return-short", flags, StringComparison.Ordinal);
        Assert.Contains("Do not force, and instil no more.", flags, StringComparison.Ordinal);
        Assert.DoesNotContain("corrected output -", flags, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Handover_and_record_tell_the_run_and_what_is_missing_of_it()
    {
        await using var ward = RunningService.Start("2026-03-14T09:00:00Z");
        var episode = await Basin(ward);
        var handover = (await ward.Get($"/episodes/{episode}/handover?form=long")).Text;
        Assert.Contains("2 cycles, 60 mL in, 17 mL back", handover, StringComparison.Ordinal);
        Assert.Contains("This shift, from the first entry at 08:10", handover, StringComparison.Ordinal);
        var record = (await ward.Read($"/episodes/{episode}/record"))["runs"]!.AsArray().Single()!;
        Assert.Contains("port cleaned", record["missing"]!.AsArray().Select(item => (string)item!));
        Assert.DoesNotContain("who irrigated", record["missing"]!.AsArray().Select(item => (string)item!));
    }

    [Fact]
    public async Task A_run_is_a_Procedure_that_is_part_of_the_episode_s_and_its_Observations_are_part_of_it()
    {
        await using var ward = RunningService.Start("2026-03-14T09:00:00Z");
        var episode = await Basin(
            ward,
            Entry("tolerance-noted", "08:18", "\"pain\": 6, \"spasm\": true, \"tolerated\": false"),
            Entry("irrigation-stopped", "08:20", "\"why\": \"short-return\", \"note\": \"catheter to be changed\"")
        );
        var run = Assert.Single(await Runs(ward, episode));
        Assert.Equal($"Procedure/{episode}.bladder-irrigation", run.PartOf.Single().Reference);
        Assert.Equal(EventStatus.Stopped, run.Status);
        Assert.Equal("ended-otherwise", run.Outcome!.Coding.Single().Code);
        Assert.Equal("ended because too little came back: catheter to be changed", run.Outcome.Text);
        Assert.Equal("249297006", run.Complication.Single().Coding.Single().Code); // spasm of the bladder, as it was noted
        Assert.Equal(("sodium chloride 0.9 %", "373757009"), (run.UsedCode.Single().Text, run.UsedCode.Single().Coding.Single().Code));
        var cycles = run.Extension.Where(e => e.Url == Profiles.IrrigationCycle).ToList();
        Assert.Equal(
            [12m, 5m],
            cycles.Select(cycle => ((Quantity)cycle.Extension.Single(part => part.Url == "returned").Value!).Value!.Value)
        );
        Assert.Empty(Judged.Validator.Validate(run));

        var observations = await Parts(ward, episode);
        Assert.Equal(5, observations.Count(part => part == $"Procedure/{run.Id}")); // two in, two back, and how it was borne
    }

    [Fact]
    public async Task A_run_that_was_none_is_withdrawn_and_one_that_is_corrected_changes()
    {
        await using var ward = RunningService.Start("2026-03-14T09:00:00Z");
        var episode = await Basin(ward);
        await ward.Record(episode, Back("08:13", 31, "drainage-emptied08:13"));
        var run = Assert.Single(await Runs(ward, episode));
        Assert.Contains("36 mL back", run.Text!.Div, StringComparison.Ordinal);

        JsonNode Withdrawn(string id) => JsonNode.Parse($$"""{"source": "ward", "id": "{{id}}", "status": "entered-in-error"}""")!;
        await ward.Record(episode, Withdrawn("irrigant-instilled08:10"), Withdrawn("irrigant-instilled08:15"));
        Assert.Equal(EventStatus.EnteredInError, Assert.Single(await Runs(ward, episode)).Status);
    }

    [Fact]
    public async Task What_cannot_be_is_refused_by_name()
    {
        await using var ward = RunningService.Start("2026-03-14T09:00:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        var reply = await ward.Post(
            $"/episodes/{episode}/entries",
            new JsonArray(
                Given("08:10", 30, ", \"cycle\": 0"),
                Given("08:11", 30, ", \"expiry\": \"June\""),
                Entry("drainage-emptied", "08:12", Volume(3) + ", \"vessel\": \"bucket\""),
                Entry("irrigation-stopped", "08:13", "\"why\": \"bored\""),
                Entry("steps-attested", "08:14", "\"done\": [\"hands-washed\"]")
            )
        );
        var said = reply.Text;
        foreach (var where in (string[])["cycle", "expiry", "vessel", "why", "done"])
            Assert.Contains($".{where}", said, StringComparison.Ordinal);
    }

    private static async Task<List<Procedure>> Runs(RunningService ward, string episode) =>
        [
            .. (await ward.Read("/fhir/Procedure"))["entry"]!
                .AsArray()
                .Select(entry => FhirJson.Read<Procedure>(entry!["resource"]!.ToJsonString()))
                .Where(procedure => procedure.Id!.StartsWith($"{episode}.irrigation-run", StringComparison.Ordinal)),
        ];

    private static async Task<List<string>> Parts(RunningService ward, string episode) =>
        [
            .. (await ward.Read("/fhir/Observation?_count=200"))["entry"]!
                .AsArray()
                .Select(entry => entry!["resource"]!)
                .Where(resource => ((string)resource["id"]!).StartsWith(episode, StringComparison.Ordinal))
                .SelectMany(resource => resource["partOf"]!.AsArray().Select(part => (string)part!["reference"]!)),
        ];
}
