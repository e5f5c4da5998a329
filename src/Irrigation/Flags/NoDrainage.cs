using Irrigation.Balance;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>F2. Irrigant runs, the drain is open, and readings show that nothing drains, or next to nothing.</summary>
/// <remarks>
/// <para>Raised by readings alone: not read is not nothing drained (<see cref="DrainageReadingStale"/>). The time that it takes shrinks
/// with the flow (clinical reference 1.10). Nothing is 0 mL as read. A bag read off its marks shows some mL where there are none: what is
/// no more than the error of such a reading (<see cref="BalanceSettings.LevelTolerance"/>) and no more than half of what ran in is next to
/// nothing, if what is missing is more than the doubt about the two readings (k = 2). Over less than
/// <see cref="FlagSettings.NoDrainageFor"/> nothing of that kind is said: there the minute of a reading is most of it. Our judgement.</para>
/// <para>Stopping the inflow does not keep it from being raised by what ran in before, nor clear it; drainage does, and more of it than
/// the error of a reading, or as much as ran in: a trickle is not relief.</para>
/// </remarks>
public static class NoDrainage
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } = new(
        "no-drainage", "No drainage", FlagCategory.Clinical, "exam item (30 min), time for 200 mL to run in; our judgement, for no guideline gives a time", Cautions.Outflow, Judge);

    private static Finding Judge(Bedside bedside)
    {
        var standing = bedside.Standing("no-drainage") is not null;
        if (!bedside.Lines.Any()) return new Finding.NotRaised();
        if (bedside.Latest is not { } latest) return bedside.Runs ? new Finding.Undecided("irrigant runs and no drainage was read", "a reading of the drainage") : new Finding.NotRaised();
        if (latest.Drained is not { } drained) return new Finding.Undecided($"what drained from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)} is not known", "the next reading of the drainage");
        if (!standing && bedside.Clamped is not null) return new Finding.NotRaised();

        var limit = Limit(bedside);
        if (Dry(bedside, limit) is { } dry)
        {
            var what = dry.Drained <= bedside.Settings.NoDrainageUpTo ? "nothing" : $"no more than {dry.Drained}";
            return new Finding.Raised(FlagPriority.Urgent, $"{what} drained from {bedside.Said(dry.Since)} to {bedside.Said(latest.End)} while {dry.Instilled} ran in with the drain open (limit {Rounded(limit)}).")
            {
                Evidence = [Evidence.Of(latest)],
            };
        }

        var trickle = drained <= bedside.Settings.NoDrainageUpTo || (drained <= bedside.Balance.Settings.LevelTolerance && drained < latest.Instilled);
        return standing && trickle
            ? new Finding.Undecided($"{drained} drained from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)} while {latest.Instilled?.ToString() ?? "an unknown amount"} ran in: no more than a reading may be wrong by", "the next reading of the drainage")
            : new Finding.NotRaised();
    }

    /// <summary>The longest time up to the latest reading in which nothing or next to nothing drained, if it is as long as the limit; else null.</summary>
    private static (Instant Since, Volume Instilled, Volume Drained)? Dry(Bedside bedside, Duration limit)
    {
        (Instant, Volume, Volume)? dry = null;
        var (into, outOf) = (Volume.Zero, Volume.Zero);
        var closed = bedside.Balance[FluidBalance.Bladder];
        var characters = bedside.Balance.Settings.Characters;
        var reading = ErrorBudget.Rectangular(characters.DrainageGraduation.Random);
        for (var i = closed.Count - 1; i >= 0; i--)
        {
            if (closed[i] is not { Drained: { } drained, Instilled: { } instilled } interval || instilled <= Volume.Zero || interval.Caveats.Contains(Caveat.DwellInProgress)) break;
            (into, outOf) = (into + instilled, outOf + drained);
            var nothing = outOf <= bedside.Settings.NoDrainageUpTo;
            if (!nothing && outOf > bedside.Balance.Settings.LevelTolerance) break;

            // k = 2 for the difference of two readings, each off by its marks and by some minutes.
            var length = closed[^1].End - interval.Start;
            var moment = into.Millilitres / (decimal)length.TotalMinutes * characters.ReadingTime;
            var doubt = 2 * Math.Sqrt(2 * (double)((reading * reading) + (moment * moment)));
            if (length >= limit && (nothing || (length >= bedside.Settings.NoDrainageFor && outOf * 2 <= into && (double)(into - outOf).Millilitres > doubt))) dry = (interval.Start, into, outOf);
        }

        return dry;
    }

    /// <summary>How long nothing may drain: as set, or for as long as it takes the flow to bring what is warned of.</summary>
    internal static Duration Limit(Bedside bedside)
    {
        var set = bedside.Settings.NoDrainageFor;
        return bedside.Filling is { } filling && Forecasts.TimeFor(OutflowDeficit.LimitsFor(bedside).Warning, filling) is { } time ? Duration.Min(set, time) : set;
    }

    private static string Rounded(Duration time) => FormattableString.Invariant($"{time.TotalMinutes:0.#} min");
}
