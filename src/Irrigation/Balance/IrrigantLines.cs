using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>A bag with what is charted of its flow, and whether a pump delivers it.</summary>
internal sealed record BagOfLine(HangingBag Bag, FlowOfBag Flow, bool PumpFed);

/// <summary>The lines of an episode: what hangs on each, and how fast it runs by what is charted.</summary>
internal sealed class IrrigantLines(EpisodeLog log)
{
    // Looked up once: a balance asks for them thousands of times.
    private readonly ImmutableArray<IrrigantLine> lines = [.. Channel.Lines(log).Select(name => new IrrigantLine(log, name))];

    /// <summary>Whether any line has entries.</summary>
    public bool Any => lines.Length > 0;

    /// <summary>Each line that has entries.</summary>
    public ImmutableArray<IrrigantLine> All => lines;

    /// <summary>A line by its name, charted on or not.</summary>
    public IrrigantLine Named(string name) => lines.FirstOrDefault(line => line.Name == name) ?? new IrrigantLine(log, name);

    /// <summary>The bags that hang on a line within a time.</summary>
    public List<BagOfLine> Bags(IrrigantLine line, Instant start, Instant end) =>
        line.Bags.Count == 0 ? [] : HangingBag.Of(line.Bags, start, end).ConvertAll(bag => WithFlow(line, bag));

    /// <summary>
    /// What is left in the hanging bag, by its last reading and the flow since; null where none hangs or a pump delivers it.
    /// </summary>
    public Volume? LeftInBag(string name, Instant asOf)
    {
        var line = Named(name);
        if (RunningAt(line, asOf) is not { PumpFed: false } runs)
            return null;
        var last = runs.Bag.Readings.LastOrDefault(r => r.At <= asOf)?.At ?? runs.Bag.From;
        var left = Remaining(runs.Bag, last) - runs.Flow.Over(last, asOf);
        return left > Volume.Zero ? left : Volume.Zero;
    }

    /// <summary>
    /// How fast a line runs, by what is charted; null where that is not known. Nothing runs where a bag was taken down and none hung.
    /// </summary>
    /// <remarks>
    /// A bag that was hung after a stop, and whose flow nobody charted since, may run or not. One that hangs on a line of which no flow was
    /// ever charted waits, where another line runs.
    /// </remarks>
    public FlowRate? FlowAt(string line, Instant asOf)
    {
        var (bag, pump, total) = (
            log[Channel.Bag(line)].LastAtOrBefore(asOf),
            log[Channel.Pump(line)].LastAtOrBefore(asOf),
            log[Channel.Total(line)].LastAtOrBefore(asOf)
        );
        var hangs = BagHangs(line, asOf);
        if (bag is BagTakenDown && !hangs && !(pump?.At > bag.At) && !(total?.At > bag.At))
            return FlowRate.Stopped;
        if (log[Channel.Flow(line)].LastAtOrBefore(asOf) is FlowSet flow)
        {
            var untold = flow.Rate <= FlowRate.Stopped && hangs && RunningAt(Named(line), asOf) is { PumpFed: false, Flow.Pieces.Count: 0 };
            return untold ? null : flow.Rate;
        }

        if (hangs)
            return WaitsBeside(line, asOf) ? FlowRate.Stopped : null;
        var irrigant = Instant.Max(pump?.At ?? Instant.MinValue, total?.At ?? Instant.MinValue);
        var irrigated = pump is not null || total is not null;
        return irrigated && !(log[Channel.BladderUrine].LastAtOrBefore(asOf)?.At > irrigant) ? null : FlowRate.Stopped;
    }

    /// <summary>Whether a bag hangs on a line.</summary>
    public bool BagHangs(string line, Instant asOf) =>
        log[Channel.Bag(line)].LastAtOrBefore(asOf) switch
        {
            BagHung or BagRead => true,
            BagTakenDown { Bag: not null } => RunningAt(Named(line), asOf) is not null,
            _ => false,
        };

    /// <summary>Whether another line runs by its charted flow: then a bag on a line of which none was charted is a reserve.</summary>
    public bool WaitsBeside(string name, Instant at) =>
        lines.Any(other =>
            other.Name != name
            && other.Flows.LastAtOrBefore(at) is FlowSet { Rate: var rate }
            && rate > FlowRate.Stopped
            && FlowAt(other.Name, at) is { } flow
            && flow > FlowRate.Stopped
        );

    /// <summary>
    /// What was left in a bag at a reading, as charted: a flow cannot deliver more. Of several readings the lowest stands.
    /// </summary>
    public static Volume Remaining(HangingBag bag, Instant upTo)
    {
        Volume? left = bag.Hung is { } hung ? hung.Labelled - (hung.TubingPrime ?? Volume.Zero) : null;
        foreach (var reading in bag.Readings.TakeWhile(r => r.At <= upTo))
        {
            if (HangingBag.LeftBy(reading) is { } read)
                left = left is { } so && so < read ? so : read;
        }

        return left ?? Volume.Zero;
    }

    private BagOfLine? RunningAt(IrrigantLine line, Instant at)
    {
        var bag = line.Bags.Count == 0 ? null : HangingBag.Of(line.Bags, at, at).Find(b => b.RunsAt(at));
        return bag is null ? null : WithFlow(line, bag);
    }

    private BagOfLine WithFlow(IrrigantLine line, HangingBag bag) => new(bag, FlowOf(line, bag), PumpFed(line, bag));

    /// <summary>The flows in force in the life of a bag.</summary>
    /// <remarks>
    /// A flow that ran on when it was hung goes on. One that had been stopped before does not tell of this bag: it runs from the first
    /// flow that is charted of it. So does the first bag of a line; what it ran before that is not known, unless another line ran then and
    /// this one waited beside it.
    /// </remarks>
    private FlowOfBag FlowOf(IrrigantLine line, HangingBag bag)
    {
        if (bag.Waits || line.Flows.Count == 0)
            return new([], false);
        var pieces = new List<FlowFrom>();
        var before = line.Flows.LastAtOrBefore(bag.From) as FlowSet;
        if (before is not null && (before.Rate > FlowRate.Stopped || before.At >= bag.From))
            pieces.Add(new(bag.From, before));
        for (var i = line.Flows.FirstAfter(bag.From); line.Flows.At(i) is FlowSet set && !(set.At >= bag.To); i++)
            pieces.Add(new(set.At, set));
        var late = pieces.Count > 0 && pieces[0].From > bag.From && before is null && pieces[0].Set.Rate > FlowRate.Stopped;
        return new(pieces, late && !OthersRunAt(line.Name, bag.From));
    }

    private bool OthersRunAt(string name, Instant at) =>
        lines.Any(other => other.Name != name && other.Flows.LastAtOrBefore(at) is FlowSet { Rate: var rate } && rate > FlowRate.Stopped);

    /// <summary>Whether a pump delivers what hangs there: then its counter is the measurement and the bag only a store.</summary>
    private static bool PumpFed(IrrigantLine line, HangingBag bag) =>
        line.Pumps.Count > 0 && line.Pumps.NextAfter(bag.From) is { } reading && !(reading.At > bag.To);
}
