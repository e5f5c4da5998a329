using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>As seen: the bladder was felt distended.</summary>
public static class BladderDistension
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } = new("bladder-distension", "Bladder distended", FlagCategory.Clinical, "as felt", Cautions.Outflow, Judge);

    private static Finding Judge(Bedside bedside) => bedside.Last<BladderPalpated>() switch
    {
        { Distended: true } felt => new Finding.Raised(FlagPriority.High, $"the bladder was felt distended at {bedside.Said(felt.At)}.") { Evidence = [Evidence.Of(felt)] },
        { Distended: null } felt => new Finding.Undecided($"at {bedside.Said(felt.At)} whether it is distended was not assessed", "feeling or scanning the bladder"),
        _ => new Finding.NotRaised(),
    };
}
