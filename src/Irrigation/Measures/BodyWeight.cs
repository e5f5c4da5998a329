using System.Globalization;

namespace Irrigation.Measures;

/// <summary>Whose weight a figure is: the guidelines do not say which is meant, so the record must.</summary>
public enum WeightKind
{
    /// <summary>Weighed.</summary>
    Actual,

    /// <summary>Told by the patient or a relative.</summary>
    Stated,

    /// <summary>Judged by eye or from length.</summary>
    Estimated,

    /// <summary>Worked out from height.</summary>
    Ideal,

    /// <summary>The weight that doses are worked on.</summary>
    Dosing,
}

/// <summary>A body weight in kg, with its kind. More than 0 kg; whether it is plausible is judged elsewhere.</summary>
public readonly record struct BodyWeight
{
    /// <summary>A weight of so many kilograms.</summary>
    /// <exception cref="ArgumentOutOfRangeException">Not more than 0.</exception>
    public BodyWeight(decimal kilograms, WeightKind kind)
    {
        ArgumentOutOfRangeException.ThrowIfNegativeOrZero(kilograms);
        Kilograms = kilograms;
        Kind = kind;
    }

    /// <summary>The weight in kg.</summary>
    public decimal Kilograms { get; }

    /// <summary>The kind of weight.</summary>
    public WeightKind Kind { get; }

    /// <summary>For people, e.g. <c>70 kg (actual)</c>.</summary>
    public override string ToString() => string.Create(CultureInfo.InvariantCulture, $"{Kilograms:0.###} kg ({Slug.Of(Kind)})");
}
