using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

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

    private readonly ImmutableDictionary<string, ImmutableList<ClosedInterval>> streams;
    private readonly InstilledOverTime instilled;
    private readonly DrainedOverTime drained;
    private readonly IntervalWorking working;
    private readonly EntryReach reach;
    private string[]? named;

    private FluidBalance(EpisodeLog log, BalanceSettings settings, ImmutableDictionary<string, ImmutableList<ClosedInterval>> streams)
    {
        Log = log;
        Settings = settings;
        this.streams = streams;
        instilled = new(log, settings);
        drained = new(log, settings);
        var retained = new RetainedVolume(log, settings, drained);
        working = new(log, settings, instilled, drained, retained);
        reach = new(log, settings, instilled, drained, retained);
    }

    /// <summary>The same log with other intervals.</summary>
    private FluidBalance(FluidBalance of, ImmutableDictionary<string, ImmutableList<ClosedInterval>> streams)
    {
        (Log, Settings, this.streams) = (of.Log, of.Settings, streams);
        (instilled, drained, working, reach) = (of.instilled, of.drained, of.working, of.reach);
    }

    /// <summary>The log it rests on.</summary>
    public EpisodeLog Log { get; }

    /// <summary>The settings it was worked out with.</summary>
    public BalanceSettings Settings { get; }

    /// <summary>The streams that have closed intervals, by name: so the bladder first.</summary>
    /// <remarks>Every window asks for them; two who come first at once work out the same.</remarks>
    public IReadOnlyList<string> Streams =>
        named ??= [.. streams.Where(s => !s.Value.IsEmpty).Select(s => s.Key).Order(StringComparer.Ordinal)];

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
            all[Slug.Of(route)] = [.. nothing.working.Route(route, log.Frame.Start, null)];
        return new(nothing, all.ToImmutable());
    }

    /// <summary>The balance after an append to its log, and the intervals that it changed.</summary>
    public (FluidBalance Balance, ImmutableArray<IntervalChange> Changes) After(Appended appended)
    {
        var after = new FluidBalance(appended.Log, Settings, streams);
        var touched = appended
            .Changes.SelectMany(Entries)
            .SelectMany(entry => reach.Touched(entry).Concat(after.reach.Touched(entry)).Select(span => (Span: span, entry.Key)))
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
                changes.AddRange(
                    IntervalChange.Between(old, now).Select(change => change with { Because = Because(change, arrived, stream) })
                );
                next = next.SetItem(stream.Key, renewed);
            }
        }

        return (new(after, next), changes.ToImmutable());
    }

    /// <summary>The balance of what had happened by a moment, worked out from its beginning.</summary>
    /// <param name="moment">The moment.</param>
    public FluidBalance UpTo(Instant moment) => Of(Log.Folded().Unfolded(Log, Instant.MinValue, moment).Log, Settings);

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
            BagRead e => instilled.Stretches.MeasuredBy(e.Line, e),
            BagTakenDown e => instilled.Stretches.MeasuredBy(e.Line, e),
            PumpTotalRead e => instilled.Stretches.MeasuredBy(e.Line, e),
            _ => null,
        };

    /// <summary>What a reading of a drainage container says drained since the one before; null where nothing can be said of it.</summary>
    internal Measured? DrainedBy(Entry reading) => drained.Added(reading).Added;

    /// <summary>
    /// What is left in the bag that hangs on a line, by its label, its readings and the charted flow; null where none hangs, or a pump
    /// delivers it.
    /// </summary>
    public Volume? LeftInBag(string line, Instant asOf) => instilled.Lines.LeftInBag(line, asOf);

    /// <summary>Whether a bag hangs on a line.</summary>
    public bool BagHangs(string line, Instant asOf) => instilled.Lines.BagHangs(line, asOf);

    /// <summary>How fast a line runs, by what is charted; null where that is not known.</summary>
    public FlowRate? FlowAt(string line, Instant asOf) => instilled.Lines.FlowAt(line, asOf);

    /// <summary>What a drainage container held after its last reading, and when that was; null where it was never read.</summary>
    public (Volume Level, Instant At)? InContainer(string container, Instant asOf) =>
        Log[Channel.Container(container)].LastAtOrBefore(asOf) is { } reading
            ? (reading is DrainageEmptied or DrainageWeighed { Emptied: true } ? Volume.Zero : drained.Content(reading), reading.At)
            : null;

    /// <summary>The balance of the same entries in another frame, and the intervals that it changed.</summary>
    public (FluidBalance Balance, ImmutableArray<IntervalChange> Changes) In(EpisodeFrame frame)
    {
        var moved = Of(Log.In(frame), Settings);
        return (moved, [.. Streams.Union(moved.Streams).SelectMany(stream => IntervalChange.Between(this[stream], moved[stream]))]);
    }

    /// <summary>What ran in from one instant to another, on all lines, as charted; null where that is not known.</summary>
    public Volume? InstilledCharted(Instant start, Instant end) => start < end ? InstilledBetween(start, end).Amount?.Charted : Volume.Zero;

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

    private IEnumerable<ClosedInterval> Between(string stream, Instant from, Instant? to) =>
        stream == Bladder ? BladderBetween(from, to) : working.Route(Slug.Read<UrineRoute>(stream)!.Value, from, to);

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
            return Enumerable.Range(1, points.Length - 1).Select(i => working.Bladder(points[i - 1], points[i]));

        // This loop works on the calling thread too. Where a caller only waited for other threads, those might all be waiting as well.
        var intervals = new ClosedInterval[points.Length - 1];
        Parallel.For(0, intervals.Length, i => intervals[i] = working.Bladder(points[i], points[i + 1]));
        return intervals;
    }
}
