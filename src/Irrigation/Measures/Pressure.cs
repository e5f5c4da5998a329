using System.Globalization;

namespace Irrigation.Measures;

/// <summary>A pressure, kept in millimetres of mercury: a blood pressure.</summary>
public readonly record struct Pressure : IComparable<Pressure>
{
    private Pressure(decimal millimetres) => MillimetresOfMercury = millimetres;

    /// <summary>The pressure in mm[Hg].</summary>
    public decimal MillimetresOfMercury { get; }

    /// <summary>A pressure of so many mm[Hg].</summary>
    public static Pressure FromMillimetresOfMercury(decimal millimetres) => new(millimetres);

    /// <summary>The sum, e.g. a baseline and a rise.</summary>
    public static Pressure operator +(Pressure left, Pressure right) => new(left.MillimetresOfMercury + right.MillimetresOfMercury);

    /// <summary>Whether the left one is higher.</summary>
    public static bool operator >(Pressure left, Pressure right) => left.MillimetresOfMercury > right.MillimetresOfMercury;

    /// <summary>Whether the left one is lower.</summary>
    public static bool operator <(Pressure left, Pressure right) => left.MillimetresOfMercury < right.MillimetresOfMercury;

    /// <summary>Whether the left one is higher, or they are the same.</summary>
    public static bool operator >=(Pressure left, Pressure right) => left.MillimetresOfMercury >= right.MillimetresOfMercury;

    /// <summary>Whether the left one is lower, or they are the same.</summary>
    public static bool operator <=(Pressure left, Pressure right) => left.MillimetresOfMercury <= right.MillimetresOfMercury;

    /// <inheritdoc/>
    public int CompareTo(Pressure other) => MillimetresOfMercury.CompareTo(other.MillimetresOfMercury);

    /// <summary>For people, e.g. <c>128 mmHg</c>.</summary>
    public override string ToString() => string.Create(CultureInfo.InvariantCulture, $"{MillimetresOfMercury:0.#} mmHg");
}
