using System.Globalization;
using System.Text;
using System.Text.Json;

namespace IrrigationFhir.Analytics;

/// <summary>
/// Makes rows by walking the parsed document, as plainly as the specification reads: what the compiled plan is held against, and
/// what serves where that cannot.
/// </summary>
internal sealed class TreeEngine(ViewDefinition view) : IViewEngine
{
    private static readonly JsonElement True = Parsed("true");
    private static readonly JsonElement False = Parsed("false");

    private JsonElement _resource;

    /// <inheritdoc/>
    public void Rows(ReadOnlyMemory<byte> resource, RowReady ready)
    {
        using var document = JsonDocument.Parse(resource);
        _resource = document.RootElement;
        if (
            !_resource.TryGetProperty("resourceType", out var type)
            || type.ValueKind != JsonValueKind.String
            || !type.ValueEquals(view.Resource)
        )
            return;
        if (view.Where.Any(condition => IsTrue(Evaluate(condition, _resource, 0)) != true))
            return;
        var rows = Of(view.Root, _resource, 0);
        if (rows.Count > ViewBounds.MostRowsOfResource)
            throw TooManyRows();
        foreach (var row in rows)
            ready(row);
    }

    /// <summary>Rows of one resource are multiplied without an end.</summary>
    public static ViewFault TooManyRows() =>
        new("more rows of one resource than are made", $"{ViewBounds.MostRowsOfResource} at most: fewer selects beside one another");

    private List<Cell[]> Of(ViewSelect select, JsonElement? focus, int rowIndex)
    {
        if (select.Each == EachKind.Once)
            return Joined(select, focus, rowIndex);
        List<JsonElement> found =
            focus is not { } at ? []
            : select.Each == EachKind.Repeat ? Repeated(select.Over, select.Again, at, 0)
            : Evaluate(select.Over[0], at, rowIndex);
        if (found.Count == 0 && select.Each == EachKind.ForEachOrNull)
            return Joined(select, null, 0);
        var rows = found.SelectMany((each, i) => Joined(select, each, i)).Take(ViewBounds.MostRowsOfResource + 1).ToList();
        return rows.Count > ViewBounds.MostRowsOfResource ? throw TooManyRows() : rows;
    }

    private List<JsonElement> Repeated(IReadOnlyList<ViewPath> over, IReadOnlyList<ViewPath> again, JsonElement focus, int depth)
    {
        // JSON itself nests no deeper.
        if (depth > ViewBounds.DeepestJson)
            return [];
        return
        [
            .. over.SelectMany(path => Evaluate(path, focus, 0))
                .SelectMany(found => Repeated(again, again, found, depth + 1).Prepend(found)),
        ];
    }

    /// <summary>Own columns, joined with the rows of each select in it, and with those of the union.</summary>
    private List<Cell[]> Joined(ViewSelect select, JsonElement? focus, int rowIndex)
    {
        var own = new Cell[select.Columns.Count];
        for (var i = 0; i < own.Length; i++)
            own[i] = CellOf(
                select.Columns[i],
                focus is { } at ? Evaluate(select.Columns[i].Path, at, rowIndex) : WithoutFocus(select.Columns[i].Path, rowIndex)
            );
        List<Cell[]> rows = [own];
        foreach (var inner in select.Selects)
            rows = Product(rows, Of(inner, focus, rowIndex));
        if (select.Unions.Count > 0)
            rows = Product(rows, [.. select.Unions.SelectMany(branch => Of(branch, focus, rowIndex))]);
        return rows;
    }

    private static List<Cell[]> Product(List<Cell[]> left, List<Cell[]> right) =>
        (long)left.Count * right.Count > ViewBounds.MostRowsOfResource
            ? throw TooManyRows()
            : [.. left.SelectMany(row => right.Select(other => (Cell[])[.. row, .. other]))];

    /// <summary>Where there is nothing to look at, constants and the row's place are all that is there.</summary>
    private List<JsonElement> WithoutFocus(ViewPath path, int rowIndex) =>
        path is ViewPath.Constant or ViewPath.RowIndex ? Evaluate(path, default, rowIndex) : [];

    private static Cell CellOf(ViewColumn column, List<JsonElement> values)
    {
        values.RemoveAll(value => value.ValueKind == JsonValueKind.Null);
        if (column.IsCollection)
            return new(CellKind.List, Encoding.UTF8.GetBytes($"[{string.Join(',', values.Select(value => value.GetRawText()))}]"));
        return values switch
        {
            [] => default,
            [var one] => CellOf(column, one),
            _ => throw Several(column.Name),
        };
    }

    /// <summary>Several values where a view expects one.</summary>
    public static ViewFault Several(string column) =>
        new($"several values in the column '{column}'", "one: collection as true takes all, first() the first");

    /// <summary>An object where a view expects a value.</summary>
    public static ViewFault NoValue(string column) => new($"an object in the column '{column}'", "a simple value: one of its elements");

    private static Cell CellOf(ViewColumn column, JsonElement value) =>
        value.ValueKind switch
        {
            JsonValueKind.String => new(CellKind.Text, Encoding.UTF8.GetBytes(value.GetRawText()[1..^1])),
            JsonValueKind.Number => Cell.Number(value.GetRawText()),
            JsonValueKind.True => Cell.Of(true),
            JsonValueKind.False => Cell.Of(false),
            _ => throw NoValue(column.Name),
        };

    private List<JsonElement> Evaluate(ViewPath path, JsonElement focus, int rowIndex)
    {
        List<JsonElement> Of(ViewPath inner) => Evaluate(inner, focus, rowIndex);
        switch (path)
        {
            case ViewPath.Focus:
                return [focus];
            case ViewPath.Nothing:
                return [];
            case ViewPath.Child child:
                return [.. Of(child.Source).SelectMany(source => Children(source, child.Names))];
            case ViewPath.OfResource of:
                return
                [
                    .. Of(of.Source)
                        .Where(source =>
                            source.ValueKind == JsonValueKind.Object
                            && source.TryGetProperty("resourceType", out var type)
                            && type.ValueKind == JsonValueKind.String
                            && type.ValueEquals(of.Resource)
                        ),
                ];
            case ViewPath.At at:
                return [.. Of(at.Source).Skip(at.Index).Take(1)];
            case ViewPath.Where where:
                return [.. Of(where.Source).Where(source => IsTrue(Evaluate(where.Condition, source, rowIndex)) == true)];
            case ViewPath.Exists exists:
                return [Bool(Of(exists.Source).Count > 0 == exists.Wanted)];
            case ViewPath.Not not:
                return Bools(!IsTrue(Of(not.Source)));
            case ViewPath.Join join:
                return [Text(string.Join(join.Separator, Of(join.Source).Select(text => text.ToString())))];
            case ViewPath.Boundary boundary:
                return Bound(boundary, Of(boundary.Source));
            case ViewPath.ResourceKey:
                return _resource.TryGetProperty("id", out var id) && id.ValueKind == JsonValueKind.String
                    ? [Text($"{view.Resource}/{id.GetString()}")]
                    : [];
            case ViewPath.ReferenceKey key:
                return
                [
                    .. Of(key.Source)
                        .SelectMany(source => Children(source, ["reference"]))
                        .Select(reference => FhirKeys.OfReference(reference.ToString(), key.Resource))
                        .OfType<string>()
                        .Select(Text),
                ];
            case ViewPath.Logical logical:
                return Bools(Logic.Of(logical.And, IsTrue(Of(logical.Left)), () => IsTrue(Of(logical.Right))));
            case ViewPath.Alike alike:
                return Bools(Alike(Of(alike.Left), Of(alike.Right)) is { } same ? same == alike.Wanted : null);
            case ViewPath.Compared compared:
                return Bools(
                    Logic.Order(One(Of(compared.Left)), One(Of(compared.Right))) is { } order ? Logic.Holds(compared.Operator, order) : null
                );
            case ViewPath.Arithmetic arithmetic:
                return Logic.Calculated(arithmetic.Operator, One(Of(arithmetic.Left)), One(Of(arithmetic.Right))) is { } number
                    ? [Parsed(number)]
                    : [];
            case ViewPath.Constant { Kind: ValueKind.Text } text:
                return [Text(text.Text)];
            case ViewPath.Constant constant:
                return [Parsed(constant.Text)];
            case ViewPath.RowIndex:
                return [Parsed(rowIndex.ToString(CultureInfo.InvariantCulture))];
            default:
                throw new InvalidOperationException($"{path.GetType().Name} is not evaluated");
        }
    }

    private static IEnumerable<JsonElement> Children(JsonElement source, IReadOnlyList<string> names)
    {
        if (source.ValueKind != JsonValueKind.Object)
            yield break;
        foreach (var name in names)
        {
            if (!source.TryGetProperty(name, out var child))
                continue;
            if (child.ValueKind != JsonValueKind.Array)
            {
                if (child.ValueKind != JsonValueKind.Null)
                    yield return child;
                continue;
            }

            foreach (var item in child.EnumerateArray())
            {
                if (item.ValueKind != JsonValueKind.Null)
                    yield return item;
            }
        }
    }

    private static List<JsonElement> Bound(ViewPath.Boundary boundary, List<JsonElement> values)
    {
        if (One(values) is not { } value)
            return [];
        var type = boundary.Source.Type.Name;
        var bound =
            value.Kind == ValueKind.Number ? Boundaries.OfNumber(value.Text, boundary.High)
            : value.Kind == ValueKind.Text ? Boundaries.OfTime(value.Text, type, boundary.High)
            : null;
        return bound is null ? []
            : value.Kind == ValueKind.Number ? [Parsed(bound)]
            : [Text(bound)];
    }

    private static bool? Alike(List<JsonElement> left, List<JsonElement> right)
    {
        if (left.Count == 0 || right.Count == 0)
            return null;
        return left.Count == right.Count && left.Zip(right).All(pair => Logic.Alike(Value(pair.First), Value(pair.Second)));
    }

    private static SimpleValue? One(List<JsonElement> values) =>
        values switch
        {
            [] => null,
            [var one] => Value(one),
            _ => throw Logic.SeveralInOperation(),
        };

    private static SimpleValue Value(JsonElement json) =>
        json.ValueKind switch
        {
            JsonValueKind.Number => new(ValueKind.Number, json.GetRawText()),
            JsonValueKind.True or JsonValueKind.False => new(ValueKind.Boolean, json.GetRawText()),
            JsonValueKind.String => new(ValueKind.Text, json.GetString()!),
            _ => throw Logic.ObjectInOperation(),
        };

    /// <summary>Of nothing, nothing.</summary>
    private static bool? IsTrue(List<JsonElement> values) =>
        values switch
        {
            [] => null,
            [{ ValueKind: JsonValueKind.False }] => false,
            [{ ValueKind: JsonValueKind.True }] => true,
            [_] => throw Logic.NoCondition(),
            _ => throw Logic.SeveralInOperation(),
        };

    private static List<JsonElement> Bools(bool? value) => value is { } known ? [Bool(known)] : [];

    private static JsonElement Bool(bool value) => value ? True : False;

    private static JsonElement Text(string text) => JsonSerializer.SerializeToElement(text);

    private static JsonElement Parsed(string json)
    {
        using var document = JsonDocument.Parse(json);
        return document.RootElement.Clone();
    }
}
