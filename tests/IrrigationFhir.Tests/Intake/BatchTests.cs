using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Intake.Sender;

namespace IrrigationFhir.Tests.Intake;

/// <summary>A batch: each entry stands or falls alone, and what goes to one episode is one change of it.</summary>
[Collection(EveningOnTheWard.Name)]
public class BatchTests(EveningOnTheWard evening)
{
    [Fact]
    public async Task Each_entry_is_answered_as_if_it_had_come_alone()
    {
        var (together, _) = await Of(evening);
        var (alone, _) = await Of(evening);
        var answers = Statuses((await together.Bundle("batch", Readings(together).Select(one => Entry(one)))).Is(200));
        var singly = new List<int>();
        foreach (var reading in Readings(alone))
            singly.Add((int)(await alone.Post(reading)).Status);

        Assert.Equal(singly, answers);
        Assert.Contains(201, answers);
        Assert.Contains(200, answers);
        Assert.Contains(422, answers);
        Assert.Equal(await Known(alone), await Known(together));
        var (changesTogether, changesAlone) = (await Changes(together), await Changes(alone));
        Assert.True(changesTogether < changesAlone, $"{changesTogether} versions of the account together, {changesAlone} alone");
        Assert.Equal(1, changesTogether);
    }

    [Fact]
    public async Task What_is_read_within_it_finds_what_was_written_before_it()
    {
        var (sender, _) = await Of(evening);
        var patient = $"{RunningService.PatientSystem}|{(string)sender.Patient["identifier"]!["value"]!}";
        var count = new JsonObject
        {
            ["request"] = new JsonObject
            {
                ["method"] = "GET",
                ["url"] = $"Observation?subject:identifier={Uri.EscapeDataString(patient)}&identifier={Sender.System}|&_summary=count",
            },
        };
        var answer = await sender.Bundle(
            "batch",
            [
                Entry(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"))),
                count,
                Entry(sender.Observation("drainage-emptied", "2", "10:00", Quantity("300", "mL"))),
                Entry(sender.Observation("drainage-emptied", "3", "11:00", Quantity("300", "mL"))),
                count.DeepClone(),
            ]
        );
        var entries = answer.Is(200).Json["entry"]!.AsArray();
        Assert.Equal((1, 3), ((int)entries[1]!["resource"]!["total"]!, (int)entries[4]!["resource"]!["total"]!));
    }

    [Fact]
    public async Task Patients_stand_side_by_side_and_a_condition_on_its_own_identifier_holds()
    {
        var (one, _) = await Of(evening);
        var (other, _) = await Of(evening);
        var bundle = new List<JsonNode>();
        foreach (var (sender, id, clock, volume) in Mixed())
        {
            var reading = sender.Observation("drainage-emptied", id, clock, Quantity(volume, "mL"));
            var entry = Entry(reading);
            entry["request"]!["ifNoneExist"] = $"identifier={Sender.System}|{(string)reading["identifier"]![0]!["value"]!}";
            bundle.Add(entry);
        }

        Assert.Equal([201, 201, 201, 200, 201], Statuses((await one.Bundle("batch", bundle)).Is(200)));
        Assert.Equal((2, 2), ((await Known(one)).Count, (await Known(other)).Count));

        // The fourth has the identifier of the first, and other content: what is there stays.
        IEnumerable<(Sender, string, string, string)> Mixed() =>
            [
                (one, "1", "09:00", "400"),
                (other, "1", "09:00", "200"),
                (one, "2", "10:00", "300"),
                (one, "1", "10:30", "999"),
                (other, "2", "10:00", "100"),
            ];
    }

    /// <summary>Right ones, a repetition, other content of a known identifier, an unknown unit, drainage in a clamp.</summary>
    private static IEnumerable<JsonNode> Readings(Sender sender) =>
        [
            sender.Observation("drainage-emptied", "first", "08:05", Quantity("100", "mL")),
            sender.Observation("urine-collected", "beside", "08:30", Quantity("20", "mL")),
            sender.Observation("drainage-emptied", "first", "08:05", Quantity("100", "mL")),
            sender.Observation("drainage-emptied", "first", "08:05", Quantity("120", "mL")),
            sender.Observation("drainage-emptied", "pints", "08:50", Quantity("1", "[pt_us]")),
            sender.Observation("drainage-emptied", "second", "09:00", Quantity("580", "mL")),
            sender.Observation("drain-clamped", "clamp", "09:10"),
            sender.Observation("drainage-emptied", "in the clamp", "09:20", Quantity("30", "mL")),
            sender.Observation("drainage-emptied", "in the clamp still", "09:25", Quantity("30", "mL")),
            sender.Observation("drain-released", "release", "09:30"),
            sender.Observation("drainage-emptied", "third", "10:00", Quantity("90", "mL")),
        ];

    private static IEnumerable<int> Statuses(Answer answer) =>
        answer.Json["entry"]!.AsArray().Select(entry => int.Parse(((string)entry!["response"]!["status"]!)[..3], null));

    /// <summary>What stands of a sender's readings: when, and how much.</summary>
    private async Task<List<string>> Known(Sender sender) =>
        [
            .. (await Found(sender, "Observation", $"identifier={Sender.System}|&_count=200"))
                .Select(found => $"{found["effectiveDateTime"]} {found["valueQuantity"]?["value"]}")
                .Order(),
        ];

    private async Task<int> Changes(Sender sender) =>
        int.Parse((string)Assert.Single(await Found(sender, "Procedure", ""))["meta"]!["versionId"]!, null);

    private async Task<List<JsonNode>> Found(Sender sender, string type, string query)
    {
        var patient = $"{RunningService.PatientSystem}|{(string)sender.Patient["identifier"]!["value"]!}";
        var found = await evening.Service.Read($"/fhir/{type}?subject:identifier={Uri.EscapeDataString(patient)}&{query}");
        return [.. found["entry"]?.AsArray().Select(entry => entry!["resource"]!) ?? []];
    }
}
