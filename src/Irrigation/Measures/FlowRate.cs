using NodaTime;

namespace Irrigation.Measures;

/// <summary>How fast fluid runs, kept in mL/h.</summary>
/// <remarks>A charted rate is 0 mL/h or more; 0 says that the flow is stopped. Default is 0 mL/h.</remarks>
public readonly record struct FlowRate : IComparable<FlowRate>
{
    private FlowRate(decimal millilitresPerHour) => MillilitresPerHour = millilitresPerHour;

    /// <summary>The rate in mL/h.</summary>
    public decimal MillilitresPerHour { get; }

    /// <summary>Stopped.</summary>
    public static FlowRate Stopped { get; }

    /// <summary>A rate of so many mL/h.</summary>
    public static FlowRate FromMillilitresPerHour(decimal millilitresPerHour) => new(millilitresPerHour);

    /// <summary>The mean rate of a volume over a time.</summary>
    /// <exception cref="ArgumentOutOfRangeException">The time is not longer than 0.</exception>
    public static FlowRate Of(Volume volume, Duration over)
    {
        ArgumentOutOfRangeException.ThrowIfLessThanOrEqual(over, Duration.Zero);
        return new(volume.Millilitres * Elapsed.PerHour / Elapsed.Of(over));
    }

    /// <summary>Counted drops to flow: mL/h = drops/min × 60 / drop factor.</summary>
    /// <remarks>Source: college dosage-calculation teaching (check-values W10 to W17).</remarks>
    public static FlowRate FromDropsPerMinute(decimal dropsPerMinute, DropFactor factor) =>
        new(dropsPerMinute * 60m / factor.DropsPerMillilitre);

    /// <summary>Flow to counted drops: whole drops per minute, half away from zero (2.5 is 3).</summary>
    /// <remarks>Source of the rounding: check-value W14. The platform's default rounding would give 2.</remarks>
    public decimal ToDropsPerMinute(DropFactor factor) => Math.Round(ToExactDropsPerMinute(factor), 0, MidpointRounding.AwayFromZero);

    /// <summary>Flow to drops per minute, before they are rounded to what can be counted.</summary>
    /// <remarks>To nine decimals: what a division left behind the twentieth must not turn a half into less than one.</remarks>
    public decimal ToExactDropsPerMinute(DropFactor factor) =>
        Math.Round(MillilitresPerHour * factor.DropsPerMillilitre / 60m, 9, MidpointRounding.AwayFromZero);

    /// <summary>What runs in the given time at this rate.</summary>
    public Volume Over(Duration time) => Volume.FromMillilitres(MillilitresPerHour * Elapsed.Of(time) / Elapsed.PerHour);

    /// <summary>The difference of two; may be negative, and is no charted flow then.</summary>
    public static FlowRate operator -(FlowRate left, FlowRate right) => new(left.MillilitresPerHour - right.MillilitresPerHour);

    /// <inheritdoc/>
    public int CompareTo(FlowRate other) => MillilitresPerHour.CompareTo(other.MillilitresPerHour);

    /// <summary>Slower.</summary>
    public static bool operator <(FlowRate left, FlowRate right) => left.MillilitresPerHour < right.MillilitresPerHour;

    /// <summary>Faster.</summary>
    public static bool operator >(FlowRate left, FlowRate right) => left.MillilitresPerHour > right.MillilitresPerHour;

    /// <summary>At most as fast.</summary>
    public static bool operator <=(FlowRate left, FlowRate right) => left.MillilitresPerHour <= right.MillilitresPerHour;

    /// <summary>At least as fast.</summary>
    public static bool operator >=(FlowRate left, FlowRate right) => left.MillilitresPerHour >= right.MillilitresPerHour;

    /// <summary>For people, as it is read at a bedside (<see cref="AsRead"/>): <c>500 mL/h</c>.</summary>
    public override string ToString() => AsRead.Flow(this);
}
