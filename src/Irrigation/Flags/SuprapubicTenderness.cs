using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>As seen: tenderness over the bladder was found.</summary>
public static class SuprapubicTenderness
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new("suprapubic-tenderness", "Tender over the bladder", FlagCategory.Clinical, "as felt", Cautions.Prompt, Judge);

    private static Finding Judge(Bedside bedside) =>
        bedside.Last<BladderPalpated>() switch
        {
            { Tender: true } felt => new Finding.Raised(
                FlagPriority.Low,
                $"tenderness over the bladder was found at {bedside.Said(felt.At)}."
            )
            {
                Evidence = [Evidence.Of(felt)],
            },
            { Tender: null } felt => new Finding.Undecided(
                $"at {bedside.Said(felt.At)} tenderness was not assessed",
                "feeling the bladder"
            ),
            _ => new Finding.NotRaised(),
        };
}
