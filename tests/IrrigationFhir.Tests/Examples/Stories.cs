using System.Globalization;
using System.Text.Json.Nodes;
using Irrigation.Episodes;
using IrrigationFhir.Demo;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Tests.Examples;

/// <summary>An example: a file, the story that gives rise to it, and the resource.</summary>
/// <param name="File">Below <c>fhir-examples</c>.</param>
/// <param name="Story">Whose.</param>
/// <param name="Resource">How its type and id begin, for an episode's id.</param>
internal sealed record Example(string File, Story Story, Func<string, string> Resource);

/// <summary>An invented stretch of irrigation: what is posted, in its order.</summary>
/// <param name="Name">Stands in for the episode's id in the examples.</param>
/// <param name="Episode">As opened.</param>
/// <param name="Requests">The bodies of POST …/entries.</param>
/// <param name="Closed">As amended at the end; null where it stays open.</param>
internal sealed record Story(string Name, JsonNode Episode, IReadOnlyList<JsonNode> Requests, JsonNode? Closed = null);

/// <summary>The list of all examples in <c>fhir-examples</c>. A new one is a line here.</summary>
internal static class Stories
{
    private static Story Night { get; } =
        new("a-night", InventedNight.Episode(), [.. InventedNight.AsCharted()], InventedNight.Episode(end: InventedNight.Morning));

    /// <summary>30 mL pushed in, 12 mL back into the basin; 30 mL again, 5 mL back; and there somebody stopped.</summary>
    private static Story ShortReturn { get; } =
        new(
            "short-return",
            Opened("0520", "Leopold Marchbanks-Tarn"),
            [
                Charted(
                    Syringe("21:10", 30),
                    Basin("21:13", 12),
                    Syringe("21:15", 30),
                    Basin("21:17", 5),
                    """{"kind": "drainage-appearance", "at": "21:18", "colour": "red", "clots": "few", "sediment": false}""",
                    """{"kind": "irrigation-stopped", "at": "21:19", "why": "short-return"}"""
                ),
            ]
        );

    /// <summary>A bag runs, nobody has read it yet: 650 − 1 h × 600 = 50 mL for now.</summary>
    private static Story BagNotReadYet { get; } =
        new(
            "bag-not-read-yet",
            Opened("0501", "Ottoline Brackenbury-Snell"),
            [
                Charted(
                    BagHung("21:00"),
                    """{"kind": "flow-set", "at": "21:00", "rate": {"value": 600, "unit": "mL/h"}, "how": "drops"}""",
                    """{"kind": "drainage-emptied", "at": "22:00", "volume": {"value": 650, "unit": "mL"}, "how": "graduation"}"""
                ),
            ]
        );

    /// <summary>The same without a charted flow: not known until the bag is read.</summary>
    private static Story FlowNotCharted { get; } =
        new(
            "flow-not-charted",
            Opened("0502", "Peregrine Thistlewood-Oke"),
            [
                Charted(
                    BagHung("21:00"),
                    """{"kind": "drainage-emptied", "at": "22:00", "volume": {"value": 650, "unit": "mL"}, "how": "graduation"}"""
                ),
            ]
        );

    /// <summary>The bag is gone and what was left in it was never charted: not known, and it will not be.</summary>
    private static Story BagThrownAway { get; } =
        new(
            "bag-thrown-away",
            Opened("0503", "Araminta Fellowes-Quist"),
            [
                Charted(
                    BagHung("21:00"),
                    """{"kind": "bag-taken-down", "at": "22:00"}""",
                    """{"kind": "drainage-emptied", "at": "22:00", "volume": {"value": 650, "unit": "mL"}, "how": "graduation"}"""
                ),
            ]
        );

    /// <summary>3000 mL in, 2800 mL out: −200 mL, which is evidence.</summary>
    private static Story MoreInThanOut { get; } =
        new(
            "more-in-than-out",
            Opened("0504", "Cosmo Wintergreen-Ash"),
            [
                Charted(
                    Instilled("23:00", 3000),
                    """{"kind": "drainage-emptied", "at": "23:00", "volume": {"value": 2800, "unit": "mL"}, "how": "graduation"}"""
                ),
            ]
        );

    /// <summary>The only reading was somebody else's bag.</summary>
    private static Story WrongPatient { get; } =
        new(
            "wrong-patient",
            Opened("0505", "Lysander Oddfellow-Mears"),
            [
                Charted(
                    Instilled("22:00", 500),
                    """{"kind": "drainage-emptied", "at": "22:00", "volume": {"value": 650, "unit": "mL"}, "how": "graduation"}"""
                ),
                JsonNode.Parse(
                    """
                    {
                      "source": "ward-7", "id": "drainage-emptied-2200", "status": "entered-in-error",
                      "at": "2026-03-14T22:00:00+01:00", "recordedAt": "2026-03-14T22:20:00+01:00", "performer": "N-31 (invented)",
                      "reason": "charted on the wrong patient"
                    }
                    """
                )!,
            ]
        );

    /// <summary>Weighed, not read: 664 g / 1.006 g/mL = 660.04 mL; beside it a void, which never met irrigant.</summary>
    private static Story Weighed { get; } =
        new(
            "weighed",
            Opened("0506", "Hyacinth Pemberthy-Vole"),
            [
                Charted(
                    """
                    {"kind": "irrigant-instilled", "from": "21:00", "to": "22:00", "volume": {"value": 600, "unit": "mL"},
                    "how": "pump", "device": "pump P-2 (invented)"}
                    """,
                    """
                    {"kind": "flow-set", "at": "21:00", "rate": {"value": 200, "unit": "{drop}/min"},
                    "dropFactor": {"value": 20, "unit": "{drop}/mL"}, "how": "drops"}
                    """,
                    """
                    {"kind": "drainage-weighed", "at": "22:00", "mass": {"value": 664, "unit": "g"}, "emptied": true,
                    "how": "weighed", "device": "scale S-1 (invented)"}
                    """,
                    """
                    {"kind": "urine-collected", "at": "22:30", "route": "left-nephrostomy", "volume": {"value": 30, "unit": "mL"},
                    "how": "graduation"}
                    """
                ),
            ]
        );

    /// <summary>
    /// A man of 70 kg: 160 − 20 + (35 − 30) = 145 mL in six hours is 0.345 mL/kg/h, 25 mL in the last of them 0.36; what was seen and
    /// felt beside it.
    /// </summary>
    private static Story LittleUrine { get; } =
        new(
            "little-urine",
            Born(Opened("0507", "Balthazar Underhill-Quince"), "1955-08-19"),
            [
                Charted(
                    """{"kind": "weight-measured", "at": "15:30", "weight": {"value": 70, "unit": "kg"}, "weightKind": "actual"}""",
                    """{"kind": "weight-measured", "at": "15:00", "weight": {"value": 68, "unit": "kg"}, "weightKind": "ideal"}""",
                    """{"kind": "bladder-scanned", "at": "16:00", "volume": {"value": 30, "unit": "mL"}, "how": "scan"}""",
                    """{"kind": "drainage-emptied", "at": "16:00", "volume": {"value": 40, "unit": "mL"}, "how": "weighed"}""",
                    """{"kind": "irrigant-instilled", "at": "16:30", "volume": {"value": 20, "unit": "mL"}, "how": "syringe"}""",
                    """{"kind": "drainage-emptied", "at": "17:00", "volume": {"value": 50, "unit": "mL"}, "how": "weighed"}""",
                    """{"kind": "drainage-emptied", "at": "18:00", "volume": {"value": 10, "unit": "mL"}, "how": "weighed"}""",
                    """{"kind": "drainage-emptied", "at": "19:00", "volume": {"value": 20, "unit": "mL"}, "how": "weighed"}""",
                    """{"kind": "drainage-emptied", "at": "20:00", "volume": {"value": 20, "unit": "mL"}, "how": "weighed"}""",
                    """{"kind": "drainage-emptied", "at": "21:00", "volume": {"value": 20, "unit": "mL"}, "how": "weighed"}""",
                    """{"kind": "bladder-scanned", "at": "21:00", "volume": {"value": 35, "unit": "mL"}, "how": "scan"}""",
                    """
                    {"kind": "drainage-appearance", "at": "21:05", "colour": "light red", "grade": 3,
                    "scale": "Lantern Quay colour card (invented)", "clarity": "slightly-cloudy", "clots": "few", "mucus": false}
                    """,
                    """{"kind": "drainage-appearance", "at": "21:10", "colour": "rosé", "grade": 2, "sediment": true}""",
                    """{"kind": "bladder-palpated", "at": "21:06", "distended": true}""",
                    """{"kind": "tolerance-noted", "at": "21:07", "pain": 6, "spasm": true, "tolerated": false}"""
                ),
            ]
        );

    /// <summary>
    /// 600 mL/h and nothing drains from 19:00 to 19:40 (400 mL run in); seen at 19:43, stopped, washed out, drained at 20:10. Then 300 mL/h
    /// and no reading for an hour, until one of 21:05 is charted at 21:45.
    /// </summary>
    private static Story Blocked { get; } =
        new(
            "blocked",
            Born(Opened("0508", "Theodora Applegarth-Pym"), "1948-02-11"),
            [
                Charted(
                    BagHung("18:00"),
                    """{"kind": "flow-set", "at": "18:00", "rate": {"value": 600, "unit": "mL/h"}, "how": "drops"}""",
                    """{"kind": "drainage-level-read", "at": "18:00", "level": {"value": 0, "unit": "mL"}, "how": "graduation"}""",
                    """{"kind": "drainage-level-read", "at": "19:00", "level": {"value": 650, "unit": "mL"}, "how": "graduation"}""",
                    """{"kind": "drainage-level-read", "at": "19:40", "level": {"value": 650, "unit": "mL"}, "how": "graduation"}""",
                    """{"kind": "flag-acknowledged", "at": "19:43", "flag": "no-drainage"}""",
                    """{"kind": "flow-set", "at": "19:44", "rate": {"value": 0, "unit": "mL/h"}}""",
                    """{"kind": "washout-performed", "at": "20:00", "cycles": 4, "cleared": true}""",
                    """{"kind": "drainage-emptied", "at": "20:10", "volume": {"value": 1150, "unit": "mL"}, "how": "graduation"}""",
                    """{"kind": "flow-set", "at": "20:15", "rate": {"value": 300, "unit": "mL/h"}, "how": "drops"}""",
                    """{"kind": "drainage-level-read", "at": "20:15", "level": {"value": 0, "unit": "mL"}, "how": "graduation"}""",
                    """{"kind": "tolerance-noted", "at": "21:40", "pain": 2, "spasm": false, "tolerated": true}"""
                ),
                JsonNode.Parse(
                    """
                    {
                      "source": "ward-7", "id": "drainage-level-read-2105", "kind": "drainage-level-read",
                      "at": "2026-03-14T21:05:00+01:00", "recordedAt": "2026-03-14T21:45:00+01:00", "performer": "N-31 (invented)",
                      "level": {"value": 280, "unit": "mL"}, "how": "graduation"
                    }
                    """
                )!,
            ]
        );

    public static IReadOnlyList<Story> All { get; } =
    [Night, ShortReturn, BagNotReadYet, FlowNotCharted, BagThrownAway, MoreInThanOut, WrongPatient, Weighed, LittleUrine, Blocked];

    public static IReadOnlyList<Example> Examples { get; } =
    [
        Measured("bladder-drainage/emptied.json", Night, "drainage-emptied-2200"),
        Measured("bladder-drainage/read-again.json", Night, "night-emptying-2"),
        Measured("bladder-drainage/weighed.json", Weighed, "drainage-weighed-2200"),
        Measured("bladder-drainage/withdrawn.json", WrongPatient, "drainage-emptied-2200"),
        Measured("bladder-scan-volume/behind-a-clot.json", Night, "bladder-scanned-0235"),
        Measured("irrigant-flow-rate/set.json", Night, "flow-set-2330"),
        Measured("irrigant-flow-rate/drops.json", Weighed, "flow-set-2100"),
        Measured("irrigant-instilled/bag.json", Night, "bag-taken-down-0120"),
        Measured("irrigant-instilled/syringe.json", Night, "irrigant-instilled-0245"),
        Measured("irrigant-instilled/unknown.json", BagThrownAway, "bag-taken-down-2200"),
        Measured("leak-estimated/charted-late.json", Night, "leak-estimated-0310"),
        Measured("urine-collected/through-the-catheter.json", Night, "urine-collected-0700"),
        Measured("urine-collected/nephrostomy.json", Weighed, "urine-collected-2230"),
        Output("interval-final", Night, "i20260314T210000"),
        Output("interval-corrected", Night, "i20260315T002000"),
        Output("interval-amended-by-late-entry", Night, "i20260315T033000"),
        Output("interval-behind-a-clot", Night, "i20260315T013000"),
        Output("hour-final", Night, "h20260314T200000"),
        Output("hour-apportioned", Night, "h20260314T220000"),
        Output("shift", Night, "s20260314T180000"),
        Output("day", Night, "d20260314T230000"),
        Output("preliminary", BagNotReadYet, "i20260314T210000"),
        Output("absent-not-read-yet", FlowNotCharted, "i20260314T210000"),
        Output("absent-irrigant-unknown", BagThrownAway, "i20260314T210000"),
        Output("negative", MoreInThanOut, "i20260314T220000"),
        Output("withdrawn", WrongPatient, "i20260314T210000"),
        Measured("drainage-appearance/light-red.json", LittleUrine, "drainage-appearance-2105"),
        Measured("drainage-appearance/scale-not-named.json", LittleUrine, "drainage-appearance-2110"),
        Measured("bladder-palpation/distended.json", LittleUrine, "bladder-palpated-2106"),
        Measured("tolerance/poor.json", LittleUrine, "tolerance-noted-2107"),
        Measured("body-weight/actual.json", LittleUrine, "weight-measured-1530"),
        Measured("body-weight/ideal.json", LittleUrine, "weight-measured-1500"),
        new("retained-volume/at-the-closing.json", LittleUrine, episode => $"Observation/{episode}.retained-volume.i20260314T200000"),
        new("urine-output-rate/little.json", LittleUrine, episode => $"Observation/{episode}.urine-output-rate.i20260314T200000"),
        Criterion("stage-1-met-by-the-mean-and-indeterminate-by-the-hour", LittleUrine, "kdigo-1"),
        Criterion("low-hourly-output-too-uncertain", LittleUrine, "low-hourly-output"),
        Criterion("age-unknown", MoreInThanOut, "low-hourly-output"),
        new("bladder-irrigation/continuous-run.json", Night, episode => $"Procedure/{episode}.bladder-irrigation"),
        new("bladder-irrigation/short-return.json", ShortReturn, episode => $"Procedure/{episode}.irrigation-run"),
        Raised("return-short-and-urgent", ShortReturn, "return-short.f20260314T201300"),
        Raised("seen-and-cleared", Blocked, "no-drainage.f20260314T184000"),
        Raised("warning-cleared", Blocked, "outflow-deficit.f20260314T184000"),
        Raised("standing-by-silence", Blocked, "drainage-reading-stale.f20260314T210500"),
        Raised("withdrawn-by-late-entry", Blocked, "drainage-reading-stale.f20260314T201500"),
        Raised("standing", LittleUrine, "bladder-distension.f20260314T200600"),
        new("correction/flag-withdrawn.json", Blocked, episode => $"Provenance/{episode}.drainage-reading-stale.f20260314T201500"),
        new("correction/read-again.json", Night, episode => $"Provenance/{episode}.correction."),
    ];

    private static Example Output(string file, Story story, string window) =>
        new($"corrected-urine-output/{file}.json", story, episode => $"Observation/{episode}.corrected-urine-output.{window}");

    private static Example Raised(string file, Story story, string flag) =>
        new($"irrigation-flag/{file}.json", story, episode => $"Flag/{episode}.{flag}");

    private static Example Criterion(string file, Story story, string criterion) =>
        new($"urine-output-criterion/{file}.json", story, episode => $"Observation/{episode}.urine-output-criterion.{criterion}");

    private static Example Measured(string file, Story story, string entry) =>
        new(file, story, episode => $"Observation/{FhirValues.EntryId(episode, file.Split('/')[0], new EntryKey("ward-7", entry))}");

    private static JsonNode Opened(string number, string name) =>
        JsonNode.Parse(
            $$"""
            {
              "identifier": {"system": "https://lantern-quay.example/irrigations", "value": "I-2026-{{number}}"},
              "patient": {
                "identifier": {"system": "https://lantern-quay.example/patients", "value": "P-{{number}}"},
                "display": "{{name}} (invented)"
              },
              "timeZone": "Europe/Vienna",
              "shiftStarts": ["07:00", "19:00"],
              "start": "2026-03-14T21:00:00+01:00"
            }
            """
        )!;

    private static JsonNode Born(JsonNode episode, string date)
    {
        (episode["birthDate"], episode["start"]) = (date, "2026-03-14T15:00:00+01:00");
        return episode;
    }

    /// <summary>A bag of 3000 mL, 40 mL of which fill its tubing.</summary>
    private static string BagHung(string at) =>
        $$$"""
            {"kind": "bag-hung", "at": "{{{at}}}", "volume": {"value": 3000, "unit": "mL"},
            "tubingPrime": {"value": 40, "unit": "mL"}, "how": "label"}
            """;

    private static string Syringe(string at, int millilitres) =>
        $$$"""
            {"kind": "irrigant-instilled", "at": "{{{at}}}", "volume": {"value": {{{millilitres}}}, "unit": "mL"},
            "how": "syringe", "solution": "sodium chloride 0.9 %"}
            """;

    private static string Basin(string at, int millilitres) =>
        $$$"""
            {"kind": "drainage-emptied", "at": "{{{at}}}", "volume": {"value": {{{millilitres}}}, "unit": "mL"},
            "container": "basin", "vessel": "basin"}
            """;

    /// <summary>What ran in since 21:00, by the label.</summary>
    private static string Instilled(string to, int millilitres) =>
        $$$"""
            {"kind": "irrigant-instilled", "from": "21:00", "to": "{{{to}}}", "volume": {"value": {{{millilitres}}}, "unit": "mL"},
            "how": "label"}
            """;

    /// <summary>Entries of one evening: clock times become instants, and each id says kind and time.</summary>
    private static JsonArray Charted(params string[] entries) =>
        [
            .. entries.Select(text =>
            {
                var entry = JsonNode.Parse(text)!.AsObject();
                var clock = (entry["at"] ?? entry["to"])!.GetValue<string>();
                entry.Insert(0, "source", "ward-7");
                entry.Insert(
                    1,
                    "id",
                    string.Create(CultureInfo.InvariantCulture, $"{entry["kind"]}-{clock.Replace(":", "", StringComparison.Ordinal)}")
                );
                foreach (var time in new[] { "at", "from", "to" }.Where(entry.ContainsKey))
                    entry[time] = $"2026-03-14T{entry[time]}:00+01:00";
                entry["recordedAt"] = $"2026-03-14T{clock}:40+01:00";
                entry["performer"] = "N-31 (invented)";
                return (JsonNode)entry;
            }),
        ];
}
