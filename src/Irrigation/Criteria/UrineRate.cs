using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Criteria;

/// <summary>Urine output as a rate.</summary>
/// <param name="PerHour">Volume over elapsed time, in mL/h; may be negative, as the volume may.</param>
/// <param name="PerKilogramHour">The same per kilogram, in mL/kg/h; null where no weight is in force.</param>
/// <param name="Weight">The weight it rests on: guidelines do not say which kind is meant, so kind and date travel with it.</param>
public sealed record UrineRate(decimal PerHour, decimal? PerKilogramHour, WeightInForce? Weight)
{
    /// <summary>The rate of a volume over a time.</summary>
    /// <exception cref="ArgumentOutOfRangeException">The time is not longer than 0.</exception>
    public static UrineRate Of(Volume volume, Duration over, WeightInForce? weight)
    {
        ArgumentOutOfRangeException.ThrowIfLessThanOrEqual(over, Duration.Zero);
        var perHour = volume.Millilitres * Elapsed.PerHour / Elapsed.Of(over);
        return new(perHour, weight is null ? null : perHour / weight.Weight.Kilograms, weight);
    }
}
