using Irrigation.Episodes;
using Irrigation.Runs;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>How the latest run of cycles differs from its order: aliquot, solution, additive, number of cycles, dwell.</summary>
/// <remarks>What was given is held against what was ordered by then, and not against what was changed since.</remarks>
internal static class OrderedCycles
{
    /// <summary>
    /// When a run will be over though nothing is charted, so that fewer cycles than ordered can be said; null where it is.
    /// </summary>
    public static Instant? LooksAgain(Bedside bedside) => bedside.Cycled.Latest?.OverAt;

    /// <summary>Each difference in words.</summary>
    public static IEnumerable<string> Differences(Bedside bedside, OrderInForce inForce)
    {
        var order = inForce.Terms;
        if (bedside.Log[Channel.Aliquot].LastAtOrBefore(bedside.At) is not IrrigantInstilled latest || latest.At < inForce.Start)
            yield break;
        foreach (var difference in OfAliquot(bedside, inForce, latest))
            yield return difference;
        if (bedside.Cycled.Latest is not { } run)
            yield break;

        var many = inForce.SaidLast(Many) <= run.First.At;
        if (many && run.Cycles.Length > order.Cycles)
            yield return $"{Count(order.Cycles.Value)} ordered and {run.Cycles.Length} were given from {bedside.Said(run.Start)}";
        if (
            many
            && run.Cycles.Length < order.Cycles
            && run.IsOver
            && run.Outcome is not (RunOutcome.TargetReached or RunOutcome.EndedOtherwise)
        )
        {
            var given = $"{run.Cycles.Length} given from {bedside.Said(run.Start)}";
            yield return $"{Count(order.Cycles.Value)} ordered and {given}, and nobody said why";
        }

        if (many && order.UntilClear == true && run.Outcome == RunOutcome.TargetNotReached)
            yield return $"cycles until clear are ordered and the run from {bedside.Said(run.Start)} ended before: {run.Why}";
        foreach (var cycle in run.Cycles)
        {
            if (
                order.Dwell is { } dwell
                && inForce.SaidLast(o => o.Dwell) <= cycle.Start
                && cycle.Stayed is { } stayed
                && stayed < dwell - bedside.Settings.DwellShorterBy
            )
            {
                yield return FormattableString.Invariant(
                    $"a dwell of {dwell.TotalMinutes:0.#} min is ordered and cycle {cycle.Number} stayed {stayed.TotalMinutes:0.#} min"
                );
            }
        }
    }

    private static IEnumerable<string> OfAliquot(Bedside bedside, OrderInForce inForce, IrrigantInstilled given)
    {
        var order = inForce.Terms;
        bool Then(Func<OrderSet, object?> of) => inForce.SaidLast(of) <= given.At;
        var at = bedside.Said(given.At);
        var doubt = bedside.Balance.Settings.Characters.Total(given).Errors.StandardUncertainty * 2;
        if (order.OfOneCycle is { } amount && Then(o => o.OfOneCycle))
        {
            if (given.Amount > amount)
                yield return $"{amount} is ordered and {given.Amount} was given at {at}";
            else if (order.Aliquot is not null && given.Amount + doubt < amount && given.Intended is null)
                yield return $"{amount} is ordered and only {given.Amount} was given at {at}";
        }

        if (
            given.Solution is { } solution
            && order.Solution is { } ordered
            && Then(o => o.Solution)
            && !OrderMismatch.Same(solution, ordered)
        )
            yield return $"{ordered} is ordered and {solution} was given at {at}";
        if (given.Additive is { } additive && Then(o => o.Additive) && !(order.Additive is { } drug && OrderMismatch.Same(additive, drug)))
            yield return $"{order.Additive ?? "no additive"} is ordered and {additive} was given at {at}";
        if (given.Expiry < given.At.InZone(bedside.Log.Frame.Zone).Date)
            yield return $"what was given at {at} had expired";
        if (order.ByCycles && order.Ends <= given.At)
            yield return $"the order expired at {bedside.Said(order.Ends.Value)} and {given.Amount} was given at {at}";
    }

    private static object? Many(OrderSet order) => order is { Cycles: null, UntilClear: null } ? null : (order.Cycles, order.UntilClear);

    private static string Count(int cycles) => cycles == 1 ? "1 cycle is" : FormattableString.Invariant($"{cycles} cycles are");
}
