using Irrigation.Measures;

namespace Irrigation.Balance;

/// <summary>Settings of the forecasts. Every default that rests on our own judgement or on common practice says so.</summary>
public sealed record ForecastSettings
{
    /// <summary>The defaults.</summary>
    public static ForecastSettings Default { get; } = new();

    /// <summary>What a drainage container holds when full. Default 4 L, a bag for continuous irrigation; common practice, no source (clinical reference 2.7).</summary>
    [Setting(100, 20000, "mL")]
    public Volume DrainageBag { get; init; } = Volume.FromLitres(4);

    /// <summary>
    /// The part of it at which it is to be emptied, more than 0, at most 1. Default two thirds; our judgement, for guidelines give no
    /// number and texts say a half to two thirds or three quarters (clinical reference 2.7).
    /// </summary>
    [Setting(0.1, 1)]
    public decimal FillTo { get; init; } = 2m / 3;

    /// <summary>
    /// What a bladder of an adult, or of unknown age, is not to exceed. Default 500 mL: many act at 400 to 500 mL, and intermittent
    /// catheterisation keeps below 500 mL (clinical reference 2.3, 2.4). The episode's own bladder capacity, where charted, goes before it.
    /// </summary>
    [Setting(50, 2000, "mL")]
    public Volume DistensionLimit { get; init; } = Volume.FromMillilitres(500);

    /// <summary>A child's limit is (age in years + 1) times this, and never above an adult's. Default 30 mL (ICCS, clinical reference 2.3); the ceiling is our judgement.</summary>
    [Setting(5, 100, "mL")]
    public Volume ChildLimitPerYear { get; init; } = Volume.FromMillilitres(30);

    /// <summary>How fast urine is made where no closed interval has told. Default 60 mL/h (worked examples of clinical reference 1.9 and 1.10); our judgement.</summary>
    [Setting(0, 1000, "mL/h")]
    public FlowRate AssumedUrine { get; init; } = FlowRate.FromMillilitresPerHour(60);

    /// <summary>What the bladder is not to exceed, and whence.</summary>
    /// <param name="years">Completed years of age; null where unknown.</param>
    /// <param name="capacity">The patient's own bladder capacity; null where not charted.</param>
    public (Volume Limit, string Whence) LimitFor(int? years, Volume? capacity)
    {
        if (capacity is { } own) return (own, "the charted bladder capacity");
        if (years is not (>= 0 and < 18)) return (DistensionLimit, years is null ? "the limit for an adult, as the age is not known" : "the limit for an adult");
        var child = ChildLimitPerYear * (years.Value + 1);
        return child < DistensionLimit ? (child, $"({years} years + 1) x {ChildLimitPerYear}") : (DistensionLimit, "the limit for an adult, which a child's does not exceed");
    }
}
