using System.Globalization;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Benchmarks;

/// <summary>An entry as a ward system would send it.</summary>
/// <param name="At">When it happened.</param>
/// <param name="Json">One entry of <c>POST /episodes/{id}/entries</c>.</param>
internal sealed record Charted(Instant At, string Json);

/// <summary>
/// An invented continuous irrigation that never ends, charted as on a ward: three-litre bags changed when they are empty, the flow
/// titrated now and then, the drainage read every 15 to 60 minutes and emptied when it gets full, its look noted. About four entries an
/// hour.
/// </summary>
/// <remarks>The same seed gives the same entries. Nobody and nothing in it exists.</remarks>
internal sealed class InventedIrrigation
{
    private const int BagVolume = 3000;
    private const int FullDrainage = 2000;

    private readonly Random random;
    private readonly string episode;
    private readonly Instant begin;
    private readonly (int Least, int Most) between;
    private int number;

    /// <summary>One irrigation.</summary>
    /// <param name="seed">Tells this from others.</param>
    /// <param name="begin">When it begins; <see cref="Start"/> unless given.</param>
    /// <param name="sparse">Whether the drainage is read each two to four hours only.</param>
    public InventedIrrigation(int seed, Instant? begin = null, bool sparse = false)
    {
        between = sparse ? (120, 240) : (15, 60);
        random = new Random(seed);
        episode = seed.ToString(CultureInfo.InvariantCulture);
        this.begin = begin ?? Start;
    }

    /// <summary>The system of the patients' identifiers.</summary>
    public static string PatientSystem => "https://lantern-quay.example/patients";

    /// <summary>The value of the patient's identifier.</summary>
    public string Patient => $"P-{episode}";

    /// <summary>When an invented irrigation begins unless told otherwise: so long ago that the longest one ends before now.</summary>
    public static Instant Start { get; } = Instant.FromUtc(2015, 1, 5, 19, 0);

    /// <summary>The description to open the episode with.</summary>
    public string Description() => Description("");

    /// <summary>The description of the episode once it has ended.</summary>
    public string Ended(Instant at) => Description($", \"end\": \"{Written(at)}\"");

    private string Description(string end) =>
        $$"""
            {
              "identifier": { "system": "https://lantern-quay.example/irrigations", "value": "B-{{episode}}" },
              "patient": { "identifier": { "system": "{{PatientSystem}}", "value": "{{Patient}}" } },
              "timeZone": "Europe/Vienna",
              "shiftStarts": ["07:00", "19:00"],
              "start": "{{Written(begin)}}"{{end}}
            }
            """;

    /// <summary>The entries in the order in which they happen, without end.</summary>
    public IEnumerable<Charted> Entries()
    {
        var (now, flow, drained) = (begin, 600, 0);
        var left = (double)BagVolume;
        yield return Entry(now, "drainage-level-read", Volume("level", 0));
        yield return Entry(now, "bag-hung", $"{Volume("volume", BagVolume)},{Volume("tubingPrime", 40)}");
        yield return Entry(now, "flow-set", Rate(flow));
        while (true)
        {
            var next = now + Duration.FromMinutes(random.Next(between.Least, between.Most + 1));
            for (var empty = now + Duration.FromHours(left / flow); empty <= next; empty += Duration.FromHours(left / flow))
            {
                var change = Instant.FromUnixTimeSeconds(empty.ToUnixTimeSeconds());
                yield return Entry(change, "bag-taken-down", Volume("remaining", 0));
                yield return Entry(change, "bag-hung", $"{Volume("volume", BagVolume)},{Volume("tubingPrime", 0)}");
                left += BagVolume;
            }

            var ran = flow * (next - now).TotalHours;
            left -= ran;
            drained += (int)ran + random.Next(20, 120);
            now = next;
            if (drained > FullDrainage)
            {
                yield return Entry(now, "drainage-emptied", Volume("volume", drained / 10 * 10));
                drained = 0;
            }
            else
            {
                yield return Entry(now, "drainage-level-read", Volume("level", drained / 10 * 10));
            }

            if (random.Next(4) == 0)
                yield return Entry(
                    now,
                    "drainage-appearance",
                    $"\"scale\":\"ward colour card (invented)\",\"grade\":{random.Next(1, 5)},\"clots\":\"few\""
                );
            if (random.Next(3) == 0)
            {
                flow = 100 * random.Next(3, 10);
                yield return Entry(now, "flow-set", Rate(flow));
            }
        }
    }

    /// <summary>An emptying of the drainage at a time.</summary>
    public Charted Emptied(Instant at) => Entry(at, "drainage-emptied", Volume("volume", 2500));

    /// <summary>A bag taken down empty at a time.</summary>
    public Charted BagTakenDown(Instant at) => Entry(at, "bag-taken-down", Volume("remaining", 0));

    /// <summary>A change of the flow at a time.</summary>
    public Charted FlowSet(Instant at) => Entry(at, "flow-set", Rate(350));

    private static string Written(Instant at) => InstantPattern.General.Format(at);

    private static string Volume(string name, int millilitres) => $"\"{name}\":{{\"value\":{millilitres},\"unit\":\"mL\"}}";

    private static string Rate(int millilitresPerHour) => $"\"rate\":{{\"value\":{millilitresPerHour},\"unit\":\"mL/h\"}}";

    private Charted Entry(Instant at, string kind, string content) =>
        new(
            at,
            $$"""
            {"source":"ward-7","id":"{{number++}}","kind":"{{kind}}","at":"{{Written(at)}}",
            "performer":"N-31 (invented)",{{content}}}
            """
        );
}
