using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>
/// What of a measured stretch falls into a part of its time: by the charted flow where there is one, else by the time that the drain was
/// open, else by time.
/// </summary>
internal sealed class StretchShares(BalanceSettings settings, ClampTimes clamps, Timeline outputs)
{
    /// <summary>The share of a stretch that falls into a time, with the doubt about its shape where an end lies within.</summary>
    public (Measured Share, Spread? By) Of(IrrigantLine line, Stretch stretch, Instant start, Instant end, Measured amount)
    {
        if (stretch.Start >= start && stretch.End <= end)
            return (amount, null);
        var weigh = Weights(line, stretch, out var by);
        var (whole, from, to) = (weigh(stretch.End), weigh(Instant.Max(start, stretch.Start)), weigh(Instant.Min(end, stretch.End)));

        // As differences of running shares, so that the parts of any partition add up to the whole.
        var share = new Measured(
            amount.Charted.Share(to, whole) - amount.Charted.Share(from, whole),
            amount.Best.Share(to, whole) - amount.Best.Share(from, whole),
            amount.Errors * (double)((to - from) / whole)
        );
        var unit = by == SpreadBy.ChartedFlow ? 1 : Elapsed.PerHour;
        var spread = new Spread(by, (to - from) / unit, whole / unit);
        if (stretch.Bag is not null)
            return (share, spread); // its doubts are those of the whole bag
        var (a, b) = (from / whole, to / whole);

        // A flow that drifts by ±x over the stretch is off by x · p · (1 − p) of it at the fraction p; at both ends it is right again.
        var drift = ErrorBudget.Rectangular(
            by == SpreadBy.ChartedFlow ? settings.Characters.ChartedFlowDrift : settings.Characters.UnchartedFlowDrift
        );
        share = share.Doubting(
            new("shape of", stretch.Entry.Source, stretch.Entry.Id),
            drift * amount.Charted.Millilitres * ((b * (1 - b)) - (a * (1 - a)))
        );

        // And a reading taken a little earlier or later than charted met another level.
        var perMinute = amount.Charted.Millilitres * Elapsed.PerHour / 60 / Elapsed.Between(stretch.Start, stretch.End);
        if (stretch.End > end && !TimedByDevice(end))
            share = share.Doubting(new(BagFlow.Minute, At: end), perMinute * settings.Characters.ReadingTime);
        if (stretch.Start < start && !TimedByDevice(start))
            share = share.Doubting(new(BagFlow.Minute, At: start), -perMinute * settings.Characters.ReadingTime);
        return (share, spread);
    }

    /// <summary>Whether all that was read of the drainage at a moment was read by a device.</summary>
    public bool TimedByDevice(Instant at)
    {
        var i = outputs.FirstAtOrAfter(at);
        if (outputs.At(i)?.At != at)
            return false;
        for (; outputs.At(i) is { } reading && reading.At == at; i++)
        {
            if (reading.Header.Device is null)
                return false;
        }

        return true;
    }

    /// <summary>The running weight within a stretch: by flow where it is charted, else by unclamped time, else by time.</summary>
    private Func<Instant, decimal> Weights(IrrigantLine line, Stretch stretch, out SpreadBy by)
    {
        Func<Instant, decimal> flow = stretch.Flow is { } ofBag
            ? at => ofBag.Over(stretch.Start, at).Millilitres
            : at => RateOver(line, stretch.Start, at, stretch.End - Duration.Epsilon).Millilitres;
        by = SpreadBy.ChartedFlow;
        if (flow(stretch.End) > 0)
            return flow;
        var clamped = clamps.Clamped(stretch.Start, stretch.End);
        by = clamped > 0 && clamped < Elapsed.Between(stretch.Start, stretch.End) ? SpreadBy.UnclampedTime : SpreadBy.ElapsedTime;
        if (by == SpreadBy.ElapsedTime)
            return at => Elapsed.Between(stretch.Start, at);
        return at => Elapsed.Between(stretch.Start, at) - clamps.Clamped(stretch.Start, at);
    }

    /// <summary>
    /// What the charted flow makes of a time; where none was charted at its start, the first one up to <paramref name="known"/> counts
    /// backwards.
    /// </summary>
    private static Volume RateOver(IrrigantLine line, Instant start, Instant end, Instant known)
    {
        var flows = line.Flows;
        var i = flows.FirstAfter(start) - 1;
        var rate = (flows.At(i) ?? flows.At(0)) is FlowSet first && first.At <= known ? first.Rate : FlowRate.Stopped;
        var sum = Volume.Zero;
        var from = start;
        for (i++; i < flows.Count && flows[i].At < end; i++)
        {
            sum += rate.Over(flows[i].At - from);
            (from, rate) = (flows[i].At, ((FlowSet)flows[i]).Rate);
        }

        return sum + rate.Over(end - from);
    }
}
