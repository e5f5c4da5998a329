namespace Irrigation.Flags;

/// <summary>F11, as seen: there were clots at the last look for them.</summary>
public static class ClotsPresent
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new("clots-present", "Clots", FlagCategory.Clinical, "as seen", $"{Cautions.Colour} {Cautions.NeverForce}", Judge);

    private static Finding Judge(Bedside bedside)
    {
        var look = Looked.At(bedside);
        if (look is not null && Looked.Clots(look) is null)
            look = Looked.Before(bedside, look.At).FirstOrDefault(before => Looked.Clots(before) is not null);
        if (look is null)
            return bedside.Runs && bedside.Lines.Any()
                ? new Finding.Undecided("nobody charted whether there are clots", "a look at the drainage")
                : new Finding.NotRaised();
        return Looked.Clots(look) > 0
            ? new Finding.Raised(FlagPriority.Low, $"{look.Clots} clots at {bedside.Said(look.At)}.") { Evidence = [Evidence.Of(look)] }
            : new Finding.NotRaised();
    }
}
