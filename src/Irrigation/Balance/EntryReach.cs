using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>How far an entry reaches: which intervals have to be worked out again when it comes, changes or goes.</summary>
internal sealed class EntryReach(
    EpisodeLog log,
    BalanceSettings settings,
    InstilledOverTime instilled,
    DrainedOverTime drained,
    RetainedVolume retained
)
{
    /// <summary>The stream whose balance an entry is part of; null for context, and for what is not about the patient.</summary>
    public static string? StreamOf(Entry entry) =>
        entry switch
        {
            { Header.Purpose: not Purpose.Clinical } => null,
            UrineCollected { FromBladder: false } route => Slug.Of(route.Route),
            BagHung or BagRead or BagTakenDown or IrrigantInstilled or FlowSet or PumpTotalRead => FluidBalance.Bladder,
            DrainageEmptied or DrainageLevelRead or DrainageWeighed or UrineCollected or LeakEstimated => FluidBalance.Bladder,
            ContainerTakenAway or BloodRemoved or IrrigantDiscarded => FluidBalance.Bladder,
            DrainClamped or DrainReleased or BladderScanned => FluidBalance.Bladder,
            _ => null,
        };

    /// <summary>The intervals, by stream and by the time of their end, whose working an entry can touch.</summary>
    public IEnumerable<(string Stream, Instant From, Instant? To)> Touched(Entry entry)
    {
        var stream = StreamOf(entry);
        if (entry is UrineCollected { FromBladder: false } route && stream is not null)
        {
            yield return (stream, entry.At, log[Channel.Route(route.Route)].NextAfter(entry.At)?.At ?? entry.At);
            yield break;
        }

        // A confirmation and a weight are no part of the balance, but the one ends a doubt and the other says what a body can make.
        var about = entry switch
        {
            { Header.Purpose: not Purpose.Clinical } => null,
            ReadingConfirmed confirmed
                when log.Current(confirmed.Reading)?.Entry is { } reading && StreamOf(reading) == FluidBalance.Bladder => Span(reading),
            WeightMeasured => new Interval(entry.At, log[entry.Kind].NextAfter(entry.At)?.At),
            _ => (Interval?)null,
        };
        if (about is { } looked)
            yield return (FluidBalance.Bladder, looked.Start, looked.HasEnd ? NextClosing(looked.End) : null);
        if (stream is null || Span(entry) is not { } span)
            yield break;
        if (!instilled.Lines.Any && Channel.IsIrrigant(entry))
        {
            // The first irrigant, or the last withdrawn, says what all drainage was.
            yield return (FluidBalance.Bladder, log.Frame.Start, null);
            yield break;
        }

        var from = span.HasStart ? span.Start : log.Frame.Start;
        yield return (FluidBalance.Bladder, from, span.HasEnd ? NextClosing(span.End) : null);
        if (span.HasEnd && NextAnchored(span.End) is { } anchored)
            yield return (FluidBalance.Bladder, anchored, anchored);
    }

    private Interval? Span(Entry entry) =>
        entry switch
        {
            BagHung e => instilled.Reach.Touched(e.Line, e),
            BagRead e => instilled.Reach.Touched(e.Line, e),
            BagTakenDown e => instilled.Reach.Touched(e.Line, e),
            PumpTotalRead e => instilled.Reach.Touched(e.Line, e),
            IrrigantInstilled e => instilled.Reach.Touched(e.Line, e),
            FlowSet e => instilled.Reach.Touched(e.Line, e),
            DrainageEmptied or DrainageLevelRead or DrainageWeighed => OfContainer(entry, DrainedOverTime.ContainerOf(entry)!),
            ContainerTakenAway away => log[Channel.Container(away.Container)].Count > 0
                ? drained.Closings.Touched(away.Container, entry.At)
                : new(entry.At, entry.At),
            UrineCollected => new(Instant.Min(Early(entry), instilled.Stretches.EarliestStart(entry.At)), AfterUrine(entry.At)),
            DrainClamped or DrainReleased => Clamped(entry.At),
            BladderScanned => new(entry.At - settings.ScanReach, entry.At + settings.ScanReach),
            LeakEstimated or BloodRemoved => new(entry.At, entry.At),
            IrrigantDiscarded e => instilled.Reach.Touched(e.Line, e),
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
        if (log[Channel.BladderUrine].NextAfter(at) is { } urine)
            return urine.At;
        Instant? latest = at;
        foreach (var line in Channel.Lines(log))
        {
            Timeline[] readings = [log[Channel.Bag(line)], log[Channel.Pump(line)], log[Channel.Total(line)]];
            foreach (var timeline in readings.Where(t => t.Count > 0))
                latest = timeline.NextAfter(at)?.At is { } next && latest is { } so ? Instant.Max(so, next) : null;
        }

        return latest;
    }

    private Interval Clamped(Instant at)
    {
        var clamps = log[Channel.Clamp];
        var (before, after) = (clamps.LastBefore(at)?.At ?? at, clamps.NextAfter(at)?.At);
        var around = instilled.Stretches.Reaching(before, after ?? at);
        var from = Instant.Min(Instant.Min(before, at - settings.DwellLead), around.Start) - settings.ScanReach;
        return new(from, after is { } end ? Instant.Max(end, around.End) + settings.ScanReach : null);
    }

    /// <summary>
    /// The next closing point that a scan anchors: what the bladder held is compared with the last anchored one, however long ago.
    /// </summary>
    private Instant? NextAnchored(Instant at)
    {
        var scans = log[Channel.Scan];
        for (var i = scans.FirstAfter(at); i < scans.Count; i++)
        {
            if (retained.NearestClosing(scans[i].At) is { } closing && closing > at)
                return closing;
        }

        return null;
    }

    private Instant? NextClosing(Instant at)
    {
        // Two closing points on: the first after the span, and the one whose interval begins there.
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
