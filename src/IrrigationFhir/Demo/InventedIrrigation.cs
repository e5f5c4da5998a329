using System.Globalization;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Demo;

/// <summary>An entry as a ward system would send it.</summary>
/// <param name="At">When it happened.</param>
/// <param name="Json">One entry of <c>POST /episodes/{id}/entries</c>.</param>
internal sealed record ChartedEntry(Instant At, string Json);

/// <summary>What becomes of an invented irrigation.</summary>
/// <param name="End">When it ends.</param>
/// <param name="Between">Minutes between two rounds, least and most.</param>
/// <param name="UrinePerHour">What the kidneys make, in mL/h; from one round to the next half of it to one and a half.</param>
/// <param name="Clot">When a clot slows the outflow; null for never. At least an hour before the end.</param>
internal sealed record InventedCourse(Instant End, (int Least, int Most) Between, double UrinePerHour, Instant? Clot)
{
    /// <summary>Urine of some time, in mL.</summary>
    public int Urine(Duration time, Random random) => (int)(UrinePerHour * time.TotalHours * (0.5 + random.NextDouble()));
}

/// <summary>
/// An invented continuous irrigation, without end unless its course has one, charted as on a ward: three-litre bags changed when they are
/// empty, the flow titrated now and then, the drainage read every 15 to 60 minutes and emptied when it gets full, its look noted. About
/// four entries an hour.
/// </summary>
/// <remarks>The same seed gives the same entries, for the benchmarks too. Nobody and nothing in it exists.</remarks>
internal sealed class InventedIrrigation
{
    private const int BagVolume = 3000;
    private const int FullDrainage = 2000;
    private static readonly Duration WashoutTakes = Duration.FromMinutes(20);

    private readonly Random random;
    private readonly string episode;
    private readonly Instant begin;
    private readonly (int Least, int Most) between;
    private readonly InventedCourse? course;
    private int number;

    /// <summary>One irrigation.</summary>
    /// <param name="seed">Tells this from others.</param>
    /// <param name="begin">When it begins; <see cref="Start"/> unless given.</param>
    /// <param name="sparse">Whether the drainage is read each two to four hours only.</param>
    /// <param name="course">What becomes of it; without, it runs on and nothing happens.</param>
    public InventedIrrigation(int seed, Instant? begin = null, bool sparse = false, InventedCourse? course = null)
    {
        this.course = course;
        between = course?.Between ?? (sparse ? (120, 240) : (15, 60));
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

    /// <summary>The entries in the order in which they happen; without end where no course has one.</summary>
    public IEnumerable<ChartedEntry> Entries()
    {
        var (now, flow, drained, kept, isOver) = (begin, 600, 0, 0, false);
        var left = (double)BagVolume;
        yield return Entry(now, "drainage-level-read", Volume("level", 0));
        yield return Entry(now, "bag-hung", $"{Volume("volume", BagVolume)},{Volume("tubingPrime", 40)}");
        yield return Entry(now, "flow-set", Rate(flow));
        while (!isOver)
        {
            var next = now + Duration.FromMinutes(random.Next(between.Least, between.Most + 1));
            if (course is not null && next >= course.End)
                (next, isOver) = (course.End, true);
            for (var empty = now + Duration.FromHours(left / flow); empty <= next; empty += Duration.FromHours(left / flow))
            {
                var change = Instant.FromUnixTimeSeconds(empty.ToUnixTimeSeconds());
                yield return Entry(change, "bag-taken-down", Volume("remaining", 0));
                yield return Entry(change, "bag-hung", $"{Volume("volume", BagVolume)},{Volume("tubingPrime", 0)}");
                left += BagVolume;
            }

            var ran = flow * (next - now).TotalHours;
            left -= ran;
            var came = (int)ran + (course is null ? random.Next(20, 120) : course.Urine(next - now, random));
            var isBlocked = course?.Clot is { } clot && now < clot && clot <= next && !isOver;
            kept = isBlocked ? came * 6 / 10 : 0;
            drained += came - kept;
            now = next;
            if (isOver)
            {
                yield return Entry(now, "flow-set", Rate(0));
                yield return Entry(now, "bag-taken-down", Volume("remaining", Math.Max(0, (int)left / 10 * 10)));
                yield return Entry(now, "drainage-emptied", Volume("volume", drained / 10 * 10));
                yield break;
            }

            if (drained > FullDrainage)
            {
                yield return Entry(now, "drainage-emptied", Volume("volume", drained / 10 * 10));
                drained = 0;
            }
            else
            {
                yield return Entry(now, "drainage-level-read", Volume("level", drained / 10 * 10));
            }

            if (isBlocked)
            {
                foreach (var entry in Washout(now, kept, drained + kept, flow))
                    yield return entry;
                (now, drained) = (now + WashoutTakes, 0);
                continue;
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

    /// <summary>The outflow is slow, a scan finds what is kept, and a washout brings it.</summary>
    private IEnumerable<ChartedEntry> Washout(Instant at, int kept, int brought, int flow)
    {
        Instant After(int minutes) => at + Duration.FromMinutes(minutes);
        yield return Entry(at, "flow-set", Rate(0));
        yield return Entry(After(3), "bladder-scanned", $"{Volume("volume", kept / 10 * 10)},\"how\":\"scan\"");
        yield return Entry(After(4), "escalated", "\"whom\":\"urology on call\",\"reason\":\"outflow slow, clots\"");
        yield return Entry(After(12), "washout-performed", "\"cycles\":3,\"cleared\":true");
        yield return Entry(After(18), "drainage-emptied", Volume("volume", brought / 10 * 10));
        yield return Entry(at + WashoutTakes, "bladder-scanned", $"{Volume("volume", 20)},\"how\":\"scan\"");
        yield return Entry(at + WashoutTakes, "flow-set", Rate(flow));
    }

    /// <summary>An emptying of the drainage at a time.</summary>
    public ChartedEntry Emptied(Instant at) => Entry(at, "drainage-emptied", Volume("volume", 2500));

    /// <summary>A bag taken down empty at a time.</summary>
    public ChartedEntry BagTakenDown(Instant at) => Entry(at, "bag-taken-down", Volume("remaining", 0));

    /// <summary>A change of the flow at a time.</summary>
    public ChartedEntry FlowSet(Instant at) => Entry(at, "flow-set", Rate(350));

    private static string Written(Instant at) => InstantPattern.General.Format(at);

    private static string Volume(string name, int millilitres) => $"\"{name}\":{{\"value\":{millilitres},\"unit\":\"mL\"}}";

    private static string Rate(int millilitresPerHour) => $"\"rate\":{{\"value\":{millilitresPerHour},\"unit\":\"mL/h\"}}";

    private ChartedEntry Entry(Instant at, string kind, string content) =>
        new(
            at,
            $$"""
            {"source":"ward-7","id":"{{number++}}","kind":"{{kind}}","at":"{{Written(at)}}",
            "performer":"N-31 (invented)",{{content}}}
            """
        );
}
