namespace IrrigationFhir.Analytics;

/// <summary>An expression of the part of FHIRPath that views may use, as read and not yet told what it is about.</summary>
/// <param name="At">Where in its text it begins, from 0: for what is said of it.</param>
internal abstract record PathExpression(int At)
{
    /// <summary>The element that is looked at: <c>$this</c>.</summary>
    public sealed record This(int At) : PathExpression(At);

    /// <summary>A child element by name.</summary>
    public sealed record Member(int At, PathExpression? Source, string Name) : PathExpression(At);

    /// <summary>One of several, from 0: <c>name[0]</c>.</summary>
    public sealed record Item(int At, PathExpression Source, PathExpression Index) : PathExpression(At);

    /// <summary>A function: <c>first()</c>.</summary>
    public sealed record Call(int At, PathExpression? Source, string Function, IReadOnlyList<PathExpression> Arguments)
        : PathExpression(At);

    /// <summary>An operator between two.</summary>
    public sealed record Binary(int At, string Operator, PathExpression Left, PathExpression Right) : PathExpression(At);

    /// <summary>A value written down.</summary>
    /// <param name="At">Where.</param>
    /// <param name="Kind">What it is.</param>
    /// <param name="Text">A string as meant, a number as written, <c>true</c> or <c>false</c>.</param>
    public sealed record Literal(int At, ValueKind Kind, string Text) : PathExpression(At);

    /// <summary>A constant of the view, or <c>%rowIndex</c>.</summary>
    public sealed record Variable(int At, string Name) : PathExpression(At);
}

/// <summary>What a value is, as far as views tell values apart.</summary>
internal enum ValueKind
{
    /// <summary>Text, codes, addresses, dates and times.</summary>
    Text,

    /// <summary>A number.</summary>
    Number,

    /// <summary>True or false.</summary>
    Boolean,
}

/// <summary>A view, or one of its expressions, cannot be understood.</summary>
/// <param name="saw">What was met.</param>
/// <param name="expected">What would have been understood.</param>
internal sealed class ViewFault(string saw, string expected) : Exception($"{saw}; {expected}")
{
    /// <summary>What was met.</summary>
    public string Saw => saw;

    /// <summary>What would have been understood.</summary>
    public string Expected => expected;
}
