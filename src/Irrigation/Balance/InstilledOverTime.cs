using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>What ran in over a time.</summary>
/// <param name="Amount">I, as charted and at its best, with its doubts; null where unknown.</param>
/// <param name="Charted">The same by the times at which it was charted, for the simple number; null where unknown.</param>
/// <param name="Provisional">A reading of the irrigant that covers the end is still to come.</param>
/// <param name="Caveats">What a reader should know.</param>
/// <param name="Parts">The working.</param>
internal sealed record Instilled(Measured? Amount, Volume? Charted, bool Provisional, CaveatSet Caveats, ImmutableArray<Part> Parts);

/// <summary>
/// I(t): the irrigant as a density over time, piecewise constant. Measured stretches run from one reading of a line to the next;
/// within one, the flow rates give the shape and the measurement the amount. Time that no stretch covers counts by its flow rate.
/// </summary>
internal sealed class InstilledOverTime(EpisodeLog log, BalanceSettings settings)
{
    // Looked up once: a balance asks for them thousands of times.
    private readonly ImmutableArray<Line> lines = [.. Channel.Lines(log).Select(name => new Line(log, name))];
    private readonly Timeline clamps = log[Channel.Clamp];
    private readonly Timeline outputs = log[Channel.BladderOutput];
    private readonly Timeline urines = log[Channel.BladderUrine];

    /// <summary>What was charted on a line.</summary>
    private sealed class Line(EpisodeLog log, string name)
    {
        public string Name => name;

        public Timeline Bags { get; } = log[Channel.Bag(name)];

        public Timeline Pumps { get; } = log[Channel.Pump(name)];

        public Timeline Totals { get; } = log[Channel.Total(name)];

        public Timeline Flows { get; } = log[Channel.Flow(name)];

        public Timeline Syringes { get; } = log[Channel.Syringe(name)];

        public Timeline Discarded { get; } = log[Channel.Discarded(name)];

        /// <summary>The bag that was asked for last. Never changed, only replaced, so that two processors may ask.</summary>
        public AskedBag? Asked { get; set; }
    }

    /// <summary>A bag and all evidence of its flow.</summary>
    private sealed record AskedBag(HangingBag Bag, BagFlow Flow);

    /// <summary>A time for which a line's irrigant was measured as one amount.</summary>
    private sealed record Stretch(Instant Start, Instant End, Measured? Amount, EntryKey Entry, Caveat? Doubt, Readings? Readings = null)
    {
        /// <summary>The bag that it was read of; null for a counter or a total.</summary>
        public HangingBag? Bag { get; init; }

        /// <summary>What is charted of the bag's flow.</summary>
        public FlowOfBag? Flow { get; init; }
    }

    /// <summary>A bag with what is charted of its flow, and whether a pump delivers it.</summary>
    private sealed record BagOfLine(HangingBag Bag, FlowOfBag Flow, bool PumpFed);

    /// <summary>Whether any line has entries.</summary>
    public bool AnyLine => lines.Length > 0;

    /// <summary>Irrigant after <paramref name="start"/>, up to and including <paramref name="end"/>.</summary>
    public Instilled Between(Instant start, Instant end)
    {
        var sum = new Sum();
        foreach (var line in lines)
            AddLine(sum, line, start, end);
        return sum.Result();
    }

    /// <summary>The time whose working an entry of a line can touch.</summary>
    /// <remarks>Whatever is charted of a bag or of its flow is evidence of all of its life.</remarks>
    public Interval Touched(string name, Entry entry)
    {
        var (line, at) = (Named(name), entry.At);
        var (bags, pumps, totals, flows) = (line.Bags, line.Pumps, line.Totals, line.Flows);
        if (entry is IrrigantInstilled { AtOnce: true })
            return new(at - settings.DwellLead, at + settings.DwellLead);
        Instant?[] before =
        [
            BeginningOfBag(line, at - Duration.Epsilon),
            bags.LastBefore(at)?.At,
            pumps.LastBefore(at)?.At,
            totals.LastBefore(at)?.At,
            entry.Header.From is { } begins ? EarliestStart(begins) : null,
            totals.NextAfter(at)?.Header.From,
        ];
        var from = Instant.Min(before.Min(i => i ?? at), EarliestStart(at));

        // To the next reading of the kind that could take over from this one, as it does for whatever begins at the reading before it;
        // where there is none, the tail stays open.
        Instant? to = entry switch
        {
            BagHung or BagRead or BagTakenDown => Later(EndOfBags(line, at), NextHung(bags, at) is { } hung ? NextHung(bags, hung) : null),
            PumpTotalRead => Later(pumps.NextAfter(at)?.At, bags.Count > 0 ? EndOfBags(line, pumps.NextAfter(at)?.At ?? at) : at),
            IrrigantInstilled => totals.NextAfter(at)?.At,
            IrrigantDiscarded => Later(EndOfBags(line, at), pumps.Count > 0 ? pumps.NextAfter(at)?.At : at),
            _ => flows.NextAfter(at)?.At is { } changed
                ? Later(
                    new[] { pumps, totals }
                        .Where(t => t.Count > 0)
                        .Select(t => t.NextAfter(changed)?.At)
                        .Append(EndOfBags(line, changed))
                        .ToArray()
                )
                : null,
        };

        // A flow tells of a bag on another line that it waits: to the end of whatever hangs there.
        if (entry is FlowSet && lines.Length > 1 && to is { } until)
        {
            foreach (var other in lines.Where(l => l.Name != name && l.Bags.Count > 0))
                to = Later(to, EndOfBags(other, until));
        }

        if (entry is FlowSet && lines.Length > 1)
        {
            foreach (var other in lines.Where(l => l.Name != name))
                from = Instant.Min(from, BeginningOfBag(other, at) ?? from);
        }

        return new(from, to);
    }

    /// <summary>When what hangs at a moment began to hang, with whatever hangs beside it; null where nothing does.</summary>
    private static Instant? BeginningOfBag(Line line, Instant at)
    {
        Instant? first = FirstOfBag(line.Bags, at)?.At;
        foreach (var bag in HangingBag.Of(line.Bags, at, at).Where(bag => !(bag.To <= at)))
        {
            var began = bag.Hung?.At ?? bag.From;
            first = first is { } earlier ? Instant.Min(earlier, began) : began;
        }

        return first;
    }

    /// <summary>
    /// The end of all bags that hang at a moment or are hung next; the moment where there is none, null where one still hangs.
    /// </summary>
    private static Instant? EndOfBags(Line line, Instant at)
    {
        Instant? end = at;
        foreach (var bag in HangingBag.Of(line.Bags, at - Duration.Epsilon, NextHung(line.Bags, at) ?? at))
        {
            if (bag.To is null)
                return null;
            end = Instant.Max(end.Value, bag.To.Value);
        }

        return end;
    }

    /// <summary>What a reading of a bag or pump says ran since the one before; null for a first reading, which measures nothing.</summary>
    public Part? MeasuredBy(string name, Entry reading)
    {
        var stretch = Measured(Named(name), reading.At - Duration.Epsilon, reading.At).FirstOrDefault(s => s.Entry == reading.Key);
        return stretch is null
            ? null
            : new(PartKind.Irrigant, stretch.Entry, stretch.Start, stretch.End, stretch.Amount?.Charted, stretch.Amount?.Charted);
    }

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
        var irrigant = Later(pump?.At ?? Instant.MinValue, total?.At ?? Instant.MinValue)!.Value;
        var irrigated = pump is not null || total is not null;
        return irrigated && !(log[Channel.BladderUrine].LastAtOrBefore(asOf)?.At > irrigant) ? null : FlowRate.Stopped;
    }

    /// <summary>Whether another line runs by its charted flow: then a bag on a line of which none was charted is a reserve.</summary>
    private bool WaitsBeside(string name, Instant at) =>
        lines.Any(other =>
            other.Name != name
            && other.Flows.LastAtOrBefore(at) is FlowSet { Rate: var rate }
            && rate > FlowRate.Stopped
            && FlowAt(other.Name, at) is { } flow
            && flow > FlowRate.Stopped
        );

    private BagOfLine? RunningAt(Line line, Instant at)
    {
        var bag = line.Bags.Count == 0 ? null : HangingBag.Of(line.Bags, at, at).Find(b => b.RunsAt(at));
        return bag is null ? null : WithFlow(line, bag);
    }

    private BagOfLine WithFlow(Line line, HangingBag bag) => new(bag, FlowOf(line, bag), PumpFed(line, bag));

    /// <summary>The flows in force in the life of a bag.</summary>
    /// <remarks>
    /// A flow that ran on when it was hung goes on. One that had been stopped before does not tell of this bag: it runs from the first
    /// flow that is charted of it. So does the first bag of a line; what it ran before that is not known, unless another line ran then and
    /// this one waited beside it.
    /// </remarks>
    private FlowOfBag FlowOf(Line line, HangingBag bag)
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

    /// <summary>Whether a bag hangs on a line.</summary>
    public bool BagHangs(string line, Instant asOf) =>
        log[Channel.Bag(line)].LastAtOrBefore(asOf) switch
        {
            BagHung or BagRead => true,
            BagTakenDown { Bag: not null } => RunningAt(Named(line), asOf) is not null,
            _ => false,
        };

    /// <summary>The earliest start that a reading after an instant could take for want of a charted one.</summary>
    public Instant EarliestStart(Instant at)
    {
        var from = at;
        foreach (var line in lines)
            from = Instant.Min(from, ImplicitStart(line, at));
        return from;
    }

    /// <summary>
    /// The time of all stretches, whichever line, that reach into a time, and all of the life of their bags: a clamp reshapes them.
    /// </summary>
    public Interval Reaching(Instant start, Instant end)
    {
        var (from, to) = (start, end);
        foreach (var line in lines)
        {
            foreach (var stretch in Measured(line, start, end))
            {
                from = Instant.Min(from, stretch.Bag?.From ?? stretch.Start);
                to = Instant.Max(to, stretch.Bag?.Readings[^1].At ?? stretch.End);
            }
        }

        return new(from, to);
    }

    private Line Named(string name) => lines.FirstOrDefault(line => line.Name == name) ?? new Line(log, name);

    private static Instant? Later(params Instant?[] instants) => instants.Any(i => i is null) ? null : instants.Max();

    private static Instant? NextHung(Timeline bags, Instant at) => Next(bags, at, e => e is BagHung);

    private static Instant? EndOfBag(Timeline bags, Instant at) => Next(bags, at, e => e is BagHung or BagTakenDown);

    private static Instant? Next(Timeline bags, Instant at, Func<Entry, bool> wanted)
    {
        for (var i = bags.FirstAfter(at); i < bags.Count; i++)
        {
            if (wanted(bags[i]))
                return bags[i].At;
        }

        return null;
    }

    /// <summary>
    /// The first entry about the bag that hangs at an instant: its hanging, or where that was not charted its first reading.
    /// </summary>
    private static Entry? FirstOfBag(Timeline bags, Instant at)
    {
        Entry? first = null;
        for (var i = bags.FirstAfter(at) - 1; i >= 0 && bags[i] is not BagTakenDown; i--)
        {
            first = bags[i];
            if (first is BagHung)
                break;
        }

        return first;
    }

    private void AddLine(Sum sum, Line line, Instant start, Instant end)
    {
        var bags = line.Bags.Count == 0 ? [] : HangingBag.Of(line.Bags, start, end).ConvertAll(bag => WithFlow(line, bag));
        var stretches = Measured(line, bags, start, end);
        foreach (var stretch in stretches)
        {
            var (share, spread) = stretch.Amount is { } amount ? Share(line, stretch, start, end, amount) : default;
            if (stretch.Bag is not null)
                share = OfBag(share.Charted);
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

        AddSyringes(sum, line, start, end);
        // A bag that waited beside the one that ran says nothing of that one.
        var running = stretches.FindAll(stretch => stretch.Bag is not { Waits: true });
        foreach (var (from, to) in Uncovered(running, start, end))
            AddUncovered(sum, line, bags, from, to, end);
        foreach (var bag in bags)
        {
            if (bag.Flow.StartUnknown && start < bag.Flow.Pieces[0].From && end > bag.Bag.From)
                sum.Note(Caveat.FlowStartUnknown);
            sum.Weigh(bag.PumpFed ? ByLabelToo(line, bag, start, end) : Weighed(line, bag, start, end));
        }
    }

    /// <summary>As charted; what is most likely true of it, and its doubts, are worked out of all that is known of the bag.</summary>
    private static Measured OfBag(Volume charted) => new(charted, Volume.Zero, ErrorBudget.None);

    /// <summary>What a bag gave in a time, by all that is known of it.</summary>
    private Measured Weighed(Line line, BagOfLine of, Instant start, Instant end)
    {
        var bag = of.Bag;
        var (from, to) = (Instant.Max(start, bag.From), bag.To is { } ended ? Instant.Min(end, ended) : end);
        if (to <= from || Held(line, bag) is not { } held)
            return Irrigation.Measures.Measured.Nothing;
        var (best, errors) = FlowOf(line, of, held).Between(from, to);
        return new(Volume.Zero, Volume.FromMillilitres((decimal)Math.Round(best, 6)), errors);
    }

    /// <summary>The flow of a bag by all evidence of it, worked out once for the intervals that ask for it one after the other.</summary>
    private BagFlow FlowOf(Line line, BagOfLine of, Measured held)
    {
        var bag = of.Bag;
        if (line.Asked is { } asked && asked.Bag.IsAsKnown(bag))
            return asked.Flow;
        var flow = new BagFlow(settings, bag, of.Flow, held, at => DiscardedBetween(line, bag.From, at), Unclamped, TimedByDevice);
        line.Asked = new(bag, flow);
        return flow;
    }

    /// <summary>
    /// A counter is weighed with the label of the bag that it emptied: what that adds to what the counter says of a time.
    /// </summary>
    private Measured ByLabelToo(Line line, BagOfLine of, Instant start, Instant end)
    {
        var nothing = Irrigation.Measures.Measured.Nothing;
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
        var difference = new LinearForm(joint).Add(held).Add(left, -1).Add(DiscardedBetween(line, bag.From, last.At), -1).Add(all, -1);
        if (JointEstimate.Surprise(difference) > BagFlow.Contradiction)
            return nothing; // poured away, or not its pump
        joint.Observe(difference);
        joint.Complete();
        var (best, errors) = joint.Given(new LinearForm(joint).Add(asked));
        return new(Volume.Zero, Volume.FromMillilitres((decimal)Math.Round(best, 6)) - asked.Best, errors - asked.Errors);
    }

    /// <summary>What counters say of a time; null where they do not cover it.</summary>
    private Measured? Counted(Line line, Instant start, Instant end)
    {
        var pumps = Pumps(line, start, end).Where(s => s.End > start && s.Start < end).ToList();
        if (pumps.Count == 0 || pumps[0].Start > start || pumps[^1].End < end || pumps.Exists(s => s.Amount is null))
            return null;
        return pumps.Aggregate(Irrigation.Measures.Measured.Nothing, (sum, s) => sum + Share(line, s, start, end, s.Amount!.Value).Share);
    }

    /// <summary>What of a bag could run: by its label, or by its first reading; null where nothing tells.</summary>
    private Measured? Held(Line line, HangingBag bag)
    {
        if (bag.Hung is { } hung)
            return Usable(hung, line.Bags[0] == hung);
        return HangingBag.LeftBy(bag.Readings[0]) is { } first ? settings.Characters.Left(first, bag.Readings[0].Header, bag.Key) : null;
    }

    private Measured DiscardedBetween(Line line, Instant start, Instant end) =>
        line.Discarded.Count == 0
            ? Irrigation.Measures.Measured.Nothing
            : line
                .Discarded.After(start, end)
                .Cast<IrrigantDiscarded>()
                .Aggregate(Irrigation.Measures.Measured.Nothing, (sum, d) => sum + settings.Characters.Discarded(d));

    /// <summary>Whether all that was read of the drainage at a moment was read by a device.</summary>
    internal bool TimedByDevice(Instant at)
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

    private decimal Unclamped(Instant start, Instant end) => Elapsed.Between(start, end) - Clamped(start, end);

    private void AddSyringes(Sum sum, Line line, Instant start, Instant end)
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

    private void AddUncovered(Sum sum, Line line, List<BagOfLine> bags, Instant from, Instant to, Instant end)
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

    private void AddPiece(Sum sum, Line line, List<BagOfLine> bags, Instant from, Instant to, Instant end)
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
    private bool BeforeFirstTotal(Line line, Instant at) =>
        line.Totals.At(0) is { Header.From: { } first } total
        && at < first
        && !(urines.NextAfter(at)?.At <= total.At)
        && !Array.Exists([line.Bags, line.Pumps, line.Flows], t => t.LastAtOrBefore(total.At) is not null);

    /// <summary>A bag that runs and was not read since: by its flow, where that is known.</summary>
    private void AddFromBag(Sum sum, Line line, BagOfLine runs, Instant from, Instant to)
    {
        var bag = runs.Bag;
        var replaced = bag.ReplacedBy is not null;
        sum.Note(replaced ? Caveat.BagEndUnknown : Caveat.IrrigantNotReadYet);
        if (!replaced)
            sum.Awaits();
        if (runs.Flow.At(from) is not { } flow)
        {
            // A reserve beside a line that runs; else nobody can tell, but for the few minutes of which the bag before tells.
            if (WaitsBeside(line.Name, from))
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
        var left = Remaining(bag, last);
        var ran = Smaller(runs.Flow.Over(last, to), left) - Smaller(runs.Flow.Over(last, from), left);
        sum.FromRate(set.Key, from, to, OfBag(ran), charted: replaced);
    }

    /// <summary>How fast the bag before ran, by what was read of it; null where there was none, or something else lay between.</summary>
    private static FlowRate? MeanBefore(Line line, HangingBag bag)
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

    /// <summary>Measured stretches that reach into the time after <paramref name="start"/>, up to <paramref name="end"/>.</summary>
    private List<Stretch> Measured(Line line, Instant start, Instant end) =>
        Measured(line, line.Bags.Count == 0 ? [] : HangingBag.Of(line.Bags, start, end).ConvertAll(bag => WithFlow(line, bag)), start, end);

    private List<Stretch> Measured(Line line, List<BagOfLine> bags, Instant start, Instant end)
    {
        var measured = new List<Stretch>();
        void Take(IEnumerable<Stretch> stretches)
        {
            foreach (var stretch in stretches)
            {
                // In no time nothing has run but what was read.
                if (stretch.Start == stretch.End && stretch.Amount is null)
                    continue;
                if (stretch.End > start && (stretch.Start < end || stretch.End <= end))
                    measured.Add(stretch);
            }
        }

        foreach (var bag in bags.Where(bag => !bag.PumpFed))
            Take(OfBag(line, bag));
        if (line.Pumps.Count > 0)
            Take(Pumps(line, start, end));
        if (line.Totals.Count > 0)
            Take(Totals(line, start, end));
        return measured;
    }

    /// <summary>From reading to reading of one bag, what went out of it as charted.</summary>
    private IEnumerable<Stretch> OfBag(Line line, BagOfLine of)
    {
        var (bag, at) = (of.Bag, of.Bag.From);
        Entry? before = bag.Hung;
        var left = bag.Hung is { } hung ? Usable(hung, line.Bags[0] == hung).Charted : Volume.Zero;
        var (full, prime) = (bag.Hung?.Labelled ?? Volume.Zero, bag.Hung?.TubingPrime);
        foreach (var entry in bag.Readings)
        {
            var now = HangingBag.LeftBy(entry);
            if (before is null)
            {
                yield return new(UnknownStart(line, entry.At), entry.At, null, entry.Key, Caveat.BagStartUnknown);
            }
            else if (now is not { } remaining)
            {
                if (of.Flow.At(at) is null)
                    yield return new(at, entry.At, null, entry.Key, Caveat.BagEndUnknown);
            }
            else
            {
                var rose = remaining > left;
                var discarded = DiscardedBetween(line, at, entry.At).Charted;
                yield return new(
                    at,
                    entry.At,
                    OfBag(rose ? Volume.Zero : left - remaining - discarded),
                    entry.Key,
                    Doubt(line.Bags, before, rose),
                    rose ? null : new(full, prime, remaining) { Discarded = discarded == Volume.Zero ? null : discarded }
                )
                {
                    Bag = bag,
                    Flow = of.Flow,
                };
            }

            if (now is { } known && (before is null || known <= left))
                (left, full, prime) = (known, known, null);
            (before, at) = (entry, entry.At);
        }

        if (bag.ReplacedBy is { } next && of.Flow.At(at) is null)
            yield return new(at, next.At, null, next.Key, Caveat.BagEndUnknown);
    }

    private static Caveat? Doubt(Timeline bags, Entry before, bool rose)
    {
        if (rose)
            return Caveat.BagLevelRose;
        return before is BagHung { TubingPrime: null } && bags[0] == before ? Caveat.TubingPrimeNotCharted : null;
    }

    /// <summary>What of a hung bag can reach the bladder: its content less what fills the tubing.</summary>
    private Measured Usable(BagHung hung, bool first)
    {
        var content = settings.Characters.Labelled(hung.Labelled, hung.BagType);
        if (hung.TubingPrime is { } prime)
            return content - new Measured(prime, prime, ErrorBudget.None);
        if (!first)
            return content;
        var (mean, half) = settings.Characters.UnchartedPrime;
        return content
            - new Measured(
                Volume.Zero,
                Volume.FromMillilitres(mean),
                ErrorBudget.Of(new("tubing of", hung.Key.Source, hung.Key.Id), ErrorBudget.Rectangular(half))
            );
    }

    /// <summary>
    /// What was left in a bag at a reading, as charted: a flow cannot deliver more. Of several readings the lowest stands.
    /// </summary>
    private static Volume Remaining(HangingBag bag, Instant upTo)
    {
        Volume? left = bag.Hung is { } hung ? hung.Labelled - (hung.TubingPrime ?? Volume.Zero) : null;
        foreach (var reading in bag.Readings.TakeWhile(r => r.At <= upTo))
        {
            if (HangingBag.LeftBy(reading) is { } read)
                left = left is { } so ? Smaller(so, read) : read;
        }

        return left ?? Volume.Zero;
    }

    /// <summary>Whether a pump delivers what hangs there: then its counter is the measurement and the bag only a store.</summary>
    private static bool PumpFed(Line line, HangingBag bag) =>
        line.Pumps.Count > 0 && line.Pumps.NextAfter(bag.From) is { } reading && !(reading.At > bag.To);

    private IEnumerable<Stretch> Pumps(Line line, Instant start, Instant end)
    {
        var pumps = line.Pumps;
        for (var i = Math.Max(pumps.FirstAfter(start) - 1, 0); i + 1 < pumps.Count && pumps[i].At <= end; i++)
        {
            var (from, to) = ((PumpTotalRead)pumps[i], (PumpTotalRead)pumps[i + 1]);
            var waste = DiscardedBetween(line, from.At, to.At);
            Volume? discarded = waste.Charted == Volume.Zero ? null : waste.Charted;
            if (to.Restarted)
                yield return new(
                    from.At,
                    to.At,
                    settings.Characters.Counted(to.Total, to) - waste,
                    to.Key,
                    null,
                    new(Volume.Zero, null, to.Total) { Discarded = discarded }
                );
            else if (to.Header.IsOfAnotherDeviceThan(from.Header))
                yield return new(from.At, to.At, null, to.Key, Caveat.DeviceChanged);
            else if (to.Total >= from.Total)
                yield return new(
                    from.At,
                    to.At,
                    settings.Characters.Counted(to.Total - from.Total, to) - waste,
                    to.Key,
                    null,
                    new(from.Total, null, to.Total) { Discarded = discarded }
                );
            else
                yield return new(from.At, to.At, null, to.Key, Caveat.PumpCounterReset);
        }
    }

    private IEnumerable<Stretch> Totals(Line line, Instant start, Instant end)
    {
        var totals = line.Totals;
        for (var i = totals.FirstAfter(start); i < totals.Count; i++)
        {
            var total = (IrrigantInstilled)totals[i];
            var from = total.Header.From ?? ImplicitStart(line, total.At);

            // Of two totals charted at one time the other may reach further back.
            if (from >= end && total.At > end && totals.At(i + 1)?.At != total.At)
                yield break;
            yield return new(from, total.At, settings.Characters.Total(total), total.Key, TotalDoubt(line, total));
        }
    }

    private Caveat? TotalDoubt(Line line, IrrigantInstilled total)
    {
        if (line.Bags.LastBefore(total.At) is BagHung or BagRead)
            return Caveat.TwoMeasuresOnOneLine;
        return total.Header.From is null && PreviousReading(line, total.At) is null ? Caveat.IrrigantStartUnknown : null;
    }

    /// <summary>
    /// A total without a start ran since the previous reading of its line, or since urine was last collected free of irrigant.
    /// </summary>
    private Instant ImplicitStart(Line line, Instant at) => PreviousReading(line, at) ?? log.Frame.Start;

    private Instant UnknownStart(Line line, Instant at) => Instant.Max(ImplicitStart(line, at), log.Frame.Start);

    private Instant? PreviousReading(Line line, Instant at)
    {
        Timeline[] readings = [line.Totals, line.Bags, line.Pumps, urines];
        return readings.Max(r => r.LastBefore(at)?.At);
    }

    /// <summary>The share of a stretch that falls into a time, with the doubt about its shape where an end lies within.</summary>
    private (Measured Share, Spread? By) Share(Line line, Stretch stretch, Instant start, Instant end, Measured amount)
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

    /// <summary>The running weight within a stretch: by flow where it is charted, else by unclamped time, else by time.</summary>
    private Func<Instant, decimal> Weights(Line line, Stretch stretch, out SpreadBy by)
    {
        Func<Instant, decimal> flow = stretch.Flow is { } ofBag
            ? at => ofBag.Over(stretch.Start, at).Millilitres
            : at => RateOver(line, stretch.Start, at, stretch.End - Duration.Epsilon).Millilitres;
        by = SpreadBy.ChartedFlow;
        if (flow(stretch.End) > 0)
            return flow;
        var clamped = Clamped(stretch.Start, stretch.End);
        by = clamped > 0 && clamped < Elapsed.Between(stretch.Start, stretch.End) ? SpreadBy.UnclampedTime : SpreadBy.ElapsedTime;
        if (by == SpreadBy.ElapsedTime)
            return at => Elapsed.Between(stretch.Start, at);
        return at => Elapsed.Between(stretch.Start, at) - Clamped(stretch.Start, at);
    }

    /// <summary>
    /// What the charted flow makes of a time; where none was charted at its start, the first one up to <paramref name="known"/> counts
    /// backwards.
    /// </summary>
    private static Volume RateOver(Line line, Instant start, Instant end, Instant known)
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

    private decimal Clamped(Instant start, Instant end)
    {
        var shut = clamps.LastAtOrBefore(start) is DrainClamped ? start : (Instant?)null;
        var sum = 0m;
        foreach (var change in clamps.After(start, end))
        {
            if (change is DrainClamped)
                shut ??= change.At;
            else if (shut is { } since)
            {
                sum += Elapsed.Between(since, change.At);
                shut = null;
            }
        }

        return shut is { } open ? sum + Elapsed.Between(open, end) : sum;
    }

    /// <summary>Adds up what the lines give.</summary>
    private sealed class Sum
    {
        private readonly ImmutableArray<Part>.Builder parts = ImmutableArray.CreateBuilder<Part>();
        private CaveatSet caveats;
        private readonly List<(ErrorBudget, double)> errors = [];
        private Volume? amount = Volume.Zero;
        private Volume best = Volume.Zero;
        private Volume? charted = Volume.Zero;
        private bool awaits;

        public void Measured(Part part, Measured? share)
        {
            parts.Add(part);
            Add(share);
        }

        public void FromRate(EntryKey entry, Instant start, Instant end, Measured ran, bool charted)
        {
            parts.Add(new(PartKind.IrrigantFromRate, entry, start, end, ran.Charted, ran.Charted));
            Add(ran);
            if (charted)
                this.charted += ran.Charted;
        }

        /// <summary>Adds what is most likely true of what was counted as charted already.</summary>
        public void Weigh(Measured weighed)
        {
            best += weighed.Best;
            errors.Add((weighed.Errors, 1));
        }

        /// <summary>
        /// A few minutes of a bag of which nothing is charted: as fast as the one before, or not at all, or twice as fast.
        /// </summary>
        public void Short(EntryKey bag, Instant start, Instant end, Volume ran)
        {
            Note(Caveat.FlowStartUnknown);
            parts.Add(new(PartKind.IrrigantFromRate, bag, start, end, ran, ran));
            Add(new(ran, ran, ErrorBudget.Of(new("start of the flow from", bag.Source, bag.Id), ErrorBudget.Rectangular(ran.Millilitres))));
        }

        public void Chart(Volume? volume) => charted += volume;

        public void Note(Caveat caveat) => caveats = caveats.Add(caveat);

        public void Awaits() => awaits = true;

        public void Unknown() => amount = null;

        public Instilled Result() =>
            new(
                amount is { } known ? new Measured(known, best, ErrorBudget.Sum([.. errors])) : null,
                charted,
                awaits,
                caveats,
                parts.ToImmutable()
            );

        private void Add(Measured? share)
        {
            amount += share?.Charted;
            if (share is not { } known)
                return;
            best += known.Best;
            errors.Add((known.Errors, 1));
        }
    }
}
