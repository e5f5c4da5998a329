using Irrigation.Balance;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>F2. Irrigant runs, the drain is open, and readings show that nothing drains, or next to nothing.</summary>
/// <remarks>
/// <para>Raised by readings alone: not read is not nothing drained (<see cref="DrainageReadingStale"/>), and two readings far apart leave
/// a hole in which a container may have been emptied. What is next to nothing, <see cref="DryTime"/> says. The time that it takes
/// shrinks with the flow (src/Irrigation/README.md, section 1.10).</para>
/// <para>Stopping the inflow does not keep it from being raised by what ran in before, nor clear it; drainage does, and more of it than
/// the error of a reading, or as much as ran in: a trickle is not relief.</para>
/// </remarks>
public static class NoDrainage
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "no-drainage",
            "No drainage",
            FlagCategory.Clinical,
            "exam item (30 min), time for 200 mL to run in; our judgement, for no guideline gives a time",
            Cautions.Outflow,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (!bedside.Lines.Any())
            return new Finding.NotRaised();
        if ((Awaited.Undecided(bedside) ?? OutflowDoubt.Undecided(bedside)) is { } undecided)
            return undecided;
        if (bedside.Latest is not { } latest)
        {
            return bedside.Runs
                ? new Finding.Undecided("irrigant runs and no drainage was read", "a reading of the drainage")
                : new Finding.NotRaised();
        }

        const string next = "the next reading of the drainage";
        var span = $"from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)}";
        if (latest.Drained is not { } drained)
            return new Finding.Undecided($"what drained {span} is not known", next);
        var standing = bedside.Standing(Rule.Slug) is not null;
        if (!standing && bedside.Clamped is not null)
            return new Finding.NotRaised();

        var limit = Limit(bedside);
        if (DryTime.Of(bedside, limit) is { } dry)
            return Raised(bedside, dry, latest, limit);
        if (DryTime.OverHole(bedside) is not null)
        {
            return new Finding.Undecided($"the drainage was not read {span}: it may have been emptied and not charted", next);
        }

        var ran = latest.Instilled?.ToString() ?? "an unknown amount";
        return standing && IsTrickle(bedside, drained, latest.Instilled)
            ? new Finding.Undecided($"{drained} drained {span} while {ran} ran in: no more than a reading may be wrong by", next)
            : new Finding.NotRaised();
    }

    private static Finding.Raised Raised(Bedside bedside, DryTime dry, ClosedInterval latest, Duration limit)
    {
        var what = DryTime.IsNothing(dry.Drained, bedside) ? "nothing" : $"no more than {dry.Drained}";
        var span = $"from {bedside.Said(dry.Since)} to {bedside.Said(latest.End)}";
        var says = $"{what} drained {span} while {dry.Instilled} ran in with the drain open (limit {Rounded(limit)}).";
        var doubtful = dry.Single is { } single ? DoubtfulEntry.Of(bedside, single) : null;
        return new(FlagPriority.Urgent, $"{says}{doubtful?.Says}")
        {
            Evidence = [Evidence.Of(latest), .. DoubtfulEntry.EvidenceOf(doubtful)],
        };
    }

    private static bool IsTrickle(Bedside bedside, Volume drained, Volume? instilled) =>
        DryTime.IsNothing(drained, bedside) || (drained <= DryTime.Trickle(bedside) && drained < instilled);

    /// <summary>How long nothing may drain: as set, or for as long as it takes the flow to bring what is warned of.</summary>
    internal static Duration Limit(Bedside bedside)
    {
        var set = bedside.Settings.NoDrainageFor;
        var warning = OutflowDeficit.LimitsFor(bedside).Warning;
        return bedside.Filling is { } filling && Forecasts.TimeFor(warning, filling) is { } time ? Duration.Min(set, time) : set;
    }

    private static string Rounded(Duration time) => FormattableString.Invariant($"{time.TotalMinutes:0.#} min");
}
