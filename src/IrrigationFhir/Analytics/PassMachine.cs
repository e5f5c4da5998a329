using System.Globalization;
using System.Text;

namespace IrrigationFhir.Analytics;

/// <summary>Something that a step has found: an element of the resource, or a value that it made.</summary>
/// <param name="Node">The element's place in the tree; −1 for a value that was made.</param>
/// <param name="Made">The value that was made.</param>
internal readonly record struct Found(int Node, SimpleValue Made);

/// <summary>What the compiled steps work with: the resource, what was kept of it, and a stack of what is found.</summary>
/// <param name="tree">What is kept.</param>
/// <param name="idName">Number of the name <c>id</c>.</param>
/// <param name="resource">The type of resources.</param>
internal sealed class PassMachine(KeptTree tree, int idName, string resource)
{
    private Found[] _stack = new Found[64];
    private ReadOnlyMemory<byte> _bytes;

    /// <summary>What is kept.</summary>
    public KeptTree Tree => tree;

    /// <summary>How much is on the stack.</summary>
    public int Top { get; private set; }

    /// <summary>What is found, by its place on the stack.</summary>
    public ref Found this[int at] => ref _stack[at];

    /// <summary>Goes on to a resource.</summary>
    public void Read(ReadOnlyMemory<byte> json)
    {
        (_bytes, Top) = (json, 0);
        tree.Read(json.Span);
    }

    /// <summary>Whether an element is a resource of that type.</summary>
    public bool IsOfType(int node, int typeName, ReadOnlySpan<byte> type)
    {
        if (tree[node].Kind != KeptKind.Object)
            return false;
        var end = tree[node].End;
        for (var at = node + 1; at < end; at = tree[at].End)
        {
            if (tree[at].Name == typeName)
                return tree[at].Kind == KeptKind.Text && Raw(at).SequenceEqual(type);
        }

        return false;
    }

    /// <summary>The key of the resource; null where it has no id.</summary>
    public string? ResourceKey()
    {
        for (var at = 1; at < tree[0].End; at = tree[at].End)
        {
            if (tree[at].Name == idName && tree[at].Kind == KeptKind.Text)
                return $"{resource}/{Text(at)}";
        }

        return null;
    }

    /// <summary>The bytes of an element.</summary>
    public ReadOnlySpan<byte> Raw(int node) => _bytes.Span.Slice(tree[node].Start, tree[node].Length);

    /// <summary>A text without escapes.</summary>
    public string Text(int node) =>
        tree[node].HasEscapes ? new Cell(CellKind.Text, Slice(node)).AsText() : Encoding.UTF8.GetString(Raw(node));

    /// <summary>Puts something on the stack.</summary>
    public void Push(Found found)
    {
        if (Top == _stack.Length)
            Array.Resize(ref _stack, 2 * Top);
        _stack[Top++] = found;
    }

    /// <summary>Puts an element on the stack.</summary>
    public void Push(int node) => Push(new Found(node, default));

    /// <summary>Puts a value on the stack.</summary>
    public void Push(ValueKind kind, string text) => Push(new Found(-1, new(kind, text)));

    /// <summary>Takes off everything above a place.</summary>
    public void Drop(int to) => Top = to;

    /// <summary>Takes off what is between two places, so that what is above moves down.</summary>
    public void Remove(int from, int to)
    {
        Array.Copy(_stack, to, _stack, from, Top - to);
        Top -= to - from;
    }

    /// <summary>The elements that a step finds.</summary>
    public void Nodes(PassStep step, int focus, int rowIndex, List<int> into)
    {
        var at = Top;
        step.Find(this, focus, rowIndex);
        for (var i = at; i < Top; i++)
        {
            // A value that was made has nothing below it to go on to.
            if (_stack[i].Node >= 0)
                into.Add(_stack[i].Node);
        }

        Drop(at);
    }

    /// <summary>The one value that a step finds; null for nothing.</summary>
    /// <exception cref="ViewFault">There are several, or it is an object.</exception>
    public SimpleValue? One(PassStep step, int focus, int rowIndex)
    {
        var at = Top;
        step.Find(this, focus, rowIndex);
        if (Top - at > 1)
            throw Logic.SeveralInOperation();
        SimpleValue? value = Top == at ? null : Value(_stack[at]);
        Drop(at);
        return value;
    }

    /// <summary>What something is that was found.</summary>
    /// <exception cref="ViewFault">An object.</exception>
    public SimpleValue Value(in Found found)
    {
        if (found.Node < 0)
            return found.Made;
        return tree[found.Node].Kind switch
        {
            KeptKind.Text => new(ValueKind.Text, Text(found.Node)),
            KeptKind.Number => new(ValueKind.Number, Encoding.ASCII.GetString(Raw(found.Node))),
            KeptKind.True => new(ValueKind.Boolean, "true"),
            KeptKind.False => new(ValueKind.Boolean, "false"),
            KeptKind.Object => throw Logic.ObjectInOperation(),
        };
    }

    /// <summary>The cell that a column makes.</summary>
    public Cell Cell(PassColumn column, int focus, int rowIndex)
    {
        var at = Top;
        column.Step.Find(this, focus, rowIndex);
        var count = Top - at;
        var cell =
            column.IsCollection ? List(at)
            : count == 0 ? default
            : count > 1 ? throw TreeEngine.Several(column.Name)
            : Cell(_stack[at], column);
        Drop(at);
        return cell;
    }

    private Cell Cell(in Found found, PassColumn column)
    {
        if (found.Node < 0)
        {
            return found.Made.Kind switch
            {
                ValueKind.Text => Analytics.Cell.Text(found.Made.Text),
                ValueKind.Number => Analytics.Cell.Number(found.Made.Text),
                ValueKind.Boolean => Analytics.Cell.Of(found.Made.Text == "true"),
            };
        }

        return tree[found.Node].Kind switch
        {
            KeptKind.Text => new(CellKind.Text, Slice(found.Node)),
            KeptKind.Number => new(CellKind.Number, Slice(found.Node)),
            KeptKind.True => Analytics.Cell.Of(true),
            KeptKind.False => Analytics.Cell.Of(false),
            KeptKind.Object => throw TreeEngine.NoValue(column.Name),
        };
    }

    private Cell List(int at)
    {
        var list = new StringBuilder("[");
        for (var i = at; i < Top; i++)
        {
            if (i > at)
                list.Append(',');
            ref readonly var found = ref _stack[i];
            if (found.Node < 0)
                list.Append(
                    found.Made.Kind == ValueKind.Text
                        ? $"\"{Encoding.UTF8.GetString(Analytics.Cell.Text(found.Made.Text).Raw.Span)}\""
                        : found.Made.Text
                );
            else if (tree[found.Node].Kind == KeptKind.Text)
                list.Append(CultureInfo.InvariantCulture, $"\"{Encoding.UTF8.GetString(Raw(found.Node))}\"");
            else
                list.Append(Encoding.UTF8.GetString(Raw(found.Node)));
        }

        return new(CellKind.List, Encoding.UTF8.GetBytes(list.Append(']').ToString()));
    }

    private ReadOnlyMemory<byte> Slice(int node) => _bytes.Slice(tree[node].Start, tree[node].Length);
}
