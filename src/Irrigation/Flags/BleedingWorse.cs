using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>
/// F11. The drainage is bloodier than at the look before, one of the two bloodiest grades of its scale, or has clots that were not there.
/// </summary>
/// <remarks>
/// <para>Worse is said of two looks: a first look, at the colour or for clots, cannot be worse, and clots are told as such
/// (<see cref="ClotsPresent"/>). One of the two bloodiest grades is told at the first look too, where the scale is known.</para>
/// <para>Cleared when the grade is below the one it was raised at and the clots are fewer. Another scale cannot be compared.</para>
/// </remarks>
public static class BleedingWorse
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "bleeding-worse",
            "Bleeding worse",
            FlagCategory.Clinical,
            "a visual scale made round irrigation decisions (Stout, Urology 2021); our judgement",
            Cautions.Colour,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (Looked.At(bedside) is not { } look)
            return bedside.Runs && bedside.Lines.Any()
                ? new Finding.Undecided("nobody charted what the drainage looks like", "a look at the drainage")
                : new Finding.NotRaised();
        var top = Looked.AmongTopTwo(look, bedside.Settings);
        if (bedside.Standing("bleeding-worse") is { } standing)
            return Still(bedside, look, top, standing);

        var (worse, why) = Compared(bedside, look);
        if (worse || top == true)
            return new Finding.Raised(
                FlagPriority.High,
                $"{Looked.Says(look)} at {bedside.Said(look.At)}{why}{(top == true ? ", one of the two bloodiest grades" : "")}."
            )
            {
                Evidence = [Evidence.Of(look)],
            };
        return
            look.Grade is not null && top is null && !Looked.Before(bedside, look.At).Any(b => b.Scale == look.Scale && b.Grade is not null)
            ? new Finding.Undecided(
                $"{Looked.Says(look)}. There is no earlier look on this scale, and how many grades it has is not set",
                "the next look on the same scale, or the scale in the settings"
            )
            : new Finding.NotRaised();
    }

    private static (bool Worse, string Why) Compared(Bedside bedside, DrainageAppearance look)
    {
        var graded = look.Grade is null
            ? null
            : Looked.Before(bedside, look.At).FirstOrDefault(before => before.Scale == look.Scale && before.Grade is not null);
        if (graded is not null && look.Grade > graded.Grade)
            return (true, $", after grade {graded.Grade} at {bedside.Said(graded.At)}");
        if (Looked.Clots(look) is not (> 0 and { } clots))
            return (false, "");
        var seen = Looked.Before(bedside, look.At).FirstOrDefault(before => Looked.Clots(before) is not null);
        return seen is not null && Looked.Clots(seen) < clots
            ? (true, $", after {Looked.ClotsSay(seen)} at {bedside.Said(seen.At)}")
            : (false, "");
    }

    private static Finding Still(Bedside bedside, DrainageAppearance look, bool? top, FlagPeriod standing)
    {
        if (bedside.Log[Slug.Of(nameof(DrainageAppearance))].LastAtOrBefore(standing.Start) is not DrainageAppearance raised)
            return new Finding.NotRaised();
        if (look.Scale != raised.Scale && look.Grade is not null && raised.Grade is not null)
            return new Finding.Undecided($"{Looked.Says(look)}: grades of two scales are not compared", "a look on the scale of before");
        var paler = raised.Grade is null || look.Grade < raised.Grade;
        var fewer = Looked.Clots(raised) is not (> 0 and { } clots) || Looked.Clots(look) < clots;
        if (paler && fewer && top != true)
            return new Finding.NotRaised();
        if ((raised.Grade is not null && look.Grade is null) || (Looked.Clots(raised) > 0 && look.Clots is null))
            return new Finding.Undecided($"at {bedside.Said(look.At)} grade or clots were not charted", "a look at grade and clots");
        return new Finding.Raised(
            FlagPriority.High,
            look.Key == raised.Key ? $"{Looked.Says(look)} at {bedside.Said(look.At)}."
                : Looked.Says(look) == Looked.Says(raised)
                    ? $"{Looked.Says(look)} at {bedside.Said(look.At)}, as at {bedside.Said(raised.At)}."
                : $"{Looked.Says(look)} at {bedside.Said(look.At)}, after {Looked.Says(raised)} at {bedside.Said(raised.At)}."
        )
        {
            Evidence = [Evidence.Of(look)],
        };
    }
}
