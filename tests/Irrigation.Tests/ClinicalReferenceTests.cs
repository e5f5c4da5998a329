using System.Collections;
using System.Globalization;
using System.Reflection;
using System.Text.RegularExpressions;
using System.Xml.Linq;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using NodaTime;

namespace Irrigation.Tests;

/// <summary>The clinical reference, <c>src/Irrigation/README.md</c>, against the code: it names everything, with its figures.</summary>
public partial class ClinicalReferenceTests
{
    private static readonly string Root = FindRoot(AppContext.BaseDirectory);
    private static readonly string Page = File.ReadAllText(Path.Combine(Root, "src", "Irrigation", "README.md"));

    private static readonly (string Section, object Defaults)[] Sections =
    [
        ("Measuring", MeasuringCharacters.Default),
        ("Balance", BalanceSettings.Default),
        ("Criteria", CriteriaSettings.Default),
        ("Forecasts", ForecastSettings.Default),
        ("Flags", FlagSettings.Default),
    ];

    private static readonly Figure[] Figures = [.. Sections.SelectMany(s => FiguresOf(s.Section, s.Defaults))];

    /// <summary>Settings that a table shows by row, with what stands beside the key: the default, or the figures of a record.</summary>
    private static readonly ILookup<string, string> Rows = SettingRow()
        .Matches(Page)
        .ToLookup(m => m.Groups[1].Value, m => m.Groups[2].Value.Trim());

    [Fact]
    public void Every_setting_has_one_row_with_its_default_and_there_is_no_other_row()
    {
        var expected = Figures.Select(f => (f.Row, f.Shows)).GroupBy(f => f.Row).ToDictionary(g => g.Key, g => g.Select(f => f.Shows));
        Assert.Equal(expected.Keys.Order(StringComparer.Ordinal), Rows.Select(row => row.Key).Order(StringComparer.Ordinal));
        Assert.All(expected, row => Assert.StartsWith($"{string.Join(" | ", row.Value)} |", $"{Assert.Single(Rows[row.Key])}"));
        Assert.InRange(Figures.Length, 100, 400);
    }

    [Fact]
    public void Every_figure_in_the_text_is_the_default_of_the_setting_beside_it()
    {
        var defaults = Figures.GroupBy(f => f.Key).ToDictionary(g => g.Key, g => g.Single().Shows);
        var said = SaidFigure().Matches(Page).Select(m => (Key: m.Groups[1].Value, Shows: m.Groups[2].Value)).ToList();
        Assert.InRange(said.Count, 60, 400);
        Assert.All(said, figure => Assert.Equal((figure.Key, defaults.GetValueOrDefault(figure.Key)), (figure.Key, figure.Shows)));
    }

    [Fact]
    public void Every_setting_that_is_named_is_one()
    {
        string[] lists = ["Flags:Scales", "Measuring:CalibratedBagTypes", "Measuring:CalibratedContainers"];
        var known = Figures.SelectMany(f => new[] { f.Key, f.Row }).Concat(lists).ToHashSet();
        Assert.All(NamedSetting().Matches(Page).Select(m => m.Groups[1].Value), named => Assert.Contains(named, known));
        Assert.All(lists, list => Assert.Contains($"`{list}`", Page, StringComparison.Ordinal));
    }

    [Fact]
    public void What_is_our_judgement_and_what_has_a_source_are_told_apart_as_in_the_code()
    {
        var documentation = XDocument
            .Load(Path.ChangeExtension(typeof(FlagSettings).Assembly.Location, ".xml"))
            .Descendants("member")
            .ToDictionary(m => m.Attribute("name")!.Value, m => Blank().Replace(m.Value, " "));
        var simple = Figures.Where(f => f.Key == f.Row && f.Owner.GetProperty(f.Name)?.DeclaringType == f.Owner);
        Assert.All(
            simple.Where(f => documentation.ContainsKey($"P:{f.Owner.FullName}.{f.Name}")),
            figure =>
            {
                var (text, row) = (documentation[$"P:{figure.Owner.FullName}.{figure.Name}"], Rows[figure.Row].Single());
                foreach (var mark in (string[])["our judgement", "from memory", "common practice, no source", "borrowed"])
                {
                    if (text.Contains(mark, StringComparison.OrdinalIgnoreCase))
                        Assert.True(row.Contains(mark, StringComparison.OrdinalIgnoreCase), $"{figure.Key}: {mark}, by its comment");
                }
            }
        );
        foreach (var property in typeof(MeasuringCharacters).GetProperties().Where(p => p.PropertyType == typeof(MeasuringCharacter)))
        {
            var source = ((MeasuringCharacter)property.GetValue(MeasuringCharacters.Default)!).Source;
            var here = source.Replace("clinical reference", "section", StringComparison.Ordinal);
            Assert.Contains(here, Rows[$"Measuring:{property.Name}"].Single(), StringComparison.OrdinalIgnoreCase);
        }
    }

    [Fact]
    public void Every_flag_has_its_section_with_its_source_what_raises_and_clears_it_and_what_it_waits_for()
    {
        var sections = FlagSection().Matches(Page).ToDictionary(m => m.Groups[1].Value, m => m.Value);
        Assert.Equal(FlagRules.All.Select(rule => rule.Slug), sections.Keys);
        foreach (var rule in FlagRules.All)
        {
            var text = sections[rule.Slug];
            Assert.StartsWith($"### `{rule.Slug}`: {rule.Title}\n", text, StringComparison.Ordinal);
            Assert.Contains($"Source: {rule.Source}.", text, StringComparison.Ordinal);
            Assert.Matches(@"- \*\*Raised, (low|medium|high|urgent)", text);
            Assert.Contains("**Cleared**", text, StringComparison.Ordinal);
            Assert.Matches(@"\*\*[Uu]ndecided\*\*", text);
            var waits = FlagRules.Precedence.Where(p => p.Flag == rule.Slug).SelectMany(p => p.WhileStands);
            var said = WaitsFor().Match(text).Groups[1].Value;
            Assert.Equal(waits, Quoted().Matches(said).Select(m => m.Groups[1].Value));
        }
    }

    [Fact]
    public void Every_setting_of_the_flags_stands_in_the_section_of_a_flag_or_of_what_it_is_about()
    {
        var prose = Page[..Page.IndexOf("## 10. Settings", StringComparison.Ordinal)];
        Assert.All(
            Figures.Where(f => f.Key.StartsWith("Flags:", StringComparison.Ordinal)),
            figure => Assert.Contains($"`{figure.Key}` ({figure.Shows})", prose, StringComparison.Ordinal)
        );
    }

    [Fact]
    public void Every_criterion_stands_with_its_window_threshold_and_source()
    {
        var rows = CriterionRow().Matches(Page).Select(m => m.Value);
        var expected = UrineOutputCriteria.All.Select(c =>
        {
            var slug = $"{c.Name}-{c.Stage}{(c.Threshold is null ? "-anuria" : "")}";
            var anuria = c.Group == AgeGroup.Child ? "`Criteria:ChildAnuria` × kg, at most `Criteria:Anuria`" : "`Criteria:Anuria`";
            var met = $"{(c.Inclusive ? "<=" : "<")} {(c.Threshold is { } limit ? $"{Number(limit)} mL/kg/h" : anuria)}";
            return $"| `{slug}` | {Slug.Of(c.Group)} | {c.Window.TotalHours:0} h | {met} | {c.Source} |";
        });
        Assert.Equal(expected, rows);
    }

    [Fact]
    public void Every_kind_of_entry_of_doubt_and_of_obstacle_is_named()
    {
        var slugs = EntryKinds
            .All.Concat(Enum.GetValues<DoubtKind>().Select(k => Slug.Of(k)))
            .Concat(Enum.GetValues<Obstacle>().Select(o => Slug.Of(o)));
        Assert.All(slugs, slug => Assert.Contains($"`{slug}`", Page, StringComparison.Ordinal));
    }

    [Fact]
    public void Every_section_that_a_text_points_to_is_there()
    {
        var headings = Heading().Matches(Page).Select(m => m.Groups[1].Value).ToHashSet();
        var files = Directory
            .EnumerateFiles(Path.Combine(Root, "src", "Irrigation"), "*.cs", SearchOption.AllDirectories)
            .Where(file => !file.Split(Path.DirectorySeparatorChar).Contains("obj"))
            .Append(Path.Combine(Root, "openapi", "irrigationfhir.json"));
        var pointed = files
            .SelectMany(file => Pointer().Matches(Comment().Replace(File.ReadAllText(file), " ")))
            .SelectMany(m => Digits().Matches(m.Groups[1].Value))
            .Select(m => m.Value)
            .ToHashSet();
        Assert.InRange(pointed.Count, 10, 40);
        Assert.All(pointed, section => Assert.Contains(section, headings));
    }

    /// <summary>What is marked as a setting, and what records of such hold: the service walks the same way.</summary>
    private static IEnumerable<Figure> FiguresOf(string key, object defaults)
    {
        var type = defaults.GetType();
        foreach (var property in type.GetProperties().Where(p => p.CanWrite))
        {
            var value = property.GetValue(defaults);
            if (property.GetCustomAttribute<SettingAttribute>() is { } setting)
            {
                var row = defaults is MeasuringCharacter or Supposed ? key : $"{key}:{property.Name}";
                yield return new($"{key}:{property.Name}", row, Write(value!, setting.Unit), type, property.Name);
            }
            else if (
                value is not (null or string or IDictionary or MeasuringCharacters)
                && value.GetType().Assembly == typeof(Slug).Assembly
            )
            {
                foreach (var figure in FiguresOf($"{key}:{property.Name}", value))
                    yield return figure;
            }
        }
    }

    private static string Write(object value, string unit)
    {
        var number = value switch
        {
            bool flag => flag ? "true" : "false",
            decimal of => Number(of),
            int of => Number(of),
            Measures.Volume of => Number(of.Millilitres),
            Measures.FlowRate of => Number(of.MillilitresPerHour),
            Measures.Pressure of => Number(of.MillimetresOfMercury),
            Duration of => Number(
                (decimal)(
                    unit switch
                    {
                        "min" => of.TotalMinutes,
                        "h" => of.TotalHours,
                        _ => of.TotalDays,
                    }
                )
            ),
            _ => throw new ArgumentOutOfRangeException(nameof(value), value.GetType().Name, "no setting is of this type"),
        };
        return unit == "1" ? number : $"{number} {unit}";
    }

    private static string Number(decimal number) => number.ToString("0.#########", CultureInfo.InvariantCulture);

    private static string FindRoot(string from) =>
        File.Exists(Path.Combine(from, "IrrigationFhir.sln")) ? from
        : Directory.GetParent(from) is { } above ? FindRoot(above.FullName)
        : throw new InvalidOperationException("the tests run outside the repository");

    /// <summary>A figure that a site may set.</summary>
    /// <param name="Key">Its key in the configuration.</param>
    /// <param name="Row">The key of the row that shows it: its own, or that of the record it belongs to.</param>
    /// <param name="Shows">Its default, with its unit.</param>
    /// <param name="Owner">The record that declares it.</param>
    /// <param name="Name">The property.</param>
    private sealed record Figure(string Key, string Row, string Shows, Type Owner, string Name);

    [GeneratedRegex(@"^\| `((?:Measuring|Balance|Criteria|Forecasts|Flags):[\w:]+)` \|(.*)$", RegexOptions.Multiline)]
    private static partial Regex SettingRow();

    [GeneratedRegex(@"`((?:Measuring|Balance|Criteria|Forecasts|Flags):[\w:]+)` \(([^)]+)\)")]
    private static partial Regex SaidFigure();

    [GeneratedRegex(@"`((?:Measuring|Balance|Criteria|Forecasts|Flags):[\w:]+)`")]
    private static partial Regex NamedSetting();

    [GeneratedRegex(@"^### `([\w-]+)`: .*?(?=^##)", RegexOptions.Multiline | RegexOptions.Singleline)]
    private static partial Regex FlagSection();

    [GeneratedRegex(@"\*\*Waits for\*\* ([^:\n]*)")]
    private static partial Regex WaitsFor();

    [GeneratedRegex("`([^`]+)`")]
    private static partial Regex Quoted();

    [GeneratedRegex(@"^\| `(?:kdigo|prifle|neonatal)-.*$", RegexOptions.Multiline)]
    private static partial Regex CriterionRow();

    [GeneratedRegex(@"^#{2,3} ([\d.]*\d)\.? ", RegexOptions.Multiline)]
    private static partial Regex Heading();

    [GeneratedRegex(@"(?:[Cc]linical reference,?|src/Irrigation/README\.md,)(?: sections?)?((?:,? (?:and )?\d+(?:\.\d+)?)+)")]
    private static partial Regex Pointer();

    [GeneratedRegex(@"\d+(?:\.\d+)?")]
    private static partial Regex Digits();

    [GeneratedRegex(@"\n\s*///\s*")]
    private static partial Regex Comment();

    [GeneratedRegex(@"\s+")]
    private static partial Regex Blank();
}
