using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>What an append changed: an interval before and after, either null where there was or is none.</summary>
/// <param name="Before">The old value.</param>
/// <param name="After">The new value.</param>
/// <param name="Because">
/// The entries of the append that it rests or rested on; where there are none, those that could touch it; empty for a change of the
/// episode's own frame.
/// </param>
public sealed record IntervalChange(ClosedInterval? Before, ClosedInterval? After, ImmutableArray<EntryKey> Because)
{
    /// <summary>The one that stands, or the one that went.</summary>
    public ClosedInterval Interval => (After ?? Before)!;
}

/// <summary>The time since the last closing point.</summary>
/// <param name="Start">The last closing point, or the episode's start.</param>
/// <param name="AsOf">The moment of asking.</param>
/// <param name="Instilled">What has run in since; null where unknown.</param>
/// <param name="Caveats">What a reader should know.</param>
/// <param name="ClampedSince">The clamp in force, if the drain is clamped: a dwell in progress.</param>
public sealed record OpenInterval(Instant Start, Instant AsOf, Volume? Instilled, ImmutableArray<Caveat> Caveats, Instant? ClampedSince);

/// <summary>The fluid balance of an episode: the mass balance over every closed interval.</summary>
/// <remarks>
/// <para>A function of the log alone: same log, same balance, in whatever order the entries arrived. Each closed interval is
/// a checkpoint: it is worked out from the entries round it, so an append works out again only the intervals that it can touch,
/// and its cost does not grow with the log.</para>
/// </remarks>
public sealed class FluidBalance
{
    /// <summary>From so many closing points on, sharing the work out costs less than it saves.</summary>
    private const int Many = 500;

    /// <summary>The stream of the bladder.</summary>
    public const string Bladder = "bladder";

    private static readonly ImmutableArray<UrineRoute> OtherRoutes =
    [
        UrineRoute.LeftNephrostomy,
        UrineRoute.RightNephrostomy,
        UrineRoute.LeftUreteralStent,
        UrineRoute.RightUreteralStent,
        UrineRoute.IlealConduit,
    ];

    private static readonly ImmutableArray<BalanceTerm> NobodyMeasured =
    [
        BalanceTerm.Absorbed,
        BalanceTerm.Blood,
        BalanceTerm.Leaked,
        BalanceTerm.RetainedChange,
    ];
    private static readonly CaveatSet Undoubted = CaveatSet.Of([
        Caveat.IrrigantNotCharted,
        Caveat.DrainageNotCharted,
        Caveat.TwoMeasuresOnOneLine,
        Caveat.DrainageWhileClamped,
    ]);
    private readonly ImmutableDictionary<string, ImmutableList<ClosedInterval>> streams;
    private readonly InstilledOverTime instilled;
    private readonly DrainedOverTime drained;
    private readonly RetainedVolume retained;
    private readonly Timeline leaks;
    private readonly Timeline clamps;

    private FluidBalance(EpisodeLog log, BalanceSettings settings, ImmutableDictionary<string, ImmutableList<ClosedInterval>> streams)
    {
        Log = log;
        Settings = settings;
        this.streams = streams;
        instilled = new(log, settings);
        drained = new(log, settings);
        retained = new(log, settings, drained);
        leaks = log[Channel.Leak];
        clamps = log[Channel.Clamp];
    }

    /// <summary>The same log with other intervals.</summary>
    private FluidBalance(FluidBalance of, ImmutableDictionary<string, ImmutableList<ClosedInterval>> streams)
    {
        (Log, Settings, this.streams) = (of.Log, of.Settings, streams);
        (instilled, drained, retained, leaks, clamps) = (of.instilled, of.drained, of.retained, of.leaks, of.clamps);
    }

    /// <summary>The log it rests on.</summary>
    public EpisodeLog Log { get; }

    /// <summary>The settings it was worked out with.</summary>
    public BalanceSettings Settings { get; }

    /// <summary>The streams that have closed intervals, by name: so the bladder first.</summary>
    public IEnumerable<string> Streams => streams.Where(s => !s.Value.IsEmpty).Select(s => s.Key).Order(StringComparer.Ordinal);

    /// <summary>The last closing point of the bladder; the episode's start where there is none.</summary>
    public Instant LastClosing => this[Bladder] is { Count: > 0 } intervals ? intervals[^1].End : Log.Frame.Start;

    /// <summary>The closed intervals of a stream, in order.</summary>
    public ImmutableList<ClosedInterval> this[string stream] => streams.GetValueOrDefault(stream, []);

    /// <summary>The balance of a log, worked out from its beginning.</summary>
    public static FluidBalance Of(EpisodeLog log, BalanceSettings settings)
    {
        var nothing = new FluidBalance(log, settings, ImmutableDictionary<string, ImmutableList<ClosedInterval>>.Empty);
        var all = nothing.streams.ToBuilder();
        all[Bladder] = nothing.Doubted([.. nothing.BladderBetween(log.Frame.Start, null)], 0);
        foreach (var route in OtherRoutes)
            all[Slug.Of(route)] = [.. nothing.RouteBetween(route, log.Frame.Start, null)];
        return new(nothing, all.ToImmutable());
    }

    /// <summary>The balance after an append to its log, and the intervals that it changed.</summary>
    public (FluidBalance Balance, ImmutableArray<IntervalChange> Changes) After(Appended appended)
    {
        var after = new FluidBalance(appended.Log, Settings, streams);
        var touched = appended
            .Changes.SelectMany(Entries)
            .SelectMany(entry => Touched(entry).Concat(after.Touched(entry)).Select(span => (Span: span, entry.Key)))
            .ToList();

        var arrived = touched.Select(t => t.Key).ToHashSet();
        var next = streams;
        var changes = ImmutableArray.CreateBuilder<IntervalChange>();
        foreach (var stream in touched.GroupBy(t => t.Span.Stream))
        {
            foreach (var (from, to) in Merge(stream.Select(t => (t.Span.From, t.Span.To))))
            {
                var before = next.GetValueOrDefault(stream.Key, []);
                var (first, last) = (FirstEnding(before, from), to is { } end ? FirstEnding(before, end + Duration.Epsilon) : before.Count);
                var renewed = before.RemoveRange(first, last - first).InsertRange(first, after.Between(stream.Key, from, to));
                var following = before.Count - last;
                if (stream.Key == Bladder)
                    (renewed, following) = after.DoubtedFrom(renewed, first, following);
                var (old, now) = (
                    before.GetRange(first, before.Count - following - first),
                    renewed.GetRange(first, renewed.Count - following - first)
                );
                changes.AddRange(Compare(old, now).Select(change => change with { Because = Because(change, arrived, stream) }));
                next = next.SetItem(stream.Key, renewed);
            }
        }

        return (new(after, next), changes.ToImmutable());
    }

    /// <summary>All intervals from one on, with what speaks against each.</summary>
    private ImmutableList<ClosedInterval> Doubted(ImmutableList<ClosedInterval> intervals, int first) =>
        DoubtedFrom(intervals, first, 0).Intervals;

    /// <summary>
    /// The intervals from one on, with what speaks against each: those that are new, and those after them that look back on one of
    /// them. How many at the end were not looked at.
    /// </summary>
    private (ImmutableList<ClosedInterval> Intervals, int Following) DoubtedFrom(
        ImmutableList<ClosedInterval> intervals,
        int first,
        int following
    )
    {
        var reading = new DoubtedReadings(Log, Settings, instilled, drained);
        var changed = intervals.Count - following;
        var last = changed > 0 ? intervals[Math.Min(changed, intervals.Count) - 1].End : Instant.MinValue;
        var looked = intervals.ToBuilder();
        var i = first;
        for (; i < looked.Count && (i < changed || looked[i].Start < last + DoubtedReadings.LooksBack); i++)
        {
            var (was, now) = (looked[i], reading.Of(looked, i));
            if (!ReferenceEquals(was, now))
                looked[i] = now;
        }

        return (looked.ToImmutable(), looked.Count - i);
    }

    /// <summary>Closed intervals of a stream that reach into a time.</summary>
    public IEnumerable<ClosedInterval> Reaching(string stream, Instant start, Instant end)
    {
        var intervals = this[stream];
        for (var i = FirstEnding(intervals, start + Duration.Epsilon); i < intervals.Count && intervals[i].Start < end; i++)
            yield return intervals[i];
    }

    /// <summary>What a reading of a bag or pump says ran since the one before; null for a first reading and for any other entry.</summary>
    public Part? MeasuredBy(Entry reading) =>
        reading switch
        {
            BagRead e => instilled.MeasuredBy(e.Line, e),
            BagTakenDown e => instilled.MeasuredBy(e.Line, e),
            PumpTotalRead e => instilled.MeasuredBy(e.Line, e),
            _ => null,
        };

    /// <summary>
    /// What is left in the bag that hangs on a line, by its label, its readings and the charted flow; null where none hangs, or a pump
    /// delivers it.
    /// </summary>
    public Volume? LeftInBag(string line, Instant asOf) => instilled.LeftInBag(line, asOf);

    /// <summary>Whether a bag hangs on a line.</summary>
    public bool BagHangs(string line, Instant asOf) => instilled.BagHangs(line, asOf);

    /// <summary>How fast a line runs, by what is charted; null where that is not known.</summary>
    public FlowRate? FlowAt(string line, Instant asOf) => instilled.FlowAt(line, asOf);

    /// <summary>What a drainage container held after its last reading, and when that was; null where it was never read.</summary>
    public (Volume Level, Instant At)? InContainer(string container, Instant asOf) =>
        Log[Channel.Container(container)].LastAtOrBefore(asOf) is { } reading
            ? (reading is DrainageEmptied or DrainageWeighed { Emptied: true } ? Volume.Zero : drained.Content(reading), reading.At)
            : null;

    /// <summary>The balance of the same entries in another frame, and the intervals that it changed.</summary>
    public (FluidBalance Balance, ImmutableArray<IntervalChange> Changes) In(EpisodeFrame frame)
    {
        var moved = Of(Log.In(frame), Settings);
        return (moved, [.. Streams.Union(moved.Streams).SelectMany(stream => Compare(this[stream], moved[stream]))]);
    }

    /// <summary>What ran in, worked out for any time; the working of the simple number.</summary>
    internal Instilled InstilledBetween(Instant start, Instant end) => instilled.Between(start, end);

    /// <summary>
    /// What was charted as drained or collected after an instant, up to and including another, all streams; null where a reading leaves it
    /// unknown.
    /// </summary>
    internal Volume? DrainageCharted(Instant start, Instant end)
    {
        Volume? sum = Volume.Zero;
        foreach (var reading in Log[Channel.BladderOutput].After(start, end))
        {
            sum += reading is UrineCollected collected ? collected.Amount : drained.Added(reading).Added?.Charted;
        }

        foreach (var route in OtherRoutes)
        {
            foreach (var reading in Log[Channel.Route(route)].After(start, end))
                sum += ((UrineCollected)reading).Amount;
        }

        return sum;
    }

    /// <summary>The time since the last closing point, as of a moment.</summary>
    public OpenInterval Open(Instant asOf)
    {
        var start = LastClosing;
        var clamp = Log[Channel.Clamp].LastAtOrBefore(asOf) as DrainClamped;
        if (asOf <= start)
            return new(start, asOf, Volume.Zero, [], clamp?.At);
        var since = instilled.Between(start, asOf);
        var caveats = clamp is null ? since.Caveats : since.Caveats.Add(Caveat.DwellInProgress);
        return new(start, asOf, since.Amount?.Charted, caveats.InOrder(), clamp?.At);
    }

    /// <summary>
    /// Whether any irrigant was charted: a container was drained of a mixture, so without any there is no telling what it held.
    /// </summary>
    private bool AnyIrrigant => instilled.AnyLine;

    private static ImmutableArray<EntryKey> Because(
        IntervalChange change,
        HashSet<EntryKey> arrived,
        IEnumerable<((string Stream, Instant From, Instant? To) Span, EntryKey Key)> touched
    )
    {
        var parts = new[] { change.Before, change.After }.OfType<ClosedInterval>().SelectMany(i => i.Parts).Select(p => p.Entry);
        ImmutableArray<EntryKey> own = [.. parts.Where(arrived.Contains).Distinct()];
        var end = change.Interval.End;
        return own.IsEmpty ? [.. touched.Where(t => t.Span.From <= end && !(t.Span.To < end)).Select(t => t.Key).Distinct()] : own;
    }

    private static IEnumerable<Entry> Entries(Change change) => new[] { change.Before, change.After }.OfType<Entry>();

    /// <summary>Position of the first interval that ends at or after an instant.</summary>
    private static int FirstEnding(ImmutableList<ClosedInterval> intervals, Instant from)
    {
        int low = 0,
            high = intervals.Count;
        while (low < high)
        {
            var middle = (low + high) / 2;
            if (intervals[middle].End >= from)
                high = middle;
            else
                low = middle + 1;
        }

        return low;
    }

    private static IEnumerable<(Instant From, Instant? To)> Merge(IEnumerable<(Instant From, Instant? To)> spans)
    {
        (Instant From, Instant? To)? open = null;
        foreach (var span in spans.OrderBy(s => s.From))
        {
            if (open is not { } current)
                open = span;
            else if (current.To is null)
                continue;
            else if (span.From <= current.To)
                open = (current.From, span.To is null ? null : Instant.Max(span.To.Value, current.To.Value));
            else
            {
                yield return current;
                open = span;
            }
        }

        if (open is { } last)
            yield return last;
    }

    /// <summary>What differs between two versions of the same time, each in order: first what came or changed, then what went.</summary>
    private static IEnumerable<IntervalChange> Compare(IEnumerable<ClosedInterval> before, IEnumerable<ClosedInterval> after)
    {
        using var old = before.GetEnumerator();
        List<ClosedInterval>? gone = null;
        var more = old.MoveNext();
        foreach (var interval in after)
        {
            for (; more && old.Current.End < interval.End; more = old.MoveNext())
                (gone ??= []).Add(old.Current);
            var was = more && old.Current.End == interval.End ? old.Current : null;
            if (was is not null)
                more = old.MoveNext();
            if (!interval.Equals(was))
                yield return new(was, interval, []);
        }

        for (; more; more = old.MoveNext())
            (gone ??= []).Add(old.Current);
        foreach (var interval in gone ?? [])
            yield return new(interval, null, []);
    }

    private IEnumerable<ClosedInterval> Between(string stream, Instant from, Instant? to) =>
        stream == Bladder ? BladderBetween(from, to) : RouteBetween(Slug.Read<UrineRoute>(stream)!.Value, from, to);

    /// <summary>The bladder's intervals that end at or after one instant, up to and including another.</summary>
    /// <remarks>Each is worked out by itself, so many of them (an episode read from the store) are worked out on all processors.</remarks>
    private IEnumerable<ClosedInterval> BladderBetween(Instant from, Instant? to)
    {
        Instant[] points =
        [
            drained.Closings.Before(from),
            .. drained.Closings.After(Instant.Max(from - Duration.Epsilon, Log.Frame.Start), to),
        ];
        if (points.Length < Many)
            return Enumerable.Range(1, points.Length - 1).Select(i => BladderInterval(points[i - 1], points[i]));

        // A loop that works in its caller too: whoever waits for other threads alone may wait for others who do.
        var intervals = new ClosedInterval[points.Length - 1];
        Parallel.For(0, intervals.Length, i => intervals[i] = BladderInterval(points[i], points[i + 1]));
        return intervals;
    }

    private ClosedInterval BladderInterval(Instant start, Instant end)
    {
        var (into, outOf) = (instilled.Between(start, end), drained.Between(start, end));
        var parts = ImmutableArray.CreateBuilder<Part>(into.Parts.Length + outOf.Parts.Length);
        parts.AddRange(into.Parts);
        parts.AddRange(outOf.Parts);
        var leaked = (Measured?)null;
        foreach (var leak in leaks.After(start, end).Cast<LeakEstimated>())
        {
            leaked = (leaked ?? Measured.Nothing) + Settings.Characters.Leak(leak);
            parts.Add(new(PartKind.Leak, leak.Key, leak.At, leak.At, leak.Amount, leak.Amount));
        }

        var blood = (Measured?)null;
        foreach (var removed in Log[Channel.Blood].After(start, end).Cast<BloodRemoved>())
        {
            blood = (blood ?? Measured.Nothing) + Settings.Characters.Blood(removed);
            parts.Add(new(PartKind.Blood, removed.Key, removed.At, removed.At, removed.Amount, removed.Amount));
        }

        var held = retained.At(end);
        var heldBefore = held is null ? null : retained.LastBefore(end);
        foreach (var scan in new[] { heldBefore, held })
        {
            if (scan is not null)
                parts.Add(new(PartKind.Retained, scan.Key, scan.At, scan.At, scan.Held, scan.Held));
        }

        var change =
            held is null || heldBefore is null ? (Measured?)null : Settings.Characters.Held(held) - Settings.Characters.Held(heldBefore);

        var worked =
            into.Amount is { } i && outOf.Amount is { } d
                ? d - i + (change ?? Measured.Nothing) + (leaked ?? Measured.Nothing) - (blood ?? Measured.Nothing)
                : (Measured?)null;
        var output = worked?.Charted;
        AbsentReason? absent =
            output is not null ? null
            : outOf.Awaited ? AbsentReason.DrainageNotReadYet
            : outOf.Amount is null ? AbsentReason.DrainageUnknown
            : into.Provisional ? AbsentReason.IrrigantNotReadYet
            : AbsentReason.IrrigantUnknown;

        var caveats = into.Caveats.Union(outOf.Caveats);
        if (into.Amount is null && !into.Provisional)
            caveats = caveats.Add(Caveat.IrrigantUnknown);
        var uncharted = outOf.AnyDrainage && !AnyIrrigant;
        if (uncharted)
            caveats = caveats.Add(Caveat.IrrigantNotCharted);
        if (into.Amount?.Charted > Volume.Zero && !outOf.AnyDrainage)
            caveats = caveats.Add(Caveat.DrainageNotCharted);
        if (held is not null && heldBefore is null)
            caveats = caveats.Add(Caveat.RetainedStartUnknown);
        if (output < Volume.Zero)
            caveats = caveats.Add(Caveat.NegativeOutput);
        if (end - start > Settings.LongestGap)
            caveats = caveats.Add(Caveat.Gap);
        if (clamps.LastAtOrBefore(start) is DrainClamped || clamps.After(start, end).Any(c => c is DrainClamped && c.At < end))
        {
            caveats = caveats.Add(Caveat.DwellInProgress);
        }

        var working = parts.ToImmutable();
        var (corrected, amended, late) = Revised(Bladder, start, end, working);
        if (corrected)
            caveats = caveats.Add(Caveat.CorrectedEntry);
        if (late)
            caveats = caveats.Add(Caveat.LateEntry);

        var status =
            into.Provisional || outOf.Awaited || uncharted ? OutputStatus.Preliminary
            : corrected ? OutputStatus.Corrected
            : amended ? OutputStatus.Amended
            : OutputStatus.Final;
        return new()
        {
            Stream = Bladder,
            Start = start,
            End = end,
            Instilled = into.Amount?.Charted,
            Drained = outOf.Amount?.Charted,
            Urine = outOf.Urine,
            RetainedChange = change?.Charted,
            Leaked = leaked?.Charted,
            Blood = blood?.Charted,
            Output = worked is { } known ? UrineOutput.Of(known, Estimable(caveats), Settings) : null,
            Worked = worked,
            Absent = absent,
            Simple = outOf.Amount?.Charted - into.Charted,
            Status = status,
            Undoubted = status,
            Caveats = caveats.InOrder(),
            AssumedZero = AssumedZero(leaked is null, change is null, blood is null),
            Parts = working,
        };
    }

    /// <summary>Whether the doubts are known: what nobody charted has no interval.</summary>
    internal static bool Estimable(CaveatSet caveats) => (caveats.Bits & Undoubted.Bits) == 0;

    /// <summary>The intervals of a route that does not pass the bladder: from reading to reading, and what was collected.</summary>
    private IEnumerable<ClosedInterval> RouteBetween(UrineRoute route, Instant from, Instant? to)
    {
        var readings = Log[Channel.Route(route)];
        for (
            var i = readings.FirstAtOrAfter(Instant.Max(from, Log.Frame.Start + Duration.Epsilon));
            i < readings.Count && !(readings[i].At > to);

        )
        {
            var end = readings[i].At;
            var before = readings.At(i - 1)?.At;
            var start = before ?? Instant.Max(Log.Frame.Start, end - Settings.FirstReadingReach);
            var amount = Measured.Nothing;
            var parts = ImmutableArray.CreateBuilder<Part>();
            for (; i < readings.Count && readings[i].At == end; i++)
            {
                var reading = (UrineCollected)readings[i];
                amount += Settings.Characters.Urine(reading);
                parts.Add(new(PartKind.Urine, reading.Key, start, end, reading.Amount, reading.Amount));
            }

            var caveats = CaveatSet.Empty;
            if (before is null)
                caveats = caveats.Add(Caveat.RouteStartUnknown);
            if (end - start > Settings.LongestGap)
                caveats = caveats.Add(Caveat.Gap);
            if (amount.Charted > Settings.LargestVolume)
                caveats = caveats.Add(Caveat.ImplausibleVolume);
            var worked = parts.ToImmutable();
            var (corrected, _, late) = Revised(Slug.Of(route), start, end, worked);
            if (corrected)
                caveats = caveats.Add(Caveat.CorrectedEntry);
            if (late)
                caveats = caveats.Add(Caveat.LateEntry);
            yield return new()
            {
                Stream = Slug.Of(route),
                Start = start,
                End = end,
                Instilled = Volume.Zero,
                Drained = amount.Charted,
                Urine = amount.Charted,
                RetainedChange = null,
                Leaked = null,
                Output = UrineOutput.Of(amount, true, Settings),
                Worked = amount,
                Absent = null,
                Simple = amount.Charted,
                Status = corrected ? OutputStatus.Corrected : OutputStatus.Final,
                Caveats = caveats.InOrder(),
                AssumedZero = [],
                Parts = worked,
            };
        }
    }

    /// <summary>The stream whose balance an entry is part of; null for context, and for what is not about the patient.</summary>
    private static string? StreamOf(Entry entry) =>
        entry switch
        {
            { Header.Purpose: not Purpose.Clinical } => null,
            UrineCollected { FromBladder: false } route => Slug.Of(route.Route),
            BagHung or BagRead or BagTakenDown or IrrigantInstilled or FlowSet or PumpTotalRead => Bladder,
            DrainageEmptied or DrainageLevelRead or DrainageWeighed or UrineCollected or LeakEstimated => Bladder,
            ContainerTakenAway or BloodRemoved or IrrigantDiscarded => Bladder,
            DrainClamped or DrainReleased or BladderScanned => Bladder,
            _ => null,
        };

    /// <summary>
    /// Whether the number rests on a correction, on something charted after it had been complete, on something charted late.
    /// </summary>
    /// <remarks>
    /// Worked out from the log's own times, not from the order of arrival, so that two orders of arrival end in the same status.
    /// It was complete when its closing readings and the irrigant readings that cover its end were known.
    /// </remarks>
    private (bool Corrected, bool Amended, bool Late) Revised(string stream, Instant start, Instant end, ImmutableArray<Part> parts)
    {
        var withdrawn = false;
        foreach (var gone in Log[Channel.Withdrawn].After(start, end))
            withdrawn |= StreamOf(gone) == stream;
        var (corrected, late, complete, others) = (withdrawn, false, Instant.MinValue, Instant.MinValue);
        foreach (var part in parts)
        {
            var logged = Log.Current(part.Entry)!;
            corrected |= part.End <= end && Log.IsCorrected(part.Entry);
            late |= part.End > start && logged.Entry.Header.RecordedAt - logged.Entry.At > Settings.LateAfter;
            if (Completes(part, end))
                complete = Instant.Max(complete, logged.KnownAt);
            else
                others = Instant.Max(others, logged.KnownAt);
        }

        foreach (var opening in drained.Closings.ReadingsBetween(start - Duration.Epsilon, start))
            others = Instant.Max(others, Log.Current(opening.Key)!.KnownAt);
        return (corrected, Amended: others > complete, late);
    }

    private static ImmutableArray<BalanceTerm> AssumedZero(bool leaks, bool retained, bool blood) =>
        leaks && retained && blood
            ? NobodyMeasured
            :
            [
                .. NobodyMeasured.Where(term =>
                    term switch
                    {
                        BalanceTerm.Absorbed => true,
                        BalanceTerm.Blood => blood,
                        BalanceTerm.Leaked => leaks,
                        BalanceTerm.RetainedChange => retained,
                    }
                ),
            ];

    /// <summary>Whether an interval that ends at a moment was not known before this part was.</summary>
    private static bool Completes(Part part, Instant end) =>
        part.Kind is PartKind.Drainage or PartKind.Urine or PartKind.IrrigantFromRate
        || (part.Kind is PartKind.Irrigant && part.End >= end);

    /// <summary>The intervals, by stream and by the time of their end, whose working an entry can touch.</summary>
    private IEnumerable<(string Stream, Instant From, Instant? To)> Touched(Entry entry)
    {
        var stream = StreamOf(entry);
        if (entry is UrineCollected { FromBladder: false } route && stream is not null)
        {
            yield return (stream, entry.At, Log[Channel.Route(route.Route)].NextAfter(entry.At)?.At ?? entry.At);
            yield break;
        }

        // Neither is part of the balance: by the one a doubt ends, by the other it is told what a body can make.
        var about = entry switch
        {
            { Header.Purpose: not Purpose.Clinical } => null,
            ReadingConfirmed confirmed when Log.Current(confirmed.Reading)?.Entry is { } reading && StreamOf(reading) == Bladder => Span(
                reading
            ),
            WeightMeasured => new Interval(entry.At, Log[entry.Kind].NextAfter(entry.At)?.At),
            _ => (Interval?)null,
        };
        if (about is { } looked)
            yield return (Bladder, looked.Start, looked.HasEnd ? NextClosing(looked.End) : null);
        if (stream is null || Span(entry) is not { } span)
            yield break;
        if (!AnyIrrigant && Channel.IsIrrigant(entry))
        {
            yield return (Bladder, Log.Frame.Start, null); // the first irrigant, or the last withdrawn, says what all drainage was
            yield break;
        }

        var from = span.HasStart ? span.Start : Log.Frame.Start;
        yield return (Bladder, from, span.HasEnd ? NextClosing(span.End) : null);
        if (span.HasEnd && NextAnchored(span.End) is { } anchored)
            yield return (Bladder, anchored, anchored);
    }

    private Interval? Span(Entry entry) =>
        entry switch
        {
            BagHung e => instilled.Touched(e.Line, e),
            BagRead e => instilled.Touched(e.Line, e),
            BagTakenDown e => instilled.Touched(e.Line, e),
            PumpTotalRead e => instilled.Touched(e.Line, e),
            IrrigantInstilled e => instilled.Touched(e.Line, e),
            FlowSet e => instilled.Touched(e.Line, e),
            DrainageEmptied or DrainageLevelRead or DrainageWeighed => OfContainer(entry, DrainedOverTime.ContainerOf(entry)!),
            ContainerTakenAway away => Log[Channel.Container(away.Container)].Count > 0
                ? drained.Closings.Touched(away.Container, entry.At)
                : new(entry.At, entry.At),
            UrineCollected => new(Instant.Min(Early(entry), instilled.EarliestStart(entry.At)), AfterUrine(entry.At)),
            DrainClamped or DrainReleased => Clamped(entry.At),
            BladderScanned => new(entry.At - Settings.ScanReach, entry.At + Settings.ScanReach),
            LeakEstimated or BloodRemoved => new(entry.At, entry.At),
            IrrigantDiscarded e => instilled.Touched(e.Line, e),
            _ => null,
        };

    private Interval OfContainer(Entry reading, string container)
    {
        var own = new Interval(Instant.Min(Early(reading), reading.At), drained.LastComparedWith(reading));
        if (!drained.Closings.Several)
            return own;
        var others = drained.Closings.Touched(container, reading.At);
        return new(Instant.Min(own.Start, others.Start), others.HasEnd ? Instant.Max(own.End, others.End) : null);
    }

    /// <summary>A reading may take a scan or a dwell from the closing point before it.</summary>
    private Instant Early(Entry reading) => drained.Closings.Before(drained.Closings.MomentOf(reading));

    private Instant? AfterUrine(Instant at)
    {
        if (Log[Channel.BladderUrine].NextAfter(at) is { } urine)
            return urine.At;
        Instant? latest = at;
        foreach (var line in Channel.Lines(Log))
        {
            Timeline[] readings = [Log[Channel.Bag(line)], Log[Channel.Pump(line)], Log[Channel.Total(line)]];
            foreach (var timeline in readings.Where(t => t.Count > 0))
                latest = timeline.NextAfter(at)?.At is { } next && latest is { } so ? Instant.Max(so, next) : null;
        }

        return latest;
    }

    private Interval Clamped(Instant at)
    {
        var clamps = Log[Channel.Clamp];
        var (before, after) = (clamps.LastBefore(at)?.At ?? at, clamps.NextAfter(at)?.At);
        var around = instilled.Reaching(before, after ?? at);
        var from = Instant.Min(Instant.Min(before, at - Settings.DwellLead), around.Start) - Settings.ScanReach;
        return new(from, after is { } end ? Instant.Max(end, around.End) + Settings.ScanReach : null);
    }

    /// <summary>
    /// The next closing point that a scan anchors: what the bladder held is compared with the last anchored one, however long ago.
    /// </summary>
    private Instant? NextAnchored(Instant at)
    {
        var scans = Log[Channel.Scan];
        for (var i = scans.FirstAfter(at); i < scans.Count; i++)
        {
            if (retained.NearestClosing(scans[i].At) is { } closing && closing > at)
                return closing;
        }

        return null;
    }

    private Instant? NextClosing(Instant at)
    {
        // Two on: the first closing point after the span, and the one that takes its start from it.
        Instant? last = at;
        var seen = 0;
        foreach (var closing in drained.Closings.After(at, null))
        {
            last = closing;
            if (++seen == 2)
                break;
        }

        return last;
    }
}
