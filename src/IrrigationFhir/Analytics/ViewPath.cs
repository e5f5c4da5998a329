namespace IrrigationFhir.Analytics;

/// <summary>An expression of a view that is told what it is about: which properties it reads, and of what type it is.</summary>
/// <remarks>Two engines evaluate these: one walks a parsed document, the other what one pass over the bytes has kept.</remarks>
/// <param name="Type">What it leads to.</param>
internal abstract record ViewPath(PathType Type)
{
    /// <summary>The element that is looked at.</summary>
    public sealed record Focus(PathType Type) : ViewPath(Type);

    /// <summary>Nothing, whatever the resource.</summary>
    public sealed record Nothing() : ViewPath(PathType.Unknown);

    /// <summary>Children by the names that they may have in JSON: of a choice several, such as <c>valueQuantity</c>.</summary>
    public sealed record Child(ViewPath Source, IReadOnlyList<string> Names, PathType Type) : ViewPath(Type);

    /// <summary>Resources of one type.</summary>
    public sealed record OfResource(ViewPath Source, string Resource, PathType Type) : ViewPath(Type);

    /// <summary>One of several, from 0.</summary>
    public sealed record At(ViewPath Source, int Index) : ViewPath(Source.Type with { Many = false });

    /// <summary>Those for which a condition holds.</summary>
    public sealed record Where(ViewPath Source, ViewPath Condition) : ViewPath(Source.Type);

    /// <summary>Whether there is any; or, where <paramref name="Wanted"/> is false, none.</summary>
    public sealed record Exists(ViewPath Source, bool Wanted) : ViewPath(PathType.Boolean);

    /// <summary>The opposite; of nothing, nothing.</summary>
    public sealed record Not(ViewPath Source) : ViewPath(PathType.Boolean);

    /// <summary>Texts one behind another; of nothing, the empty text.</summary>
    public sealed record Join(ViewPath Source, string Separator) : ViewPath(PathType.Text);

    /// <summary>The least or the greatest that a value with so many digits may stand for.</summary>
    public sealed record Boundary(ViewPath Source, bool High) : ViewPath(Source.Type with { Many = false });

    /// <summary>The key that the resource is joined by.</summary>
    public sealed record ResourceKey() : ViewPath(PathType.Text);

    /// <summary>The key of the resource that a reference leads to; with a type, only of resources of that.</summary>
    public sealed record ReferenceKey(ViewPath Source, string? Resource) : ViewPath(PathType.Text with { Many = Source.Type.Many });

    /// <summary>Both, or either: with what is not known, as FHIRPath says.</summary>
    public sealed record Logical(bool And, ViewPath Left, ViewPath Right) : ViewPath(PathType.Boolean);

    /// <summary>Whether two values are alike; not known where one is not there.</summary>
    public sealed record Alike(bool Wanted, ViewPath Left, ViewPath Right) : ViewPath(PathType.Boolean);

    /// <summary>Whether one value is before another: <c>&lt;</c>, <c>&lt;=</c>, <c>&gt;</c>, <c>&gt;=</c>.</summary>
    public sealed record Compared(string Operator, ViewPath Left, ViewPath Right) : ViewPath(PathType.Boolean);

    /// <summary>A sum, difference, product or quotient.</summary>
    public sealed record Arithmetic(char Operator, ViewPath Left, ViewPath Right) : ViewPath(PathType.Number);

    /// <summary>A value written down, or a constant.</summary>
    public sealed record Constant(ValueKind Kind, string Text, PathType Type) : ViewPath(Type);

    /// <summary>The place of the row within what is gone through, from 0.</summary>
    public sealed record RowIndex() : ViewPath(PathType.Of("integer"));
}
