using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Criteria;

/// <summary>Settings of the urine-output criteria. Thresholds are the guidelines'; what they leave open is our judgement and says so.</summary>
public sealed record CriteriaSettings
{
    /// <summary>The defaults.</summary>
    public static CriteriaSettings Default { get; } = new();

    /// <summary>How much of a window closed intervals have to cover, 0 to 1. Default all of it; our judgement (published code accepts less).</summary>
    public decimal RequiredCoverage { get; init; } = 1;

    /// <summary>Anuria: at most this in 12 h. Default 50 mL; our judgement, for KDIGO gives no number and texts say 50 to 100 mL a day.</summary>
    public Volume Anuria { get; init; } = Volume.FromMillilitres(50);

    /// <summary>Oliguria of an adult: under this in 24 h. Default 400 mL (Klahr and Miller, NEJM 1998).</summary>
    public Volume Oliguria { get; init; } = Volume.FromMillilitres(400);

    /// <summary>Polyuria of an adult: over this in 24 h. Default 3000 mL (Merck Manual Professional, 2024).</summary>
    public Volume Polyuria { get; init; } = Volume.FromMillilitres(3000);

    /// <summary>Low hourly output of an adult: under this in each of two consecutive hours. Default 30 mL (nursing texts).</summary>
    public Volume LowHourly { get; init; } = Volume.FromMillilitres(30);

    /// <summary>A closed interval longer than this never feeds a reading by the hour. Default 6 h; our judgement.</summary>
    public Duration LongestGap { get; init; } = Duration.FromHours(6);

    /// <summary>A weight that differs by more than this part from the one before is doubted. Default 0.3; our judgement.</summary>
    public decimal LargestWeightChange { get; init; } = 0.3m;

    /// <summary>Plausible weights of an adult in kg. Default 20 to 400; our judgement, wide on purpose.</summary>
    public (decimal Low, decimal High) AdultWeight { get; init; } = (20, 400);

    /// <summary>Plausible weights of a neonate in kg. Default 0.3 to 8; our judgement.</summary>
    public (decimal Low, decimal High) NeonateWeight { get; init; } = (0.3m, 8);

    /// <summary>A child's weight is plausible within this factor of 2 × age + 8 kg (a teaching formula, from memory). Default 4; our judgement.</summary>
    public decimal ChildWeightFactor { get; init; } = 4;

    /// <summary>Plausible weights in kg by age; where that is unknown, a neonate's lower and an adult's upper end.</summary>
    public (decimal Low, decimal High) PlausibleWeight(AgeGroup group, int? years)
    {
        var expected = (2 * (years ?? 0)) + 8;
        return group switch
        {
            AgeGroup.Adult => AdultWeight,
            AgeGroup.Neonate => NeonateWeight,
            AgeGroup.Child => (expected / ChildWeightFactor, expected * ChildWeightFactor),
            AgeGroup.Unknown => (NeonateWeight.Low, AdultWeight.High),
        };
    }
}
