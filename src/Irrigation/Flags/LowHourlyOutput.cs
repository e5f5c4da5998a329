using Irrigation.Criteria;

namespace Irrigation.Flags;

/// <summary>F7. Under 30 mL, as set, in each of two consecutive hours; adults.</summary>
public static class LowHourlyOutput
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "low-hourly-output",
            "Low hourly output",
            FlagCategory.Clinical,
            "nursing texts; some say 30 mL and less",
            Cautions.ConfirmFirst,
            Judge,
            Looks.AtClosings
        );

    private static Finding Judge(Bedside bedside) =>
        bedside.Latest is null
            ? new Finding.NotRaised()
            : CriterionFinding.Of(
                UrineOutputCriteria.LowHourly(bedside.Outputs, bedside.Facts.Patient, bedside.Balance.LastClosing, bedside.Limits.Criteria),
                bedside,
                Rule.Slug,
                FlagPriority.Low,
                "output of each of the last two hours"
            );
}
