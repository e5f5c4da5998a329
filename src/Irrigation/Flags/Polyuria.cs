using Irrigation.Criteria;

namespace Irrigation.Flags;

/// <summary>F8. Over 3 L, as set, in 24 elapsed hours; adults.</summary>
public static class Polyuria
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "polyuria",
            "High urine output",
            FlagCategory.Clinical,
            "Merck Manual Professional, 2024",
            Cautions.Graduations,
            Judge,
            Looks.AtClosings
        );

    private static Finding Judge(Bedside bedside) =>
        bedside.Latest is null
            ? new Finding.NotRaised()
            : CriterionFinding.Of(
                UrineOutputCriteria.Polyuria(bedside.Outputs, bedside.Facts.Patient, bedside.Balance.LastClosing, bedside.Limits.Criteria),
                bedside,
                Rule.Slug,
                FlagPriority.Low,
                "output of 24 h"
            );
}
