using System.Globalization;
using System.Numerics;
using System.Text;
using System.Text.Json;
using System.Xml.Linq;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Record;
using IrrigationFhir.Search;
using IrrigationFhir.Tests.Repository;
using Xunit.Abstractions;

namespace IrrigationFhir.Tests.Entries;

/// <summary>
/// The closed lists of units against UCUM: the functional tests of its maintainers (UcumFunctionalTests.xml, Eclipse Public License
/// 1.0), read from a folder beside the checkout.
/// </summary>
public class UnitTests(ITestOutputHelper output)
{
    private const string Absent = "the UCUM functional tests are not here: a folder shared/suites/ucum beside the checkout is needed";

    /// <summary>An entry with a unit in each place that takes one.</summary>
    private static readonly (string Measure, string Json)[] Places =
    [
        ("volume", """{"kind": "drainage-emptied", "volume": {"value": 1, "unit": "UNIT"}}"""),
        ("flow", """{"kind": "flow-set", "rate": {"value": 1, "unit": "UNIT"}}"""),
        ("mass", """{"kind": "drainage-weighed", "mass": {"value": 1, "unit": "UNIT"}}"""),
        ("length of time", """{"kind": "order-set", "dwell": {"value": 1, "unit": "UNIT"}}"""),
        ("drop rate", """{"kind": "flow-set", "rate": {"value": 1, "unit": "UNIT"}, "dropFactor": {"value": 20, "unit": "{drop}/mL"}}"""),
        (
            "drop factor",
            """{"kind": "flow-set", "rate": {"value": 1, "unit": "{drop}/min"}, "dropFactor": {"value": 20, "unit": "UNIT"}}"""
        ),
        ("catheter size", """{"kind": "catheter-inserted", "size": {"value": 16, "unit": "UNIT"}}"""),
        ("blood pressure", """{"kind": "blood-pressure-measured", "systolic": {"value": 120, "unit": "UNIT"}}"""),
    ];

    [Fact]
    public void Every_list_has_a_place() => Assert.Equal(EntryJson.AcceptedUnits.Select(l => l.Measure), Places.Select(p => p.Measure));

    [Fact]
    public void Every_unit_of_the_lists_is_taken_where_it_belongs_and_nowhere_else()
    {
        foreach (var (measure, json) in Places)
        {
            foreach (var unit in EntryJson.AcceptedUnits.SelectMany(l => l.Units.Keys).Distinct())
            {
                Assert.Equal((measure, unit, Listed(measure, unit)), (measure, unit, Taken(json, unit)));
            }
        }
    }

    [SkippableFact]
    public void Of_the_units_of_the_functional_tests_those_of_the_lists_are_valid_and_all_others_are_refused()
    {
        var cases = Suite("validation")
            .Select(c => (Unit: (string)c.Attribute("unit")!, Valid: (string)c.Attribute("valid")! == "true"))
            .DistinctBy(c => c.Unit)
            .ToList();
        Assert.InRange(cases.Count, 400, 1000);
        var (taken, refused) = (new HashSet<string>(), 0);
        foreach (var (unit, valid) in cases)
        {
            foreach (var (measure, json) in Places)
            {
                var listed = Listed(measure, unit);
                Assert.Equal((unit, measure, listed), (unit, measure, Taken(json, unit)));
                if (!listed)
                    refused++;
                else if (taken.Add(unit))
                    Assert.True(valid, $"{unit} is taken and is no UCUM unit");
            }
        }

        output.WriteLine($"{cases.Count} units of the functional tests: taken {string.Join(", ", taken)}; {refused} times refused");
        Assert.Superset(new HashSet<string> { "mL", "ml", "L", "l", "mL/h", "g", "kg", "h", "min" }, taken);
    }

    [SkippableFact]
    public void The_conversions_of_the_functional_tests_come_out_to_the_last_digit_where_both_units_are_ours()
    {
        var checkedCases = 0;
        foreach (var conversion in Suite("conversion"))
        {
            var (from, to) = ((string)conversion.Attribute("srcUnit")!, (string)conversion.Attribute("dstUnit")!);
            if (!IndexedQuantity.IsConverted(from) || !IndexedQuantity.IsConverted(to))
                continue;
            var ((unit, factor), (other, back)) = (IndexedQuantity.UcumUnitOf(from), IndexedQuantity.UcumUnitOf(to));
            Assert.Equal(unit, other);
            var (value, outcome) = (Number(conversion, "value"), Number(conversion, "outcome"));
            Assert.Equal(outcome.Times(back).Sortable(), value.Times(factor).Sortable());
            checkedCases++;
        }

        Assert.Equal(3, checkedCases); // m, mm, cm: the others convert units that no bedside uses
    }

    [Fact]
    public void The_list_in_the_documentation_is_the_one_in_the_code()
    {
        var report = new StringBuilder()
            .Append("# Units\n\n")
            .Append("What is measured takes these UCUM units and no other, in their UCUM spelling, which is case-sensitive. ")
            .Append("Anything else is refused with `wrong-unit`, a missing unit with `missing-unit`.\n\n")
            .Append("| Measure | Unit | In the first unit of the list |\n| --- | --- | ---: |\n");
        foreach (var (measure, units) in EntryJson.AcceptedUnits)
        {
            foreach (var (unit, factor) in units)
                report.Append(CultureInfo.InvariantCulture, $"| {measure} | `{unit}` | {factor} |\n");
        }

        report
            .Append("\nDensity is a bare number in g/mL, pain a bare number 0 to 10. `cc` is no UCUM unit. ")
            .Append("`[drp]` is one, a twentieth of a millilitre by definition, and is refused for a drip: ")
            .Append("sets of 10, 15 and 60 drops/mL exist, so drops need the set's drop factor. ")
            .Append("`{drop}` and `{gtt}` are annotations, which UCUM reads as 1.\n\n")
            .Append("What is published:\n\n");
        foreach (var unit in Codes.Units.All)
            report.Append(CultureInfo.InvariantCulture, $"- `{unit.Code}` ({unit.Text})\n");
        Repo.Agrees("src/IrrigationFhir/Entries/units.md", report.ToString());
    }

    /// <summary>
    /// What is taken is searched by too, so both must say the same of it. For tests/oracles.sh: with ORACLES=folder all of them are written
    /// there.
    /// </summary>
    [Fact]
    public void Every_unit_is_the_same_to_the_reader_and_to_the_search_and_is_written_out_for_another_engine_to_judge()
    {
        var taken = EntryJson
            .AcceptedUnits.SelectMany(list =>
                list.Units.Select(unit => (list.Measure, Unit: unit.Key, Factor: unit.Value, Of: list.Units.First().Key))
            )
            .ToList();
        foreach (var (_, unit, factor, of) in taken)
        {
            Assert.True(IndexedQuantity.IsConverted(unit), $"{unit} is taken, and finds only itself");
            Assert.Equal(
                IndexedQuantity.UcumUnitOf(of).Factor.Times(ExactDecimal.Of(factor)).Sortable(),
                IndexedQuantity.UcumUnitOf(unit).Factor.Sortable()
            );
        }

        static decimal Number(ExactDecimal exact) => (decimal)exact.Digits / (decimal)BigInteger.Pow(10, exact.Scale);
        static string Line(string list, string unit, decimal factor, string? of) =>
            JsonSerializer.Serialize(
                new
                {
                    list,
                    unit,
                    factor,
                    of,
                }
            );
        var lines = taken
            .Select(row => Line(row.Measure, row.Unit, row.Factor, row.Of))
            .Concat(
                IndexedQuantity
                    .Converted.Order(StringComparer.Ordinal)
                    .Select(unit => (unit, At: IndexedQuantity.UcumUnitOf(unit)))
                    .Select(row => Line("search", row.unit, Number(row.At.Factor), row.At.Unit))
            )
            .Concat(Codes.Units.All.Select(unit => Line("published", unit.Code, 1, null)));
        if (Environment.GetEnvironmentVariable("ORACLES") is { Length: > 0 } folder)
            File.WriteAllLines(Path.Combine(folder, "units.ndjson"), lines);
    }

    private static bool Taken(string json, string unit)
    {
        var text = json.Replace("\"UNIT\"", JsonSerializer.Serialize(unit), StringComparison.Ordinal);
        text = text.Insert(1, "\"source\": \"s\", \"id\": \"1\", \"at\": \"2026-03-14T08:00:00Z\", ");
        using var document = JsonDocument.Parse(text);
        var problems = new List<EntryProblem>();
        return EntryReader.Read(document.RootElement, "entry", problems) is not null;
    }

    /// <summary>A rate may be given in drops or as a flow, with a drop factor beside it or not.</summary>
    private static bool Listed(string measure, string unit) =>
        EntryJson.AcceptedUnits.Any(l =>
            (l.Measure == measure || (measure == "drop rate" && l.Measure == "flow")) && l.Units.ContainsKey(unit)
        );

    private static ExactDecimal Number(XElement conversion, string name) => ExactDecimal.Parse((string)conversion.Attribute(name)!)!.Value;

    private static IEnumerable<XElement> Suite(string part)
    {
        var file = Folder();
        Skip.If(file is null, Absent);
        return XDocument.Load(file!).Root!.Element(part)!.Elements("case");
    }

    private static string? Folder()
    {
        for (var at = new DirectoryInfo(AppContext.BaseDirectory); at is not null; at = at.Parent)
        {
            var beside = Path.Combine(at.FullName, "shared", "suites", "ucum", "UcumFunctionalTests.xml");
            if (File.Exists(beside))
                return beside;
        }

        return null;
    }
}
