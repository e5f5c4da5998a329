using System.Collections.Immutable;
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

    /// <summary>What is printed on giving sets, in drops/mL: 10, 12, 15 and 20 macrodrip, 60 microdrip.</summary>
    public static ImmutableArray<decimal> Listed { get; } = [10, 12, 15, 20, 60];

    /// <summary>Drops per mL.</summary>
    public decimal DropsPerMillilitre { get; }

    /// <summary>Whether sets like this are <see cref="Listed"/>; one that is not is worked with all the same.</summary>
    public bool IsListed => Listed.Contains(DropsPerMillilitre);

    /// <summary>For people, e.g. <c>20 drops/mL</c>.</summary>
    public override string ToString() => string.Create(CultureInfo.InvariantCulture, $"{DropsPerMillilitre:0.#} drops/mL");
}
