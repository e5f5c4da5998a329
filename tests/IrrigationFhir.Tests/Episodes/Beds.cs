using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>Eight invented beds at the hour of the handover, 13:00 on 14 Mar 2026.</summary>
internal static class Beds
{
    public const string Handover = "2026-03-14T13:00:00Z";
    private const string Nurse = "N-31 (invented)";
    private const string Saline = "sodium chloride 0.9 %";

    /// <summary>By name.</summary>
    public static IReadOnlyDictionary<string, Bed> All { get; } =
        new Bed[]
        {
            new(
                "quiet",
                "Alma Feld (invented)",
                "1950-05-01",
                "bleeding after a resection of the prostate",
                [
                    .. WellCharted(),
                    BagHung("bag", "08:00", 3000).With("solution", Saline),
                    Flow("flow", "08:00", 300),
                    Level("08:00", 0),
                    .. Hourly(9, 12, 360),
                    Look("08:10", 2, "light pink"),
                    Look("12:00", 1, "clear"),
                    Level("12:45", 1710),
                ]
            ),
            // 300 mL/h in; from 11:00 on next to nothing comes out, with pain and a full bladder on the scan.
            new(
                "obstructed",
                "Bruno Steg (invented)",
                "1948-02-11",
                "bleeding after a resection of the prostate",
                [
                    .. WellCharted(),
                    BagHung("bag", "08:00", 3000).With("solution", Saline),
                    Flow("flow", "08:00", 300),
                    Level("08:00", 0),
                    .. Hourly(9, 11, 360),
                    Look("08:10", 2, "light pink"),
                    Look("11:00", 3, "red"),
                    Look("12:40", 4, "dark red", "many"),
                    Level("12:40", 1090),
                    Of("tolerance-noted", "bears", "12:45", ("pain", 7), ("spasm", true), ("tolerated", false)),
                    Of("bladder-scanned", "scan", "12:50", ("volume", Millilitres(480))),
                ]
            ),
            // 100 mL/h by a pump from the evening before, weighed, and no urine comes with it.
            new(
                "anuric",
                "Clara Wendt (invented)",
                "1961-09-20",
                "clots after radiotherapy",
                [
                    .. WellCharted("00:00"),
                    Of("pump-total-read", "p0", "00:00", ("total", Millilitres(0))).With("how", "pump"),
                    Flow("flow", "00:00", 100).With("how", "pump"),
                    Weighed("00:00", 0),
                    .. Enumerable
                        .Range(1, 12)
                        .SelectMany(hour =>
                            new JsonNode[]
                            {
                                Of("pump-total-read", $"p{hour}", $"{hour:00}:30", ("total", Millilitres((hour * 100) + 50)))
                                    .With("how", "pump"),
                                Weighed($"{hour:00}:30", ((hour * 100) + 50) * 1.006m),
                            }
                        ),
                    Look("06:00", 1, "clear"),
                    Look("12:30", 1, "clear"),
                ],
                Start: "2026-03-14T00:00:00Z"
            ),
            new(
                "child",
                "Dorian Pim (invented)",
                "2018-01-10",
                "clots after surgery of the bladder",
                [
                    Order("07:30", ("order", "O-12"), ("method", "intermittent-manual"), ("aliquot", Millilitres(20)), ("timesPerDay", 6)),
                    Of(
                        "weight-measured",
                        "weight",
                        "07:30",
                        ("weight", new JsonObject { ["value"] = 25, ["unit"] = "kg" }),
                        ("weightKind", "actual")
                    ),
                    Of("irrigant-instilled", "in", "12:30", ("volume", Millilitres(20)), ("how", "syringe")).With("performer", Nurse),
                    Emptied("out", "12:34", 8).With("container", "basin"),
                ]
            ),
            // A deficit of 240 mL at T4, and a pressure 40 above the usual.
            new(
                "spinal-injury-t4",
                "Edgar Tal (invented)",
                "1985-11-03",
                "bladder stones",
                [
                    .. WellCharted(),
                    BagHung("bag", "08:00", 3000).With("solution", Saline),
                    Flow("flow", "08:00", 300),
                    Level("08:00", 0),
                    .. Hourly(9, 11, 360),
                    Look("11:00", 2, "light pink"),
                    Level("12:40", 1250),
                    Of("blood-pressure-measured", "bp", "12:50", ("systolic", new JsonObject { ["value"] = 150, ["unit"] = "mm[Hg]" })),
                ]
            )
            {
                Risks = ["latex allergy"],
                SpinalLevel = "T4",
                UsualSystolic = 110,
            },
            new(
                "medicated-dwell-overdue",
                "Frieda Lund (invented)",
                "1939-07-07",
                "a fungal infection of the bladder",
                [
                    Order(
                        "11:00",
                        ("order", "O-77"),
                        ("method", "instillation-dwell"),
                        ("solution", "sterile water"),
                        ("additive", "amphotericin B 50 mg/L"),
                        ("aliquot", Millilitres(50)),
                        ("dwell", new JsonObject { ["value"] = 60, ["unit"] = "min" }),
                        ("timesPerDay", 3)
                    ),
                    Of("identity-checked", "identity", "11:15", ("identifiers", new JsonArray("name", "wristband"))),
                    Of("irrigant-instilled", "in", "11:30", ("volume", Millilitres(50)), ("how", "syringe"))
                        .With("performer", Nurse)
                        .With("solution", "sterile water")
                        .With("additive", "amphotericin B 50 mg/L"),
                    Of("drain-clamped", "clamp", "11:31"),
                ]
            )
            {
                Risks = ["takes an anticoagulant", "isolation: yeast"],
            },
            // Light and without clots since midnight, read every hour; the flow was brought down to 60 mL/h.
            new(
                "weaning",
                "Gerda Moll (invented)",
                "1952-12-24",
                "bleeding after a resection of the prostate",
                [
                    .. WellCharted("00:00"),
                    BagHung("bag", "00:00", 3000).With("solution", Saline),
                    Flow("flow", "00:00", 300),
                    Flow("slower", "06:00", 60).With("note", "clear for six hours"),
                    Level("00:00", 0),
                    .. Hourly(1, 6, 360),
                    Emptied("emptied", "06:05", 2170).With("performer", Nurse),
                    .. Enumerable.Range(7, 6).Select(hour => Level($"{hour:00}:00", (hour - 6) * 120)),
                    Level("12:45", 810),
                    Look("00:10", 2, "light pink"),
                    Look("04:00", 1, "clear"),
                    Look("08:00", 1, "clear"),
                    Look("12:00", 1, "clear"),
                ],
                Start: "2026-03-14T00:00:00Z"
            ),
            new("nobody-charts", null, null, null, [BagHung("bag", "08:00", 3000), Flow("flow", "08:00", 300)]),
        }.ToDictionary(bed => bed.Name);

    /// <summary>Order, identity, catheter, weight: what a well-kept record has.</summary>
    private static JsonNode[] WellCharted(string clock = "08:00") =>
        [
            Order(
                clock,
                ("order", "O-31"),
                ("method", "continuous"),
                ("solution", Saline),
                ("rateAtLeast", new JsonObject { ["value"] = 60, ["unit"] = "mL/h" }),
                ("rateAtMost", new JsonObject { ["value"] = 600, ["unit"] = "mL/h" }),
                ("target", "light pink or clearer"),
                ("contact", "urology on call, bleep 4410")
            ),
            Of("identity-checked", "identity", clock, ("identifiers", new JsonArray("name", "wristband"))),
            Of(
                "weight-measured",
                "weight",
                clock,
                ("weight", new JsonObject { ["value"] = 70, ["unit"] = "kg" }),
                ("weightKind", "actual")
            ),
            Of("bladder-scanned", "before", clock, ("volume", Millilitres(0))),
            Of("tolerance-noted", "borne", clock, ("pain", 1), ("spasm", false), ("tolerated", true)),
        ];

    private static JsonObject Order(string clock, params (string Name, JsonNode? Value)[] terms) =>
        Of("order-set", "order", clock, [.. terms, ("orderedBy", "Dr Ebb (invented)"), ("orderedHow", "written")]);

    private static JsonObject Look(string clock, int grade, string colour, string clots = "none") =>
        Of(
            "drainage-appearance",
            $"look {clock}",
            clock,
            ("scale", "ward card"),
            ("grade", grade),
            ("colour", colour),
            ("clarity", "clear"),
            ("clots", clots),
            ("mucus", false),
            ("sediment", false)
        );

    private static JsonObject Level(string clock, decimal millilitres) =>
        Of("drainage-level-read", $"level {clock}", clock, ("level", Millilitres(millilitres))).With("performer", Nurse);

    private static JsonObject Weighed(string clock, decimal grams) =>
        Of(
                "drainage-weighed",
                $"weighed {clock}",
                clock,
                ("mass", new JsonObject { ["value"] = grams, ["unit"] = "g" }),
                ("tare", new JsonObject { ["value"] = 0, ["unit"] = "g" }),
                ("emptied", false)
            )
            .With("performer", Nurse);

    private static IEnumerable<JsonNode> Hourly(int from, int to, int perHour) =>
        Enumerable.Range(from, to - from + 1).Select(hour => Level($"{hour:00}:00", (hour - from + 1) * perHour));
}

/// <summary>One of them.</summary>
internal sealed record Bed(
    string Name,
    string? Patient,
    string? Born,
    string? Reason,
    JsonNode[] Entries,
    string Start = "2026-03-14T08:00:00Z"
)
{
    public string[] Risks { get; init; } = [];

    public string? SpinalLevel { get; init; }

    public int? UsualSystolic { get; init; }

    /// <summary>The episode's description.</summary>
    public JsonObject Episode()
    {
        var episode = RunningService.Episode(Name, Start, patient: $"P-{Name}");
        episode["location"] = new JsonObject { ["ward"] = "North 4 (invented)", ["bed"] = "7" };
        if (Patient is null)
            return episode;
        episode["patient"]!["display"] = Patient;
        (episode["birthDate"], episode["reason"]) = (Born, Reason);
        episode["encounter"] = new JsonObject
        {
            ["identifier"] = new JsonObject { ["system"] = "https://ward.example/encounters", ["value"] = $"E-{Name}" },
        };
        episode["catheter"] = IrrigationFhir.Demo.Invented.Catheter("three-way irrigation catheter", Name == "child" ? 12 : 22, 3);
        episode["catheter"]!["insertedAt"] = "2026-03-13T18:00:00Z";
        if (Risks.Length > 0)
            episode["risks"] = new JsonArray([.. Risks.Select(risk => (JsonNode)risk)]);
        if (SpinalLevel is not null)
            episode["spinalLevel"] = SpinalLevel;
        if (UsualSystolic is { } usual)
            episode["baselineSystolic"] = new JsonObject { ["value"] = usual, ["unit"] = "mm[Hg]" };
        return episode;
    }
}
