using Irrigation.Criteria;

namespace Irrigation.Flags;

/// <summary>F5. A stage of the urine-output criterion for the patient's age is met, or may be. Of output alone, so no diagnosis.</summary>
/// <remarks>
/// KDIGO, pRIFLE or the neonatal one, judged by the mean over the window at each closing; whatever is met by every hour is met by the
/// mean, so the other reading only adds to the text. The highest stage that is met is named; where none is, the highest that is
/// possible. The flag is cleared when the stage that it stands for has become unlikely and the shortest window does not meet its own.
/// </remarks>
public static class UrineOutputCriterionMet
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "urine-output-criterion",
            "Urine-output criterion met",
            FlagCategory.Clinical,
            "KDIGO 2012; pRIFLE, Ann Intensive Care 2016; neonates, BMC Nephrol 2020; both readings after BMC Nephrol 2019",
            Cautions.ConfirmFirst,
            Judge,
            Looks.AtClosings
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Latest is null)
            return new Finding.NotRaised();
        var (outputs, patient, at, limits) = (bedside.Outputs, bedside.Facts.Patient, bedside.Balance.LastClosing, bedside.Limits.Criteria);
        var group = patient.GroupAt(at);
        if (group == AgeGroup.Unknown)
        {
            return new Finding.Undecided("the age is not known, and adult thresholds are not for everybody", "a date of birth");
        }

        var criteria = UrineOutputCriteria.All.Where(c => c.Group == group && c.Threshold is not null).ToList();
        var means = criteria.Select(c => UrineOutputCriteria.Evaluate(c, outputs, patient, at, limits).First()).ToList();
        if (Named(means, bedside) is not { } named)
        {
            return CriterionFinding.Of(means[0], bedside, Rule.Slug, FlagPriority.High, $"stage {means[0].Stage}");
        }

        var criterion = criteria.Single(c => c.Stage == named.Stage);
        var met = named.Answer == Answer.Met ? " met" : "";
        var hourly = UrineOutputCriteria.Evaluate(criterion, outputs, patient, at, limits).Skip(1).FirstOrDefault();
        var other = hourly is null ? "" : $" By every hour it is {Words.Said(hourly.Answer)}.";
        var more = means.LastOrDefault(mean => mean.Stage > named.Stage && CriterionFinding.IsPossible(mean, bedside.Settings));
        var higher = more?.Probability is { } how ? $" Stage {more.Stage} has a probability of {CriterionFinding.Percent(how)}." : "";
        var about = $"urine-output criterion stage {named.Stage} ({criterion.Source}){met} by the mean";
        return CriterionFinding.Of(named, bedside, Rule.Slug, FlagPriority.High, about, also: $"{other}{higher}");
    }

    /// <summary>The stage to speak of: the highest that is met, else that is possible, else the one that the flag stands for.</summary>
    private static CriterionResult? Named(List<CriterionResult> means, Bedside bedside)
    {
        var standing = bedside.Standing(Rule.Slug)?.Latest.Criterion?.Slug;
        return means.LastOrDefault(mean => CriterionFinding.Raises(mean, bedside.Settings))
            ?? means.LastOrDefault(mean => CriterionFinding.IsPossible(mean, bedside.Settings))
            ?? means.SingleOrDefault(mean => mean.Slug == standing && CriterionFinding.Lingers(mean, bedside.Settings));
    }
}
