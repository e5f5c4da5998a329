using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>
/// F12. Bright red drainage or clots, and within 15 min neither a higher flow nor a call nor a washout; or clear for 12 h and the flow not
/// reviewed.
/// </summary>
public static class RateColourMismatch
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "rate-colour-mismatch",
            "Flow does not fit the colour",
            FlagCategory.Safety,
            "teaching text on titration and weaning; the times are our judgement",
            $"{Cautions.Colour} {Cautions.Outflow}",
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (!bedside.Lines.Any() || !bedside.Runs)
            return new Finding.NotRaised();
        if (Looked.At(bedside) is not { } look)
            return new Finding.Undecided("nobody charted what the drainage looks like", "a look at the drainage");
        return Bloody(look, bedside.Settings) ? Answered(bedside, look)
            : IsClear(look) ? Reviewed(bedside, look)
            : new Finding.NotRaised();
    }

    private static Finding Answered(Bedside bedside, DrainageAppearance look)
    {
        // Counted from the first of the looks in a row that saw blood: looking again is no answer.
        var first = look;
        foreach (var before in Looked.Before(bedside, look.At))
        {
            if (!Bloody(before, bedside.Settings) || AnsweredAfter(bedside, before))
                break;
            first = before;
        }

        if (AnsweredAfter(bedside, first))
            return new Finding.NotRaised();
        var due = first.At + bedside.Settings.AnswerColourWithin;
        var within = FormattableString.Invariant($"within {bedside.Settings.AnswerColourWithin.TotalMinutes:0.#} min");
        return bedside.At < due
            ? new Finding.NotRaised { LookAgain = due }
            : new Finding.Raised(
                FlagPriority.Low,
                $"{Looked.Says(first)} at {bedside.Said(first.At)}, and no higher flow, call or washout charted {within}."
            )
            {
                Evidence = [Evidence.Of(first)],
            };
    }

    private static bool AnsweredAfter(Bedside bedside, DrainageAppearance look)
    {
        bool Charted<T>()
            where T : Entry => bedside.Last<T>()?.At >= look.At;
        if (Charted<Escalated>() || Charted<WashoutPerformed>())
            return true;
        foreach (var line in bedside.Lines)
        {
            var was = bedside.Balance.FlowAt(line, look.At - Duration.Epsilon);
            foreach (var change in bedside.Log[Channel.Flow(line)].After(look.At - Duration.Epsilon, bedside.At))
            {
                if (was is null || ((FlowSet)change).Rate > was)
                    return true;
            }
        }

        return false;
    }

    private static Finding Reviewed(Bedside bedside, DrainageAppearance look)
    {
        var since = look.At;
        foreach (var before in Looked.Before(bedside, look.At).TakeWhile(IsClear))
        {
            since = before.At;
            if (since <= bedside.At - bedside.Settings.ReviewClearAfter - bedside.Settings.ReviewClearAfter)
                break;
        }

        foreach (var line in bedside.Lines)
        {
            if (bedside.Log[Channel.Flow(line)].LastAtOrBefore(bedside.At) is { } set && set.At > since)
                since = set.At;
        }

        var due = since + bedside.Settings.ReviewClearAfter;
        var limit = FormattableString.Invariant($"limit {bedside.Settings.ReviewClearAfter.TotalHours:0.#} h");
        return bedside.At < due
            ? new Finding.NotRaised { LookAgain = due }
            : new Finding.Raised(FlagPriority.Low, $"clear since {bedside.Said(since)} and the flow not reviewed ({limit}).")
            {
                Evidence = [Evidence.Of(look)],
            };
    }

    private static bool Bloody(DrainageAppearance look, FlagSettings settings) =>
        Irrigants.Named(look.Colour, "bright red") || Looked.Clots(look) > 0 || Looked.AmongTopTwo(look, settings) == true;

    private static bool IsClear(DrainageAppearance look) =>
        Looked.Clots(look) is null or 0
        && look.Colour is { } colour
        && (colour.Equals("clear", StringComparison.OrdinalIgnoreCase) || Irrigants.Named(colour, "straw", "pale"));
}
