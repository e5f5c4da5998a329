using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>
/// F14. A drainage container has to be emptied: filled to the set part, or will be within 30 min; critical at nine tenths.
/// </summary>
/// <remarks>
/// What ran in since the last reading has drained too, as far as anybody knows; while the drain is clamped nothing runs into it.
/// </remarks>
public static class DrainageBagHigh
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "drainage-bag-high",
            "Drainage bag nearly full",
            FlagCategory.Safety,
            "texts say half to three quarters, guidelines give no number; our judgement",
            Cautions.Prompt,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        Finding answer = new Finding.NotRaised();
        var (capacity, settings) = (bedside.Limits.Forecasts.DrainageBag, bedside.Settings);
        var urine = Forecasts.Urine(bedside.Balance, bedside.At, bedside.Limits.Forecasts).Rate;
        foreach (var container in Forecasts.InUse(bedside.Balance, bedside.At))
        {
            if (bedside.Balance.InContainer(container, bedside.At) is not { } reading)
                continue;

            // Not read for long while nothing is irrigated: nobody says that it hangs there still.
            if (!bedside.Runs && bedside.At - reading.At > bedside.Balance.Settings.LongestGap)
                continue;
            var filling = bedside.Clamped is null ? bedside.Filling : FlowRate.Stopped;
            var since = bedside.Clamped is { } clamp ? Instant.Max(reading.At, clamp.At) : bedside.At;
            if (filling is not { } speed || bedside.Balance.InstilledBetween(reading.At, since).Amount is not { } ran)
            {
                if (reading.Level >= capacity * bedside.Limits.Forecasts.FillTo)
                    return Full(bedside, container, reading.Level, reading.At, capacity, null);
                answer = new Finding.Undecided(
                    $"container {container}: what ran in since {bedside.Said(reading.At)} is not known",
                    "the flow, or a reading of the container"
                );
                continue;
            }

            var holds = reading.Level + ran.Charted + urine.Over(since - reading.At);
            Instant? Reaches(Volume level) => bedside.Clamped is null ? Foreseen(bedside, level, holds, speed, urine) : null;
            var full = capacity * bedside.Limits.Forecasts.FillTo;
            var warnAt = full - speed.Over(settings.ContainerFullWithin);
            if (holds >= warnAt && (reading.Level > Volume.Zero || holds > Volume.Zero))
                return Full(bedside, container, holds, reading.At, capacity, Forecasts.TimeFor(full - holds, speed)) with
                {
                    LookAgain = Reaches(capacity * settings.ContainerCritical),
                };
            if (Reaches(warnAt) is { } due && !(answer.LookAgain <= due))
                answer = answer with { LookAgain = due };
        }

        return answer;
    }

    /// <summary>When the container will hold a volume, by the flow; by the urine alone from where the bags are empty.</summary>
    /// <remarks>
    /// Beware: the flow stands charted when a bag has run dry. Looked at by that flow alone, what is still to come would shrink by a
    /// part each time and be looked at again some fifty times.
    /// </remarks>
    private static Instant? Foreseen(Bedside bedside, Volume level, Volume holds, FlowRate speed, FlowRate urine)
    {
        if (bedside.When(level - holds, speed) is not { } due)
            return null;
        if (due <= bedside.At || bedside.Balance.InstilledBetween(bedside.At, due).Amount is not { } comes)
            return due;
        var then = holds + comes.Charted + urine.Over(due - bedside.At);
        if (then >= level)
            return due;
        return bedside.Balance.InstilledBetween(due, due + Duration.FromMinutes(1)).Amount?.Charted > Volume.Zero
            ? due
            : (bedside with { At = due }).When(level - then, urine);
    }

    private static Finding Full(Bedside bedside, string container, Volume holds, Instant read, Volume capacity, Duration? time)
    {
        var critical = holds >= capacity * bedside.Settings.ContainerCritical;
        var when =
            time is { } left && left > Duration.Zero ? $" To be emptied by {bedside.Said(bedside.At + left)}." : " To be emptied now.";
        var reading = bedside.Log[Channel.Container(container)].LastAtOrBefore(bedside.At)!;
        var part = critical ? bedside.Settings.ContainerCritical : bedside.Limits.Forecasts.FillTo;
        var reaches = $"container {container} reaches {AsRead.Volume(capacity * part)} of {AsRead.Volume(capacity)}";
        return new Finding.Raised(
            critical ? FlagPriority.High : FlagPriority.Medium,
            $"{reaches}, by its reading of {bedside.Said(read)} and what ran in since.{when}"
        )
        {
            Evidence = [Evidence.Of(reading)],
        };
    }
}
