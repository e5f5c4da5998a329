using Irrigation.Criteria;

namespace Irrigation.Flags;

/// <summary>F6. Little or no corrected output in 12 h, or possibly so.</summary>
/// <remarks>
/// <para>An obstruction goes before it (<see cref="FlagRules.Precedence"/>).</para>
/// <para>50 mL in 12 h are less than a charted flow is sure of, so that under irrigation the interval hardly ever lies below them, and a
/// body that makes nothing looks like one that makes little. Where stage 2 is met, which is certain enough, and the best estimate is no
/// more than what is called anuria, it is possible. Our judgement.</para>
/// </remarks>
public static class Anuria
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "anuria",
            "No urine output",
            FlagCategory.Clinical,
            "KDIGO 2012 gives no number; 50 mL in 12 h is our judgement",
            Cautions.ConfirmFirst,
            Judge,
            Looks.AtClosings
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Latest is null)
            return new Finding.NotRaised();
        var (patient, at) = (bedside.Facts.Patient, bedside.Balance.LastClosing);
        var group = patient.GroupAt(at);
        if (group == AgeGroup.Unknown)
            return new Finding.Undecided("the age is not known", "a date of birth");
        if (UrineOutputCriteria.All.FirstOrDefault(c => c.Group == group && c.Threshold is null) is not { } anuria)
        {
            return new Finding.Undecided("no criterion of anuria is for this age", "a clinician");
        }

        var result = UrineOutputCriteria.Evaluate(anuria, bedside.Outputs, patient, at, bedside.Limits.Criteria).First();
        return CriterionFinding.Of(result, bedside, Rule.Slug, FlagPriority.High, "output of 12 h", SoLittleThatItMayBe(result, bedside));
    }

    private static bool SoLittleThatItMayBe(CriterionResult anuria, Bedside bedside)
    {
        if (anuria.Probability is null || anuria.Value > anuria.Threshold)
            return false;
        var (outputs, patient, at, limits) = (bedside.Outputs, bedside.Facts.Patient, anuria.Window.End, bedside.Limits.Criteria);
        return UrineOutputCriteria
            .All.Where(c =>
                c.Group == patient.GroupAt(at) && c is { Threshold: not null, Stage: >= 2 } && c.Window >= anuria.Window.Duration
            )
            .Any(c => UrineOutputCriteria.Evaluate(c, outputs, patient, at, limits).First().Answer == Answer.Met);
    }
}
