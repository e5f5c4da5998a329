using System.Globalization;

namespace Irrigation.Measures;

/// <summary>A weighed mass, kept in grams: a container on a scale.</summary>
public readonly record struct Mass
{
    private Mass(decimal grams) => Grams = grams;

    /// <summary>The mass in g.</summary>
    public decimal Grams { get; }

    /// <summary>A mass of so many grams.</summary>
    public static Mass FromGrams(decimal grams) => new(grams);

    /// <summary>Weight to volume: V = m / density.</summary>
    /// <remarks>
    /// 1 g is not 1 mL: taking it so over-states urine of specific gravity 1.035 by 3.4 % (src/Irrigation/README.md, section 1.11).
    /// </remarks>
    /// <param name="gramsPerMillilitre">Density in g/mL, more than 0.</param>
    /// <exception cref="ArgumentOutOfRangeException">The density is not more than 0.</exception>
    public Volume At(decimal gramsPerMillilitre)
    {
        ArgumentOutOfRangeException.ThrowIfNegativeOrZero(gramsPerMillilitre);
        return Volume.FromMillilitres(Grams / gramsPerMillilitre);
    }

    /// <summary>The difference, e.g. gross less tare.</summary>
    public static Mass operator -(Mass left, Mass right) => new(left.Grams - right.Grams);

    /// <summary>For people, e.g. <c>3450 g</c>.</summary>
    public override string ToString() => string.Create(CultureInfo.InvariantCulture, $"{Grams:0.#} g");
}
