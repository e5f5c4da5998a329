using System.Text.Json.Nodes;
using static IrrigationFhir.Demo.Invented;

namespace IrrigationFhir.Demo;

/// <summary>
/// An invented night: nobody and nothing in it exists. A bag change, an emptying mid-bag, a clot that slows the outflow, a dwell,
/// an entry that comes late, and one that is corrected.
/// </summary>
internal static class InventedNight
{
    /// <summary>What the table is headed with.</summary>
    public const string Title = "Ward 7 of the invented Lantern Quay Hospital, night of 14 to 15 March 2026, invented patient P-0417";

    /// <summary>The invented patient, as a search names them.</summary>
    public const string Patient = "https://lantern-quay.example/patients|P-0417";

    /// <summary>The end of the night.</summary>
    public const string Morning = "2026-03-15T07:00:00+01:00";

    /// <summary>When the charts are read: by then the last entries have been charted.</summary>
    public const string Handover = "2026-03-15T07:05:00+01:00";

    /// <summary>The night, to be shown.</summary>
    public static InventedStory Story { get; } =
        new("night", Title, Patient, Episode, AsCharted, LookAt: "2026-03-15T02:40:00+01:00", Handover, Morning);

    /// <summary>The episode, as it is opened.</summary>
    /// <param name="end">When it ended, once it has.</param>
    public static JsonObject Episode(string? end = null) =>
        Invented.Episode(
            "I-2026-0093",
            "P-0417",
            "Quillon Harrowgate-Finch (invented)",
            "E-8812",
            "1951-07-30",
            room: "3",
            bed: "2",
            "bleeding after a resection of the prostate",
            Invented.Catheter("three-way irrigation catheter", 22, 3),
            At("21:00"),
            end
        );

    /// <summary>The entries in the order in which they were charted, some alone, some together.</summary>
    public static IEnumerable<JsonArray> AsCharted() =>
        [
            [
                Entry(
                    "order-set",
                    "20:45",
                    ("order", "O-5521"),
                    ("method", "continuous"),
                    ("solution", "sodium chloride 0.9 %"),
                    ("rateAtLeast", Quantity(300, "mL/h")),
                    ("rateAtMost", Quantity(900, "mL/h")),
                    ("target", "light pink or clearer"),
                    ("contact", "urology on call, bleep 4410")
                ),
                Entry(
                    "catheter-inserted",
                    "20:10",
                    ("type", "three-way irrigation catheter"),
                    ("size", Quantity(22, "[Ch]")),
                    ("lumens", 3)
                ),
                Entry("identity-checked", "20:55", ("identifiers", new JsonArray("name", "wristband"))),
                Entry("bladder-scanned", "21:00", ("volume", Quantity(20, "mL")), ("how", "scan")),
                Entry("drainage-level-read", "21:00", ("level", Quantity(0, "mL")), ("how", "graduation")),
                Entry(
                    "bag-hung",
                    "21:00",
                    ("line", "1"),
                    ("volume", Quantity(3000, "mL")),
                    ("tubingPrime", Quantity(40, "mL")),
                    ("solution", "sodium chloride 0.9 %"),
                    ("how", "label")
                ),
                Entry("flow-set", "21:00", ("rate", Quantity(600, "mL/h")), ("dropFactor", Quantity(10, "{drop}/mL")), ("how", "drops")),
            ],
            // The drainage bag was getting full in the middle of the first irrigant bag.
            [Entry("drainage-emptied", "22:00", ("volume", Quantity(650, "mL")), ("how", "graduation"))],
            [
                Entry(
                    "drainage-appearance",
                    "23:25",
                    ("scale", "ward colour card (invented)"),
                    ("grade", 3),
                    ("colour", "red"),
                    ("clots", "few")
                ),
            ],
            [Entry("flow-set", "23:30", ("rate", Quantity(800, "mL/h")), ("dropFactor", Quantity(10, "{drop}/mL")), ("how", "drops"))],
            // Bag change, and one digit too many, corrected twenty minutes later.
            [
                Entry("bag-taken-down", "01:20", ("line", "1"), ("remaining", Quantity(0, "mL"))),
                Entry(
                    "bag-hung",
                    "01:20",
                    ("line", "1"),
                    ("volume", Quantity(3000, "mL")),
                    ("tubingPrime", Quantity(0, "mL")),
                    ("solution", "sodium chloride 0.9 %"),
                    ("how", "label")
                ),
                Entry(
                    "drainage-emptied",
                    "01:20",
                    ("id", "night-emptying-2"),
                    ("volume", Quantity(3430, "mL")),
                    ("how", "graduation"),
                    ("recordedAt", At("01:25"))
                ),
            ],
            [
                Entry(
                    "drainage-emptied",
                    "01:20",
                    ("id", "night-emptying-2"),
                    ("volume", Quantity(2430, "mL")),
                    ("how", "graduation"),
                    ("recordedAt", At("01:45")),
                    ("note", "read again: 2430, not 3430")
                ),
            ],
            // A clot slows the outflow: more runs in than comes out, and the scan finds it.
            [
                Entry("drainage-emptied", "02:30", ("volume", Quantity(400, "mL")), ("how", "graduation")),
                Entry(
                    "drainage-appearance",
                    "02:30",
                    ("scale", "ward colour card (invented)"),
                    ("grade", 4),
                    ("colour", "dark red"),
                    ("clots", "many")
                ),
                Entry("bladder-scanned", "02:35", ("volume", Quantity(630, "mL")), ("how", "scan")),
                Entry("flow-set", "02:40", ("rate", Quantity(0, "mL/h"))),
                Entry("escalated", "02:41", ("whom", "urology on call"), ("reason", "outflow slow, clots, 630 mL on the scan")),
            ],
            [
                Entry("irrigant-instilled", "02:45", ("volume", Quantity(50, "mL")), ("how", "syringe"), ("note", "manual washout")),
                Entry("washout-performed", "02:50", ("cycles", 2), ("cleared", true)),
                Entry("drainage-emptied", "02:55", ("volume", Quantity(815, "mL")), ("how", "graduation")),
                Entry("bladder-scanned", "03:00", ("volume", Quantity(20, "mL")), ("how", "scan")),
                Entry("flow-set", "03:00", ("rate", Quantity(800, "mL/h")), ("dropFactor", Quantity(10, "{drop}/mL")), ("how", "drops")),
            ],
            [
                Entry("bag-taken-down", "04:30", ("line", "1"), ("remaining", Quantity(700, "mL"))),
                Entry("drainage-emptied", "04:30", ("volume", Quantity(1235, "mL")), ("how", "graduation")),
            ],
            // A dwell: 60 mL left in for half an hour behind a clamp.
            [
                Entry("irrigant-instilled", "05:00", ("volume", Quantity(60, "mL")), ("how", "syringe")),
                Entry("drain-clamped", "05:00"),
                Entry("drain-released", "05:30"),
                Entry("drainage-emptied", "06:00", ("volume", Quantity(135, "mL")), ("how", "graduation")),
            ],
            // Found on a scrap of paper: a leak three hours earlier.
            [Entry("leak-estimated", "03:10", ("volume", Quantity(60, "mL")), ("how", "estimate"), ("recordedAt", At("06:15")))],
            [
                Entry("tolerance-noted", "06:30", ("pain", 2), ("spasm", false), ("tolerated", true)),
                Entry("urine-collected", "07:00", ("route", "urethral-catheter"), ("volume", Quantity(55, "mL")), ("how", "graduation")),
            ],
        ];

    private static JsonNode Entry(string kind, string clock, params (string Name, JsonNode? Value)[] content) =>
        Invented.Entry(kind, clock, At(clock), "N-31 (invented)", content);

    /// <summary>Clock times after noon are on the evening's date, others on the next morning's.</summary>
    private static string At(string clock) => $"2026-03-{(string.CompareOrdinal(clock, "12:00") > 0 ? "14" : "15")}T{clock}:00+01:00";
}
