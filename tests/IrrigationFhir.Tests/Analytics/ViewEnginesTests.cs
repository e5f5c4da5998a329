using System.Text;
using System.Text.Json;
using IrrigationFhir.Analytics;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>The engine of one pass says what the plain one says; what a view may not say is refused with its place.</summary>
public class ViewEnginesTests(StoriesTold told) : IClassFixture<StoriesTold>
{
    [Fact]
    public async Task Both_engines_make_the_same_rows_of_every_resource_in_every_view()
    {
        var fence = await told.Scan.Fence(CancellationToken.None);
        foreach (var view in told.Views.All)
        {
            var (tree, pass) = (new TreeEngine(view.View), new PassEngine(view.View));
            var rows = 0;
            await foreach (var page in told.Scan.Read(new(view.View.Resource, fence), CancellationToken.None))
            {
                foreach (var resource in page.Resources)
                {
                    var expected = Rows(tree, resource.Json);
                    Assert.Equal(expected, Rows(pass, resource.Json));
                    rows += expected.Count;
                }
            }

            Assert.True(rows > 0, $"{view.View.Name} has no rows in any story");
        }
    }

    [Theory]
    // Escapes in names and values, nothing in lists, lists of nothing, numbers of many digits, a date with an escaped offset.
    [InlineData("""{"resourceType":"Observation","id":"a\u002Fb","status":"fi\u006eal","c\u006fde":{"coding":[{"code":"x\"y"},null]}}""")]
    [InlineData(
        """{"id":"1","valueQuantity":{"value":1.50},"resourceType":"Observation","component":[{"valueQuantity":{"value":1e3}},{}]}"""
    )]
    [InlineData("""{"resourceType":"Observation","id":"2","effectiveDateTime":"2026-03-14T21:00:00\u002B01:00","component":[]}""")]
    [InlineData("""{"resourceType":"Observation","subject":{"reference":"Patient/1/_history/2"},"valueBoolean":false}""")]
    [InlineData("""{"resourceType":"Observation","id":{"a":1}}""")]
    [InlineData("""{"resourceType":"Patient","id":"3"}""")]
    [InlineData("""{"resourceType":"Observation","id":"4","valueQuantity":{"value":0.1234567890123456789012345678901234567890}}""")]
    public void Both_engines_read_unusual_JSON_alike(string resource)
    {
        var view = View(
            """
            {"column": [
              {"name": "key", "path": "getResourceKey()"},
              {"name": "status", "path": "status"},
              {"name": "codes", "path": "code.coding.code", "collection": true},
              {"name": "is_z", "path": "code.coding.exists(code = 'z')", "type": "boolean"},
              {"name": "number", "path": "value.ofType(Quantity).value"},
              {"name": "more", "path": "value.ofType(Quantity).value > 1.4", "type": "boolean"},
              {"name": "sum", "path": "value.ofType(Quantity).value + 1"},
              {"name": "low", "path": "value.ofType(Quantity).value.lowBoundary()"},
              {"name": "at", "path": "effective.ofType(dateTime)"},
              {"name": "same_at", "path": "effective.ofType(dateTime) = '2026-03-14T20:00:00Z'", "type": "boolean"},
              {"name": "patient", "path": "subject.getReferenceKey(Patient)"},
              {"name": "any", "path": "value.exists()", "type": "boolean"},
              {"name": "none", "path": "component.empty()", "type": "boolean"}
            ], "select": [{"forEachOrNull": "component", "column": [
              {"name": "row", "path": "%rowIndex"},
              {"name": "part", "path": "value.ofType(Quantity).value"}]}]}
            """
        );
        var bytes = Encoding.UTF8.GetBytes(resource);
        Assert.Equal(Rows(new TreeEngine(view), bytes), Rows(new PassEngine(view), bytes));
    }

    [Theory]
    [InlineData("""{"column": [{"name": "a", "path": "name.family.upper()"}]}""", "select[0].column[0].path: the function upper")]
    [InlineData(
        """{"column": [{"name": "a", "path": "code.coding.where(matches('x'))"}]}""",
        "select[0].column[0].path: the function matches"
    )]
    [InlineData("""{"column": [{"name": "a", "path": "code.coding"}]}""", "select[0].column[0].path: a Coding")]
    [InlineData("""{"column": [{"name": "a", "path": "id |"}]}""", "select[0].column[0].path: 'id |', at 4: '|'")]
    [InlineData("""{"column": [{"name": "1a", "path": "id"}]}""", "select[0].column[0].name: '1a'")]
    [InlineData(
        """{"column": [{"name": "a", "path": "id"}, {"name": "a", "path": "id"}]}""",
        "select[0].column[1].name: 'a' a second time"
    )]
    [InlineData("""{"colum": []}""", "select[0].colum: an element that is not known")]
    [InlineData("""{"forEach": "code", "repeat": ["code"], "column": []}""", "select[0]: forEach and repeat")]
    [InlineData("""{"column": [{"name": "a", "path": "status + 1"}]}""", "select[0].column[0].path: '+' with a code")]
    [InlineData("""{"column": [{"name": "a", "path": "status.first().where(%x = 1)"}]}""", "select[0].column[0].path: %x")]
    public void What_a_view_may_not_say_is_refused_with_its_place(string select, string says) =>
        Assert.Contains(Problems(select), problem => problem.ToString().StartsWith(says, StringComparison.Ordinal));

    [Fact]
    public void A_view_of_a_stranger_is_bounded_in_depth_width_and_rows()
    {
        var deep = string.Concat(Enumerable.Repeat("(", 40)) + "id" + string.Concat(Enumerable.Repeat(")", 40));
        Assert.NotEmpty(Problems($$"""{"column": [{"name": "a", "path": "{{deep}}"}]}"""));
        var wide = string.Join(',', Enumerable.Range(0, 257).Select(i => $$"""{"name": "c{{i}}", "path": "id"}"""));
        Assert.NotEmpty(Problems($$"""{"column": [{{wide}}]}"""));
        var nested = """{"column": [{"name": "a", "path": "id"}]}""";
        for (var i = 0; i < 20; i++)
            nested = $$"""{"select": [{{nested}}]}""";
        Assert.NotEmpty(Problems(nested));

        // 30 · 30 · 30 = 27,000 rows of one resource.
        var view = View(
            """
            {"select": [
              {"forEach": "category", "column": [{"name": "a", "path": "text"}]},
              {"forEach": "category", "column": [{"name": "b", "path": "text"}]},
              {"forEach": "category", "column": [{"name": "c", "path": "text"}]}]}
            """
        );
        var categories = string.Join(',', Enumerable.Repeat("""{"text":"x"}""", 30));
        var resource = Encoding.UTF8.GetBytes($$"""{"resourceType":"Observation","category":[{{categories}}]}""");
        Assert.Throws<ViewFault>(() => Rows(new TreeEngine(view), resource));
        Assert.Throws<ViewFault>(() => Rows(new PassEngine(view), resource));

        // The same where in the end no row comes of it: that is work too.
        var fruitless = View(
            """
            {"select": [
              {"forEach": "category", "column": [{"name": "a", "path": "text"}]},
              {"forEach": "category", "column": [{"name": "b", "path": "text"}]},
              {"forEach": "category", "column": [{"name": "c", "path": "text"}]},
              {"forEach": "category", "column": [{"name": "d", "path": "text"}]},
              {"forEach": "category", "column": [{"name": "e", "path": "text"}]},
              {"forEach": "component", "column": [{"name": "f", "path": "code.text"}]}]}
            """
        );
        Assert.Throws<ViewFault>(() => Rows(new PassEngine(fruitless), resource));
    }

    private static List<string> Rows(IViewEngine engine, ReadOnlyMemory<byte> resource)
    {
        var rows = new List<string>();
        engine.Rows(
            resource,
            row =>
            {
                var texts = new List<string>();
                foreach (var cell in row)
                    texts.Add($"{cell.Kind}:{(cell.Kind == CellKind.List ? Canonical(cell.Raw) : cell.AsText())}");
                rows.Add(string.Join('|', texts));
            }
        );
        return rows;
    }

    private static string Canonical(ReadOnlyMemory<byte> json) => JsonSerializer.Serialize(JsonDocument.Parse(json).RootElement);

    private static ViewDefinition View(string select) =>
        ViewReader.Known(Encoding.UTF8.GetBytes($$"""{"resource": "Observation", "select": [{{select}}]}"""));

    private static IReadOnlyList<ViewProblem> Problems(string select)
    {
        using var document = JsonDocument.Parse($$"""{"resource": "Observation", "select": [{{select}}]}""");
        var (view, problems) = ViewReader.Read(document.RootElement);
        Assert.True(view is null == problems.Count > 0);
        return problems;
    }
}
