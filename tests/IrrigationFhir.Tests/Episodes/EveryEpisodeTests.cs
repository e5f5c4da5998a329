using System.Globalization;
using System.Text.Json;
using System.Text.Json.Nodes;
using CsCheck;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Episodes;
using IrrigationFhir.Model;
using IrrigationFhir.Record;
using NodaTime;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>
/// Whatever description of an episode is taken, and whatever entries: no rule, criterion, forecast or report ever throws.
/// </summary>
/// <remarks>
/// Numbers are drawn at the edges of what the readers take: what is refused is passed over, what is taken has to be borne.
/// </remarks>
public class EveryEpisodeTests
{
    private static readonly Instant Start = Instant.FromUtc(2026, 3, 14, 7, 0);

    private static readonly string[] Numbers =
    [
        "0",
        "1e-28",
        "0.0000001",
        "0.5",
        "1",
        "9.99",
        "30",
        "60.5",
        "250",
        "999.999",
        "3000",
        "4400.0001",
        "79228162514264.3",
        "1000000",
        "1000",
    ];

    private static readonly string[] Dates =
    [
        "0001-01-01",
        "1899-12-31",
        "1951-07-30",
        "2026-03-13",
        "2026-03-14",
        "2031-01-01",
        "9999-12-31",
    ];
    private static readonly string[] Zones = ["Europe/Vienna", "Pacific/Kiritimati", "America/St_Johns", "UTC"];
    private static readonly string[] Words =
    [
        "T4",
        "C5",
        "L1",
        "continuous",
        "none",
        "few",
        "many",
        "sterile water",
        "sodium chloride 0.9 %",
        "x",
    ];

    private static readonly string[] Moments =
    [
        "1900-01-01T00:00:00Z",
        "2026-03-14T06:59:59.999999999Z",
        "2026-03-14T07:00:00Z",
        "2026-03-14T19:00:00+01:00",
        "2259-12-31T23:59:59Z",
    ];

    /// <summary>The properties of all kinds: each is drawn now and then, and what a kind does not have is left out.</summary>
    private static readonly (string Name, string[] Kinds, Func<Random, JsonNode> Draw)[] Properties =
    [
        Quantity(
            "volume",
            "mL",
            "bag-hung",
            "irrigant-instilled",
            "irrigant-discarded",
            "drainage-emptied",
            "blood-removed",
            "leak-estimated",
            "urine-collected",
            "bladder-scanned",
            "order-set"
        ),
        Quantity("remaining", "mL", "bag-read", "bag-taken-down"),
        Quantity("tubingPrime", "mL", "bag-hung"),
        Quantity("total", "mL", "pump-total-read"),
        Quantity("level", "mL", "drainage-level-read"),
        Quantity("mass", "g", "drainage-weighed"),
        Quantity("tare", "g", "drainage-weighed"),
        Quantity("rateAtMost", "mL/h", "order-set"),
        Quantity("rateAtLeast", "mL/h", "order-set"),
        Quantity("dwell", "min", "order-set"),
        Quantity("weight", "kg", "weight-measured"),
        Quantity("systolic", "mm[Hg]", "blood-pressure-measured"),
        Quantity("diastolic", "mm[Hg]", "blood-pressure-measured"),
        Quantity("size", "[Ch]", "catheter-inserted"),
        ("rate", ["flow-set"], chance => chance.Next(3) == 0 ? Value(chance, "{drop}/min") : Value(chance, "mL/h")),
        Quantity("dropFactor", "{drop}/mL", "flow-set", "order-set"),
        Quantity("over", "h", "order-set"),
        ("density", ["drainage-weighed"], chance => Number(chance)),
        ("emptied", ["drainage-weighed"], chance => chance.Next(2) == 0),
        ("restarted", ["pump-total-read"], chance => chance.Next(2) == 0),
        ("distended", ["bladder-palpated"], chance => chance.Next(2) == 0),
        ("tolerated", ["tolerance-noted"], chance => chance.Next(2) == 0),
        ("pain", ["tolerance-noted"], chance => chance.Next(11)),
        ("grade", ["drainage-appearance"], chance => chance.Next(101)),
        ("clots", ["drainage-appearance"], chance => Words[4 + chance.Next(3)]),
        ("colour", ["drainage-appearance"], chance => chance.Next(2) == 0 ? "bright red" : "straw"),
        ("cycles", ["washout-performed"], chance => 1 + chance.Next(1000)),
        ("cleared", ["washout-performed"], chance => chance.Next(2) == 0),
        ("route", ["urine-collected"], chance => Irrigation.Slug.Of((UrineRoute)chance.Next(Enum.GetValues<UrineRoute>().Length))),
        ("weightKind", ["weight-measured"], chance => chance.Next(2) == 0 ? "actual" : "ideal"),
        ("solution", ["bag-hung", "order-set"], chance => Word(chance)),
        ("method", ["order-set"], chance => chance.Next(2) == 0 ? "continuous" : "open"),
        ("until", ["order-set"], chance => At(chance)),
        ("timesPerDay", ["order-set"], chance => 1 + chance.Next(48)),
        ("orderChange", ["order-set"], chance => Irrigation.Slug.Of((OrderChange)chance.Next(3))),
        ("orderedHow", ["order-set"], chance => Irrigation.Slug.Of((OrderedHow)chance.Next(4))),
        ("flag", ["flag-acknowledged", "escalated"], chance => FlagRules.All[chance.Next(FlagRules.All.Length)].Slug),
        ("identifiers", ["identity-checked"], _ => new JsonArray("name", "date-of-birth")),
        ("reading", ["reading-confirmed"], chance => new JsonObject { ["source"] = "any", ["id"] = Id(chance) }),
    ];

    [Fact]
    public void No_episode_and_no_entry_makes_a_rule_throw()
    {
        var (episodes, entries) = (0, 0);
        Gen.Int.Sample(
            seed =>
            {
                var chance = new Random(seed);
                if (Episode(chance) is not { } definition)
                    return;
                Interlocked.Increment(ref episodes);
                var balance = FluidBalance.Of(EpisodeLog.Empty(definition.Frame), BalanceSettings.Default);
                var flags = FlagRecord.Of(balance, definition.Facts, FlagLimits.Default, Start);
                for (var left = chance.Next(1, 30); left > 0; left--)
                {
                    // As the main path takes it: what contradicts the log, or lies outside of the episode, is refused.
                    if (Entry(chance) is not { } sent || RecordEntries.WithTime(sent, balance.Log) is not { } entry)
                        continue;
                    var appended = balance.Log.Append([entry], Start);
                    var stands = appended.Log.Current(entry.Key)!.Entry == entry;
                    if (stands && Contradictions.Of(entry, appended.Log, "entry") is not null)
                        continue;
                    Interlocked.Increment(ref entries);
                    (balance, _) = balance.After(appended);
                    flags = flags
                        .After(balance, appended.Changes, Instant.Max(flags.AsOf, Start + Duration.FromMinutes(chance.Next(0, 1200))))
                        .Record;
                }

                var recalled = Recalled(flags, balance, definition);
                foreach (var hours in new[] { 0, 3, 24, 24 * 400 })
                {
                    var asOf = Start + Duration.FromHours(hours);
                    if (asOf < flags.AsOf)
                        continue;
                    BalanceReport.Of(balance, "id", definition, asOf, CriteriaSettings.Default, ForecastSettings.Default);
                    flags = flags.After(balance, [], asOf).Record;
                    recalled = recalled.After(balance, [], asOf).Record;
                    Assert.Empty(FlagRecord.Compare(flags, recalled));
                    Assert.Equal(flags.Findings.Select(f => f.Latest), recalled.Findings.Select(f => f.Latest));
                }
            },
            iter: 1500,
            print: seed => seed.ToString(CultureInfo.InvariantCulture)
        );
        Assert.True(episodes > 500 && entries > 5_000, $"{episodes} episodes with {entries} entries prove little");
    }

    /// <summary>As it stands after a start: nothing that a rule can say is lost where it is remembered.</summary>
    private static FlagRecord Recalled(FlagRecord flags, FluidBalance balance, EpisodeDefinition definition)
    {
        var criteria = CriteriaRecord.Of(balance, definition.Facts.Patient, CriteriaSettings.Default, 0.7);
        var written = RememberedJson.Write(new(flags.Remembered, [.. criteria.Histories.Values]));
        var read = RememberedJson.Read(written)!;
        Assert.Equal(written, RememberedJson.Write(read));
        return FlagRecord.Recalled(balance, definition.Facts, FlagLimits.Default, read.Flags);
    }

    private static EpisodeDefinition? Episode(Random chance)
    {
        var episode = new JsonObject
        {
            ["identifier"] = new JsonObject { ["system"] = "urn:any", ["value"] = "any" },
            ["patient"] = new JsonObject { ["reference"] = "Patient/any" },
            ["start"] = chance.Next(8) == 0 ? Moments[chance.Next(Moments.Length)] : "2026-03-14T07:00:00Z",
        };
        void Maybe(string name, Func<JsonNode> value)
        {
            if (chance.Next(2) == 0)
                episode[name] = value();
        }

        Maybe("bladderCapacity", () => Value(chance, "mL"));
        Maybe("baselineSystolic", () => Value(chance, "mm[Hg]"));
        Maybe("birthDate", () => Dates[chance.Next(Dates.Length)]);
        Maybe("spinalLevel", () => Word(chance));
        Maybe("timeZone", () => Zones[chance.Next(Zones.Length)]);
        Maybe("duringProcedure", () => chance.Next(2) == 0);
        Maybe("shiftStarts", () => new JsonArray("00:00", "07:00", "23:59"));
        Maybe(
            "catheter",
            () =>
                new JsonObject
                {
                    ["size"] = Value(chance, "[Ch]"),
                    ["insertedAt"] = Moments[chance.Next(Moments.Length)],
                    ["lumens"] = 1 + chance.Next(3),
                }
        );
        if (chance.Next(6) == 0)
            episode["end"] = At(chance);
        using var json = JsonDocument.Parse(episode.ToJsonString());
        return EpisodeReader.Read(json.RootElement, DateTimeZone.Utc, []);
    }

    private static Entry? Entry(Random chance)
    {
        var kinds = EntryKinds.All.ToList();
        var kind = kinds[chance.Next(kinds.Count)];
        var entry = new JsonObject
        {
            ["source"] = "any",
            ["id"] = Id(chance),
            ["kind"] = kind,
            ["at"] = At(chance),
        };
        if (chance.Next(12) == 0)
            entry["status"] = "entered-in-error";
        if (chance.Next(4) == 0)
            entry["recordedAt"] = At(chance);
        foreach (var (name, of, draw) in Properties)
        {
            if (of.Contains(kind) && chance.Next(8) != 0)
                entry[name] = draw(chance);
        }

        using var json = JsonDocument.Parse(entry.ToJsonString());
        return EntryReader.Read(json.RootElement, "entry", [])?.Entry;
    }

    private static (string, string[], Func<Random, JsonNode>) Quantity(string name, string unit, params string[] kinds) =>
        (name, kinds, chance => Value(chance, unit));

    private static JsonObject Value(Random chance, string unit) => new() { ["value"] = Number(chance), ["unit"] = unit };

    private static JsonNode Number(Random chance) =>
        JsonNode.Parse(
            chance.Next(2) == 0 ? Numbers[chance.Next(Numbers.Length)] : chance.Next(0, 1500).ToString(CultureInfo.InvariantCulture)
        )!;

    private static string Word(Random chance) => Words[chance.Next(Words.Length)];

    private static string Id(Random chance) => chance.Next(25).ToString(CultureInfo.InvariantCulture);

    private static string At(Random chance) =>
        chance.Next(20) == 0
            ? Moments[chance.Next(Moments.Length)]
            : (Start + Duration.FromMinutes(5 * chance.Next(0, 200))).ToString("g", CultureInfo.InvariantCulture);
}
