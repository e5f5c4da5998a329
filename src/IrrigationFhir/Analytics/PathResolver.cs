using System.Globalization;

namespace IrrigationFhir.Analytics;

/// <summary>Tells what expressions are about. What a view may not use is refused here, before any data is read.</summary>
/// <param name="constants">The constants of the view.</param>
internal sealed class PathResolver(IReadOnlyDictionary<string, ViewPath.Constant> constants)
{
    private static readonly string Functions = string.Join(
        ", ",
        "where(…), exists(…), empty(), not(), first(), ofType(type), extension(url), join(separator), getResourceKey(),"
            + " getReferenceKey(type), lowBoundary(), highBoundary()"
    );

    /// <summary>What an expression says of an element of that type.</summary>
    /// <exception cref="ViewFault">Something that a view may not use, or that makes no sense.</exception>
    public ViewPath Resolve(PathExpression expression, PathType focus) =>
        expression switch
        {
            PathExpression.This => new ViewPath.Focus(focus),
            PathExpression.Member member => Child(Source(member.Source, focus), member.Name),
            PathExpression.Item item => new ViewPath.At(Resolve(item.Source, focus), Index(Resolve(item.Index, focus))),
            PathExpression.Literal literal => new ViewPath.Constant(
                literal.Kind,
                literal.Text,
                literal.Kind switch
                {
                    ValueKind.Text => PathType.Text,
                    ValueKind.Number => PathType.Number,
                    ValueKind.Boolean => PathType.Boolean,
                }
            ),
            PathExpression.Variable { Name: "rowIndex" } => new ViewPath.RowIndex(),
            PathExpression.Variable variable => constants.TryGetValue(variable.Name, out var constant)
                ? constant
                : throw new ViewFault($"%{variable.Name}", $"a constant of the view ({string.Join(", ", constants.Keys)}) or rowIndex"),
            PathExpression.Binary binary => Operation(binary.Operator, Resolve(binary.Left, focus), Resolve(binary.Right, focus)),
            PathExpression.Call call => Function(call, focus),
            _ => throw new InvalidOperationException($"{expression.GetType().Name} is not resolved"),
        };

    private ViewPath Source(PathExpression? source, PathType focus) => source is null ? new ViewPath.Focus(focus) : Resolve(source, focus);

    private static ViewPath Child(ViewPath source, string name, string? ofType = null)
    {
        if (source.Type.IsValue != true)
        {
            var (names, type) = source.Type.Child(name, ofType);
            return names.Count == 0 ? new ViewPath.Nothing() : new ViewPath.Child(source, names, type);
        }

        // What a simple value has besides itself lies in a property beside it, with an underscore before its name.
        if (name is not ("extension" or "id"))
            throw new ViewFault($"'{name}' of a {source.Type.Name}", "a simple value has nothing but extension and id");
        if (source is not ViewPath.Child child)
            throw new ViewFault($"'{name}' of a simple value that was chosen among several", "it behind the element itself");
        var beside = new ViewPath.Child(
            child.Source,
            [.. child.Names.Select(own => "_" + own)],
            PathType.Of("Element") with
            {
                Many = child.Type.Many,
            }
        );
        return Child(beside, name);
    }

    private ViewPath Function(PathExpression.Call call, PathType focus)
    {
        var source = Source(call.Source, focus);
        var arguments = call.Arguments;
        PathExpression? Only(bool optional = false) =>
            arguments.Count == 1 ? arguments[0]
            : optional && arguments.Count == 0 ? null
            : throw new ViewFault($"{call.Function} with {arguments.Count} arguments", optional ? "one or none" : "one");
        void None()
        {
            if (arguments.Count > 0)
                throw new ViewFault($"{call.Function} with {arguments.Count} arguments", "none");
        }

        switch (call.Function)
        {
            case "where":
                return new ViewPath.Where(source, Condition(Resolve(Only()!, source.Type with { Many = false })));
            case "exists":
                return new ViewPath.Exists(
                    Only(optional: true) is { } criteria
                        ? new ViewPath.Where(source, Condition(Resolve(criteria, source.Type with { Many = false })))
                        : source,
                    true
                );
            case "empty":
                None();
                return new ViewPath.Exists(source, false);
            case "not":
                None();
                return new ViewPath.Not(Condition(source));
            case "first":
                None();
                return new ViewPath.At(source, 0);
            case "ofType":
                return OfType(call, focus, TypeName(Only()!));
            case "extension":
                return Extension(source, Text(Resolve(Only()!, focus)));
            case "join":
                return new ViewPath.Join(source, Only(optional: true) is { } separator ? Text(Resolve(separator, focus)) : "");
            case "lowBoundary" or "highBoundary":
                None();
                if (source.Type.Name is { } name && name is not ("decimal" or "integer" or "date" or "dateTime" or "instant" or "time"))
                    throw new ViewFault($"{call.Function} of a {name}", "a decimal, date, dateTime, instant or time");
                return new ViewPath.Boundary(source, call.Function == "highBoundary");
            case "getResourceKey":
                None();
                return call.Source is null or PathExpression.This && PathType.IsResource(focus.Name ?? "")
                    ? new ViewPath.ResourceKey()
                    : throw new ViewFault("getResourceKey of an element", "it of the resource, with nothing before it");
            case "getReferenceKey":
                return new ViewPath.ReferenceKey(source, Only(optional: true) is { } type ? TypeName(type) : null);
            default:
                throw new ViewFault($"the function {call.Function}", $"one of {Functions}");
        }
    }

    /// <summary>In JSON the type of a choice is in the name of the property.</summary>
    private ViewPath OfType(PathExpression.Call call, PathType focus, string type)
    {
        if (call.Source is PathExpression.Member member)
            return OfResource(Child(Source(member.Source, focus), member.Name, PathType.IsResource(type) ? null : type), type);
        var source = Source(call.Source, focus);
        return source.Type.Name == type ? source
            : source.Type.Name is null || source.Type.IsAnyResource ? OfResource(source, type)
            : new ViewPath.Nothing();
    }

    private static ViewPath OfResource(ViewPath source, string type) =>
        PathType.IsResource(type) && source is not ViewPath.Nothing
            ? new ViewPath.OfResource(source, type, PathType.Of(type) with { Many = source.Type.Many })
            : source;

    private static ViewPath.Where Extension(ViewPath source, string url) =>
        new(
            Child(source, "extension"),
            new ViewPath.Alike(
                true,
                new ViewPath.Child(new ViewPath.Focus(PathType.Of("Extension")), ["url"], PathType.Text),
                new ViewPath.Constant(ValueKind.Text, url, PathType.Text)
            )
        );

    private static ViewPath Operation(string sign, ViewPath left, ViewPath right)
    {
        switch (sign)
        {
            case "and" or "or":
                return new ViewPath.Logical(sign == "and", Condition(left), Condition(right));
            case "+" or "-" or "*" or "/":
                foreach (var side in new[] { left, right })
                {
                    if (side.Type.Kind is ValueKind.Text or ValueKind.Boolean || side.Type.IsValue == false)
                        throw new ViewFault($"'{sign}' with a {side.Type.Name}", "numbers");
                }

                return new ViewPath.Arithmetic(sign[0], left, right);
            case "=" or "!=":
                Simple(sign, left, right);
                return new ViewPath.Alike(sign == "=", left, right);
            default:
                Simple(sign, left, right);
                return new ViewPath.Compared(sign, left, right);
        }
    }

    private static void Simple(string sign, ViewPath left, ViewPath right)
    {
        foreach (var side in new[] { left, right })
        {
            if (side.Type.IsValue == false)
                throw new ViewFault($"'{sign}' with a {side.Type.Name}", "simple values");
        }
    }

    /// <summary>A condition, which has to be true or false.</summary>
    /// <exception cref="ViewFault">It is known to be something else.</exception>
    public static ViewPath Condition(ViewPath path) =>
        path.Type.Name is null or "boolean" ? path : throw new ViewFault($"a condition that is a {path.Type.Name}", "a boolean");

    private static int Index(ViewPath index) =>
        index is ViewPath.Constant { Kind: ValueKind.Number } number
        && int.TryParse(number.Text, NumberStyles.None, CultureInfo.InvariantCulture, out var at)
            ? at
            : throw new ViewFault("an index that is no whole number", "a number from 0, or a constant");

    private static string Text(ViewPath path) =>
        path is ViewPath.Constant { Kind: ValueKind.Text } text ? text.Text : throw new ViewFault("an expression", "a text, or a constant");

    private static string TypeName(PathExpression expression)
    {
        var name = expression switch
        {
            PathExpression.Member { Source: null } simple => simple.Name,
            PathExpression.Member { Source: PathExpression.Member { Source: null, Name: "FHIR" } } qualified => qualified.Name,
            _ => throw new ViewFault("an expression", "the name of a type"),
        };
        return PathType.IsType(name) ? name : throw new ViewFault($"'{name}'", "the name of a type of R4");
    }
}
