using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>
/// I(t): the irrigant as a density over time, piecewise constant. Measured stretches run from one reading of a line to the next;
/// within one, the flow rates give the shape and the measurement the amount. Time that no stretch covers counts by its flow rate.
/// </summary>
internal sealed class InstilledOverTime
{
    private readonly BalanceSettings settings;
    private readonly Timeline clamps;
    private readonly Timeline outputs;
    private readonly Timeline urines;
    private readonly StretchShares shares;
    private readonly WeighedBags weighed;

    public InstilledOverTime(EpisodeLog log, BalanceSettings settings)
    {
        this.settings = settings;
        (clamps, outputs, urines) = (log[Channel.Clamp], log[Channel.BladderOutput], log[Channel.BladderUrine]);
        var clampTimes = new ClampTimes(clamps);
        Lines = new(log);
        Stretches = new(log, settings, Lines);
        Reach = new(settings, Lines, Stretches);
        shares = new(settings, clampTimes, outputs);
        weighed = new(settings, Stretches, shares, clampTimes);
    }

    /// <summary>The lines, and what runs on each by what is charted.</summary>
    public IrrigantLines Lines { get; }

    /// <summary>What the readings measure.</summary>
    public MeasuredStretches Stretches { get; }

    /// <summary>How far each entry reaches.</summary>
    public IrrigantReach Reach { get; }

    /// <summary>Irrigant after <paramref name="start"/>, up to and including <paramref name="end"/>.</summary>
    public Instilled Between(Instant start, Instant end)
    {
        var sum = new InstilledSum();
        foreach (var line in Lines.All)
            AddLine(sum, line, start, end);
        return sum.Result();
    }

    private void AddLine(InstilledSum sum, IrrigantLine line, Instant start, Instant end)
    {
        var bags = Lines.Bags(line, start, end);
        var stretches = Stretches.Of(line, bags, start, end);
        foreach (var stretch in stretches)
            AddStretch(sum, line, stretch, start, end);
        AddSyringes(sum, line, start, end);

        // A bag that waited beside the one that ran says nothing of that one.
        var running = stretches.FindAll(stretch => stretch.Bag is not { Waits: true });
        foreach (var (from, to) in Uncovered(running, start, end))
            AddUncovered(sum, line, bags, from, to, end);
        foreach (var bag in bags)
        {
            if (bag.Flow.StartUnknown && start < bag.Flow.Pieces[0].From && end > bag.Bag.From)
                sum.Note(Caveat.FlowStartUnknown);
            sum.Weigh(weighed.Of(line, bag, start, end));
        }
    }

    private void AddStretch(InstilledSum sum, IrrigantLine line, Stretch stretch, Instant start, Instant end)
    {
        var (share, spread) = stretch.Amount is { } amount ? shares.Of(line, stretch, start, end, amount) : default;
        if (stretch.Bag is not null)
            share = MeasuredStretches.AsCharted(share.Charted);
        sum.Measured(
            new(
                PartKind.Irrigant,
                stretch.Entry,
                stretch.Start,
                stretch.End,
                stretch.Amount?.Charted,
                stretch.Amount is null ? null : share.Charted
            )
            {
                Readings = stretch.Readings,
                Spread = spread,
            },
            stretch.Amount is null ? null : share
        );
        if (stretch.End <= end)
            sum.Chart(stretch.Amount?.Charted);
        if (stretch.Doubt is { } doubt)
            sum.Note(doubt);
        if (stretch.Start < start || stretch.End > end)
            sum.Note(Caveat.IrrigantInterpolated);
        if (
            stretch.Amount?.Charted is { } whole
            && stretch.End > stretch.Start
            && FlowRate.Of(whole, stretch.End - stretch.Start) > settings.HighestGravityFlow
        )
        {
            sum.Note(Caveat.ImplausibleFlow);
        }

        if (stretch.Amount?.Charted > settings.LargestVolume)
            sum.Note(Caveat.ImplausibleVolume);
    }

    private void AddSyringes(InstilledSum sum, IrrigantLine line, Instant start, Instant end)
    {
        foreach (var given in line.Syringes.After(start - settings.DwellLead - Duration.Epsilon, end).Cast<IrrigantInstilled>())
        {
            if (given.At > start)
                sum.Chart(given.Amount);

            // What is left to dwell cannot drain before the clamp is released: it counts from the moment of clamping.
            var dwells = ClampedAfter(given.At);
            var counts = dwells is { } clamped ? clamped >= start && clamped < end : given.At > start;
            if (counts)
                sum.Measured(
                    new(PartKind.Irrigant, given.Key, given.At, given.At, given.Amount, given.Amount),
                    settings.Characters.Total(given)
                );
        }
    }

    /// <summary>The clamp that shuts in what was given at an instant: put on soon after, with nothing drained between.</summary>
    private Instant? ClampedAfter(Instant given)
    {
        if (clamps.At(clamps.FirstAtOrAfter(given)) is not DrainClamped clamp || clamp.At > given + settings.DwellLead)
            return null;
        return outputs.NextAfter(given) is { } output && output.At < clamp.At ? null : clamp.At;
    }

    private void AddUncovered(InstilledSum sum, IrrigantLine line, List<BagOfLine> bags, Instant from, Instant to, Instant end)
    {
        // From one entry of the line to the next.
        var (bag, pump) = (line.Bags.FirstAfter(from), line.Pumps.FirstAfter(from));
        var (total, flow) = (line.Totals.FirstAfter(from), line.Flows.FirstAfter(from));
        for (var start = from; start < to; )
        {
            var edge = to;
            if (line.Bags.At(bag) is { } one && one.At <= edge)
                edge = one.At;
            if (line.Pumps.At(pump) is { } two && two.At <= edge)
                edge = two.At;
            if (line.Totals.At(total) is { } three && three.At <= edge)
                edge = three.At;
            if (line.Flows.At(flow) is { } four && four.At <= edge)
                edge = four.At;
            AddPiece(sum, line, bags, start, edge, end);
            start = edge;
            while (line.Bags.At(bag)?.At <= edge)
                bag++;
            while (line.Pumps.At(pump)?.At <= edge)
                pump++;
            while (line.Totals.At(total)?.At <= edge)
                total++;
            while (line.Flows.At(flow)?.At <= edge)
                flow++;
        }
    }

    private void AddPiece(InstilledSum sum, IrrigantLine line, List<BagOfLine> bags, Instant from, Instant to, Instant end)
    {
        if (to <= from)
            return;
        var flow = line.Flows.LastAtOrBefore(from) as FlowSet;
        var lastBag = line.Bags.LastAtOrBefore(from);
        var lastPump = line.Pumps.LastAtOrBefore(from);
        var lastTotal = line.Totals.LastAtOrBefore(from);
        var runs = bags.Find(b => b.Bag.RunsAt(from));
        var pumpFed = runs?.PumpFed == true;
        var urineSince = urines.LastAtOrBefore(end)?.At;

        if (flow?.Rate > settings.HighestGravityFlow)
            sum.Note(Caveat.ImplausibleFlow);

        if (runs is { PumpFed: false })
        {
            AddFromBag(sum, line, runs, from, to);
        }
        else if (lastBag is BagTakenDown && !(lastPump?.At > lastBag.At) && !(lastTotal?.At > lastBag.At))
        {
            // Nothing hangs on the line: a measured nothing, whatever the last flow said.
        }
        else if (flow is not null)
        {
            if (flow.Rate <= FlowRate.Stopped)
                return;
            var awaited = lastPump is not null || lastTotal is not null;
            sum.Note(awaited ? Caveat.IrrigantNotReadYet : Caveat.IrrigantFromRate);
            if (awaited)
                sum.Awaits();
            sum.FromRate(flow.Key, from, to, settings.Characters.Ran(flow.Rate.Over(to - from), flow), charted: !awaited);
        }
        else if (pumpFed && lastPump is null)
        {
            // Until a counter is first read it has told nothing, unless it then stands at 0.
            if (((PumpTotalRead)line.Pumps[0]).Total > Volume.Zero)
                sum.Unknown();
        }
        else if (lastPump is not null && !(urineSince > lastPump.At))
        {
            sum.Note(Caveat.IrrigantNotReadYet);
            sum.Awaits();
            sum.Unknown();
        }
        else if (lastTotal is not null && !(urineSince > lastTotal.At))
        {
            sum.Note(Caveat.IrrigantNotCharted);
            sum.Awaits();
        }
        else if (BeforeFirstTotal(line, from))
        {
            // Totals of later times are charted and none of this: not charted is not nothing.
            sum.Note(Caveat.IrrigantNotCharted);
            sum.Awaits();
        }
    }

    /// <summary>
    /// Whether irrigation is charted in totals alone, the first of them begins after a moment, and no urine collected free of irrigant
    /// in between shows that nothing ran yet.
    /// </summary>
    private bool BeforeFirstTotal(IrrigantLine line, Instant at) =>
        line.Totals.At(0) is { Header.From: { } first } total
        && at < first
        && !(urines.NextAfter(at)?.At <= total.At)
        && !Array.Exists([line.Bags, line.Pumps, line.Flows], t => t.LastAtOrBefore(total.At) is not null);

    /// <summary>A bag that runs and was not read since: by its flow, where that is known.</summary>
    private void AddFromBag(InstilledSum sum, IrrigantLine line, BagOfLine runs, Instant from, Instant to)
    {
        var bag = runs.Bag;
        var replaced = bag.ReplacedBy is not null;
        sum.Note(replaced ? Caveat.BagEndUnknown : Caveat.IrrigantNotReadYet);
        if (!replaced)
            sum.Awaits();
        if (runs.Flow.At(from) is not { } flow)
        {
            // It is a reserve beside a line that runs. Else nobody can tell what ran, but for a few minutes: they are taken from the bag
            // before.
            if (Lines.WaitsBeside(line.Name, from))
                sum.Note(Caveat.FlowStartUnknown);
            else if (Elapsed.Between(bag.From, to) <= Elapsed.Of(settings.ShortUnknown) && MeanBefore(line, bag) is { } mean)
                sum.Short(bag.Key, from, to, mean.Over(to - from));
            else
                sum.Unknown();
            return;
        }

        var set = runs.Flow.Pieces.Last(p => p.From <= from || p == runs.Flow.Pieces[0]).Set;
        if (flow <= FlowRate.Stopped && from < runs.Flow.Pieces[0].From)
            return;
        if (replaced)
            sum.Note(Caveat.IrrigantFromRate);
        var last = bag.Readings.LastOrDefault(r => r.At <= from)?.At ?? bag.From;
        var left = IrrigantLines.Remaining(bag, last);
        var ran = Smaller(runs.Flow.Over(last, to), left) - Smaller(runs.Flow.Over(last, from), left);
        sum.FromRate(set.Key, from, to, MeasuredStretches.AsCharted(ran), charted: replaced);
    }

    /// <summary>How fast the bag before ran, by what was read of it; null where there was none, or something else lay between.</summary>
    private static FlowRate? MeanBefore(IrrigantLine line, HangingBag bag)
    {
        if (line.Bags.LastBefore(bag.From) is null && line.Bags.LastAtOrBefore(bag.From) is not BagTakenDown)
            return null;
        var before = HangingBag
            .Of(line.Bags, bag.From - Duration.Epsilon, bag.From - Duration.Epsilon)
            .LastOrDefault(b => !b.Waits && b.Hung is not null);
        if (before?.Readings.LastOrDefault() is not BagTakenDown { Remaining: { } left } down || down.At <= before.From)
            return null;
        var ran = before.Hung!.Labelled - (before.Hung.TubingPrime ?? Volume.Zero) - left;
        return ran < Volume.Zero ? null : FlowRate.Of(ran, down.At - before.From);
    }

    private static Volume Smaller(Volume left, Volume right) => left < right ? left : right;

    private static IEnumerable<(Instant From, Instant To)> Uncovered(List<Stretch> stretches, Instant start, Instant end)
    {
        if (stretches.Exists(s => s.Start <= start && s.End >= end))
            yield break; // as nearly always
        var from = start;
        foreach (var stretch in stretches.OrderBy(s => s.Start))
        {
            if (stretch.Start > from)
                yield return (from, stretch.Start);
            from = Instant.Max(from, stretch.End);
        }

        if (from < end)
            yield return (from, end);
    }
}
