using System.Collections.Immutable;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>What a window of time is.</summary>
public enum WindowKind
{
    /// <summary>From one reading to the next.</summary>
    ClosedInterval,

    /// <summary>An hour of the wall clock.</summary>
    ClockHour,

    /// <summary>A shift of the facility.</summary>
    Shift,

    /// <summary>A day of the wall clock: 23, 24 or 25 h.</summary>
    LocalDay,

    /// <summary>So many elapsed hours before a moment.</summary>
    Trailing,
}

/// <summary>The part of a closed interval that falls into a window.</summary>
/// <param name="Interval">The interval.</param>
/// <param name="From">The later start of the two.</param>
/// <param name="To">The earlier end.</param>
/// <param name="Amount">
/// Its share of the interval's headline; null where that is unknown. The shares of a window add up to its headline.
/// </param>
public sealed record WindowShare(ClosedInterval Interval, Instant From, Instant To, Volume? Amount);

/// <summary>Corrected urine output of a window: its share of every closed interval that reaches into it, all streams together.</summary>
public sealed record OutputWindow
{
    /// <summary>What the window is.</summary>
    public required WindowKind Kind { get; init; }

    /// <summary>Its first instant.</summary>
    public required Instant Start { get; init; }

    /// <summary>The first instant after it.</summary>
    public required Instant End { get; init; }

    /// <summary>How firm the number is.</summary>
    public required OutputStatus Status { get; init; }

    /// <summary>The corrected output of the covered part; null where there is none, and then <see cref="Absent"/> says why.</summary>
    public required UrineOutput? Output { get; init; }

    /// <summary>Why there is no number; null where there is one.</summary>
    public required AbsentReason? Absent { get; init; }

    /// <summary>How much of the window closed intervals cover.</summary>
    public required Duration Covered { get; init; }

    /// <summary>Irrigant that ran in over the covered part, by its density over time; null where unknown.</summary>
    public required Volume? Instilled { get; init; }

    /// <summary>Irrigant charted after <see cref="Start"/>, up to <see cref="End"/>; null where a volume is unknown.</summary>
    public required Volume? IrrigantCharted { get; init; }

    /// <summary>Drainage and urine charted in the same time; null where a volume is unknown.</summary>
    public required Volume? DrainageCharted { get; init; }

    /// <summary>
    /// Drainage minus irrigant as charted in the window, nothing else taken into account; null where a volume is unknown.
    /// </summary>
    public Volume? Simple => DrainageCharted - IrrigantCharted;

    /// <summary>What a reader should know.</summary>
    public required ImmutableArray<Caveat> Caveats { get; init; }

    /// <summary>The closed intervals that it rests on, stream by stream.</summary>
    public required ImmutableArray<ClosedInterval> Intervals { get; init; }

    /// <summary>What each of them gives, in the same order.</summary>
    public required ImmutableArray<WindowShare> Shares { get; init; }

    /// <summary>End less start: elapsed time, whatever the wall clock says.</summary>
    public Duration Length => End - Start;

    /// <summary>Whether closed intervals cover all of it.</summary>
    public bool FullyCovered => Covered == Length;
}

/// <summary>Windows over a balance.</summary>
public static class Windows
{
    /// <summary>The output of one window.</summary>
    /// <remarks>
    /// <para>Final when closed intervals cover all of the window that the episode lasted; preliminary while part is open; absent with a
    /// reason when nothing covers it. Where the output of an interval in it is unknown, so is the window's: a part is not a total.</para>
    /// <para>A route outside the bladder that was read in the hours before the window's end and not since keeps it preliminary.</para>
    /// </remarks>
    public static OutputWindow Over(this FluidBalance balance, WindowKind kind, Interval window) =>
        Over(balance, kind, window, withAccount: true);

    /// <summary>The same without what ran in, what was charted and the shares: for whoever asks for the output alone.</summary>
    internal static OutputWindow OutputOver(this FluidBalance balance, Interval window) =>
        Over(balance, WindowKind.Trailing, window, withAccount: false);

    private static OutputWindow Over(FluidBalance balance, WindowKind kind, Interval window, bool withAccount)
    {
        var (start, end) = (window.Start, window.End);
        var frame = balance.Log.Frame;
        var bladder = balance[FluidBalance.Bladder];

        // Where the bladder is read, its closing points bound what is known: a route read since then is not yet a total.
        var known = bladder.IsEmpty ? end : Instant.Min(end, balance.LastClosing);
        var intervals = balance.Streams.SelectMany(stream => balance.Reaching(stream, start, known)).ToImmutableArray();
        var leading =
            bladder.IsEmpty || balance.Streams.Count == 1 ? intervals : [.. intervals.Where(i => i.Stream == FluidBalance.Bladder)];
        var covered = Covered(leading, start, end);
        var wanted = Instant.Min(end, frame.End ?? end) - Instant.Max(start, frame.Start);
        var unread = OtherRouteUnread(balance, end);

        var absent = intervals.FirstOrDefault(i => i.Output is null)?.Absent ?? (covered == Duration.Zero ? AbsentReason.NotCovered : null);
        var shares = new Measured?[absent is null || withAccount ? intervals.Length : 0];
        for (var i = 0; i < shares.Length; i++)
            shares[i] = intervals[i].WorkedBetween(start, known, balance.Settings.Characters.UrineDrift);
        var worked = absent is null ? Add(shares) : (Measured?)null;
        var output = worked?.Charted;

        var caveats = CaveatsOf(intervals);
        if (output is not null && intervals.Any(i => i.Start < start || i.End > known))
            caveats = caveats.Add(Caveat.Apportioned);
        if (output < Volume.Zero)
            caveats = caveats.Add(Caveat.NegativeOutput);
        if (unread)
            caveats = caveats.Add(Caveat.OtherRouteNotRead);

        var (from, to) = (Instant.Max(start, frame.Start), Instant.Max(end, frame.Start));
        var irrigant = withAccount ? balance.InstilledBetween(from, to) : null;
        var closed = Instant.Max(from, Instant.Min(to, balance.LastClosing));
        return new()
        {
            Kind = kind,
            Start = start,
            End = end,
            Status = Status(intervals, covered < wanted || unread),
            Output = worked is { } sum ? UrineOutput.Of(sum, IntervalWorking.Estimable(caveats), balance.Settings) : null,
            Absent = absent,
            Covered = covered,
            Instilled = (closed == to || !withAccount ? irrigant : balance.InstilledBetween(from, closed))?.Amount?.Charted,
            IrrigantCharted = irrigant?.Charted,
            DrainageCharted = withAccount ? balance.DrainageCharted(from, to) : null,
            Caveats = caveats.InOrder(),
            Intervals = intervals,
            Shares = !withAccount
                ? []
                :
                [
                    .. intervals.Zip(
                        shares,
                        (i, share) =>
                            new WindowShare(
                                i,
                                Instant.Max(start, i.Start),
                                Instant.Min(known, i.End),
                                balance.Settings.BestEstimateIsHeadline && IntervalWorking.Estimable(caveats) ? share?.Best : share?.Charted
                            )
                    ),
                ],
        };
    }

    /// <summary>The time for which a changed interval can change windows.</summary>
    public static Interval Touched(this FluidBalance balance, IntervalChange change)
    {
        var start = new[] { change.Before?.Start, change.After?.Start }.Min()!.Value;
        var end = change.Interval.End;
        start = Instant.Max(start, end - balance.Settings.LongestApportioned);
        return new(start, change.Interval.Stream == FluidBalance.Bladder ? end : end + balance.Settings.LongestGap);
    }

    /// <summary>Whether a route outside the bladder was read in the hours before a moment and not since.</summary>
    private static bool OtherRouteUnread(FluidBalance balance, Instant end) =>
        balance
            .Streams.Where(stream => stream != FluidBalance.Bladder)
            .Select(stream => balance[stream][^1].End)
            .Any(read => read < end && read > end - balance.Settings.LongestGap);

    /// <summary>What is to be known of the intervals; that one is negative says nothing of a window.</summary>
    private static CaveatSet CaveatsOf(ImmutableArray<ClosedInterval> intervals)
    {
        var caveats = CaveatSet.Empty;
        foreach (var interval in intervals)
        {
            foreach (var caveat in interval.Caveats)
            {
                if (caveat != Caveat.NegativeOutput)
                    caveats = caveats.Add(caveat);
            }
        }

        return caveats;
    }

    private static Measured Add(Measured?[] shares)
    {
        var (charted, best, errors) = (Volume.Zero, Volume.Zero, new (ErrorBudget, double)[shares.Length]);
        for (var i = 0; i < shares.Length; i++)
        {
            var share = shares[i]!.Value;
            (charted, best, errors[i]) = (charted + share.Charted, best + share.Best, (share.Errors, 1));
        }

        return new(charted, best, ErrorBudget.Sum(errors));
    }

    private static OutputStatus Status(ImmutableArray<ClosedInterval> intervals, bool open)
    {
        if (open || intervals.Any(i => i.Status == OutputStatus.Preliminary))
            return OutputStatus.Preliminary;
        if (intervals.Any(i => i.Status == OutputStatus.Corrected))
            return OutputStatus.Corrected;
        return intervals.Any(i => i.Status == OutputStatus.Amended) ? OutputStatus.Amended : OutputStatus.Final;
    }

    private static Duration Covered(ImmutableArray<ClosedInterval> intervals, Instant start, Instant end)
    {
        var (sum, upTo) = (Duration.Zero, start);
        foreach (var interval in InOrder(intervals))
        {
            if (interval.Output is null)
                continue;
            var from = Instant.Max(interval.Start, upTo);
            upTo = Instant.Max(from, Instant.Min(interval.End, end));
            sum += upTo - from;
        }

        return sum;
    }

    /// <summary>By their beginnings; those of one stream are so already.</summary>
    private static ImmutableArray<ClosedInterval> InOrder(ImmutableArray<ClosedInterval> intervals)
    {
        for (var i = 1; i < intervals.Length; i++)
        {
            if (intervals[i].Start < intervals[i - 1].Start)
                return [.. intervals.OrderBy(interval => interval.Start)];
        }

        return intervals;
    }
}
