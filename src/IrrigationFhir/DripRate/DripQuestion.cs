using System.Globalization;
using System.Text.Json;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using IrrigationFhir.Record;

namespace IrrigationFhir.DripRate;

/// <summary>What is asked of a gravity line without any episode.</summary>
/// <param name="Wanted">The flow that is wanted; null where only a count is asked about.</param>
/// <param name="Set">The drop factor of the giving set.</param>
/// <param name="Counted">Drops a minute as counted; null where nobody counted.</param>
/// <param name="Volume">What is to run, or hangs; null where that is not asked.</param>
/// <param name="Asked">How the flow was asked for, e.g. <c>1000 mL in 12 h are</c>; empty where it was given.</param>
internal sealed partial record DripQuestion(WantedFlow? Wanted, DropFactor Set, decimal? Counted, Volume? Volume, string Asked)
{
    /// <summary>A parameter, of the address and of the command alike.</summary>
    /// <param name="Name">Its name.</param>
    /// <param name="Example">A value.</param>
    /// <param name="OnlyUnit">The unit where it has one alone and need not be said; null where it has to be.</param>
    /// <param name="Says">What it is.</param>
    internal sealed record Parameter(string Name, string Example, string? OnlyUnit, string Says);

    /// <summary>All of them. They are read with the units and ranges of the properties of an entry.</summary>
    public static IReadOnlyList<Parameter> Parameters { get; } =
    [
        new(
            "volume",
            "1000 mL",
            null,
            "What is to run, or hangs: mL or L. With time it makes the flow, else it is asked how long it lasts."
        ),
        new("time", "12 h", null, "The time in which volume is to run: min or h, more than 0."),
        new("rate", "125 mL/h", null, "The flow that is wanted, in place of a time: mL/h, mL/min or L/h."),
        new(
            "dropFactor",
            "15",
            "{drop}/mL",
            "Drops per mL of the giving set, as its packet says: required, for a drop is no fixed volume."
        ),
        new("counted", "31", "{drop}/min", "Drops a minute, as counted in the chamber."),
    ];

    private const int MostEchoed = 64;

    /// <summary>Reads one; null where something is wrong with it, and then <paramref name="problems"/> has grown.</summary>
    /// <param name="given">Names and values, as given.</param>
    /// <param name="problems">Gets everything that is wrong.</param>
    public static DripQuestion? Read(IEnumerable<KeyValuePair<string, string>> given, List<EntryProblem> problems)
    {
        var before = problems.Count;
        var json = new JsonObject();
        foreach (var (name, text) in given)
        {
            if (json.ContainsKey(name))
                problems.Add(new("repeated-property", Clip(name), "given twice", "each once"));
            else
                json[name] = Quantity(name, text, problems);
        }

        var readable = problems.Count == before;
        using var document = JsonDocument.Parse(json.ToJsonString());
        var read = new EntryJson(document.RootElement, "", problems);
        var (volume, over, rate) = (read.Volume("volume"), read.Length("time"), read.Rate("rate"));
        var (set, counted) = (read.DropFactor("dropFactor"), read.Drops("counted"));
        read.NothingElse("this question");
        if (!readable)
            return null;

        read.Require("dropFactor", "the drop factor of the giving set, which is printed on its packet, e.g. 15", 0);
        if (read.Has("time") && read.Has("rate"))
            read.Either("rate", "a time and a rate", "one of them: the rate follows from volume and time");
        if (!read.Has("time") && !read.Has("rate"))
            read.Require("counted", "one of time (in which volume is to run), rate, counted", 0);
        if (over is { } time)
            rate = EntryReader.Flow(volume, time, "time", read);
        if (set is not null)
            EntryReader.Flow(counted, set, read);
        if (problems.Count > before)
            return null;
        return new(
            rate is { } wanted ? WantedFlow.Exactly(wanted) : null,
            set!.Value,
            counted,
            volume,
            over is null ? "" : $"{volume} in {Shown(json["time"]!)} are"
        );
    }

    /// <summary>A number with its unit as an entry has it; nothing, with a problem, where it is none.</summary>
    private static JsonObject? Quantity(string name, string text, List<EntryProblem> problems)
    {
        var parameter = Parameters.FirstOrDefault(known => known.Name == name);
        if (parameter is null)
            return []; // named as unknown with all others
        const NumberStyles plain = NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint;
        var parts = NumberAndUnit().Match(text);
        if (!parts.Success || !decimal.TryParse(parts.Groups[1].Value, plain, CultureInfo.InvariantCulture, out var number))
        {
            var expected = parameter.OnlyUnit is null ? "a number with its unit" : "a number";
            problems.Add(EntryProblem.WrongType(name, $"'{Clip(text)}'", $"{expected}, e.g. {parameter.Example}"));
            return null;
        }

        var quantity = new JsonObject { ["value"] = number };
        if ((parts.Groups[2] is { Length: > 0 } unit ? unit.Value : parameter.OnlyUnit) is { } named)
            quantity["unit"] = named;
        return quantity;
    }

    private static string Shown(JsonNode quantity) => $"{quantity["value"]} {quantity["unit"]}";

    private static string Clip(string text) => text.Length > MostEchoed ? text[..MostEchoed] + "…" : text;

    [GeneratedRegex(@"^\s*([+-]?[0-9.]+)\s*([^\s0-9.][^\s]*)?\s*$")]
    private static partial Regex NumberAndUnit();
}
