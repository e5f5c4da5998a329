using System.Text.Json.Nodes;
using static IrrigationFhir.Demo.Invented;

namespace IrrigationFhir.Demo;

/// <summary>
/// An invented day of irrigation without a flow: three times through the port of the closed system, of which the second comes back short
/// until the catheter is turned, and in the evening once openly with syringe and basin. Nobody and nothing in it exists.
/// </summary>
internal static class InventedDay
{
    /// <summary>The day, to be shown.</summary>
    public static InventedStory Story { get; } =
        new(
            "day",
            "Ward 7 of the invented Lantern Quay Hospital, day of 16 March 2026, invented patient P-0502",
            "https://lantern-quay.example/patients|P-0502",
            Episode,
            AsCharted,
            LookAt: At("12:10"),
            Handover: At("20:05"),
            End: At("20:00")
        );

    private static JsonObject Episode(string? end) =>
        Invented.Episode(
            "I-2026-0097",
            "P-0502",
            "Marit Oyelaran-Pell (invented)",
            "E-8903",
            "1962-05-09",
            room: "5",
            bed: "1",
            "sediment that blocks the catheter",
            Invented.Catheter("two-way catheter", 18, 2),
            At("07:00"),
            end
        );

    private static IEnumerable<JsonArray> AsCharted() =>
        [
            [
                Entry(
                    "order-set",
                    "07:10",
                    ("order", "O-5603"),
                    ("method", "intermittent-manual"),
                    ("solution", "sodium chloride 0.9 %"),
                    ("aliquot", Quantity(40, "mL")),
                    ("untilClear", true),
                    ("timesPerDay", 3),
                    ("target", "free of sediment"),
                    ("contact", "ward doctor, bleep 4417"),
                    ("orderedBy", "Dr. Ingeborg Tallow (invented)"),
                    ("orderedHow", "written")
                ),
                Entry("identity-checked", "07:55", ("identifiers", new JsonArray("name", "wristband"))),
                Entry("drainage-emptied", "08:00", ("volume", Quantity(310, "mL")), ("how", "graduation")),
            ],
            // The first: two cycles, and clear.
            [
                Entry("bladder-palpated", "08:05", ("distended", false), ("tender", false)),
                Entry("steps-attested", "08:06", ("done", new JsonArray("port-cleaned"))),
                Syringe("08:08", 40),
                Basin("08:12", 43),
                Syringe("08:14", 40),
                Basin("08:18", 42),
                Entry("drainage-appearance", "08:19", ("colour", "yellow"), ("clots", "none"), ("sediment", false)),
                Entry("tolerance-noted", "08:20", ("pain", 1), ("spasm", false), ("tolerated", true)),
                Entry("irrigation-stopped", "08:20", ("why", "target-reached")),
            ],
            [Entry("drainage-emptied", "11:50", ("volume", Quantity(270, "mL")), ("how", "graduation"))],
            // The second comes back short. Nobody forces: the catheter is turned, and it runs.
            [Syringe("12:00", 40), Basin("12:05", 14)],
            [
                Entry("escalated", "12:08", ("whom", "ward doctor"), ("reason", "26 mL did not come back")),
                Entry("bladder-scanned", "12:12", ("volume", Quantity(35, "mL")), ("how", "scan")),
                Entry(
                    "drainage-emptied",
                    "12:20",
                    ("volume", Quantity(31, "mL")),
                    ("container", "basin"),
                    ("note", "catheter turned a little, flows again")
                ),
                Entry("drainage-appearance", "12:21", ("colour", "yellow"), ("clots", "none"), ("sediment", true)),
                Entry("tolerance-noted", "12:22", ("pain", 2), ("spasm", false), ("tolerated", true)),
                Entry("irrigation-stopped", "12:22", ("why", "short-return")),
            ],
            [
                Entry("drainage-emptied", "15:50", ("volume", Quantity(240, "mL")), ("how", "graduation")),
                Syringe("16:00", 40),
                Basin("16:04", 44),
                Entry("drainage-appearance", "16:05", ("colour", "yellow"), ("clots", "none"), ("sediment", false)),
                Entry("irrigation-stopped", "16:06", ("why", "target-reached")),
            ],
            // In the evening openly: a plug of sediment at the eye of the catheter.
            [
                Entry("drainage-emptied", "18:55", ("volume", Quantity(90, "mL")), ("how", "graduation")),
                Entry("closed-system-opened", "19:00", ("reason", "no outflow for half an hour, plug of sediment")),
                Syringe("19:02", 30),
                Basin("19:05", 27),
                Syringe("19:07", 30),
                Basin("19:10", 62),
                Entry("drainage-appearance", "19:11", ("colour", "yellow"), ("clots", "none"), ("sediment", true)),
                Entry("tolerance-noted", "19:12", ("pain", 2), ("spasm", false), ("tolerated", true)),
                Entry("irrigation-stopped", "19:12", ("why", "target-reached")),
                Entry("drainage-emptied", "20:00", ("volume", Quantity(130, "mL")), ("how", "graduation")),
            ],
        ];

    private static JsonNode Syringe(string clock, decimal millilitres) =>
        Entry(
            "irrigant-instilled",
            clock,
            ("volume", Quantity(millilitres, "mL")),
            ("how", "syringe"),
            ("solution", "sodium chloride 0.9 %")
        );

    private static JsonNode Basin(string clock, decimal millilitres) =>
        Entry("drainage-emptied", clock, ("volume", Quantity(millilitres, "mL")), ("container", "basin"));

    private static JsonNode Entry(string kind, string clock, params (string Name, JsonNode? Value)[] content) =>
        Invented.Entry(kind, clock, At(clock), "N-12 (invented)", content);

    private static string At(string clock) => $"2026-03-16T{clock}:00+01:00";
}
