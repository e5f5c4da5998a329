using Irrigation.Criteria;

namespace Irrigation.Flags;

/// <summary>F5. A stage of the urine-output criterion that fits the patient's age is met: KDIGO, pRIFLE or the neonatal one. Of output alone, so no diagnosis.</summary>
/// <remarks>
/// Judged by the mean over the window at each closing; whatever is met by every hour is met by the mean, so the other reading only
/// adds to the text. The highest stage that is met is named. Not met in the shortest window clears it.
/// </remarks>
public static class UrineOutputCriterionMet
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } = new(
        "urine-output-criterion",
        "Urine-output criterion met",
        FlagCategory.Clinical,
        "KDIGO 2012; pRIFLE, Ann Intensive Care 2016; neonates, BMC Nephrol 2020; both readings after BMC Nephrol 2019",
        Cautions.ConfirmFirst,
        Judge,
        Looks.AtClosings);

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Latest is null) return new Finding.NotRaised();
        var (balance, patient, at, limits) = (bedside.Balance, bedside.Facts.Patient, bedside.Balance.LastClosing, bedside.Limits.Criteria);
        var group = patient.GroupAt(at);
        if (group == AgeGroup.Unknown) return new Finding.Undecided("the age is not known, and adult thresholds are not for everybody", "a date of birth");

        var criteria = UrineOutputCriteria.All.Where(c => c.Group == group && c.Threshold is not null).ToList();
        var means = criteria.Select(c => (Criterion: c, Mean: UrineOutputCriteria.Evaluate(c, balance, patient, at, limits).First())).ToList();
        if (means.Where(m => m.Mean.Answer == Answer.Met).OrderByDescending(m => m.Mean.Stage).FirstOrDefault() is not { Mean: { } met, Criterion: { } highest })
        {
            return CriterionFinding.Of(means[0].Mean, bedside, FlagPriority.High, $"stage {means[0].Mean.Stage}");
        }

        var hourly = UrineOutputCriteria.Evaluate(highest, balance, patient, at, limits).Skip(1).FirstOrDefault();
        var other = hourly is null ? "" : $"; by every hour: {Slug.Of(hourly.Answer)}";
        return CriterionFinding.Of(met, bedside, FlagPriority.High, $"urine-output criterion stage {met.Stage} ({highest.Source}) met by the mean{other}");
    }
}
