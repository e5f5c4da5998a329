using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>F9. High output after an obstruction was relieved: 200 mL/h or more in each of two consecutive hours, or 3 L or more in 24 h.</summary>
/// <remarks>
/// Relieved: a flag of outflow deficit or no drainage ended, or a washout cleared, within the last 48 h, as set. The two hours lie
/// after it, for what had been held back and comes out with the relief is not urine made since.
/// </remarks>
public static class PostObstructiveDiuresis
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } = new(
        "post-obstructive-diuresis", "Post-obstructive diuresis", FlagCategory.Clinical, "LITFL (teaching text)", Cautions.ConfirmFirst, Judge, Looks.AtClosings);

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Latest is null || Relieved(bedside) is not { } relieved || bedside.At > relieved + bedside.Settings.DiuresisWithin) return new Finding.NotRaised();
        var (settings, at, hour) = (bedside.Settings, bedside.Balance.LastClosing, Duration.FromHours(1));
        OutputWindow Over(Instant from, Instant to) => bedside.Balance.Over(WindowKind.Trailing, new(from, to));
        OutputWindow[] hours = [Over(at - hour - hour, at - hour), Over(at - hour, at)];
        var day = Over(Instant.Max(at - Duration.FromHours(24), bedside.Log.Frame.Start), at); // so far, in an episode that is younger
        var byHours = at - hour - hour < relieved ? Answer.NotMet : Decision.All(hours.Select(h => AtLeast(h, settings.DiuresisPerHour.Millilitres)));
        var byDay = AtLeast(day, settings.DiuresisPerDay.Millilitres);
        var since = $"obstruction relieved at {bedside.Said(relieved)}";
        return Decision.Any([byHours, byDay]) switch
        {
            Answer.Met => new Finding.Raised(FlagPriority.High, $"{since}; {(byHours == Answer.Met ? $"{hours[0].Output!.Headline} and {hours[1].Output!.Headline} in the last two hours, threshold {settings.DiuresisPerHour} or more in each" : $"{day.Output!.Headline} in 24 h to {bedside.Said(at)}, threshold {settings.DiuresisPerDay} or more")}.")
            {
                Evidence = [Evidence.Of(bedside.Latest)],
            },
            Answer.NotMet => new Finding.NotRaised(),
            _ => new Finding.Undecided($"{since}; the output of the hours since cannot be told well enough", "hourly readings, weighed where the flow is high"),
        };
    }

    /// <summary>When an obstruction was last relieved; null where none was.</summary>
    private static Instant? Relieved(Bedside bedside)
    {
        var washout = bedside.Last<WashoutPerformed>() is { Cleared: true } cleared ? cleared.At : (Instant?)null;
        return new[] { bedside.LastEnded("no-drainage"), bedside.LastEnded("outflow-deficit"), washout }.Max();
    }

    private static Answer AtLeast(OutputWindow window, decimal threshold)
    {
        if (window.Output?.Interval95 is not { } range || !window.FullyCovered) return Answer.NotEvaluable;
        return range.Low.Millilitres >= threshold ? Answer.Met : range.High.Millilitres < threshold ? Answer.NotMet : Answer.Indeterminate;
    }
}
