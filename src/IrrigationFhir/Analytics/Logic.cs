using System.Globalization;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Analytics;

/// <summary>A value that is compared or calculated with.</summary>
/// <param name="Kind">What it is.</param>
/// <param name="Text">A text without escapes, a number as written, <c>true</c> or <c>false</c>.</param>
internal readonly record struct SimpleValue(ValueKind Kind, string Text);

/// <summary>What operators answer: nothing where a side is not there, as FHIRPath has it.</summary>
internal static class Logic
{
    /// <summary>Both, or either.</summary>
    /// <param name="and">Both.</param>
    /// <param name="left">One side; null where it is not known.</param>
    /// <param name="right">The other, asked where it matters.</param>
    public static bool? Of(bool and, bool? left, Func<bool?> right) => left == !and ? !and : Of(and, left, right());

    /// <summary>Both, or either.</summary>
    public static bool? Of(bool and, bool? left, bool? right) =>
        left == !and || right == !and ? !and
        : left is null || right is null ? null
        : and;

    /// <summary>Whether two values are alike: numbers by what they are, not by their digits.</summary>
    public static bool Alike(SimpleValue left, SimpleValue right) =>
        left.Kind == right.Kind
        && (left.Text == right.Text || (left.Kind == ValueKind.Number && Order(left, right) == 0) || SameMoment(left, right));

    /// <summary>Which comes first; null where that cannot be told.</summary>
    public static int? Order(SimpleValue? left, SimpleValue? right)
    {
        if (left is not { } one || right is not { } other || one.Kind != other.Kind || one.Kind == ValueKind.Boolean)
            return null;
        if (one.Kind == ValueKind.Number)
            return Number(one.Text) is { } first && Number(other.Text) is { } second ? first.CompareTo(second) : null;
        if (Moment(one.Text) is { } a && Moment(other.Text) is { } b)
            return a.CompareTo(b);
        return string.CompareOrdinal(one.Text, other.Text);
    }

    /// <summary>Whether an order is the one that a comparison asks for.</summary>
    public static bool Holds(string comparison, int order) =>
        comparison switch
        {
            "<" => order < 0,
            "<=" => order <= 0,
            ">" => order > 0,
            _ => order >= 0,
        };

    /// <summary>The number that a calculation makes; null where a side is missing, or there is none (by 0, too large).</summary>
    public static string? Calculated(char sign, SimpleValue? left, SimpleValue? right)
    {
        if (left is not { } one || right is not { } other)
            return null;
        if (one.Kind != ValueKind.Number || other.Kind != ValueKind.Number)
            throw new ViewFault($"'{sign}' with what is no number", "numbers");
        if (Number(one.Text) is not { } a || Number(other.Text) is not { } b || (sign == '/' && b == 0))
            return null;
        try
        {
            var made = sign switch
            {
                '+' => a + b,
                '-' => a - b,
                '*' => a * b,
                _ => a / b,
            };
            return made.ToString(CultureInfo.InvariantCulture);
        }
        catch (OverflowException)
        {
            return null;
        }
    }

    /// <summary>Several values on a side of an operator.</summary>
    public static ViewFault SeveralInOperation() =>
        new("several values on one side of an operator, or as a condition", "one: first(), or where(…)");

    /// <summary>An object on a side of an operator.</summary>
    public static ViewFault ObjectInOperation() => new("an object on a side of an operator", "a simple value: one of its elements");

    /// <summary>A condition that is neither true nor false.</summary>
    public static ViewFault NoCondition() =>
        new("a condition that is neither true nor false", "a boolean: exists() says whether something is there");

    private static decimal? Number(string text) =>
        decimal.TryParse(text, NumberStyles.Float, CultureInfo.InvariantCulture, out var number) ? number : null;

    private static bool SameMoment(SimpleValue left, SimpleValue right) =>
        left.Kind == ValueKind.Text && Moment(left.Text) is { } one && Moment(right.Text) is { } other && one == other;

    /// <summary>A date with time and offset; null for any other text.</summary>
    public static Instant? Moment(string text) =>
        text.Length >= 20 && text[10] == 'T' && OffsetDateTimePattern.Rfc3339.Parse(text) is { Success: true } parsed
            ? parsed.Value.ToInstant()
            : null;
}
