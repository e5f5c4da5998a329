using Irrigation.Criteria;

namespace Irrigation.Flags;

/// <summary>F8. Under 400 mL, as set, in 24 elapsed hours; adults.</summary>
public static class Oliguria
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "oliguria",
            "Low urine output",
            FlagCategory.Clinical,
            "Klahr and Miller, NEJM 1998, from an encyclopaedia",
            Cautions.ConfirmFirst,
            Judge,
            Looks.AtClosings
        );

    private static Finding Judge(Bedside bedside) =>
        bedside.Latest is null
            ? new Finding.NotRaised()
            : CriterionFinding.Of(
                UrineOutputCriteria.Oliguria(bedside.Outputs, bedside.Facts.Patient, bedside.Balance.LastClosing, bedside.Limits.Criteria),
                bedside,
                Rule.Slug,
                FlagPriority.Low,
                "output of 24 h"
            );
}
