using System.Globalization;

namespace Irrigation.Measures;

/// <summary>Drops per millilitre of a giving set: 10, 12, 15 or 20 for macrodrip sets, 60 for microdrip sets.</summary>
/// <remarks>
/// It belongs to the set and is printed on its packet, so it is always asked for: a drop is not a fixed volume.
/// Source: college dosage-calculation handout. Must be more than 0.
/// </remarks>
public readonly record struct DropFactor
{
    /// <summary>A set of so many drops per mL.</summary>
    /// <exception cref="ArgumentOutOfRangeException">Not more than 0.</exception>
    public DropFactor(decimal dropsPerMillilitre)
    {
        ArgumentOutOfRangeException.ThrowIfNegativeOrZero(dropsPerMillilitre);
        DropsPerMillilitre = dropsPerMillilitre;
    }

    /// <summary>Drops per mL.</summary>
    public decimal DropsPerMillilitre { get; }

    /// <summary>For people, e.g. <c>20 drops/mL</c>.</summary>
    public override string ToString() => string.Create(CultureInfo.InvariantCulture, $"{DropsPerMillilitre:0.#} drops/mL");
}
