using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Irrigation.Flags;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Tests.Validation;
using IrrigationFhir.Validation;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>What an EHR takes for granted of a resource.</summary>
public class FhirHabitsTests
{
    private static JsonNode Entry(string kind, string id, string clock, string content) =>
        JsonNode.Parse(
            $$"""
            {"source": "ward", "id": "{{id}}", "kind": "{{kind}}", "at": "2026-03-14T{{clock}}:00Z",
            "performer": "nurse-7", {{content}}}
            """
        )!;

    private static string Ml(string name, int ml) =>
        $$"""
            "{{name}}": {"value": {{ml}}, "unit": "mL"}
            """;

    private static string Statement(JsonNode flag) =>
        (string)
            flag["extension"]!
                .AsArray()
                .Single(extension => ((string)extension!["url"]!).EndsWith("/flag-statement", StringComparison.Ordinal))!["valueString"]!;

    [Fact]
    public async Task The_text_of_a_flags_code_is_its_title_in_every_version_and_the_numbers_stand_in_its_statement_and_its_narrative()
    {
        await using var ward = RunningService.Start("2026-03-14T13:00:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T06:00:00Z"));
        await ward.Record(
            episode,
            Entry("pump-total-read", "p0", "06:00", Ml("total", 0)),
            Entry("drainage-emptied", "d0", "06:00", Ml("volume", 0)),
            Entry("pump-total-read", "p1", "07:00", Ml("total", 900)),
            Entry("drainage-emptied", "d1", "07:00", Ml("volume", 250))
        );
        var flag = (await ward.Read("/fhir/Flag?code=outflow-deficit"))["entry"]![0]!["resource"]!;

        // 900 − 250
        Assert.Contains("650 mL", Statement(flag), StringComparison.Ordinal);
        Assert.Contains("650 mL", (string)flag["text"]!["div"]!, StringComparison.Ordinal);
        var versions = (await ward.Read($"/fhir/Flag/{flag["id"]}/_history"))["entry"]!.AsArray();
        Assert.All(versions, version => Assert.Equal("Outflow deficit", (string)version!["resource"]!["code"]!["text"]!));
        Assert.Equal(("Device", "irrigationfhir"), ((string)flag["author"]!["type"]!, (string)flag["author"]!["identifier"]!["value"]!));
    }

    [Theory]
    [InlineData("outflow-deficit", "clinical", "http://terminology.hl7.org/CodeSystem/flag-category")]
    [InlineData("inflow-while-clamped", "safety", "http://terminology.hl7.org/CodeSystem/flag-category")]
    [InlineData("record-incomplete", "data-quality", "https://irrigationfhir.example/fhir/CodeSystem/flag-category")]
    [InlineData("late-entry", "data-quality", "https://irrigationfhir.example/fhir/CodeSystem/flag-category")]
    public void The_category_of_a_flag_tells_the_patient_and_safety_from_the_quality_of_the_record(string rule, string code, string system)
    {
        var category = Ours.Codes.FlagCategory(Irrigation.Slug.Of(FlagRules.Find(rule)!.Category)).Coding.Single();
        Assert.Equal((system, code), (category.System, category.Code));
        var flag = Judged.Example<Flag>("irrigation-flag");
        flag.Category = [new() { Coding = [category] }];
        Assert.Empty(Judged.Validator.Validate(flag));
    }

    [Fact]
    public async Task A_Provenance_names_the_versions_when_it_was_recorded_who_as_what_and_what_was_corrected()
    {
        await using var ward = RunningService.Start("2026-03-14T13:00:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T06:00:00Z"));
        await ward.Record(
            episode,
            Entry("pump-total-read", "p0", "06:00", Ml("total", 0)),
            Entry("drainage-emptied", "d0", "06:00", Ml("volume", 0)),
            Entry("pump-total-read", "p1", "07:00", Ml("total", 500)),
            Entry("drainage-emptied", "d1", "07:00", Ml("volume", 700))
        );
        ward.Clock.SetUtcNow(new(2026, 3, 14, 13, 30, 0, TimeSpan.Zero));
        var corrected = Entry("drainage-emptied", "d1", "07:00", Ml("volume", 650) + ", \"recordedAt\": \"2026-03-14T13:20:00Z\"");
        await ward.Record(episode, corrected);

        var provenance = Assert.Single((await ward.Read("/fhir/Provenance"))["entry"]!.AsArray())!["resource"]!;
        Assert.Equal(
            (DateTimeOffset.Parse("2026-03-14T13:30:00Z"), DateTimeOffset.Parse("2026-03-14T13:20:00Z")),
            (DateTimeOffset.Parse((string)provenance["recorded"]!), DateTimeOffset.Parse((string)provenance["occurredDateTime"]!))
        );
        Assert.Equal("author", (string)provenance["agent"]![0]!["type"]!["coding"]![0]!["code"]!);
        var targets = provenance["target"]!.AsArray().Select(target => (string)target!["reference"]!).ToList();
        Assert.Equal(2, targets.Count); // the reading and the interval that it closes
        foreach (var target in targets)
        {
            var version = await ward.Read($"/fhir/{target}");
            Assert.Equal("corrected", (string)version["status"]!);
        }

        var replaced = await ward.Read($"/fhir/{Assert.Single(provenance["entity"]!.AsArray())!["what"]!["reference"]}");
        Assert.Equal(("final", 700m), ((string)replaced["status"]!, (decimal)replaced["valueQuantity"]!["value"]!));
    }

    [Theory]
    [InlineData("Sodium chloride 0.9 %", "373757009")]
    [InlineData("normal saline", "373757009")]
    [InlineData("sterile water", "11713004")]
    [InlineData("glycine 1.5 %", "B05CX03")]
    [InlineData("mannitol 5 %", "B05CX04")]
    [InlineData("acetic acid 0.25 %", "2869004")]
    [InlineData("dextrose 5 % in water", null)] // not water
    [InlineData("saline with heparin", null)] // a mixture
    [InlineData("Ringer's lactate", null)]
    public void An_irrigant_is_coded_where_there_is_a_code_and_keeps_its_words(string words, string? code)
    {
        var irrigant = Codes.Irrigant(words);
        Assert.Equal((words, code), (irrigant.Text, irrigant.Coding.SingleOrDefault()?.Code));
    }

    [Fact]
    public void Every_code_under_which_something_is_refused_is_in_the_code_system_once_with_what_it_means()
    {
        var system = ProblemCodes.ToCodeSystem(Ours.Profiles);
        var codes = system.Concept.Select(concept => concept.Code!).ToList();
        Assert.Equal(codes.Count, codes.Distinct().Count());
        Assert.Equal(system.Count, codes.Count);
        Assert.All(system.Concept, concept => Assert.False(string.IsNullOrWhiteSpace(concept.Display) || concept.Code == concept.Display));
        var kinds = typeof(FaultKind).GetFields().Select(field => (string)field.GetValue(null)!);
        var invariants = InvariantExamples.All.Select(example => example.Key);
        Assert.Superset(kinds.Concat(invariants).Append("obs-6").ToHashSet(), codes.ToHashSet());
    }
}
