using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>As felt: the bladder is distended, until somebody finds that it is not.</summary>
/// <remarks>
/// It ends with a palpation without distension, with a bladder scan of little (<see cref="FlagSettings.DistensionOverAt"/>), or with the
/// catheter exchanged. What was felt and scanned at the same minute leaves it open which came first: only what came after ends it.
/// </remarks>
public static class BladderDistension
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new("bladder-distension", "Bladder distended", FlagCategory.Clinical, "as felt", Cautions.Outflow, Judge);

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Last<BladderPalpated>() is not { } last || last.Distended == false)
            return new Finding.NotRaised();
        var felt = last.Distended is null && Assessed(bedside) is { Distended: true } before ? before : last;
        if (IsOver(bedside, felt))
            return new Finding.NotRaised();
        var at = bedside.Said(last.At);
        return last.Distended is null
            ? new Finding.Undecided($"at {at} whether it is distended was not assessed", "feeling or scanning the bladder")
            : new Finding.Raised(FlagPriority.High, $"the bladder was felt distended at {at}.") { Evidence = [Evidence.Of(last)] };
    }

    /// <summary>The last palpation that said whether it was distended; null where none did.</summary>
    private static BladderPalpated? Assessed(Bedside bedside) =>
        bedside
            .Log[Slug.Of(nameof(BladderPalpated))]
            .Before(bedside.At + NodaTime.Duration.Epsilon)
            .Cast<BladderPalpated>()
            .FirstOrDefault(felt => felt.Distended is not null);

    private static bool IsOver(Bedside bedside, BladderPalpated felt)
    {
        if (bedside.Last<CatheterInserted>()?.At > felt.At)
            return true;
        var little = bedside.ForBladder(bedside.Settings.DistensionOverAt);
        return bedside.Log[Channel.Scan].After(felt.At, bedside.At).Cast<BladderScanned>().Any(scan => scan.Held <= little);
    }
}
