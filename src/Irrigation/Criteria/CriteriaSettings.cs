using Irrigation.Measures;

namespace Irrigation.Criteria;

/// <summary>Weights that are plausible.</summary>
/// <param name="Low">The lightest, in kg.</param>
/// <param name="High">The heaviest, in kg.</param>
public sealed record WeightRange([property: Setting(0.1, 1000, "kg")] decimal Low, [property: Setting(0.1, 1000, "kg")] decimal High);

/// <summary>
/// Settings of the urine-output criteria. Thresholds are the guidelines'; what they leave open is our judgement and says so.
/// </summary>
public sealed record CriteriaSettings
{
    /// <summary>The defaults.</summary>
    public static CriteriaSettings Default { get; } = new();

    /// <summary>
    /// How much of a window closed intervals have to cover, 0 to 1. Default all of it; our judgement (published code accepts less).
    /// </summary>
    [Setting(0.5, 1)]
    public decimal RequiredCoverage { get; init; } = 1;

    /// <summary>
    /// Anuria: at most this in 12 h. Default 50 mL; our judgement, for KDIGO gives no number and texts say 50 to 100 mL a day.
    /// </summary>
    [Setting(0, 1000, "mL")]
    public Volume Anuria { get; init; } = Volume.FromMillilitres(50);

    /// <summary>
    /// Anuria of a child: at most this for each kilogram in 12 h, and never more than an adult's. Default 0.7 mL/kg, what 50 mL are to an
    /// adult of 70 kg; our judgement, for no guideline gives a number.
    /// </summary>
    [Setting(0, 20, "mL/kg")]
    public decimal ChildAnuria { get; init; } = 0.7m;

    /// <summary>Oliguria of an adult: under this in 24 h. Default 400 mL (Klahr and Miller, NEJM 1998).</summary>
    [Setting(0, 2000, "mL")]
    public Volume Oliguria { get; init; } = Volume.FromMillilitres(400);

    /// <summary>Polyuria of an adult: over this in 24 h. Default 3000 mL (Merck Manual Professional, 2024).</summary>
    [Setting(500, 20000, "mL")]
    public Volume Polyuria { get; init; } = Volume.FromMillilitres(3000);

    /// <summary>Low hourly output of an adult: under this in each of two consecutive hours. Default 30 mL (nursing texts).</summary>
    [Setting(0, 500, "mL")]
    public Volume LowHourly { get; init; } = Volume.FromMillilitres(30);

    /// <summary>A weight that differs by more than this part from the one before is doubted. Default 0.3; our judgement.</summary>
    [Setting(0.01, 1)]
    public decimal LargestWeightChange { get; init; } = 0.3m;

    /// <summary>Plausible weights of an adult in kg. Default 20 to 400; our judgement, wide on purpose.</summary>
    public WeightRange AdultWeight { get; init; } = new(20, 400);

    /// <summary>Plausible weights of a neonate in kg. Default 0.3 to 8; our judgement.</summary>
    public WeightRange NeonateWeight { get; init; } = new(0.3m, 8);

    /// <summary>
    /// A child's weight is plausible within this factor of 2 × age + 8 kg (a teaching formula, from memory). Default 4; our judgement.
    /// </summary>
    [Setting(1, 20)]
    public decimal ChildWeightFactor { get; init; } = 4;

    /// <summary>Plausible weights in kg by age; where that is unknown, a neonate's lower and an adult's upper end.</summary>
    public WeightRange PlausibleWeight(AgeGroup group, int? years)
    {
        var expected = (2 * (years ?? 0)) + 8;
        return group switch
        {
            AgeGroup.Adult => AdultWeight,
            AgeGroup.Neonate => NeonateWeight,
            AgeGroup.Child => new(expected / ChildWeightFactor, expected * ChildWeightFactor),
            AgeGroup.Unknown => new(NeonateWeight.Low, AdultWeight.High),
        };
    }
}
