using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>The record as others read it: a trial to do without irrigation, and what followed.</summary>
public class RecordTests
{
    private static JsonObject Entry(string kind, string clock, string content = "")
    {
        var more = content.Length > 0 ? ", " + content : "";
        return JsonNode
            .Parse($$"""{"source": "ward", "id": "{{kind}} {{clock}}", "kind": "{{kind}}", "at": "2026-03-14T{{clock}}:00Z"{{more}}}""")!
            .AsObject();
    }

    private static string Ml(string name, int ml) =>
        $$"""
            "{{name}}": {"value": {{ml}}, "unit": "mL"}
            """;

    private static string Rate(int rate) =>
        $$"""
            "rate": {"value": {{rate}}, "unit": "mL/h"}
            """;

    [Fact]
    public async Task A_trial_tells_when_it_began_how_long_it_was_watched_and_what_was_voided_and_left()
    {
        await using var ward = RunningService.Start("2026-03-14T17:00:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T06:00:00Z"));
        await ward.Record(
            episode,
            Entry("bag-hung", "06:00", Ml("volume", 3000)),
            Entry("flow-set", "06:00", Rate(300)),
            Entry("drainage-level-read", "06:00", Ml("level", 0)),
            Entry("drainage-appearance", "09:50", "\"grade\": 2, \"scale\": \"ward card\""),
            Entry("flow-set", "10:00", Rate(0)),
            Entry("drainage-emptied", "10:00", Ml("volume", 1500)),
            Entry("drainage-appearance", "13:00", "\"grade\": 1, \"scale\": \"ward card\""),
            Entry("catheter-removed", "14:00"),
            Entry("urine-collected", "16:00", Ml("volume", 220) + ", \"route\": \"void\"")
        );

        var trial = Assert.Single((await ward.Read($"/episodes/{episode}/record"))["trials"]!.AsArray())!;
        Assert.Equal(
            ("irrigation-stopped", "2026-03-14T10:00:00Z", "2026-03-14T14:00:00Z", 240m, "catheter-removed"),
            (
                (string)trial["kind"]!,
                (string)trial["stopped"]!,
                (string)trial["observedUntil"]!,
                (decimal)trial["minutes"]!,
                (string)trial["endedBy"]!
            )
        );
        Assert.Null(trial["recurrence"]);
        Assert.Equal("looked once. Last at 13:00: grade 1 on 'ward card'", (string)trial["noRecurrence"]!);
        Assert.Equal(
            (220m, "mL", "2026-03-14T16:00:00Z"),
            ((decimal)trial["firstVoid"]!["value"]!, (string)trial["firstVoid"]!["unit"]!, (string)trial["firstVoid"]!["at"]!)
        );
        Assert.Null(trial["residual"]);
        Assert.Equal("the bladder was not scanned after it", (string)trial["noResidual"]!);

        await ward.Record(episode, Entry("bladder-scanned", "16:10", Ml("volume", 60)));
        trial = Assert.Single((await ward.Read($"/episodes/{episode}/record"))["trials"]!.AsArray())!;
        Assert.Equal((60m, "2026-03-14T16:10:00Z"), ((decimal)trial["residual"]!["value"]!, (string)trial["residual"]!["at"]!));
        Assert.Contains(
            "Last trial: Irrigation stopped at 10:00, observed until 14:00 (the catheter was removed)",
            await ward.Http.GetStringAsync($"/episodes/{episode}/handover?form=long"),
            StringComparison.Ordinal
        );
    }
}
