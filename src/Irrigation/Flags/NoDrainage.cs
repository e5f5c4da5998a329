using Irrigation.Balance;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>F2. Irrigant runs, the drain is open, and readings show that nothing drains.</summary>
/// <remarks>
/// Raised by readings alone: not read is not nothing drained (<see cref="DrainageReadingStale"/>). The time that it takes shrinks with
/// the flow (clinical reference 1.10). Stopping the inflow does not keep it from being raised by what ran in before, nor clear it;
/// drainage does, and more of it than the error of reading a bag, or as much as ran in: a trickle is not relief.
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
        if (drained > bedside.Settings.NoDrainageUpTo)
        {
            return !standing || drained > bedside.Balance.Settings.LevelTolerance || !(drained < latest.Instilled)
                ? new Finding.NotRaised()
                : new Finding.Undecided($"{drained} drained from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)} while {latest.Instilled} ran in: no more than a reading may be wrong by", "the next reading of the drainage");
        }

        if (!standing && bedside.Clamped is not null) return new Finding.NotRaised();

        var (since, instilled) = Dry(bedside, latest);
        var limit = Limit(bedside);
        if (!standing && (latest.End - since < limit || instilled <= Volume.Zero)) return new Finding.NotRaised();
        return new Finding.Raised(FlagPriority.Urgent, $"nothing drained from {bedside.Said(since)} to {bedside.Said(latest.End)} while {instilled} ran in with the drain open (limit {Rounded(limit)}).")
        {
            Evidence = [Evidence.Of(latest)],
        };
    }

    /// <summary>Since when readings show nothing, and what ran in meanwhile.</summary>
    private static (Instant Since, Volume Instilled) Dry(Bedside bedside, ClosedInterval latest)
    {
        var (since, instilled) = (latest.End, Volume.Zero);
        var closed = bedside.Balance[FluidBalance.Bladder];
        for (var i = closed.Count - 1; i >= 0; i--)
        {
            var interval = closed[i];
            if (!(interval.Drained <= bedside.Settings.NoDrainageUpTo) || interval.Caveats.Contains(Caveat.DwellInProgress)) break;
            if (!(interval.Instilled > Volume.Zero)) break;
            since = interval.Start;
            instilled += interval.Instilled!.Value;
        }

        return (since, instilled);
    }

    /// <summary>How long nothing may drain: as set, or for as long as it takes the flow to bring what is warned of.</summary>
    internal static Duration Limit(Bedside bedside)
    {
        var set = bedside.Settings.NoDrainageFor;
        return bedside.Filling is { } filling && Forecasts.TimeFor(OutflowDeficit.LimitsFor(bedside).Warning, filling) is { } time ? Duration.Min(set, time) : set;
    }

    private static string Rounded(Duration time) => FormattableString.Invariant($"{time.TotalMinutes:0.#} min");
}
