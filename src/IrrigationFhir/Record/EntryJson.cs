using System.Globalization;
using System.Text.Json;
using Irrigation;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Record;

/// <summary>
/// Reads the properties of one JSON object, collecting every problem with its path. What has not been asked for by the end is
/// a problem too: a mistyped property would otherwise lose a measurement.
/// </summary>
internal sealed class EntryJson
{
    private const int LongestText = 1000;

    // RFC 3339: seconds and offset are required, and T is the separator.
    private static readonly OffsetDateTimePattern Times = OffsetDateTimePattern.CreateWithInvariantCulture(
        "uuuu'-'MM'-'dd'T'HH':'mm':'ss;FFFFFFFFFo<Z+HH:mm>"
    );
    private static readonly Dictionary<string, decimal> Volumes = new()
    {
        ["mL"] = 1,
        ["ml"] = 1,
        ["L"] = 1000,
        ["l"] = 1000,
    };
    private static readonly Dictionary<string, decimal> Rates = new()
    {
        ["mL/h"] = 1,
        ["ml/h"] = 1,
        ["mL/min"] = 60,
        ["ml/min"] = 60,
        ["L/h"] = 1000,
        ["l/h"] = 1000,
    };
    private static readonly Dictionary<string, decimal> Masses = new() { ["g"] = 1, ["kg"] = 1000 };
    private static readonly Dictionary<string, decimal> Times60 = new() { ["min"] = 1, ["h"] = 60 };
    private static readonly Dictionary<string, decimal> DropRates = new() { ["{drop}/min"] = 1, ["{gtt}/min"] = 1 };
    private static readonly Dictionary<string, decimal> Sizes = new() { ["[Ch]"] = 1 };
    private static readonly Dictionary<string, decimal> DropFactors = new() { ["{drop}/mL"] = 1, ["{gtt}/mL"] = 1 };
    private static readonly Dictionary<string, decimal> Pressures = new() { ["mm[Hg]"] = 1 };

    /// <summary>The closed lists: what is measured, the units that are taken for it, and how many of the first one each is.</summary>
    public static IReadOnlyList<(string Measure, IReadOnlyDictionary<string, decimal> Units)> AcceptedUnits { get; } =
    [
        ("volume", Volumes),
        ("flow", Rates),
        ("mass", Masses),
        ("length of time", Times60),
        ("drop rate", DropRates),
        ("drop factor", DropFactors),
        ("catheter size", Sizes),
        ("blood pressure", Pressures),
    ];

    // A mistyped year is refused here rather than stored as a century-long gap.
    private static readonly Instant Earliest = Instant.FromUtc(1900, 1, 1, 0, 0);
    private static readonly Instant Latest = Instant.FromUtc(2260, 1, 1, 0, 0);

    private readonly JsonElement json;
    private readonly string path;
    private readonly List<EntryProblem> problems;
    private readonly HashSet<string> asked = [];

    public EntryJson(JsonElement json, string path, List<EntryProblem> problems)
    {
        (this.json, this.path, this.problems) = (json, path, problems);
    }

    /// <summary>The path of a property.</summary>
    public string At(string name) => path.Length == 0 ? name : $"{path}.{name}";

    /// <summary>A text; null where it is absent.</summary>
    public string? Text(string name, int longest = LongestText)
    {
        if (Find(name) is not { } value)
            return null;
        if (value.ValueKind != JsonValueKind.String)
            return Fail<string>(EntryProblem.WrongType(At(name), Kind(value), "a text"));
        var text = value.GetString()!;
        if (text.Trim().Length == 0)
            return Fail<string>(EntryProblem.BadText(At(name), "an empty text", longest));
        if (text.Length > longest)
            return Fail<string>(
                EntryProblem.BadText(At(name), $"{text.Length.ToString(CultureInfo.InvariantCulture)} characters", longest)
            );
        return text.Any(char.IsControl) ? Fail<string>(EntryProblem.BadText(At(name), "a control character", longest)) : text;
    }

    /// <summary>A text that has to be there.</summary>
    public string RequiredText(string name, int longest, string expected) =>
        Text(name, longest) ?? (Has(name) ? "" : Fail<string>(EntryProblem.Missing(At(name), expected)) ?? "");

    /// <summary>A word from a closed list of slugs.</summary>
    public T? Word<T>(string name)
        where T : struct, Enum
    {
        if (Text(name) is not { } word)
            return null;
        if (Slug.Read<T>(word) is { } member)
            return member;
        problems.Add(EntryProblem.UnknownWord(At(name), word, Slug.All<T>()));
        return null;
    }

    /// <summary>A word from a closed list.</summary>
    public string? Word(string name, params string[] words)
    {
        var word = Text(name);
        return word is null || words.Contains(word) ? word : Fail<string>(EntryProblem.UnknownWord(At(name), word, words));
    }

    /// <summary>An instant, written as RFC 3339 with seconds and offset.</summary>
    public Instant? Time(string name)
    {
        if (Text(name) is not { } text)
            return null;
        var (instant, problem) = Moment(At(name), text);
        if (problem is not null)
            problems.Add(problem);
        return instant;
    }

    /// <summary>Reads a moment as it is read everywhere: RFC 3339 with seconds and offset, in the years 1900 to 2259.</summary>
    public static (Instant? Moment, EntryProblem? Problem) Moment(string where, string text)
    {
        if (Times.Parse(text) is not { Success: true } read)
            return (null, EntryProblem.BadTime(where, text));

        // The year first: near the ends of the calendar an offset alone leads beyond them.
        return read.Value.Year is >= 1899 and <= 2260 && read.Value.ToInstant() is var instant && instant >= Earliest && instant <= Latest
            ? (instant, null)
            : (null, EntryProblem.OutOfRange(where, text, "a time in the years 1900 to 2259"));
    }

    /// <summary>A day of the calendar, as 2026-03-14; null where it is absent.</summary>
    public LocalDate? Date(string name)
    {
        if (Text(name) is not { } text)
            return null;
        if (LocalDatePattern.Iso.Parse(text) is { Success: true } read && read.Value.Year is >= 1900 and < 2260)
            return read.Value;
        problems.Add(EntryProblem.OutOfRange(At(name), text, "a day in the years 1900 to 2259, e.g. 2026-03-14"));
        return null;
    }

    /// <summary>True, false or absent.</summary>
    public bool? Flag(string name)
    {
        if (Find(name) is not { } value)
            return null;
        if (value.ValueKind is JsonValueKind.True or JsonValueKind.False)
            return value.GetBoolean();
        problems.Add(EntryProblem.WrongType(At(name), Kind(value), "true or false"));
        return null;
    }

    /// <summary>JSON that is kept as it is, if it fits; null where it is absent.</summary>
    public string? Raw(string name, int longest, Func<JsonElement, bool> fits, string expected)
    {
        if (Find(name) is not { } value)
            return null;
        var text = value.GetRawText();
        if (text.Length > longest)
            return Fail<string>(
                EntryProblem.OutOfRange(
                    At(name),
                    $"{text.Length.ToString(CultureInfo.InvariantCulture)} characters of JSON",
                    $"at most {longest.ToString(CultureInfo.InvariantCulture)}"
                )
            );
        return fits(value) ? text : Fail<string>(EntryProblem.WrongType(At(name), "something else", expected));
    }

    /// <summary>A whole number within a range.</summary>
    public int? Whole(string name, int least, int most)
    {
        if (Find(name) is not { } value)
            return null;
        var expected = string.Create(CultureInfo.InvariantCulture, $"a whole number from {least} to {most}");
        if (value.ValueKind != JsonValueKind.Number)
            problems.Add(EntryProblem.WrongType(At(name), Kind(value), expected));
        else if (value.TryGetInt32(out var number) && number >= least && number <= most)
            return number;
        else
            problems.Add(EntryProblem.OutOfRange(At(name), Shown(value), expected));
        return null;
    }

    /// <summary>A number within a range, without a unit of its own.</summary>
    public decimal? Within(string name, decimal least, decimal most, string expected)
    {
        if (Find(name) is not { } value)
            return null;
        if (value.ValueKind != JsonValueKind.Number)
            problems.Add(EntryProblem.WrongType(At(name), Kind(value), expected));
        else if (value.TryGetDecimal(out var number) && number >= least && number <= most)
            return number;
        else
            problems.Add(EntryProblem.OutOfRange(At(name), Shown(value), expected));
        return null;
    }

    /// <summary>A measured volume, 0 mL or more; null where it is absent.</summary>
    public Volume? Volume(string name) =>
        Quantity(name, Volumes, "0 to 1000 L", 1_000_000m) is { } ml ? Irrigation.Measures.Volume.FromMillilitres(ml) : null;

    /// <summary>A measured volume that has to be there.</summary>
    public Volume RequiredVolume(string name) =>
        Volume(name) ?? Require(name, "a volume: {\"value\": 250, \"unit\": \"mL\"}", default(Volume));

    /// <summary>A flow; null where it is absent.</summary>
    public FlowRate? Rate(string name) =>
        Quantity(name, Rates, "0 to 1000 L/h", 1_000_000m) is { } rate ? FlowRate.FromMillilitresPerHour(rate) : null;

    /// <summary>A mass that has to be there.</summary>
    public Mass RequiredMass(string name) => Mass(name) ?? Require(name, "a mass: {\"value\": 3450, \"unit\": \"g\"}", default(Mass));

    /// <summary>A mass; null where it is absent.</summary>
    public Mass? Mass(string name) =>
        Quantity(name, Masses, "0 to 1000 kg", 1_000_000m) is { } grams ? Irrigation.Measures.Mass.FromGrams(grams) : null;

    /// <summary>A length of time; null where it is absent.</summary>
    public Duration? Length(string name) =>
        Quantity(name, Times60, "0 to 1000 h", 60_000m) is { } minutes ? Duration.FromMinutes((double)minutes) : null;

    /// <summary>A size in Ch (French); null where it is absent.</summary>
    public decimal? French(string name) => Quantity(name, Sizes, "0 to 100 [Ch]", 100m);

    /// <summary>A blood pressure; null where it is absent.</summary>
    public Pressure? Pressure(string name) =>
        Quantity(name, Pressures, "0 to 1000 mm[Hg]", 1000m) is { } pressure
            ? Irrigation.Measures.Pressure.FromMillimetresOfMercury(pressure)
            : null;

    /// <summary>A blood pressure that has to be there.</summary>
    public Pressure RequiredPressure(string name) =>
        Pressure(name) ?? Require(name, "a pressure: {\"value\": 120, \"unit\": \"mm[Hg]\"}", default(Pressure));

    /// <summary>A problem where one pressure is above another that it cannot exceed.</summary>
    public Pressure? NotAbove(string name, Pressure? pressure, Pressure most)
    {
        if (pressure > most)
            problems.Add(EntryProblem.OutOfRange(At(name), pressure.Value.ToString(), $"at most the systolic pressure, {most}"));
        return pressure;
    }

    /// <summary>Whether a quantity is given in drops.</summary>
    public bool InDrops(string name) =>
        json.TryGetProperty(name, out var value)
        && value.ValueKind == JsonValueKind.Object
        && value.TryGetProperty("unit", out var unit)
        && unit.ValueKind == JsonValueKind.String
        && DropRates.ContainsKey(unit.GetString()!);

    /// <summary>Counted drops per minute.</summary>
    public decimal? Drops(string name) => Quantity(name, DropRates, "0 to 10000 {drop}/min", 10_000m);

    /// <summary>The drop factor of a giving set, more than 0.</summary>
    public DropFactor? DropFactor(string name)
    {
        if (Quantity(name, DropFactors, "more than 0, to 1000 {drop}/mL", 1000m) is not { } factor)
            return null;
        if (factor > 0)
            return new DropFactor(factor);
        problems.Add(EntryProblem.OutOfRange(At(name), "0", "more than 0, to 1000 {drop}/mL"));
        return null;
    }

    /// <summary>An object within this one; null where it is absent.</summary>
    public EntryJson? Inner(string name)
    {
        if (Find(name) is not { } value)
            return null;
        if (value.ValueKind == JsonValueKind.Object)
            return new(value, At(name), problems);
        problems.Add(EntryProblem.WrongType(At(name), Kind(value), "an object"));
        return null;
    }

    /// <summary>A list of texts, sorted, each once, in one text.</summary>
    public string? Texts(string name, int atLeast, string expected)
    {
        if (!Has(name))
            return Require<string?>(name, expected, null);
        if (TextsAsSent(name, expected) is not { } sent)
            return null;
        var texts = sent.Distinct(StringComparer.Ordinal).Order(StringComparer.Ordinal).ToList();
        return texts.Count >= atLeast
            ? string.Join(", ", texts)
            : Fail<string>(EntryProblem.OutOfRange(At(name), texts.Count.ToString(CultureInfo.InvariantCulture), expected));
    }

    /// <summary>A list of texts as it was sent; empty where there is none.</summary>
    /// <param name="name">Of the property.</param>
    /// <param name="most">So many at most.</param>
    /// <param name="longest">Of so many characters each.</param>
    /// <param name="expected">What is expected, where it is something else.</param>
    public IReadOnlyList<string> TextList(string name, int most, int longest, string expected)
    {
        if (!Has(name) || TextsAsSent(name, expected) is not { } texts)
            return [];
        if (texts.Count > most)
            problems.Add(EntryProblem.OutOfRange(At(name), texts.Count.ToString(CultureInfo.InvariantCulture), $"at most {most}"));
        problems.AddRange(
            texts
                .Where(text => text.Length > longest || text.Any(char.IsControl))
                .Select(text => EntryProblem.BadText(At(name), text, longest))
        );
        return texts;
    }

    private List<string>? TextsAsSent(string name, string expected)
    {
        if (Find(name) is not { } value)
            return null;
        return value.ValueKind == JsonValueKind.Array && value.EnumerateArray().All(v => v.ValueKind == JsonValueKind.String)
            ? [.. value.EnumerateArray().Select(v => v.GetString()!.Trim()).Where(text => text.Length > 0)]
            : Fail<List<string>>(EntryProblem.WrongType(At(name), Kind(value), expected));
    }

    /// <summary>Words of a closed list, sorted, each once; empty where the property is absent.</summary>
    public string Words(string name, IReadOnlyList<string> words)
    {
        if (!Has(name))
        {
            Find(name);
            return "";
        }

        var said = Texts(name, 1, $"a list of {string.Join(", ", words)}");
        foreach (var word in said?.Split(", ").Except(words) ?? [])
            problems.Add(EntryProblem.UnknownWord(At(name), word, words));
        return said ?? "";
    }

    /// <summary>A problem where a property is missing that has to be there.</summary>
    public T Require<T>(string name, string expected, T otherwise)
    {
        if (!Has(name))
            problems.Add(EntryProblem.Missing(At(name), expected));
        return otherwise;
    }

    /// <summary>A problem where two properties say the same, each in its own way.</summary>
    public void Either(string name, string saw, string expected) => problems.Add(EntryProblem.OneOrOther(At(name), saw, expected));

    /// <summary>A problem where several numbers together make what cannot be.</summary>
    public void Refuse(string name, string saw, string expected) => problems.Add(EntryProblem.OutOfRange(At(name), saw, expected));

    /// <summary>A problem where a quantity is less than it can be; a value to go on with.</summary>
    public decimal TooLittle(string name, FormattableString saw, string expected)
    {
        if (Has(name))
            problems.Add(EntryProblem.OutOfRange(At(name), FormattableString.Invariant(saw), expected));
        return 1;
    }

    /// <summary>Names everything that was not asked for.</summary>
    public void NothingElse(string kind)
    {
        foreach (var property in json.EnumerateObject().Where(p => !asked.Contains(p.Name)))
        {
            problems.Add(EntryProblem.UnknownProperty(At(property.Name), kind));
        }
    }

    private static string Kind(JsonElement value) =>
        value.ValueKind switch
        {
            JsonValueKind.Object => "an object",
            JsonValueKind.Array => "a list",
            JsonValueKind.String => "a text",
            JsonValueKind.Number => "a number",
            JsonValueKind.Null => "null",
            _ => "true or false",
        };

    private static string Shown(JsonElement number) => number.GetRawText() is { Length: <= 40 } text ? text : "a very long number";

    private decimal? Quantity(string name, Dictionary<string, decimal> units, string range, decimal most)
    {
        if (Find(name) is not { } value)
            return null;
        if (value.ValueKind != JsonValueKind.Object)
        {
            problems.Add(
                EntryProblem.WrongType(
                    At(name),
                    Kind(value),
                    $"a value with its unit: {{\"value\": 250, \"unit\": \"{units.Keys.First()}\"}}"
                )
            );
            return null;
        }

        var inner = new EntryJson(value, At(name), problems);
        var before = problems.Count;
        var number = inner.Find("value");
        if (number is null)
            problems.Add(EntryProblem.Missing(inner.At("value"), "a number"));
        else if (number.Value.ValueKind != JsonValueKind.Number)
            problems.Add(EntryProblem.WrongType(inner.At("value"), Kind(number.Value), "a number"));
        var unit = inner.Text("unit");
        if (unit is null && !inner.Has("unit"))
            problems.Add(EntryProblem.MissingUnit(inner.At("unit"), units.Keys));
        else if (unit is not null && !units.ContainsKey(unit))
            problems.Add(EntryProblem.WrongUnit(inner.At("unit"), unit, units.Keys));
        inner.NothingElse("a quantity");
        if (problems.Count > before)
            return null;

        if (!number!.Value.TryGetDecimal(out var amount))
            problems.Add(EntryProblem.OutOfRange(At(name), Shown(number.Value), range));
        else if (amount < 0)
            problems.Add(EntryProblem.Negative(At(name), $"{Shown(number.Value)} {unit}"));
        else if (amount > most / units[unit!])
            problems.Add(EntryProblem.OutOfRange(At(name), $"{Shown(number.Value)} {unit}", range));
        else
            return amount * units[unit!];
        return null;
    }

    /// <summary>Whether a property is there.</summary>
    public bool Has(string name) => json.TryGetProperty(name, out var value) && value.ValueKind != JsonValueKind.Null;

    private JsonElement? Find(string name)
    {
        asked.Add(name);
        return Has(name) ? json.GetProperty(name) : null;
    }

    private T? Fail<T>(EntryProblem problem)
        where T : class
    {
        problems.Add(problem);
        return null;
    }
}
