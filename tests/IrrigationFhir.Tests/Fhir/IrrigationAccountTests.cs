using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Validation;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>What an irrigation came to so far, for software to read: on its Procedure, while it runs too.</summary>
public class IrrigationAccountTests
{
    private static Profiles Profiles => Ours.Profiles;
    private static Codes Codes => Ours.Codes;

    private static JsonObject Entry(string kind, string clock, string content) =>
        JsonNode
            .Parse(
                $$"""{"source": "ward", "id": "{{kind}} {{clock}}", "kind": "{{kind}}", "at": "2026-03-14T{{clock}}:00Z", {{content}}}"""
            )!
            .AsObject();

    private static string Ml(string name, int ml) =>
        $$"""
            "{{name}}": {"value": {{ml}}, "unit": "mL"}
            """;

    private static async Task<Procedure> Ended(RunningService ward, params JsonNode[] entries)
    {
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T06:00:00Z"));
        await ward.Record(episode, entries);
        var running = FhirJson.Read<Procedure>((await ward.Read($"/fhir/Procedure/{episode}.bladder-irrigation")).ToJsonString());
        Assert.Equal(EventStatus.InProgress, running.Status);
        Assert.Equal(
            System.Net.HttpStatusCode.OK,
            (await ward.Post("/episodes", RunningService.Episode("stay", "2026-03-14T06:00:00Z", "2026-03-14T12:00:00Z"))).Status
        );
        var ended = FhirJson.Read<Procedure>((await ward.Read($"/fhir/Procedure/{episode}.bladder-irrigation")).ToJsonString());
        Assert.Equal(Parts(running), Parts(ended)); // the account was there while it ran
        return ended;
    }

    private const string Covered = "time 2026-03-14T06:00:00Z to 2026-03-14T10:00:00Z";

    private static List<string> Parts(Procedure procedure) =>
        [
            .. procedure
                .Extension.Single(e => e.Url == Profiles.IrrigationAccount)
                .Extension.Select(part =>
                    part.Value switch
                    {
                        Quantity quantity => FormattableString.Invariant($"{part.Url} {quantity.Value} {quantity.Code}"),
                        Period time => $"{part.Url} {time.Start} to {time.End}",
                        ResourceReference reference => $"{part.Url} {string.Join('.', reference.Reference!.Split('.')[1..^1])}",
                        _ => $"{part.Url} {part.Value?.TypeName}",
                    }
                ),
        ];

    [Fact]
    public async Task An_irrigation_that_has_ended_says_what_ran_in_what_came_out_and_where_the_last_looks_are()
    {
        await using var ward = RunningService.Start("2026-03-14T13:00:00Z");
        var procedure = await Ended(
            ward,
            Entry("pump-total-read", "06:00", Ml("total", 0)),
            Entry("drainage-level-read", "06:00", Ml("level", 0)),
            Entry("drainage-appearance", "08:00", "\"colour\": \"pink\""),
            Entry("drainage-appearance", "09:50", "\"colour\": \"straw\""),
            Entry("tolerance-noted", "09:55", "\"pain\": 2, \"spasm\": false"),
            Entry("pump-total-read", "10:00", Ml("total", 1200)),
            Entry("drainage-emptied", "10:00", Ml("volume", 1500))
        );

        // 1500 out − 1200 in
        Assert.Equal(
            [
                Covered,
                "instilled 1200 mL",
                "drained 1500 mL",
                "corrected-output 300 mL",
                "appearance drainage-appearance",
                "tolerance tolerance",
            ],
            Parts(procedure)
        );
        Assert.Empty(procedure.Note); // totals once
        var told = procedure.Text!.Div!;
        Assert.Equal(
            "<p>Instilled 1,200 mL; drained 1,500 mL; corrected urine output 300 mL.</p><p>Drainage last: straw.</p>"
                + "<p>Borne: pain 2 of 10, no spasm.</p>",
            told[told.IndexOf("<p>Instilled", StringComparison.Ordinal)..^"</div>".Length]
        );
        var look = (ResourceReference)procedure.Extension[0].Extension.Single(part => part.Url == "appearance").Value!;
        Assert.Contains("straw", (await ward.Read($"/fhir/{look.Reference}")).ToJsonString(), StringComparison.Ordinal);
        Assert.Empty(Judged.Validator.Validate(procedure));
    }

    [Fact]
    public async Task An_account_says_that_it_holds_a_reading_that_is_doubted()
    {
        await using var ward = RunningService.Start("2026-03-14T13:00:00Z");
        var procedure = await Ended(
            ward,
            Entry("pump-total-read", "06:00", Ml("total", 0)),
            Entry("drainage-level-read", "06:00", Ml("level", 0)),
            Entry("pump-total-read", "10:00", Ml("total", 1200)),
            Entry("drainage-emptied", "10:00", Ml("volume", 15000))
        );
        var said = procedure.Note.Single().Text;
        Assert.Contains("1 of the readings doubted, neither confirmed nor corrected, and in these sums", said, StringComparison.Ordinal);
        Assert.Contains("corrected-output 13800 mL", Parts(procedure));
    }

    [Fact]
    public async Task Irrigant_that_was_spilt_is_no_irrigation_and_changes_nothing_of_how_it_was_done()
    {
        await using var ward = RunningService.Start("2026-03-14T13:00:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T06:00:00Z"));
        await ward.Record(episode, Entry("irrigant-discarded", "07:00", Ml("volume", 50)));
        var before = await ward.Read($"/fhir/Procedure/{episode}.bladder-irrigation");
        Assert.Equal(("preparation", null), ((string)before["status"]!, before["performedPeriod"]));

        await ward.Record(episode, Entry("irrigant-instilled", "08:00", Ml("volume", 50) + ", \"how\": \"syringe\""));
        var procedure = (await ward.Read($"/fhir/Procedure/{episode}.bladder-irrigation")).ToJsonString();
        Assert.Contains("intermittent-manual", procedure, StringComparison.Ordinal);
        Assert.Contains("\"start\":\"2026-03-14T08:00:00Z\"", procedure, StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_is_not_known_is_left_out_and_the_note_says_why()
    {
        await using var ward = RunningService.Start("2026-03-14T13:00:00Z");
        var procedure = await Ended(
            ward,
            Entry("bag-hung", "06:00", Ml("volume", 3000)),
            Entry("drainage-level-read", "06:00", Ml("level", 0)),
            Entry("bag-taken-down", "09:00", "\"note\": \"nobody read what was left\""),
            Entry("drainage-emptied", "10:00", Ml("volume", 1500))
        );

        Assert.Equal([Covered, "drained 1500 mL"], Parts(procedure));
        Assert.Equal(
            "instilled not known, for a part was not charted; corrected urine output not known, for a part was not charted.",
            procedure.Note.Single().Text
        );
    }

    [Fact]
    public void A_negative_output_is_kept_and_another_unit_or_part_is_refused()
    {
        Procedure Of(string part, DataType value) =>
            new()
            {
                Id = "x",
                Meta = new() { Profile = [Profiles.BladderIrrigation] },
                Status = EventStatus.Completed,
                Code = Codes.IrrigationProcedure("continuous"),
                Subject = new("Patient/1"),
                Performed = new Period { Start = "2026-03-14T06:00:00Z", End = "2026-03-14T12:00:00Z" },
                BodySite = [Codes.Bladder()],
                Text = Narratives.Of("Bladder irrigation", ["For the test."]),
                Extension =
                [
                    new()
                    {
                        Url = Profiles.IrrigationAccount,
                        Extension =
                        [
                            new("time", new Period { Start = "2026-03-14T06:00:00Z", End = "2026-03-14T10:00:00Z" }),
                            new(part, value),
                        ],
                    },
                ],
            };
        Assert.Empty(Judged.Validator.Validate(Of("corrected-output", Codes.Quantity(-140, Codes.Units.Millilitre))));
        Assert.NotEmpty(Judged.Validator.Validate(Of("corrected-output", Codes.Quantity(-140, Codes.Units.MillilitrePerHour))));
        Assert.NotEmpty(Judged.Validator.Validate(Of("absorbed", Codes.Quantity(140, Codes.Units.Millilitre))));
        Assert.NotEmpty(Judged.Validator.Validate(Of("appearance", new FhirString("straw"))));
        var outside = Of("instilled", Codes.Quantity(140, Codes.Units.Millilitre));
        outside.Extension.Add(new("instilled", Codes.Quantity(140, Codes.Units.Millilitre))); // a part that is part of nothing
        Assert.NotEmpty(Judged.Validator.Validate(outside));
    }
}
