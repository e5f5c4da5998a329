using Irrigation.Episodes;
using Irrigation.Measures;
using Irrigation.Runs;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>
/// Of an aliquot that was instilled too little came back: the catheter may be blocked, or let in what it does not let out.
/// </summary>
/// <remarks>
/// <para>Common practice, no source: what comes back is at least what went in. Said from half an aliquot in one cycle on
/// (<see cref="FlagSettings.ReturnShortOfCycle"/>), or one aliquot over several (<see cref="FlagSettings.ReturnShortOfRun"/>), where all of
/// the 95 % interval is short. What came back beyond an earlier aliquot was urine and does not pay for a later one, so the sum is that of
/// the cycles up to the last return for which it is largest.</para>
/// <para>Urgent once a further aliquot is instilled on top. Cleared by a later return, a bladder scan that shows little, or drainage
/// afterwards.</para>
/// </remarks>
public static class ReturnShort
{
    private const string Name = "return-short";

    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            Name,
            "Return is short",
            FlagCategory.Clinical,
            "common practice, no source: what comes back is at least what went in; the limits are our judgement",
            Cautions.ShortReturn,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        var standing = bedside.Standing(Name);
        var runs = bedside.Cycled.Recent;
        if (bedside.Last<CatheterInserted>()?.At >= standing?.Start)
            return new Finding.NotRaised();
        if (bedside.Cycled.Latest is not { } latest)
            return standing is null ? new Finding.NotRaised() : standing.Latest; // silence does not clear it
        if (Scanned(bedside, latest) is { } scan && scan.Held <= bedside.ForBladder(bedside.Settings.DistensionOverAt))
            return new Finding.NotRaised();

        var from = standing is null ? latest : runs.LastOrDefault(run => run.Start <= standing.Start) ?? latest;
        List<RunOfCycles> regarded = standing is null ? [latest] : [.. runs.Where(run => run.Start >= from.Start)];
        Sum? worst = null;
        foreach (var sum in Sums(bedside, regarded))
        {
            var limit = Limit(bedside, sum);
            var says = standing is null
                ? sum.Missing.Charted >= limit && RunOfCycles.Interval(sum.Missing).Low > Volume.Zero
                : sum.Missing.Charted > limit * bedside.Settings.ClearAt;
            if (says && !(sum.Missing.Charted <= worst?.Missing.Charted))
                worst = sum;
        }

        return worst is null ? Unanswered(bedside, latest) ?? new Finding.NotRaised() : Raised(bedside, latest, worst, standing);
    }

    /// <summary>Cycles that are short together, up to the last of which something came back.</summary>
    private sealed record Sum(Cycle First, Cycle Last, int Cycles, Measured In, Measured Missing);

    /// <summary>The sums from each cycle on; what drained afterwards, and is no return of a cycle, is taken off.</summary>
    private static IEnumerable<Sum> Sums(Bedside bedside, List<RunOfCycles> runs)
    {
        var returned = runs.SelectMany(run =>
                run.Cycles.Where(cycle => cycle.Shortfall is not null).Select(cycle => (Run: run, Cycle: cycle))
            )
            .OrderBy(one => one.Cycle.ReturnedAt)
            .ToList();
        var returns = returned.SelectMany(one => one.Cycle.Returns).Select(reading => reading.Key).ToHashSet();
        var (missing, instilled, cycles) = (Measured.Nothing, Measured.Nothing, 0);
        for (var i = returned.Count - 1; i >= 0; i--)
        {
            var (run, last) = returned[i];
            missing += last.Shortfall!.Value;
            instilled += last.InOfReturn;
            cycles += last.ReturnOf;
            yield return new(
                run.Cycles.First(cycle => cycle.Number == last.ReturnFrom),
                returned[^1].Cycle,
                cycles,
                instilled,
                missing - DrainedAfter(bedside, last.ReturnedAt!.Value, returns)
            );
        }
    }

    private static Volume Limit(Bedside bedside, Sum sum) =>
        bedside.ForBladder(
            sum.Cycles == 1
                ? sum.In.Charted * bedside.Settings.ReturnShortOfCycle
                : sum.In.Charted.Share(1, sum.Cycles) * bedside.Settings.ReturnShortOfRun
        );

    private static Measured DrainedAfter(Bedside bedside, Instant moment, HashSet<EntryKey> returns) =>
        bedside
            .Log[Channel.BladderOutput]
            .After(moment, bedside.At)
            .Where(reading => !returns.Contains(reading.Key))
            .Select(reading =>
                reading is UrineCollected urine
                    ? bedside.Balance.Settings.Characters.Urine(urine)
                    : bedside.Balance.DrainedBy(reading) ?? Measured.Nothing
            )
            .Aggregate(Measured.Nothing, (sum, added) => sum + added);

    /// <summary>The last bladder scan since the last aliquot.</summary>
    private static BladderScanned? Scanned(Bedside bedside, RunOfCycles run) =>
        bedside.Log[Channel.Scan].LastAtOrBefore(bedside.At) is BladderScanned scan && scan.At >= run.Cycles[^1].Given[^1].At ? scan : null;

    private static Finding.Raised Raised(Bedside bedside, RunOfCycles latest, Sum sum, FlagPeriod? standing)
    {
        var onTop = standing is null ? null : bedside.Log[Channel.Aliquot].NextAfter(standing.Start) as IrrigantInstilled;
        var range = RunOfCycles.Interval(sum.Missing);
        var cycles = sum.Cycles == 1 ? $"cycle {sum.Last.Number}" : $"cycles {sum.First.Number} to {sum.Last.Number}";
        var back = sum.In.Charted - sum.Missing.Charted;
        var part = sum.Cycles == 1 ? bedside.Settings.ReturnShortOfCycle : bedside.Settings.ReturnShortOfRun;
        var whose = bedside.HasOwnLimits ? $", for a bladder of {bedside.DistensionLimit.Limit}" : "";
        var limit = FormattableString.Invariant($"The limit is {Limit(bedside, sum)}, {part * 100:0} % of an aliquot{whose}");
        var again = onTop is null ? "" : $" {onTop.Amount} more was instilled at {bedside.Said(onTop.At)}, on top of it.";
        var scan = Scanned(bedside, latest) is { } held ? $" A bladder scan shows {held.Held} at {bedside.Said(held.At)}." : "";
        return new(
            onTop is null ? FlagPriority.High : FlagPriority.Urgent,
            $"{sum.Missing.Charted} did not come back of {cycles}, from {bedside.Said(sum.First.Start)}: {sum.In.Charted} in, {back} back. "
                + $"The 95 % interval is {AsRead.Range(range)}. {limit}.{again}{scan}"
        )
        {
            Evidence = [.. sum.Last.Given.Select(Evidence.Of), .. sum.Last.Returns.Select(Evidence.Of)],
        };
    }

    /// <summary>A cycle of which nobody charted what came back; null where all is charted.</summary>
    private static Finding? Unanswered(Bedside bedside, RunOfCycles run)
    {
        if (run.BesideFlow || run.Unreturned.LastOrDefault() is not { } cycle || (cycle.Clamped && cycle.Stayed is null))
            return null;
        var due = cycle.Given[^1].At + (cycle.Stayed ?? Duration.Zero) + bedside.Balance.Settings.ReturnWithin;
        return bedside.At < due && cycle == run.Cycles[^1]
            ? new Finding.NotRaised { LookAgain = due }
            : new Finding.Undecided(
                $"what came back of cycle {cycle.Number}, instilled at {bedside.Said(cycle.Start)}, is not charted",
                "a reading of the return, or a bladder scan"
            );
    }
}
