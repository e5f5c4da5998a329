using System.Globalization;
using System.Text.Json.Nodes;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Demo;

/// <summary>
/// Invented irrigations by the syringe, three a day: through the port of the closed system, or openly with a basin; now and then one comes
/// back short. Nobody and nothing in it exists.
/// </summary>
/// <param name="Begin">When the balance begins.</param>
/// <param name="End">When it ends.</param>
/// <param name="UrinePerHour">What the kidneys make, in mL/h.</param>
/// <param name="IsOpen">Whether the closed system is opened for it.</param>
internal sealed record InventedCycles(Instant Begin, Instant End, double UrinePerHour, bool IsOpen)
{
    /// <summary>The entries in the order in which they happen.</summary>
    public IEnumerable<ChartedEntry> Entries(Random random)
    {
        var (number, before) = (0, Begin);
        for (var at = Begin + Duration.FromHours(1); at < End - Duration.FromHours(2); at += Duration.FromMinutes(random.Next(400, 560)))
        {
            yield return Drained(at, "drainage-emptied", Urine(at - before));
            var minute = 5;
            if (IsOpen)
                yield return Entry(minute, "closed-system-opened", ("reason", "plug of sediment at the eye of the catheter"));
            var (aliquot, isShort) = (10 * random.Next(3, 7), random.Next(8) == 0);
            for (var cycle = random.Next(2, 5); cycle > 0; cycle--)
            {
                yield return Entry(
                    minute += 2,
                    "irrigant-instilled",
                    ("volume", Volume(aliquot)),
                    ("how", "syringe"),
                    ("solution", "sodium chloride 0.9 %")
                );
                var back = isShort && cycle == 1 ? aliquot / 3 : aliquot + random.Next(-2, 5);
                yield return Entry(minute += 4, "drainage-emptied", ("volume", Volume(back)), ("container", "basin"));
            }

            if (isShort)
                yield return Entry(minute += 2, "bladder-scanned", ("volume", Volume(aliquot * 2 / 3)), ("how", "scan"));
            yield return Entry(
                ++minute,
                "drainage-appearance",
                ("colour", isShort ? "light red" : "yellow"),
                ("clots", isShort ? "few" : "none"),
                ("sediment", random.Next(3) == 0)
            );
            yield return Entry(++minute, "irrigation-stopped", ("why", isShort ? "short-return" : "target-reached"));
            before = at + Duration.FromMinutes(minute);

            ChartedEntry Entry(int after, string kind, params (string Name, JsonNode? Value)[] content)
            {
                var happened = at + Duration.FromMinutes(after);
                return Written(happened, kind, content);
            }
        }

        yield return Drained(End, "drainage-emptied", Urine(End - before));

        int Urine(Duration time) => (int)(UrinePerHour * time.TotalHours * (0.6 + (0.8 * random.NextDouble()))) / 10 * 10;
        ChartedEntry Drained(Instant at, string kind, int millilitres) => Written(at, kind, ("volume", Volume(millilitres)));
        ChartedEntry Written(Instant at, string kind, params (string Name, JsonNode? Value)[] content)
        {
            var entry = new JsonObject
            {
                ["source"] = "ward-7",
                ["id"] = (number++).ToString(CultureInfo.InvariantCulture),
                ["kind"] = kind,
                ["at"] = InstantPattern.General.Format(at),
            };
            foreach (var (name, value) in content)
                entry[name] = value;
            return new(at, entry.ToJsonString());
        }
    }

    private static JsonObject Volume(int millilitres) => Invented.Quantity(millilitres, "mL");
}
