using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>
/// F9. High output after an obstruction was relieved: 200 mL/h or more in each of two consecutive hours, or 3 L or more in 24 h.
/// </summary>
/// <remarks>
/// <para>Relieved: a flag of outflow deficit or no drainage ended, or a washout cleared, within the last 48 h, as set. The two hours lie
/// after it, for what had been held back and comes out with the relief is not urine made since.</para>
/// <para>An obstruction that never was, for a correction took its flag back, was not relieved either. By a reading in doubt no such flag is
/// raised or ends, and an hour in doubt is not one of much urine.</para>
/// </remarks>
public static class PostObstructiveDiuresis
{
    private static readonly Duration Hour = Duration.FromHours(1);

    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "post-obstructive-diuresis",
            "Post-obstructive diuresis",
            FlagCategory.Clinical,
            "LITFL (teaching text)",
            Cautions.ConfirmFirst,
            Judge,
            Looks.AtClosings
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Latest is null || Relieved(bedside) is not { } relieved)
            return new Finding.NotRaised();
        var (settings, at) = (bedside.Settings, bedside.Balance.LastClosing);
        if (bedside.At > relieved + settings.DiuresisWithin)
            return new Finding.NotRaised();

        OutputWindow Over(Instant from, Instant to) => bedside.Outputs.Over(new(from, to));
        var since = at - Hour - Hour;
        OutputWindow[] hours = [Over(since, at - Hour), Over(at - Hour, at)];
        var day = Over(Instant.Max(at - (24 * Hour), bedside.Log.Frame.Start), at); // so far, in an episode that is younger
        var byHours = since < relieved ? Answer.NotMet : Decision.All(hours.Select(hour => AtLeast(hour, settings.DiuresisPerHour)));
        var answer = Decision.Any([byHours, AtLeast(day, settings.DiuresisPerDay)]);
        if (answer == Answer.NotMet)
            return new Finding.NotRaised();

        var about = $"obstruction relieved at {bedside.Said(relieved)}";
        if (answer != Answer.Met)
        {
            return new Finding.Undecided(
                $"{about}, and the output of the hours since cannot be told well enough",
                "hourly readings, weighed where the flow is high"
            );
        }

        var much =
            byHours == Answer.Met
                ? $"{Of(hours[0])} and {Of(hours[1])} in the last two hours. The threshold is {settings.DiuresisPerHour} or more in each"
                : $"{Of(day)} in 24 h to {bedside.Said(at)}. The threshold is {settings.DiuresisPerDay} or more";
        var provisional = (byHours == Answer.Met ? hours : [day]).Any(window => window.Status == OutputStatus.Preliminary);
        var until = provisional ? " This is provisional: the bag was not read yet." : "";
        return new Finding.Raised(FlagPriority.High, $"{about}. {much}.{until}") { Evidence = [Evidence.Of(bedside.Latest)] };
    }

    private static Volume Of(OutputWindow window) => window.Output!.Headline;

    /// <summary>When an obstruction was last relieved; null where none was.</summary>
    private static Instant? Relieved(Bedside bedside)
    {
        var washout = bedside.Last<WashoutPerformed>() is { Cleared: true } cleared ? cleared.At : (Instant?)null;
        return new[] { bedside.LastEnded("no-drainage"), bedside.LastEnded("outflow-deficit"), washout }.Max();
    }

    private static Answer AtLeast(OutputWindow window, Volume threshold)
    {
        if (window.Output?.Interval95 is not var (low, high) || !window.FullyCovered)
            return Answer.NotEvaluable;
        if (high < Volume.Zero || window.Caveats.Contains(Caveat.Doubted))
            return Answer.NotEvaluable;
        return low >= threshold ? Answer.Met
            : high < threshold ? Answer.NotMet
            : Answer.Indeterminate;
    }
}
