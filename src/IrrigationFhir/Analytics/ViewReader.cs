using System.Text.Json;
using System.Text.RegularExpressions;

namespace IrrigationFhir.Analytics;

/// <summary>Reads a ViewDefinition, which is no type of R4 and which no model of it knows.</summary>
internal sealed partial class ViewReader
{
    private static readonly string[] SelectMembers =
    [
        "column",
        "select",
        "unionAll",
        "forEach",
        "forEachOrNull",
        "repeat",
        "id",
        "extension",
        "modifierExtension",
    ];

    private static readonly string[] ColumnMembers =
    [
        "name",
        "path",
        "type",
        "collection",
        "description",
        "tag",
        "id",
        "extension",
        "modifierExtension",
    ];

    private readonly List<ViewProblem> _problems = [];
    private readonly List<ViewColumn> _columns = [];
    private readonly Dictionary<string, ViewPath.Constant> _constants = [];
    private readonly PathResolver _paths;
    private int _selects;

    private ViewReader() => _paths = new(_constants);

    /// <summary>The view, or everything that is wrong with it.</summary>
    public static (ViewDefinition? View, IReadOnlyList<ViewProblem> Problems) Read(JsonElement json)
    {
        var reader = new ViewReader();
        var view = reader.View(json);
        return (reader._problems.Count == 0 ? view : null, reader._problems);
    }

    /// <summary>A view that is known to be right.</summary>
    /// <exception cref="InvalidOperationException">It is not.</exception>
    public static ViewDefinition Known(ReadOnlyMemory<byte> json)
    {
        using var document = JsonDocument.Parse(json);
        var (view, problems) = Read(document.RootElement);
        return view ?? throw new InvalidOperationException(string.Join('\n', problems));
    }

    private ViewDefinition? View(JsonElement json)
    {
        if (json.ValueKind != JsonValueKind.Object)
        {
            Fault("ViewDefinition", Kind(json), "an object");
            return null;
        }

        var resource = Text(json, "resource", "");
        if (resource is null)
            Fault("resource", "nothing", "the type of resource that the view is about");
        else if (!PathType.IsResource(resource))
            Fault("resource", $"'{resource}'", "a resource type of FHIR R4");

        Constants(json);
        var focus = PathType.Of(resource ?? "");
        var where = new List<ViewPath>();
        foreach (var (condition, at) in Items(json, "where", ""))
        {
            if (Path(condition, "path", at, focus) is not { } path)
                continue;
            Try($"{at}.path", () => where.Add(PathResolver.Condition(path)));
        }

        var selects = Items(json, "select", "").Select(item => Select(item.Item, item.At, focus, 1)).OfType<ViewSelect>().ToList();
        if (_columns.Count == 0 && _problems.Count == 0)
            Fault("select", "no column", "at least one");
        if (_columns.Count > ViewBounds.MostColumns)
            Fault("select", $"{_columns.Count} columns", $"{ViewBounds.MostColumns} at most");
        return new(
            Text(json, "name", "") ?? "view",
            Text(json, "title", ""),
            Text(json, "description", ""),
            Text(json, "url", ""),
            Text(json, "version", ""),
            resource ?? "",
            where,
            new(EachKind.Once, [], [], [], selects, [], 0, _columns.Count),
            _columns
        );
    }

    private void Constants(JsonElement json)
    {
        foreach (var (item, at) in Items(json, "constant", ""))
        {
            var name = Text(item, "name", at);
            var values =
                item.ValueKind == JsonValueKind.Object
                    ? item.EnumerateObject()
                        .Where(member => member.Name.Length > "value".Length && member.Name.StartsWith("value", StringComparison.Ordinal))
                        .ToList()
                    : [];
            if (name is null || !SqlName().IsMatch(name))
                Fault($"{at}.name", name is null ? "nothing" : $"'{name}'", "a letter, then letters, digits and underscores");
            else if (values is not [var value])
                Fault(at, $"{values.Count} values of '{name}'", "one, as valueString");
            else if (value.Value.ValueKind is JsonValueKind.Object or JsonValueKind.Array or JsonValueKind.Null)
                Fault($"{at}.{value.Name}", Kind(value.Value), "a simple value");
            else if (!_constants.TryAdd(name, Constant(value)))
                Fault($"{at}.name", $"'{name}' a second time", "each constant once");
        }
    }

    private static ViewPath.Constant Constant(JsonProperty value)
    {
        var type = PathType.Of(char.ToLowerInvariant(value.Name["value".Length]) + value.Name["valueX".Length..]);
        return value.Value.ValueKind switch
        {
            JsonValueKind.Number => new(ValueKind.Number, value.Value.GetRawText(), type.Kind == ValueKind.Number ? type : PathType.Number),
            JsonValueKind.True or JsonValueKind.False => new(ValueKind.Boolean, value.Value.GetRawText(), PathType.Boolean),
            _ => new(ValueKind.Text, value.Value.GetString()!, type.Kind == ValueKind.Text ? type : PathType.Text),
        };
    }

    private ViewSelect? Select(JsonElement json, string at, PathType focus, int depth)
    {
        if (depth > ViewBounds.DeepestSelects || ++_selects > ViewBounds.MostSelects)
        {
            Fault(at, "too many selects", $"{ViewBounds.DeepestSelects} within one another, {ViewBounds.MostSelects} in all, at most");
            return null;
        }

        if (!Members(json, at, SelectMembers))
            return null;

        string[] ways = [.. new[] { "forEach", "forEachOrNull", "repeat" }.Where(name => json.TryGetProperty(name, out _))];
        if (ways.Length > 1)
            Fault(at, string.Join(" and ", ways), "one of them at most");
        var each = ways.FirstOrDefault() switch
        {
            null => EachKind.Once,
            "forEach" => EachKind.ForEach,
            "forEachOrNull" => EachKind.ForEachOrNull,
            _ => EachKind.Repeat,
        };
        var (over, again) = (new List<ViewPath>(), new List<ViewPath>());
        if (each == EachKind.Repeat)
        {
            foreach (var (item, place) in Items(json, "repeat", at))
            {
                if (Path(item, place, focus) is { } path)
                    over.Add(path);
            }

            if (over.Count == 0)
                Fault($"{at}.repeat", "no path", "at least one");
            else
                focus = over[0].Type with { Many = false };
            foreach (var (item, place) in Items(json, "repeat", at))
            {
                if (_problems.Count == 0 && Path(item, place, focus) is { } path)
                    again.Add(path);
            }
        }
        else if (each != EachKind.Once)
        {
            if (Path(json, ways[0], at, focus) is not { } path)
                return null;
            over.Add(path);
            focus = path.Type with { Many = false };
        }

        var first = _columns.Count;
        var columns = Items(json, "column", at).Select(item => Column(item.Item, item.At, focus)).OfType<ViewColumn>().ToList();
        var selects = Items(json, "select", at).Select(item => Select(item.Item, item.At, focus, depth + 1)).OfType<ViewSelect>().ToList();
        var unions = Unions(json, at, focus, depth);
        return new(each, over, again, columns, selects, unions, first, _columns.Count - first);
    }

    /// <summary>Branches of a union fill the same columns.</summary>
    private List<ViewSelect> Unions(JsonElement json, string at, PathType focus, int depth)
    {
        var unions = new List<ViewSelect>();
        var first = _columns.Count;
        List<ViewColumn>? columns = null;
        foreach (var (item, place) in Items(json, "unionAll", at))
        {
            if (columns is not null)
                _columns.RemoveRange(first, _columns.Count - first);
            if (Select(item, place, focus, depth + 1) is not { } branch)
                continue;
            unions.Add(branch);
            var own = _columns[first..];
            columns ??= own;
            if (!own.Select(column => column.Name).SequenceEqual(columns.Select(column => column.Name)))
                Fault(place, $"the columns {Names(own)}", $"those of the first of unionAll in their order: {Names(columns)}");
            if (!own.Select(column => column.IsCollection).SequenceEqual(columns.Select(column => column.IsCollection)))
                Fault(place, "a column that is a collection here and none there", "the same in each of unionAll");
        }

        if (columns is not null)
        {
            // Names, types and descriptions of the table are those of the first.
            _columns.RemoveRange(first, _columns.Count - first);
            _columns.AddRange(columns);
        }

        return unions;
    }

    private ViewColumn? Column(JsonElement json, string at, PathType focus)
    {
        if (!Members(json, at, ColumnMembers))
            return null;
        var name = Text(json, "name", at);
        if (name is null || !SqlName().IsMatch(name))
            Fault($"{at}.name", name is null ? "nothing" : $"'{name}'", "a letter, then letters, digits and underscores");
        else if (_columns.Any(column => column.Name == name))
            Fault($"{at}.name", $"'{name}' a second time", "each column once in a view");
        var collection = json.TryGetProperty("collection", out var many) && many.ValueKind == JsonValueKind.True;
        if (Path(json, "path", at, focus) is not { } path || name is null)
            return null;
        if (path.Type.IsValue == false)
            Fault($"{at}.path", $"a {path.Type.Name}", "a simple value: go on to one of its elements");
        var declared = Text(json, "type", at);
        var type = declared?[(declared.LastIndexOfAny(['/', '.']) + 1)..];
        var column = new ViewColumn(
            name,
            string.IsNullOrEmpty(type) ? path.Type.Name ?? "string" : char.ToLowerInvariant(type[0]) + type[1..],
            collection,
            Text(json, "description", at),
            path,
            _columns.Count,
            Items(json, "tag", at)
                .Where(tag => Text(tag.Item, "name", tag.At) == "ansi/type")
                .Select(tag => Text(tag.Item, "value", tag.At))
                .FirstOrDefault()
        );
        _columns.Add(column);
        return column;
    }

    private ViewPath? Path(JsonElement json, string member, string at, PathType focus)
    {
        if (json.ValueKind == JsonValueKind.Object && json.TryGetProperty(member, out var path))
            return Path(path, $"{at}.{member}", focus);
        Fault($"{at}.{member}", "nothing", "an expression");
        return null;
    }

    private ViewPath? Path(JsonElement json, string at, PathType focus)
    {
        ViewPath? path = null;
        if (json.ValueKind != JsonValueKind.String)
            Fault(at, Kind(json), "an expression, as text");
        else
            Try(at, () => path = _paths.Resolve(PathReader.Read(json.GetString()!), focus));
        return path;
    }

    private void Try(string at, Action read)
    {
        try
        {
            read();
        }
        catch (ViewFault fault)
        {
            Fault(at, fault.Saw, fault.Expected);
        }
    }

    private bool Members(JsonElement json, string at, string[] known)
    {
        if (json.ValueKind != JsonValueKind.Object)
        {
            Fault(at, Kind(json), "an object");
            return false;
        }

        foreach (var member in json.EnumerateObject().Where(member => !known.Contains(member.Name.TrimStart('_'))))
            Fault($"{at}.{member.Name}", "an element that is not known", $"one of {string.Join(", ", known[..^3])}");
        return true;
    }

    private IEnumerable<(JsonElement Item, string At)> Items(JsonElement json, string name, string at)
    {
        if (json.ValueKind != JsonValueKind.Object || !json.TryGetProperty(name, out var items))
            return [];
        at = at == "" ? name : $"{at}.{name}";
        if (items.ValueKind == JsonValueKind.Array)
            return items.EnumerateArray().Select((item, i) => (item, $"{at}[{i}]"));
        Fault(at, Kind(items), "a list");
        return [];
    }

    private string? Text(JsonElement json, string name, string at)
    {
        if (json.ValueKind != JsonValueKind.Object || !json.TryGetProperty(name, out var text))
            return null;
        if (text.ValueKind == JsonValueKind.String && text.GetString() is { Length: > 0 } given)
            return given;
        Fault(at == "" ? name : $"{at}.{name}", Kind(text), "a text that is not empty");
        return null;
    }

    private void Fault(string where, string saw, string expected) => _problems.Add(new(where, saw, expected));

    private static string Names(IEnumerable<ViewColumn> columns) => string.Join(", ", columns.Select(column => column.Name));

    private static string Kind(JsonElement json) =>
        json.ValueKind switch
        {
            JsonValueKind.Object => "an object",
            JsonValueKind.Array => "a list",
            JsonValueKind.String => $"'{json.GetString()}'",
            _ => json.GetRawText() is { Length: > 0 } text ? text : "nothing",
        };

    [GeneratedRegex("^[A-Za-z][A-Za-z0-9_]*$")]
    private static partial Regex SqlName();
}
