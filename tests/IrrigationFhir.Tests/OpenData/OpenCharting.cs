using System.Globalization;
using System.Text.Json.Nodes;
using CsvHelper;

namespace IrrigationFhir.Tests.OpenData;

/// <summary>
/// Open, de-identified bedside charting: 140 intensive-care stays, three of them irrigated (MIMIC-IV Clinical Database Demo 2.2,
/// PhysioNet, doi 10.13026/dp1f-ex47, Open Database License 1.0), and what a published method makes of it. It is read from a folder
/// beside the checkout and never copied.
/// </summary>
internal sealed record OpenCharting(IReadOnlyList<Stay> Stays)
{
    public const string Absent = "the open charting is not here: a folder shared/io-demo beside the checkout is needed";

    /// <summary>Row count of the reference: every stay and charted time.</summary>
    public const int ReferenceRows = 7317;

    private static readonly Dictionary<string, string> Routes = new()
    {
        ["Foley"] = "urethral-catheter",
        ["Void"] = "void",
        ["Condom Cath"] = "condom-catheter",
        ["Ileoconduit"] = "ileal-conduit",
        ["Suprapubic"] = "suprapubic-catheter",
        ["R Nephrostomy"] = "right-nephrostomy",
        ["L Nephrostomy"] = "left-nephrostomy",
        ["Straight Cath"] = "straight-catheter",
        ["R Ureteral Stent"] = "right-ureteral-stent",
        ["L Ureteral Stent"] = "left-ureteral-stent",
    };

    /// <summary>Where it is; null where it is not.</summary>
    public static string? Folder
    {
        get
        {
            for (var at = new DirectoryInfo(AppContext.BaseDirectory); at is not null; at = at.Parent)
            {
                var beside = Path.Combine(at.FullName, "shared", "io-demo");
                if (File.Exists(Path.Combine(beside, "outputs_iv.csv")))
                    return beside;
            }

            return null;
        }
    }

    /// <summary>Reads it.</summary>
    public static OpenCharting Read(string folder)
    {
        var items = Rows(folder, "items.csv").ToDictionary(r => r["itemid"], r => (Label: r["label"], Role: r["role"]));

        // Urine of the operating room and the like is outside the reference, so it is not imported.
        var outputs = Rows(folder, "outputs_iv.csv")
            .Select(r => new ChartedRow(
                r["stay_id"],
                Instant(r["charttime"]),
                Instant(r["storetime"]),
                r["itemid"],
                items[r["itemid"]].Label,
                items[r["itemid"]].Role,
                r["value"],
                r["valueuom"]
            ))
            .Where(r => r.Role != "urine_outside_reference")
            .ToLookup(r => r.Stay);
        var weights = Rows(folder, "weights_iv.csv").ToLookup(r => r["stay_id"], r => Weight(Instant(r["starttime"]), r["weight_kg"]));
        var published = Rows(folder, "expected.csv").ToLookup(r => r["stay_id"], r => (At: Instant(r["charttime"]), Said: Published.Of(r)));
        return new([
            .. Rows(folder, "stays_iv.csv")
                .Select(r => new Stay(
                    r["stay_id"],
                    r["subject_id"],
                    Instant(r["intime"]),
                    [.. outputs[r["stay_id"]].OrderBy(o => o.At, StringComparer.Ordinal).ThenBy(o => o.Item, StringComparer.Ordinal)],
                    [.. weights[r["stay_id"]]],
                    published[r["stay_id"]].ToDictionary(p => p.At, p => p.Said)
                )),
        ]);
    }

    /// <summary>A row as an entry.</summary>
    public static JsonObject Entry(ChartedRow row)
    {
        Assert.Equal("ml", row.Unit);
        var entry = new JsonObject
        {
            ["source"] = "open-charting",
            ["id"] = $"{row.Item} at {row.At}",
            ["kind"] = row.Role switch
            {
                "irrigant_in" => "irrigant-instilled",
                "irrigant_out" => "drainage-emptied",
                "urine" => "urine-collected",
                _ => throw new InvalidOperationException($"a row of role {row.Role}"),
            },
            ["at"] = row.At,
            ["recordedAt"] = row.SavedAt,
            ["volume"] = new JsonObject { ["value"] = decimal.Parse(row.Value, CultureInfo.InvariantCulture), ["unit"] = "mL" },
        };
        if (row.Role == "urine")
            entry["route"] = Routes[row.Label];
        return entry;
    }

    // The weights are those that orders were written by.
    private static JsonObject Weight(string from, string kilograms) =>
        new()
        {
            ["source"] = "open-charting",
            ["id"] = $"weight from {from}",
            ["kind"] = "weight-measured",
            ["at"] = from,
            ["weight"] = new JsonObject { ["value"] = decimal.Parse(kilograms, CultureInfo.InvariantCulture), ["unit"] = "kg" },
            ["weightKind"] = "dosing",
        };

    // Times carry no offset; they are read as UTC.
    private static string Instant(string time) => time.Replace(' ', 'T') + "Z";

    private static List<Dictionary<string, string>> Rows(string folder, string file)
    {
        using var csv = CsvReader.FromFile(Path.Combine(folder, file));
        csv.ReadHeader();
        string[] names = [.. csv.Headers];
        var rows = new List<Dictionary<string, string>>();
        while (csv.Read())
            rows.Add(names.ToDictionary(name => name, name => csv.GetString(name)));
        return rows;
    }
}

/// <summary>A row of the charting; times as RFC 3339 in UTC, which sort as they happened.</summary>
internal sealed record ChartedRow(
    string Stay,
    string At,
    string SavedAt,
    string Item,
    string Label,
    string Role,
    string Value,
    string Unit
);

/// <summary>What the published method says at a charted time.</summary>
/// <param name="Net">Net output of that time alone, in mL.</param>
/// <param name="Kilograms">The weight in force; null where there is none.</param>
/// <param name="Kdigo">Its windows of 6, 12 and 24 h (<c>k_*</c>): both ends included, and the earliest row brings its whole gap.</param>
/// <param name="Charting">The same counted by clock hours (<c>r_*</c>).</param>
/// <param name="Stage">0 to 3; empty where it says nothing.</param>
internal sealed record Published(
    decimal Net,
    decimal? Kilograms,
    IReadOnlyDictionary<int, PublishedWindow> Kdigo,
    IReadOnlyDictionary<int, PublishedWindow> Charting,
    string Stage
)
{
    private static readonly int[] Lengths = [6, 12, 24];

    public static Published Of(Dictionary<string, string> row) =>
        new(
            Number(row["net_ml"])!.Value,
            Number(row["k_weight_kg"]),
            Lengths.ToDictionary(h => h, h => Window(row, 'k', h)),
            Lengths.ToDictionary(h => h, h => Window(row, 'r', h)),
            row["kdigo_uo_stage"]
        );

    private static PublishedWindow Window(Dictionary<string, string> row, char method, int hours) =>
        new(
            Number(row[$"{method}_ml_{hours}h"])!.Value,
            Number(row[$"{method}_tm_{hours}h"])!.Value,
            Number(row[$"{method}_weight_kg"]),
            Number(row[$"{method}_rate_{hours}h"])
        );

    private static decimal? Number(string text) => text.Length == 0 ? null : decimal.Parse(text, CultureInfo.InvariantCulture);
}

/// <summary>
/// A window of the published method: mL, the hours that it counts, kg, and mL/kg/h to four decimals; null where it gives none.
/// </summary>
internal sealed record PublishedWindow(decimal Volume, decimal Hours, decimal? Kilograms, decimal? Rate);

/// <summary>
/// A stay: its rows by the time that they speak of, its weights, and what the published method says at each charted time.
/// </summary>
internal sealed record Stay(
    string Id,
    string Subject,
    string In,
    IReadOnlyList<ChartedRow> Rows,
    IReadOnlyList<JsonObject> Weights,
    IReadOnlyDictionary<string, Published> Published
)
{
    /// <summary>The published net output at each charted time.</summary>
    public IReadOnlyDictionary<string, decimal> Net { get; } = Published.ToDictionary(p => p.Key, p => p.Value.Net);

    public bool Irrigated => Rows.Any(r => r.Role != "urine");

    /// <summary>The reference gives the first row an hour; where the patient came in later than that, the episode starts there.</summary>
    public string Start
    {
        get
        {
            if (Rows.Count == 0)
                return In;
            var hourBefore = DateTimeOffset
                .Parse(Rows[0].At, CultureInfo.InvariantCulture)
                .AddHours(-1)
                .ToString("yyyy-MM-dd'T'HH:mm:ss'Z'", CultureInfo.InvariantCulture);
            return string.CompareOrdinal(hourBefore, In) < 0 ? hourBefore : In;
        }
    }

    /// <summary>Times at which irrigant and its drainage were charted together.</summary>
    public IReadOnlySet<string> Paired => Times(roles => roles.Contains("irrigant_in") && roles.Contains("irrigant_out"));

    /// <summary>
    /// Times whose balance an irrigant without its drainage, or drainage without its irrigant, touches: for the irrigant from the
    /// last reading free of doubt to the next reading of anything that drained.
    /// </summary>
    public IReadOnlySet<string> Doubtful
    {
        get
        {
            var doubtful = Times(roles => roles.Contains("irrigant_out") && !roles.Contains("irrigant_in"));
            var sure = Times(roles => roles.SetEquals(["urine"])).Union(Paired).ToHashSet();
            foreach (var alone in Times(roles => roles.Contains("irrigant_in") && !roles.Contains("irrigant_out")))
            {
                var since = sure.Where(t => string.CompareOrdinal(t, alone) < 0).Max(StringComparer.Ordinal);
                var until = Rows.Where(r => r.Role != "irrigant_in" && string.CompareOrdinal(r.At, alone) >= 0)
                    .Min(r => r.At, StringComparer.Ordinal);
                doubtful.UnionWith(
                    Rows.Select(r => r.At).Where(t => string.CompareOrdinal(t, since) > 0 && string.CompareOrdinal(t, until) <= 0)
                );
            }

            return doubtful;
        }
    }

    private HashSet<string> Times(Func<HashSet<string>, bool> holds) =>
        [.. Rows.GroupBy(r => r.At).Where(g => holds([.. g.Select(r => r.Role)])).Select(g => g.Key)];
}

file static class Extremes
{
    public static string? Max(this IEnumerable<string> texts, StringComparer order) => texts.Order(order).LastOrDefault();

    public static string? Min(this IEnumerable<ChartedRow> rows, Func<ChartedRow, string> of, StringComparer order) =>
        rows.Select(of).Order(order).FirstOrDefault();
}
