namespace Irrigation;

/// <summary>Marks a value that a site may set; its doc comment says what it is for, its default, and where that comes from.</summary>
/// <param name="least">The least that makes sense, in <paramref name="unit"/>.</param>
/// <param name="most">The most that makes sense, in the same unit.</param>
/// <param name="unit">Its unit in UCUM; <c>1</c> for a bare number.</param>
[AttributeUsage(AttributeTargets.Property)]
public sealed class SettingAttribute(double least, double most, string unit = "1") : Attribute
{
    /// <summary>The least that is accepted.</summary>
    public double Least { get; } = least;

    /// <summary>The most that is accepted.</summary>
    public double Most { get; } = most;

    /// <summary>Its unit in UCUM; <c>1</c> for a bare number.</summary>
    public string Unit { get; } = unit;
}
