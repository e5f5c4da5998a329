using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>Settings of the forecasts. Every default that rests on our own judgement or on common practice says so.</summary>
public sealed record ForecastSettings
{
    /// <summary>The defaults.</summary>
    public static ForecastSettings Default { get; } = new();

    /// <summary>
    /// What a drainage container holds when full. Default 4 L, a bag for continuous irrigation; common practice, no source (clinical
    /// reference 2.7).
    /// </summary>
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

    /// <summary>
    /// A child's limit is (age in years + 1) times this, and never above an adult's. Default 30 mL (ICCS, clinical reference 2.3); the
    /// ceiling is our judgement.
    /// </summary>
    [Setting(5, 100, "mL")]
    public Volume ChildLimitPerYear { get; init; } = Volume.FromMillilitres(30);

    /// <summary>
    /// A bladder capacity on record below this is a slip, and the limit goes by age as if none were. Default 10 mL, a third of what is
    /// expected of an infant; our judgement.
    /// </summary>
    [Setting(1, 50, "mL")]
    public Volume LeastCapacity { get; init; } = Volume.FromMillilitres(10);

    /// <summary>
    /// How fast an adult's urine is taken to be made where no closed interval has told; a child's, in the proportion of the limits, is
    /// less. Default 60 mL/h (worked examples of clinical reference 1.9 and 1.10); our judgement.
    /// </summary>
    [Setting(0, 1000, "mL/h")]
    public FlowRate AssumedUrine { get; init; } = FlowRate.FromMillilitresPerHour(60);

    /// <summary>
    /// A forecast starts from a reading, or a scan, no older than this: what was seen longer ago foretells nothing. Default 6 h, as long
    /// as two readings may lie apart without a gap; our judgement.
    /// </summary>
    [Setting(0.25, 48, "h")]
    public Duration ReadingReach { get; init; } = Duration.FromHours(6);

    /// <summary>
    /// An open bladder is taken as empty by a reading of the drainage no older than this; after that nobody knows whether it is, and how
    /// soon it would be full is not told. Default 60 min, as often as the drainage is to be read; our judgement.
    /// </summary>
    [Setting(5, 480, "min")]
    public Duration EmptyReach { get; init; } = Duration.FromMinutes(60);

    /// <summary>What the bladder is not to exceed, and whence.</summary>
    /// <param name="years">Completed years of age; null where unknown.</param>
    /// <param name="capacity">The patient's own bladder capacity; null where not charted. One that cannot be does not count.</param>
    public (Volume Limit, string Whence) LimitFor(int? years, Volume? capacity)
    {
        if (IsCapacity(capacity))
            return (capacity!.Value, "the charted bladder capacity");
        var charted = capacity?.Millilitres;
        var slip = charted is null ? "" : FormattableString.Invariant($", for {charted:0.####} mL, as charted, cannot be");
        if (ExpectedOf(years) is not { } expected)
        {
            return (DistensionLimit, $"the limit for an adult{(years is null ? ", as the age is not known" : "")}{slip}");
        }

        return expected < DistensionLimit
            ? (expected, $"({years} years + 1) x {ChildLimitPerYear}{slip}")
            : (DistensionLimit, $"the limit for an adult, which a child's does not exceed{slip}");
    }

    /// <summary>Whether a bladder capacity on record can be one.</summary>
    public bool IsCapacity(Volume? capacity) => capacity >= LeastCapacity;

    /// <summary>
    /// Something that was set for an adult's body, in the proportion of a child's expected bladder to an adult's: a measure of its size
    /// that is always at hand; our judgement.
    /// </summary>
    /// <param name="adult">The adult's.</param>
    /// <param name="years">Completed years of age; of an adult, or where unknown, it stays as it is.</param>
    public Volume ForBodyOf(int? years, Volume adult) =>
        ExpectedOf(years) is { } expected && expected < DistensionLimit
            ? adult.Share(expected.Millilitres, DistensionLimit.Millilitres)
            : adult;

    /// <summary>What a child's bladder is expected to hold; null where the patient is no child, or nobody knows.</summary>
    private Volume? ExpectedOf(int? years) => years is >= 0 and < 18 ? ChildLimitPerYear * (years.Value + 1) : null;
}
