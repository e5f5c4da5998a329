using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>The drip of an irrigation line, as it was charted by a moment.</summary>
/// <param name="Line">The line.</param>
/// <param name="Drip">What to count, what was counted, how long the bag lasts.</param>
/// <param name="IsOrdered">Whether the flow that is wanted is the order's; else it is the one that was set, in mL/h.</param>
/// <param name="CountedAt">When the drops were counted; null where nobody counted.</param>
public sealed record LineDrip(string Line, Drip Drip, bool IsOrdered, Instant? CountedAt)
{
    /// <summary>The drip of every line that has one; none once the episode has ended.</summary>
    public static ImmutableArray<LineDrip> Of(FluidBalance balance, Instant asOf) =>
        balance.Log.Frame.End <= asOf || asOf < balance.Log.Frame.Start
            ? []
            : [.. Channel.Lines(balance.Log).Select(line => Of(balance, line, asOf)).OfType<LineDrip>()];

    /// <summary>
    /// The drip of a line, whether anything is charted for it or not. Null where a pump runs it, where no flow is wanted and nothing was
    /// counted, and where neither order nor flow speaks of drops.
    /// </summary>
    /// <remarks>
    /// Wanted is what the order in force wants, unless it has expired: its volume over its time, or else its range; where a flow was set in
    /// mL/h since that was ordered, that flow. The drop factor is the one charted last with a flow of the line, or with the order if that
    /// is later.
    /// </remarks>
    public static LineDrip? Of(FluidBalance balance, string line, Instant asOf)
    {
        var flow = balance.Log[Channel.Flow(line)].LastAtOrBefore(asOf) as FlowSet;
        var order = Orders.InForce(balance.Log, asOf) is { } found && !(found.Terms.Ends <= asOf) ? found : null;
        if (ByPump(balance, line, flow, asOf))
            return null;

        var counted = flow is { DropsPerMinute: > 0 } ? flow.DropsPerMinute : null;
        var wasSet = counted is null && flow?.Rate > FlowRate.Stopped && !(flow.At < order?.SaidLast(WantedBy));
        var (set, ordered) = (SetOf(balance, line, order, asOf), WantedBy(order?.Terms));
        var wanted = wasSet ? WantedFlow.Exactly(flow!.Rate) : ordered;
        if (wanted is null && counted is null)
            return null;
        if (set is null && ordered is null && flow?.Header.How != MeasuringWay.Drops)
            return null;

        var left = Forecasts.BagEmpty(balance, line, asOf).In is null ? null : balance.LeftInBag(line, asOf);
        var drip = Drip.Of(wanted, set, counted, left, balance.Settings.Characters);
        return new(line, drip, !wasSet && wanted is not null, counted is null ? null : flow!.At);
    }

    /// <summary>It in words, a sentence each.</summary>
    /// <param name="said">How a time is said.</param>
    public IEnumerable<string> Says(Func<Instant, string> said) =>
        DripWords.Of(Drip, IsOrdered ? "Ordered" : "Set", CountedAt is { } at ? $" at {said(at)}" : "");

    /// <summary>The flow that an order wants; null where it names none.</summary>
    public static WantedFlow? WantedBy(OrderSet? order) =>
        order switch
        {
            { Amount: { } amount, Over: { } over } => WantedFlow.Exactly(FlowRate.Of(amount, over)),
            { AtLeast: null, AtMost: null } or null => null,
            _ => new(order.AtLeast, order.AtMost),
        };

    /// <summary>A pump counts for itself, by its counter or by what is said of the flow.</summary>
    private static bool ByPump(FluidBalance balance, string line, FlowSet? flow, Instant asOf) =>
        flow?.Header.How == MeasuringWay.Pump
        || (flow?.DropsPerMinute is null && balance.Log[Channel.Pump(line)].LastAtOrBefore(asOf) is not null);

    private static DropFactor? SetOf(FluidBalance balance, string line, OrderInForce? order, Instant asOf)
    {
        var flows = balance.Log[Channel.Flow(line)];
        for (var i = flows.FirstAfter(asOf) - 1; i >= 0; i--)
        {
            if (flows[i] is FlowSet { DropFactor: { } factor } flow)
                return order?.Terms.DropFactor is { } later && order.SaidLast(o => o.DropFactor) > flow.At ? later : factor;
        }

        return order?.Terms.DropFactor;
    }
}
