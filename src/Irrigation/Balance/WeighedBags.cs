using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>
/// What bags gave, by all that is known of each: its label, its marks, its flow, and where a pump delivered it the counter.
/// </summary>
internal sealed class WeighedBags(BalanceSettings settings, MeasuredStretches stretches, StretchShares shares, ClampTimes clamps)
{
    /// <summary>What all that is known of a bag adds to what was charted of a time.</summary>
    public Measured Of(IrrigantLine line, BagOfLine bag, Instant start, Instant end) =>
        bag.PumpFed ? ByLabelToo(line, bag, start, end) : ByAllEvidence(line, bag, start, end);

    /// <summary>What a bag gave in a time, by all that is known of it.</summary>
    private Measured ByAllEvidence(IrrigantLine line, BagOfLine of, Instant start, Instant end)
    {
        var bag = of.Bag;
        var (from, to) = (Instant.Max(start, bag.From), bag.To is { } ended ? Instant.Min(end, ended) : end);
        if (to <= from || Held(line, bag) is not { } held)
            return Measured.Nothing;
        var (best, errors) = FlowOf(line, of, held).Between(from, to);
        return new(Volume.Zero, Volume.FromMillilitres((decimal)Math.Round(best, 6)), errors);
    }

    /// <summary>The flow of a bag by all evidence of it, worked out once for the intervals that ask for it one after the other.</summary>
    private BagFlow FlowOf(IrrigantLine line, BagOfLine of, Measured held)
    {
        var bag = of.Bag;
        if (line.Asked is { } asked && asked.Bag.IsAsKnown(bag))
            return asked.Flow;
        var flow = new BagFlow(
            settings,
            bag,
            of.Flow,
            held,
            at => stretches.DiscardedBetween(line, bag.From, at),
            clamps.Unclamped,
            shares.TimedByDevice
        );
        line.Asked = new(bag, flow);
        return flow;
    }

    /// <summary>
    /// A counter is weighed with the label of the bag that it emptied: what that adds to what the counter says of a time.
    /// </summary>
    private Measured ByLabelToo(IrrigantLine line, BagOfLine of, Instant start, Instant end)
    {
        var nothing = Measured.Nothing;
        var bag = of.Bag;
        if (
            bag.Readings.LastOrDefault(r => HangingBag.LeftBy(r) is not null) is not { } last
            || Held(line, bag) is not { } held
            || last.At <= bag.From
        )
            return nothing;
        var (from, to) = (Instant.Max(start, bag.From), Instant.Min(end, last.At));
        if (to <= from || Counted(line, bag.From, last.At) is not { } all || Counted(line, from, to) is not { } asked)
            return nothing;

        var joint = new JointEstimate();
        var left = settings.Characters.Left(HangingBag.LeftBy(last)!.Value, last.Header, bag.Key);
        var difference = new LinearForm(joint)
            .Add(held)
            .Add(left, -1)
            .Add(stretches.DiscardedBetween(line, bag.From, last.At), -1)
            .Add(all, -1);
        if (JointEstimate.Surprise(difference) > BagFlow.Contradiction)
            return nothing; // poured away, or not its pump
        joint.Observe(difference);
        joint.Complete();
        var (best, errors) = joint.Given(new LinearForm(joint).Add(asked));
        return new(Volume.Zero, Volume.FromMillilitres((decimal)Math.Round(best, 6)) - asked.Best, errors - asked.Errors);
    }

    /// <summary>What counters say of a time; null where they do not cover it.</summary>
    private Measured? Counted(IrrigantLine line, Instant start, Instant end)
    {
        var pumps = stretches.Pumps(line, start, end).Where(s => s.End > start && s.Start < end).ToList();
        if (pumps.Count == 0 || pumps[0].Start > start || pumps[^1].End < end || pumps.Exists(s => s.Amount is null))
            return null;
        return pumps.Aggregate(Measured.Nothing, (sum, s) => sum + shares.Of(line, s, start, end, s.Amount!.Value).Share);
    }

    /// <summary>What of a bag could run: by its label, or by its first reading; null where nothing tells.</summary>
    private Measured? Held(IrrigantLine line, HangingBag bag)
    {
        if (bag.Hung is { } hung)
            return stretches.Usable(hung, line.Bags[0] == hung);
        return HangingBag.LeftBy(bag.Readings[0]) is { } first ? settings.Characters.Left(first, bag.Readings[0].Header, bag.Key) : null;
    }
}
