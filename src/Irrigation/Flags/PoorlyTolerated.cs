using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>As said: pain above a limit, spasm, or that the irrigation is not tolerated.</summary>
/// <remarks>Cleared by the next note without them; a shift after the note nobody knows any more, and it is cleared too.</remarks>
public static class PoorlyTolerated
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "poorly-tolerated",
            "Irrigation poorly tolerated",
            FlagCategory.Clinical,
            "common practice, no source: pain and spasm may be a full bladder; the limits are common practice too",
            "Slow or stop the irrigation, look for distension, clots and kinks, and ask for relief. " + Cautions.Prompt,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Last<ToleranceNoted>() is not { } noted)
            return new Finding.NotRaised();
        var pain = noted.Pain >= bedside.Settings.PainFrom;
        var until = noted.At + bedside.Settings.EntryFlagStands;
        if (bedside.At >= until || !(pain || noted.Spasm == true || noted.Tolerated == false))
            return new Finding.NotRaised();
        string?[] said =
        [
            pain ? $"pain {noted.Pain} of 10 (limit {bedside.Settings.PainFrom})" : null,
            noted.Spasm == true ? "spasm" : null,
            noted.Tolerated == false ? "not tolerated" : null,
        ];
        var priority =
            noted.Pain >= bedside.Settings.SeverePainFrom || (pain && noted.Tolerated == false) ? FlagPriority.High
            : pain || noted.Tolerated == false ? FlagPriority.Medium
            : FlagPriority.Low;
        return new Finding.Raised(priority, $"{string.Join(", ", said.OfType<string>())} at {bedside.Said(noted.At)}.")
        {
            Evidence = [Evidence.Of(noted)],
            LookAgain = until,
        };
    }
}
