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
    }

    /// <summary>A time for which a line's irrigant was measured as one amount.</summary>
    private sealed record Stretch(Instant Start, Instant End, Measured? Amount, EntryKey Entry, Caveat? Doubt, Readings? Readings = null);

    /// <summary>Whether any line has entries.</summary>
    public bool AnyLine => lines.Length > 0;

    /// <summary>Irrigant after <paramref name="start"/>, up to and including <paramref name="end"/>.</summary>
    public Instilled Between(Instant start, Instant end)
    {
        var sum = new Sum();
        foreach (var line in lines) AddLine(sum, line, start, end);
        return sum.Result();
    }

    /// <summary>The time whose working an entry of a line can touch.</summary>
    public Interval Touched(string name, Entry entry)
    {
        var (line, at) = (Named(name), entry.At);
        var (bags, pumps, totals, flows) = (line.Bags, line.Pumps, line.Totals, line.Flows);
        if (entry is IrrigantInstilled { AtOnce: true }) return new(at - settings.DwellLead, at + settings.DwellLead);
        Instant?[] before = [FirstOfBag(bags, at - Duration.Epsilon)?.At, bags.LastBefore(at)?.At, pumps.LastBefore(at)?.At, totals.LastBefore(at)?.At, entry.Header.From, totals.NextAfter(at)?.Header.From];
        var from = Instant.Min(before.Min(i => i ?? at), EarliestStart(at));

        // To the next reading of the kind that could take over from this one, as it does for whatever begins at the reading before it;
        // where there is none, the tail stays open.
        Instant? to = entry switch
        {
            BagHung or BagRead or BagTakenDown => Later(bags.NextAfter(at)?.At, NextHung(bags, at) is { } hung ? NextHung(bags, hung) : null),
            PumpTotalRead => pumps.NextAfter(at)?.At,
            IrrigantInstilled => totals.NextAfter(at)?.At,
            _ => flows.NextAfter(at)?.At is { } changed ? Later(new[] { bags, pumps, totals }.Where(t => t.Count > 0).Select(t => t.NextAfter(changed)?.At).Append(changed).ToArray()) : null,
        };
        return new(from, to);
    }

    /// <summary>What a reading of a bag or pump says ran since the one before; null for a first reading, which measures nothing.</summary>
    public Part? MeasuredBy(string name, Entry reading)
    {
        var stretch = Measured(Named(name), reading.At - Duration.Epsilon, reading.At).FirstOrDefault(s => s.Entry == reading.Key);
        return stretch is null ? null : new(PartKind.Irrigant, stretch.Entry, stretch.Start, stretch.End, stretch.Amount?.Charted, stretch.Amount?.Charted);
    }

    /// <summary>What is left in the hanging bag, by its last reading and the flow since; null where none hangs or a pump delivers it.</summary>
    public Volume? LeftInBag(string name, Instant asOf)
    {
        var line = Named(name);
        var bags = line.Bags;
        if (bags.LastAtOrBefore(asOf) is not (BagHung or BagRead) || PumpFed(line, bags.LastAtOrBefore(asOf)!.At)) return null;
        var last = bags.LastAtOrBefore(asOf)!;
        var left = Remaining(bags, last) - RateOver(line, last.At, asOf, asOf);
        return left > Volume.Zero ? left : Volume.Zero;
    }

    /// <summary>How fast a line runs, by what is charted; null where that is not known. Nothing runs where a bag was taken down and none hung.</summary>
    public FlowRate? FlowAt(string line, Instant asOf)
    {
        var (bag, pump, total) = (log[Channel.Bag(line)].LastAtOrBefore(asOf), log[Channel.Pump(line)].LastAtOrBefore(asOf), log[Channel.Total(line)].LastAtOrBefore(asOf));
        if (bag is BagTakenDown && !(pump?.At > bag.At) && !(total?.At > bag.At)) return FlowRate.Stopped;
        if (log[Channel.Flow(line)].LastAtOrBefore(asOf) is FlowSet flow) return flow.Rate;
        if (bag is BagHung or BagRead) return null;
        var irrigant = Later(pump?.At ?? Instant.MinValue, total?.At ?? Instant.MinValue)!.Value;
        var irrigated = pump is not null || total is not null;
        return irrigated && !(log[Channel.BladderUrine].LastAtOrBefore(asOf)?.At > irrigant) ? null : FlowRate.Stopped;
    }

    /// <summary>Whether a bag hangs on a line.</summary>
    public bool BagHangs(string line, Instant asOf) => log[Channel.Bag(line)].LastAtOrBefore(asOf) is BagHung or BagRead;

    /// <summary>The earliest start that a reading after an instant could take for want of a charted one.</summary>
    public Instant EarliestStart(Instant at)
    {
        var from = at;
        foreach (var line in lines) from = Instant.Min(from, ImplicitStart(line, at));
        return from;
    }

    /// <summary>The time of all stretches, whichever line, that reach into a time: a clamp reshapes them.</summary>
    public Interval Reaching(Instant start, Instant end)
    {
        var (from, to) = (start, end);
        foreach (var line in lines)
        {
            foreach (var stretch in Measured(line, start, end))
            {
                (from, to) = (Instant.Min(from, stretch.Start), Instant.Max(to, stretch.End));
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
            if (wanted(bags[i])) return bags[i].At;
        }

        return null;
    }

    /// <summary>The first entry about the bag that hangs at an instant: its hanging, or where that was not charted its first reading.</summary>
    private static Entry? FirstOfBag(Timeline bags, Instant at)
    {
        Entry? first = null;
        for (var i = bags.FirstAfter(at) - 1; i >= 0 && bags[i] is not BagTakenDown; i--)
        {
            first = bags[i];
            if (first is BagHung) break;
        }

        return first;
    }

    private void AddLine(Sum sum, Line line, Instant start, Instant end)
    {
        var stretches = Measured(line, start, end);
        foreach (var stretch in stretches)
        {
            var (share, spread) = stretch.Amount is { } amount ? Share(line, stretch, start, end, amount) : default;
            sum.Measured(new(PartKind.Irrigant, stretch.Entry, stretch.Start, stretch.End, stretch.Amount?.Charted, stretch.Amount is null ? null : share.Charted) { Readings = stretch.Readings, Spread = spread }, stretch.Amount is null ? null : share);
            if (stretch.End <= end) sum.Chart(stretch.Amount?.Charted);
            if (stretch.Doubt is { } doubt) sum.Note(doubt);
            if (stretch.Start < start || stretch.End > end) sum.Note(Caveat.IrrigantInterpolated);
            if (stretch.Amount?.Charted is { } whole && stretch.End > stretch.Start && FlowRate.Of(whole, stretch.End - stretch.Start) > settings.HighestGravityFlow)
            {
                sum.Note(Caveat.ImplausibleFlow);
            }

            if (stretch.Amount?.Charted > settings.LargestVolume) sum.Note(Caveat.ImplausibleVolume);
        }

        AddSyringes(sum, line, start, end);
        foreach (var (from, to) in Uncovered(stretches, start, end)) AddUncovered(sum, line, from, to, end);
    }

    private void AddSyringes(Sum sum, Line line, Instant start, Instant end)
    {
        foreach (var given in line.Syringes.After(start - settings.DwellLead - Duration.Epsilon, end).Cast<IrrigantInstilled>())
        {
            if (given.At > start) sum.Chart(given.Amount);

            // What is left to dwell cannot drain before the clamp is released: it counts from the moment of clamping.
            var dwells = ClampedAfter(given.At);
            var counts = dwells is { } clamped ? clamped >= start && clamped < end : given.At > start;
            if (counts) sum.Measured(new(PartKind.Irrigant, given.Key, given.At, given.At, given.Amount, given.Amount), settings.Characters.Total(given));
        }
    }

    /// <summary>The clamp that shuts in what was given at an instant: put on soon after, with nothing drained between.</summary>
    private Instant? ClampedAfter(Instant given)
    {
        if (clamps.At(clamps.FirstAtOrAfter(given)) is not DrainClamped clamp || clamp.At > given + settings.DwellLead) return null;
        return outputs.NextAfter(given) is { } output && output.At < clamp.At ? null : clamp.At;
    }

    private void AddUncovered(Sum sum, Line line, Instant from, Instant to, Instant end)
    {
        var (bags, pumps, totals, flows) = (line.Bags, line.Pumps, line.Totals, line.Flows);
        Timeline[] all = [bags, pumps, totals, flows];
        Instant[] edges = [.. all.SelectMany(t => t.After(from, to)).Select(e => e.At), to];
        var start = from;
        foreach (var edge in edges.Order())
        {
            AddPiece(sum, line, start, edge, end);
            start = edge;
        }
    }

    private void AddPiece(Sum sum, Line line, Instant from, Instant to, Instant end)
    {
        if (to <= from) return;
        var flow = line.Flows.LastAtOrBefore(from) as FlowSet;
        var lastBag = line.Bags.LastAtOrBefore(from);
        var lastPump = line.Pumps.LastAtOrBefore(from);
        var lastTotal = line.Totals.LastAtOrBefore(from);
        var pumpFed = lastBag is BagHung or BagRead && PumpFed(line, lastBag.At);
        var urineSince = urines.LastAtOrBefore(end)?.At;

        if (flow?.Rate > settings.HighestGravityFlow) sum.Note(Caveat.ImplausibleFlow);

        if (lastBag is BagHung or BagRead && !pumpFed)
        {
            sum.Note(Caveat.IrrigantNotReadYet);
            sum.Awaits();
            if (flow is null)
            {
                sum.Unknown();
                return;
            }

            var left = Remaining(line.Bags, lastBag);
            var ran = Smaller(RateOver(line, lastBag.At, to, from), left) - Smaller(RateOver(line, lastBag.At, from, from), left);
            sum.FromRate(flow.Key, from, to, settings.Characters.Ran(ran, flow), charted: false);
        }
        else if (lastBag is BagTakenDown && !(lastPump?.At > lastBag.At) && !(lastTotal?.At > lastBag.At))
        {
            // Nothing hangs on the line: a measured nothing, whatever the last flow said.
        }
        else if (flow is not null)
        {
            if (flow.Rate <= FlowRate.Stopped) return;
            var awaited = lastPump is not null || lastTotal is not null;
            sum.Note(awaited ? Caveat.IrrigantNotReadYet : Caveat.IrrigantFromRate);
            if (awaited) sum.Awaits();
            sum.FromRate(flow.Key, from, to, settings.Characters.Ran(flow.Rate.Over(to - from), flow), charted: !awaited);
        }
        else if (pumpFed && lastPump is null)
        {
            // Until a counter is first read it has told nothing, unless it then stands at 0.
            if (((PumpTotalRead)line.Pumps[0]).Total > Volume.Zero) sum.Unknown();
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
    }

    private static Volume Smaller(Volume left, Volume right) => left < right ? left : right;

    private static IEnumerable<(Instant From, Instant To)> Uncovered(List<Stretch> stretches, Instant start, Instant end)
    {
        if (stretches.Exists(s => s.Start <= start && s.End >= end)) yield break; // as nearly always
        var from = start;
        foreach (var stretch in stretches.OrderBy(s => s.Start))
        {
            if (stretch.Start > from) yield return (from, stretch.Start);
            from = Instant.Max(from, stretch.End);
        }

        if (from < end) yield return (from, end);
    }

    /// <summary>Measured stretches that reach into the time after <paramref name="start"/>, up to <paramref name="end"/>.</summary>
    private List<Stretch> Measured(Line line, Instant start, Instant end)
    {
        var measured = new List<Stretch>();
        void Take(IEnumerable<Stretch> stretches)
        {
            foreach (var stretch in stretches)
            {
                // In no time nothing has run but what was read.
                if (stretch.Start == stretch.End && stretch.Amount is null) continue;
                if (stretch.End > start && (stretch.Start < end || stretch.End <= end)) measured.Add(stretch);
            }
        }

        if (line.Bags.Count > 0) Take(Bags(line, start, end));
        if (line.Pumps.Count > 0) Take(Pumps(line, start, end));
        if (line.Totals.Count > 0) Take(Totals(line, start, end));
        return measured;
    }

    private IEnumerable<Stretch> Bags(Line line, Instant start, Instant end)
    {
        var bags = line.Bags;
        var i = bags.FirstAfter(start) - 1;
        while (i > 0 && bags[i] is not BagHung) i--;
        Entry? before = null;
        var left = Irrigation.Measures.Measured.Nothing;
        var (full, prime) = (Volume.Zero, (Volume?)null);
        for (i = Math.Max(i, 0); i < bags.Count && (before is null || before.At <= end); i++)
        {
            var entry = bags[i];
            var from = before is null ? default : before.At;
            var fed = before is not null && PumpFed(line, before.At);
            switch (entry)
            {
                case BagHung hung:
                    if (before is not null && !fed) yield return new(from, hung.At, null, hung.Key, Caveat.BagEndUnknown);
                    (left, full, prime) = (Usable(hung, bags[0] == hung), hung.Labelled, hung.TubingPrime);
                    before = hung;
                    break;
                case BagRead or BagTakenDown:
                    var remaining = entry is BagRead read ? read.Remaining : ((BagTakenDown)entry).Remaining;
                    var now = remaining is { } charted ? settings.Characters.Left(charted, entry.Header) : (Measured?)null;
                    var rose = now?.Charted > left.Charted;
                    if (before is null) yield return new(UnknownStart(line, entry.At), entry.At, null, entry.Key, Caveat.BagStartUnknown);
                    else if (now is null && !fed) yield return new(from, entry.At, null, entry.Key, Caveat.BagEndUnknown);
                    else if (!fed) yield return new(from, entry.At, rose ? Irrigation.Measures.Measured.Nothing : left - now, entry.Key, Doubt(bags, before, rose), rose ? null : new(full, prime, remaining!.Value));
                    if (now is { } known && (before is null || !rose)) (left, full, prime) = (known, remaining!.Value, null);
                    before = entry is BagRead ? entry : null;
                    break;
            }
        }
    }

    private static Caveat? Doubt(Timeline bags, Entry before, bool rose)
    {
        if (rose) return Caveat.BagLevelRose;
        return before is BagHung { TubingPrime: null } && bags[0] == before ? Caveat.TubingPrimeNotCharted : null;
    }

    /// <summary>What of a hung bag can reach the bladder: its content less what fills the tubing.</summary>
    private Measured Usable(BagHung hung, bool first)
    {
        var content = settings.Characters.Labelled(hung.Labelled, hung.BagType);
        if (hung.TubingPrime is { } prime) return content - new Measured(prime, prime, ErrorBudget.None);
        if (!first) return content;
        var (mean, half) = settings.Characters.UnchartedPrime;
        return content - new Measured(Volume.Zero, Volume.FromMillilitres(mean), ErrorBudget.Of(new("tubing of", hung.Key.Source, hung.Key.Id), ErrorBudget.Rectangular(half)));
    }

    /// <summary>What was left in the hanging bag at its last reading, as charted: a flow cannot deliver more.</summary>
    private static Volume Remaining(Timeline bags, Entry last)
    {
        Volume? left = null;
        for (var i = bags.FirstAfter(last.At) - 1; i >= 0; i--)
        {
            if (bags[i] is BagRead read) left = left is { } so ? Smaller(so, read.Remaining) : read.Remaining;
            if (bags[i] is BagHung hung)
            {
                var full = hung.Labelled - (hung.TubingPrime ?? Volume.Zero);
                return left is { } known ? Smaller(known, full) : full;
            }
        }

        return left ?? Volume.Zero;
    }

    /// <summary>Whether a pump delivers what hangs there: then its counter is the measurement and the bag only a store.</summary>
    private static bool PumpFed(Line line, Instant hung)
    {
        if (line.Pumps.Count == 0) return false;
        var bags = line.Bags;
        var (since, until) = (FirstOfBag(bags, hung)?.At ?? hung, EndOfBag(bags, hung));
        return line.Pumps.NextAfter(since) is { } reading && (until is null || reading.At <= until);
    }

    private IEnumerable<Stretch> Pumps(Line line, Instant start, Instant end)
    {
        var pumps = line.Pumps;
        for (var i = Math.Max(pumps.FirstAfter(start) - 1, 0); i + 1 < pumps.Count && pumps[i].At <= end; i++)
        {
            var (from, to) = ((PumpTotalRead)pumps[i], (PumpTotalRead)pumps[i + 1]);
            if (to.Restarted) yield return new(from.At, to.At, settings.Characters.Counted(to.Total, to), to.Key, null, new(Volume.Zero, null, to.Total));
            else if (to.Header.IsOfAnotherDeviceThan(from.Header)) yield return new(from.At, to.At, null, to.Key, Caveat.DeviceChanged);
            else if (to.Total >= from.Total) yield return new(from.At, to.At, settings.Characters.Counted(to.Total - from.Total, to), to.Key, null, new(from.Total, null, to.Total));
            else yield return new(from.At, to.At, null, to.Key, Caveat.PumpCounterReset);
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
            if (from >= end && total.At > end && totals.At(i + 1)?.At != total.At) yield break;
            yield return new(from, total.At, settings.Characters.Total(total), total.Key, TotalDoubt(line, total));
        }
    }

    private Caveat? TotalDoubt(Line line, IrrigantInstilled total)
    {
        if (line.Bags.LastBefore(total.At) is BagHung or BagRead) return Caveat.TwoMeasuresOnOneLine;
        return total.Header.From is null && PreviousReading(line, total.At) is null ? Caveat.IrrigantStartUnknown : null;
    }

    /// <summary>A total without a start ran since the previous reading of its line, or since urine was last collected free of irrigant.</summary>
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
        if (stretch.Start >= start && stretch.End <= end) return (amount, null);
        var weigh = Weights(line, stretch, out var by);
        var (whole, from, to) = (weigh(stretch.End), weigh(Instant.Max(start, stretch.Start)), weigh(Instant.Min(end, stretch.End)));

        // As differences of running shares, so that the parts of any partition add up to the whole.
        var share = new Measured(
            amount.Charted.Share(to, whole) - amount.Charted.Share(from, whole),
            amount.Best.Share(to, whole) - amount.Best.Share(from, whole),
            amount.Errors * (double)((to - from) / whole));
        var (a, b) = (from / whole, to / whole);

        // A flow that drifts by ±x over the stretch is off by x · p · (1 − p) of it at the fraction p; at both ends it is right again.
        var drift = ErrorBudget.Rectangular(by == SpreadBy.ChartedFlow ? settings.Characters.ChartedFlowDrift : settings.Characters.UnchartedFlowDrift);
        share = share.Doubting(new("shape of", stretch.Entry.Source, stretch.Entry.Id), drift * amount.Charted.Millilitres * ((b * (1 - b)) - (a * (1 - a))));

        // And a reading taken a little earlier or later than charted met another level.
        var perMinute = amount.Charted.Millilitres * Elapsed.PerHour / 60 / Elapsed.Between(stretch.Start, stretch.End);
        if (stretch.End > end) share = share.Doubting(new("time of the reading at", At: end), perMinute * settings.Characters.ReadingTime);
        if (stretch.Start < start) share = share.Doubting(new("time of the reading at", At: start), -perMinute * settings.Characters.ReadingTime);
        var unit = by == SpreadBy.ChartedFlow ? 1 : Elapsed.PerHour;
        return (share, new(by, (to - from) / unit, whole / unit));
    }

    /// <summary>The running weight within a stretch: by flow where it is charted, else by unclamped time, else by time.</summary>
    private Func<Instant, decimal> Weights(Line line, Stretch stretch, out SpreadBy by)
    {
        Func<Instant, decimal> flow = at => RateOver(line, stretch.Start, at, stretch.End - Duration.Epsilon).Millilitres;
        by = SpreadBy.ChartedFlow;
        if (flow(stretch.End) > 0) return flow;
        var clamped = Clamped(stretch.Start, stretch.End);
        by = clamped > 0 && clamped < Elapsed.Between(stretch.Start, stretch.End) ? SpreadBy.UnclampedTime : SpreadBy.ElapsedTime;
        if (by == SpreadBy.ElapsedTime) return at => Elapsed.Between(stretch.Start, at);
        return at => Elapsed.Between(stretch.Start, at) - Clamped(stretch.Start, at);
    }

    /// <summary>What the charted flow makes of a time; where none was charted at its start, the first one up to <paramref name="known"/> counts backwards.</summary>
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
            if (change is DrainClamped) shut ??= change.At;
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
            if (charted) this.charted += ran.Charted;
        }

        public void Chart(Volume? volume) => charted += volume;

        public void Note(Caveat caveat) => caveats = caveats.Add(caveat);

        public void Awaits() => awaits = true;

        public void Unknown() => amount = null;

        public Instilled Result() => new(amount is { } known ? new Measured(known, best, ErrorBudget.Sum([.. errors])) : null, charted, awaits, caveats, parts.ToImmutable());

        private void Add(Measured? share)
        {
            amount += share?.Charted;
            if (share is not { } known) return;
            best += known.Best;
            errors.Add((known.Errors, 1));
        }
    }
}
