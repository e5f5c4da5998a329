using Irrigation.Balance;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Episodes;

/// <summary>What a new entry says against the record, so plainly that somebody has to look before it is taken.</summary>
/// <remarks>
/// Judged on the log that would result, so that the order within a request does not matter. The balance itself never relies on
/// this: a contradiction that came in another way shows as a caveat.
/// </remarks>
public static class Contradictions
{
    /// <summary>The first contradiction of an entry in the log that holds it; null where there is none.</summary>
    public static EntryProblem? Of(Entry entry, EpisodeLog log, string where) =>
        entry.Header.Purpose != Purpose.Clinical
            ? null
            : OfFrame(entry, log.Frame, where)
                ?? entry switch
                {
                    BagHung hung => BagOverBag(hung, log, where),
                    IrrigantInstilled { AtOnce: false } total => TotalOverTotal(total, log, where),
                    DrainageEmptied or DrainageLevelRead or DrainageWeighed => DrainedWhileClamped(entry, log, where),
                    _ => null,
                };

    /// <summary>What an entry says against the episode's start and end; null where it fits.</summary>
    public static EntryProblem? OfFrame(Entry entry, EpisodeFrame frame, string where)
    {
        // What is seen, ordered or weighed may well lie before or after; fluid may not.
        var fluid =
            entry
            is BagHung
                or BagRead
                or BagTakenDown
                or IrrigantInstilled
                or IrrigantDiscarded
                or FlowSet
                or PumpTotalRead
                or ContainerTakenAway
                or BloodRemoved
                or DrainageEmptied
                or DrainageLevelRead
                or DrainageWeighed
                or LeakEstimated
                or UrineCollected
                or DrainClamped
                or DrainReleased;
        if (!fluid)
            return null;
        var begins = entry.Header.From ?? entry.At;
        if (begins < frame.Start)
            return EntryProblem.BeforeStart($"{where}.{(entry.Header.From is null ? "at" : "from")}", begins, frame.Start);
        return entry.At > frame.End ? EntryProblem.AfterEnd($"{where}.at", entry.At, frame.End.Value) : null;
    }

    private static EntryProblem? BagOverBag(BagHung hung, EpisodeLog log, string where)
    {
        var bags = log[Channel.Bag(hung.Line)];
        var i = bags.FirstAtOrAfter(hung.At);
        while (bags[i] != hung)
            i++;

        // Two bags of a Y-set, each with a name of its own, hang side by side, and one of them runs.
        var hangs = HangingBag
            .Of(bags, hung.At - Duration.Epsilon, hung.At)
            .Find(bag => bag.Hung != hung && bag.RunsAt(hung.At - Duration.Epsilon));
        return bags.At(i - 1) is BagHung or BagRead && !HangingBag.BesideIt(hangs?.Hung ?? bags[i - 1] as BagHung, hung)
                ? EntryProblem.OverlappingBags(where, hung.Line, bags[i - 1].At)
            : bags.At(i + 1) is BagHung next && !HangingBag.BesideIt(hung, next) ? EntryProblem.OverlappingBags(where, hung.Line, next.At)
            : null;
    }

    private static EntryProblem? TotalOverTotal(IrrigantInstilled total, EpisodeLog log, string where)
    {
        var totals = log[Channel.Total(total.Line)];
        var from = total.Header.From ?? total.At;
        for (var i = totals.FirstAfter(from); i < totals.Count; i++)
        {
            var other = (IrrigantInstilled)totals[i];
            var begins = other.Header.From ?? other.At;
            if (other.Key == total.Key)
                continue;
            if (begins >= total.At && other.At > total.At)
                break;
            if (begins < total.At && (other.Header.From is not null || total.Header.From is not null))
            {
                return EntryProblem.OverlappingTotals(where, total.Line, begins, other.At);
            }
        }

        return null;
    }

    /// <summary>
    /// One reading in the time of a clamp says what had drained before it. What a further one adds must have drained while clamped.
    /// </summary>
    private static EntryProblem? DrainedWhileClamped(Entry reading, EpisodeLog log, string where)
    {
        if (log[Channel.Clamp].LastBefore(reading.At) is not DrainClamped clamp)
            return null;
        var drained = new DrainedOverTime(log, BalanceSettings.Default);
        var container = log[Channel.Container(DrainedOverTime.ContainerOf(reading)!)];
        var again = container.LastBefore(reading.At) is { } before && before.At >= clamp.At;
        return (again || reading.Header.From >= clamp.At) && drained.Added(reading).Added?.Charted > Volume.Zero
            ? EntryProblem.DrainageWhileClamped(where, clamp.At)
            : null;
    }
}
