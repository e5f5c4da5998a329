using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using IrrigationFhir.Analytics;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>
/// The 134 public tests of SQL on FHIR 2 (https://github.com/FHIR/sql-on-fhir-v2, commit 49fc1ad), by both engines. Rows are compared as
/// sets, since the suite orders none; columns in the order that it names.
/// </summary>
public class SqlOnFhirSuiteTests
{
    private const string Absent = "the tests of SQL on FHIR are not here: a folder shared/suites/sql-on-fhir beside the checkout is needed";

    private static readonly string? Folder = Find(AppContext.BaseDirectory);

    public static TheoryData<string> Files()
    {
        var files = new TheoryData<string>();
        foreach (var file in Folder is null ? ["absent"] : Directory.GetFiles(Folder, "*.json").Order(StringComparer.Ordinal).ToArray())
            files.Add(Path.GetFileName(file));
        return files;
    }

    [SkippableTheory]
    [MemberData(nameof(Files))]
    public void The_engine_that_walks_the_document_passes(string file) => Pass(file, view => new TreeEngine(view));

    [SkippableTheory]
    [MemberData(nameof(Files))]
    public void The_engine_of_one_pass_passes(string file) => Pass(file, view => new PassEngine(view));

    [SkippableFact]
    public void All_134_are_here()
    {
        Skip.If(Folder is null, Absent);
        Assert.Equal(134, Directory.GetFiles(Folder, "*.json").Sum(file => Suite(file)["tests"]!.AsArray().Count));
    }

    private static void Pass(string file, Func<ViewDefinition, IViewEngine> engine)
    {
        Skip.If(Folder is null, Absent);
        var suite = Suite(Path.Combine(Folder, file));
        var failures = suite["tests"]!.AsArray().Select(test => Failure(test!, suite["resources"]!.AsArray(), engine)).OfType<string>();
        Assert.Empty(failures);
    }

    private static string? Failure(JsonNode test, JsonArray resources, Func<ViewDefinition, IViewEngine> engine)
    {
        var rows = new List<string>();
        string[] columns = [];
        try
        {
            using var document = JsonDocument.Parse(test["view"]!.ToJsonString());
            var (view, problems) = ViewReader.Read(document.RootElement);
            if (view is null)
                throw new ViewFault(string.Join("; ", problems), "");
            columns = [.. view.Columns.Select(column => column.Name)];
            var made = engine(view);
            foreach (var resource in resources)
                made.Rows(Encoding.UTF8.GetBytes(resource!.ToJsonString()), row => rows.Add(Row(view, row)));
        }
        catch (ViewFault fault)
        {
            return test["expectError"] is null ? $"{test["title"]}: {fault.Message}" : null;
        }

        if (test["expectError"] is not null)
            return $"{test["title"]}: an error was expected";
        if (test["expectColumns"] is JsonArray ordered && !ordered.Select(name => (string)name!).SequenceEqual(columns))
            return $"{test["title"]}: columns {string.Join(',', columns)}";
        var expected = test["expect"]!.AsArray().Select(row => Expected(row!.AsObject(), columns)).Order(StringComparer.Ordinal);
        return expected.SequenceEqual(rows.Order(StringComparer.Ordinal))
            ? null
            : $"{test["title"]}: expected\n{string.Join('\n', expected)}\nbut got\n{string.Join('\n', rows)}";
    }

    private static string Expected(JsonObject row, string[] columns) =>
        string.Join('|', columns.Select(column => Value(row[column])).Concat(row.Select(pair => pair.Key).Except(columns)));

    private static string Row(ViewDefinition view, ReadOnlySpan<Cell> row)
    {
        var texts = new List<string>();
        for (var i = 0; i < view.Columns.Count; i++)
        {
            var raw = Encoding.UTF8.GetString(row[i].Raw.Span);
            texts.Add(
                Value(
                    JsonNode.Parse(
                        row[i].Kind switch
                        {
                            CellKind.Null => "null",
                            CellKind.Text => $"\"{raw}\"",
                            _ => raw,
                        }
                    )
                )
            );
        }

        return string.Join('|', texts);
    }

    private static string Value(JsonNode? value) =>
        value is JsonValue number && number.GetValueKind() == JsonValueKind.Number
            ? ((decimal)number).ToString("0.############################", System.Globalization.CultureInfo.InvariantCulture)
            : value?.ToJsonString() ?? "null";

    private static JsonNode Suite(string file) => JsonNode.Parse(File.ReadAllText(file))!;

    private static string? Find(string from)
    {
        for (var at = new DirectoryInfo(from); at is not null; at = at.Parent)
        {
            var beside = Path.Combine(at.FullName, "shared", "suites", "sql-on-fhir", "tests");
            if (Directory.Exists(beside))
                return beside;
        }

        return null;
    }
}
