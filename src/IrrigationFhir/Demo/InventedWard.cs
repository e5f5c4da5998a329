using System.Text.Json.Nodes;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Demo;

/// <summary>Something that reaches the service: entries of a stay, or that it begins or ends.</summary>
/// <param name="At">When it arrives, to the second.</param>
/// <param name="Episode">The episode as it is described from then on; null for entries.</param>
/// <param name="Entries">What was charted; null for a description.</param>
internal sealed record Arrival(Instant At, JsonObject? Episode, JsonArray? Entries);

/// <summary>An invented stay with its irrigation.</summary>
/// <param name="Number">Which, from 0.</param>
/// <param name="Begin">When its irrigation begins.</param>
/// <param name="Arrivals">What reaches the service of it, in order.</param>
internal sealed record InventedStay(int Number, Instant Begin, IReadOnlyList<Arrival> Arrivals);

/// <summary>
/// An invented hospital over four weeks: stays of all kinds, charted as on wards, with clots, too little urine, bags of which nobody knows
/// what was left, readings that come late, are typed wrong and corrected, belong to another patient and are withdrawn, or never come.
/// </summary>
/// <remarks>
/// The same number and seed give the same stays. Nobody and nothing in it exists: names and whoever charts say so, and every identifier is
/// of a host in a domain that nobody can have (RFC 2606).
/// </remarks>
internal sealed class InventedWard(int stays, int seed)
{
    /// <summary>The most stays that there are beds for.</summary>
    public const int Most = 10_000;

    private const int Days = 28;
    private const int BedsOfWard = 24;
    private static readonly DateTimeZone Vienna = DateTimeZoneProviders.Tzdb["Europe/Vienna"];
    private static readonly LocalDate FirstDay = new(2026, 1, 5);
    private static readonly string[] Given =
    [
        "Quillon",
        "Marit",
        "Balthazar",
        "Theodora",
        "Anselm",
        "Ottoline",
        "Cosimo",
        "Philippa",
        "Leander",
        "Ingeborg",
        "Peregrine",
        "Wilhelmina",
        "Evander",
        "Sunniva",
        "Lysander",
        "Clementine",
        "Osric",
        "Delphine",
        "Barnaby",
        "Isolde",
    ];
    private static readonly string[] Family =
    [
        "Harrowgate-Finch",
        "Oyelaran-Pell",
        "Underhill-Quince",
        "Applegarth-Pym",
        "Quarrywick",
        "Thistlemere",
        "Larkspur-Vane",
        "Candlewright",
        "Saltmarsh-Ede",
        "Wrenfield",
        "Mossgrave",
        "Tidewell-Orr",
        "Fennimore-Ash",
        "Copperbeck",
        "Lanternby",
        "Hollowmead",
        "Starling-Roe",
        "Brackenridge-Lull",
        "Pebblecombe",
        "Gossamer-Hythe",
    ];
    private static readonly string[] Reasons =
    [
        "bleeding after a resection of the prostate",
        "bleeding after a resection of a bladder tumour",
        "clots that block the catheter",
        "sediment that blocks the catheter",
        "bleeding under anticoagulation",
    ];

    /// <summary>How a stay is irrigated and charted, in the order in which the first ones are.</summary>
    private enum Way
    {
        Hourly,
        Cycles,
        Sparse,
        Dense,
        Open,
    }

    private static readonly Way[] Ways =
    [
        Way.Hourly,
        Way.Cycles,
        Way.Sparse,
        Way.Dense,
        Way.Open,
        Way.Hourly,
        Way.Hourly,
        Way.Cycles,
        Way.Hourly,
        Way.Sparse,
    ];

    /// <summary>What is known of a stay before it begins.</summary>
    private sealed record Plan(int Number, Way Way, Instant Begin, Instant End, int Person, int Bed, Random Random);

    /// <summary>The stays in the order in which they begin; each is made when it is asked for.</summary>
    public IEnumerable<InventedStay> Stays() => Plans().Select(Stay);

    /// <summary>Who comes when, into which bed: nobody lies in two, and no two in one.</summary>
    private List<Plan> Plans()
    {
        var random = new Random(seed);
        var begins = Enumerable
            .Range(0, stays)
            .Select(i =>
                FirstDay.PlusDays(i * Days / stays).At(new(random.Next(7, 20), random.Next(60))).InZoneLeniently(Vienna).ToInstant()
            )
            .Order()
            .ToList();
        var beds = new SortedSet<int>(Enumerable.Range(0, stays));
        var (there, gone, people) = (new PriorityQueue<Plan, Instant>(), new List<int>(), 0);
        var plans = new List<Plan>();
        foreach (var begin in begins)
        {
            while (there.TryPeek(out var first, out var end) && end + Duration.FromHours(2) < begin)
            {
                there.Dequeue();
                beds.Add(first.Bed);
                gone.Add(first.Person);
            }

            var person = gone.Count > 0 && random.Next(12) == 0 ? gone[random.Next(gone.Count)] : people++;
            gone.Remove(person);
            var (way, bed) = (Ways[plans.Count % Ways.Length], beds.Min);
            beds.Remove(bed);
            var hours = way is Way.Cycles or Way.Open ? random.Next(26, 60) : random.Next(10, 48);
            var plan = new Plan(plans.Count, way, begin, begin + Duration.FromHours(hours), person, bed, new(random.Next()));
            there.Enqueue(plan, plan.End);
            plans.Add(plan);
        }

        return plans;
    }

    private static InventedStay Stay(Plan plan)
    {
        var random = plan.Random;
        var kilograms = random.Next(52, 99);
        // Most make enough; one in seven less than 0.4 mL/kg/h.
        var urine = kilograms * (random.Next(7) == 0 ? 0.15 + (0.25 * random.NextDouble()) : 0.5 + (1.2 * random.NextDouble()));
        var charted = Admission(plan, kilograms).Concat(Course(plan, urine)).ToList();
        var arrivals = new List<(Instant At, JsonObject Entry)>();
        foreach (var entry in charted)
            arrivals.AddRange(AsItArrives(entry, plan));

        // What was charted in one minute comes together, in the order in which it was charted.
        var last = arrivals.Max(arrival => arrival.At);
        return new(
            plan.Number,
            plan.Begin,
            [
                new(plan.Begin, Description(plan, isOver: false), null),
                .. arrivals
                    .Select((arrival, i) => (arrival.At, arrival.Entry, Place: i))
                    .OrderBy(arrival => arrival.At)
                    .ThenBy(arrival => arrival.Place)
                    .GroupBy(arrival => arrival.At)
                    .Select(together => new Arrival(together.Key, null, [.. together.Select(one => one.Entry)])),
                new(Instant.Max(last, plan.End) + Duration.FromMinutes(10), Description(plan, isOver: true), null),
            ]
        );
    }

    private static JsonObject Description(Plan plan, bool isOver)
    {
        var person = new Random(plan.Person);
        var born = new LocalDate(person.Next(1936, 1992), person.Next(1, 13), person.Next(1, 28));
        return Invented.Episode(
            FormattableString.Invariant($"W-{plan.Number:00000}"),
            FormattableString.Invariant($"W-{plan.Person:00000}"),
            $"{Given[plan.Person % Given.Length]} {Family[plan.Person / Given.Length % Family.Length]} (invented)",
            FormattableString.Invariant($"E-{plan.Number:00000}"),
            LocalDatePattern.Iso.Format(born),
            FormattableString.Invariant($"{(plan.Bed % BedsOfWard / 2) + 1}"),
            FormattableString.Invariant($"{(plan.Bed % 2) + 1}"),
            Reasons[plan.Number % Reasons.Length],
            IsContinuous(plan) ? Invented.Catheter("three-way irrigation catheter", 22, 3) : Invented.Catheter("two-way catheter", 18, 2),
            Written(plan.Begin),
            isOver ? Written(plan.End) : null,
            FormattableString.Invariant($"Ward {7 + (plan.Bed / BedsOfWard)}")
        );
    }

    private static bool IsContinuous(Plan plan) => plan.Way is not (Way.Cycles or Way.Open);

    /// <summary>The order, the catheter, the wristband, and of most the weight.</summary>
    private static IEnumerable<ChartedEntry> Admission(Plan plan, int kilograms)
    {
        var order = IsContinuous(plan)
            ? """
                "method":"continuous","rateAtLeast":{"value":200,"unit":"mL/h"},"rateAtMost":{"value":1000,"unit":"mL/h"}
                """
            : """
                "method":"intermittent-manual","aliquot":{"value":50,"unit":"mL"},"timesPerDay":3,"untilClear":true
                """;
        yield return Entry("order", "order-set", $"\"order\":\"O-{plan.Number}\",\"solution\":\"sodium chloride 0.9 %\",{order.Trim()}");
        yield return Entry("identity", "identity-checked", "\"identifiers\":[\"name\",\"wristband\"]");
        if (plan.Number % 4 != 3)
            yield return Entry(
                "weight",
                "weight-measured",
                $"\"weight\":{{\"value\":{kilograms},\"unit\":\"kg\"}},\"weightKind\":\"actual\""
            );

        ChartedEntry Entry(string id, string kind, string content) =>
            new(plan.Begin, $$"""{"source":"ward-7","id":"{{id}}","kind":"{{kind}}","at":"{{Written(plan.Begin)}}",{{content}}}""");
    }

    private static IEnumerable<ChartedEntry> Course(Plan plan, double urine)
    {
        if (!IsContinuous(plan))
            return new InventedCycles(plan.Begin, plan.End, urine, plan.Way == Way.Open).Entries(plan.Random);
        var between = plan.Way switch
        {
            Way.Dense => (20, 40),
            Way.Sparse => (120, 240),
            _ => (50, 70),
        };
        var clot = plan.Random.Next(5) == 0 ? plan.Begin + Duration.FromHours(plan.Random.Next(2, 7)) : (Instant?)null;
        return new InventedIrrigation(plan.Random.Next(), plan.Begin, course: new(plan.End, between, urine, clot)).Entries();
    }

    /// <summary>An entry as it gets to the service: soon, late, wrong at first, or never; and sometimes with another patient's.</summary>
    private static IEnumerable<(Instant At, JsonObject Entry)> AsItArrives(ChartedEntry charted, Plan plan)
    {
        var random = plan.Random;
        var entry = JsonNode.Parse(charted.Json)!.AsObject();
        var soon = charted.At + Duration.FromMinutes(1);
        entry["performer"] = $"N-{20 + ((int)(charted.At.ToUnixTimeSeconds() / 43_200) + plan.Bed) % 17} (invented)";
        var chance = random.Next(1000);
        switch ((string)entry["kind"]!)
        {
            case "bag-taken-down" when chance < 30:
                entry.Remove("remaining"); // thrown away before anybody looked
                break;
            case "drainage-emptied" or "drainage-level-read" when charted.At < plan.End:
                var (name, later) = (entry.ContainsKey("volume") ? "volume" : "level", Duration.FromMinutes(random.Next(20, 90)));
                var read = (int)entry[name]!["value"]!;
                if (chance < 20)
                    yield break; // never charted
                if (chance < 60)
                    soon += Duration.FromMinutes(random.Next(65, 240));
                else if (chance < 80 && read >= 100)
                {
                    var typed = entry.DeepClone().AsObject();
                    typed[name]!["value"] = read < 300 ? read * 10 : read + 1000;
                    yield return Recorded(typed, soon);
                    entry["note"] = $"read again: {read} mL";
                    soon += later;
                }
                else if (chance < 88)
                {
                    var anothers = entry.DeepClone().AsObject();
                    anothers["id"] = $"{entry["id"]}-x";
                    anothers[name]!["value"] = random.Next(10, 60) * 10;
                    yield return Recorded(anothers, soon);
                    yield return (
                        soon + later,
                        new()
                        {
                            ["source"] = "ward-7",
                            ["id"] = $"{entry["id"]}-x",
                            ["status"] = "entered-in-error",
                            ["reason"] = "another patient's",
                            ["performer"] = (string)entry["performer"]!,
                        }
                    );
                }

                break;
        }

        yield return Recorded(entry, soon);
    }

    private static (Instant At, JsonObject Entry) Recorded(JsonObject entry, Instant at)
    {
        entry["recordedAt"] = Written(at);
        return (at, entry);
    }

    private static string Written(Instant at) => InstantPattern.General.Format(at);
}
