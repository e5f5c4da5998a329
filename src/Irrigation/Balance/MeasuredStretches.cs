using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>A time for which a line's irrigant was measured as one amount.</summary>
internal sealed record Stretch(Instant Start, Instant End, Measured? Amount, EntryKey Entry, Caveat? Doubt, Readings? Readings = null)
{
    /// <summary>The bag that it was read of; null for a counter or a total.</summary>
    public HangingBag? Bag { get; init; }

    /// <summary>What is charted of the bag's flow.</summary>
    public FlowOfBag? Flow { get; init; }
}

/// <summary>
/// What the readings of bags, counters and totals measure: of each line the stretches of time in which one amount ran in.
/// </summary>
internal sealed class MeasuredStretches(EpisodeLog log, BalanceSettings settings, IrrigantLines lines)
{
    private readonly Timeline urines = log[Channel.BladderUrine];

    /// <summary>Measured stretches that reach into the time after <paramref name="start"/>, up to <paramref name="end"/>.</summary>
    public List<Stretch> Of(IrrigantLine line, Instant start, Instant end) => Of(line, lines.Bags(line, start, end), start, end);

    /// <summary>The same, of the bags that hang within that time.</summary>
    public List<Stretch> Of(IrrigantLine line, List<BagOfLine> bags, Instant start, Instant end)
    {
        var measured = new List<Stretch>();
        void Take(IEnumerable<Stretch> stretches)
        {
            foreach (var stretch in stretches)
            {
                // A stretch without length says nothing unless an amount was read.
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

    /// <summary>What a reading of a bag or pump says ran since the one before; null for a first reading, which measures nothing.</summary>
    public Part? MeasuredBy(string name, Entry reading)
    {
        var stretch = Of(lines.Named(name), reading.At - Duration.Epsilon, reading.At).FirstOrDefault(s => s.Entry == reading.Key);
        return stretch is null
            ? null
            : new(PartKind.Irrigant, stretch.Entry, stretch.Start, stretch.End, stretch.Amount?.Charted, stretch.Amount?.Charted);
    }

    /// <summary>
    /// The time of all stretches, whichever line, that reach into a time, and all of the life of their bags: a clamp reshapes them.
    /// </summary>
    public Interval Reaching(Instant start, Instant end)
    {
        var (from, to) = (start, end);
        foreach (var line in lines.All)
        {
            foreach (var stretch in Of(line, start, end))
            {
                from = Instant.Min(from, stretch.Bag?.From ?? stretch.Start);
                to = Instant.Max(to, stretch.Bag?.Readings[^1].At ?? stretch.End);
            }
        }

        return new(from, to);
    }

    /// <summary>The earliest start that a reading at an instant or after it takes for want of a charted one.</summary>
    /// <remarks>A line on which nothing is read from then on takes none: a drip that is known by its flow alone.</remarks>
    public Instant EarliestStart(Instant at)
    {
        var from = at;
        foreach (var line in lines.All)
        {
            if (IsReadFrom(line.Totals, at) || IsReadFrom(line.Bags, at))
                from = Instant.Min(from, ImplicitStart(line, at));
        }

        return from;
    }

    /// <summary>As charted; what is most likely true of it, and its doubts, are worked out of all that is known of the bag.</summary>
    public static Measured AsCharted(Volume charted) => new(charted, Volume.Zero, ErrorBudget.None);

    /// <summary>What of a hung bag can reach the bladder: its content less what fills the tubing.</summary>
    public Measured Usable(BagHung hung, bool first)
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

    /// <summary>What of the irrigant on a line was poured away in a time.</summary>
    public Measured DiscardedBetween(IrrigantLine line, Instant start, Instant end) =>
        line.Discarded.Count == 0
            ? Measured.Nothing
            : line
                .Discarded.After(start, end)
                .Cast<IrrigantDiscarded>()
                .Aggregate(Measured.Nothing, (sum, d) => sum + settings.Characters.Discarded(d));

    /// <summary>From reading to reading of a counter.</summary>
    public IEnumerable<Stretch> Pumps(IrrigantLine line, Instant start, Instant end)
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

    /// <summary>From reading to reading of one bag, what went out of it as charted.</summary>
    private IEnumerable<Stretch> OfBag(IrrigantLine line, BagOfLine of)
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
                    AsCharted(rose ? Volume.Zero : left - remaining - discarded),
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

    /// <summary>The totals, each of its own time.</summary>
    private IEnumerable<Stretch> Totals(IrrigantLine line, Instant start, Instant end)
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

    private Caveat? TotalDoubt(IrrigantLine line, IrrigantInstilled total)
    {
        if (line.Bags.LastBefore(total.At) is BagHung or BagRead)
            return Caveat.TwoMeasuresOnOneLine;
        return total.Header.From is null && PreviousReading(line, total.At) is null ? Caveat.IrrigantStartUnknown : null;
    }

    /// <summary>
    /// A total without a start ran since the previous reading of its line, or since urine was last collected free of irrigant.
    /// </summary>
    private Instant ImplicitStart(IrrigantLine line, Instant at) => PreviousReading(line, at) ?? log.Frame.Start;

    private static bool IsReadFrom(Timeline readings, Instant at) => readings.NextAfter(at - Duration.Epsilon) is not null;

    private Instant UnknownStart(IrrigantLine line, Instant at) => Instant.Max(ImplicitStart(line, at), log.Frame.Start);

    private Instant? PreviousReading(IrrigantLine line, Instant at)
    {
        Timeline[] readings = [line.Totals, line.Bags, line.Pumps, urines];
        return readings.Max(r => r.LastBefore(at)?.At);
    }
}
