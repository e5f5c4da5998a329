using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>How far what is charted of the irrigant reaches: an entry tells of times before and after its own.</summary>
internal sealed class IrrigantReach(BalanceSettings settings, IrrigantLines lines, MeasuredStretches stretches)
{
    /// <summary>The time whose working an entry of a line can touch.</summary>
    /// <remarks>Whatever is charted of a bag or of its flow is evidence of all of its life.</remarks>
    public Interval Touched(string name, Entry entry)
    {
        var (line, at) = (lines.Named(name), entry.At);
        var (bags, pumps, totals, flows) = (line.Bags, line.Pumps, line.Totals, line.Flows);
        if (entry is IrrigantInstilled { AtOnce: true })
            return new(at - settings.DwellLead, at + settings.DwellLead);
        Instant?[] before =
        [
            BeginningOfBag(line, at - Duration.Epsilon),
            bags.LastBefore(at)?.At,
            pumps.LastBefore(at)?.At,
            totals.LastBefore(at)?.At,
            entry.Header.From is { } begins ? stretches.EarliestStart(begins) : null,
            totals.NextAfter(at)?.Header.From,
        ];
        var from = Instant.Min(before.Min(i => i ?? at), stretches.EarliestStart(at));

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

        // A flow here shows that a bag on another line waits: it reaches to the end of whatever hangs there.
        if (entry is FlowSet && lines.All.Length > 1 && to is { } until)
        {
            foreach (var other in lines.All.Where(l => l.Name != name && l.Bags.Count > 0))
                to = Later(to, EndOfBags(other, until));
        }

        if (entry is FlowSet && lines.All.Length > 1)
        {
            foreach (var other in lines.All.Where(l => l.Name != name))
                from = Instant.Min(from, BeginningOfBag(other, at) ?? from);
        }

        return new(from, to);
    }

    /// <summary>When what hangs at a moment began to hang, with whatever hangs beside it; null where nothing does.</summary>
    private static Instant? BeginningOfBag(IrrigantLine line, Instant at)
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
    private static Instant? EndOfBags(IrrigantLine line, Instant at)
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

    private static Instant? NextHung(Timeline bags, Instant at)
    {
        for (var i = bags.FirstAfter(at); i < bags.Count; i++)
        {
            if (bags[i] is BagHung)
                return bags[i].At;
        }

        return null;
    }

    private static Instant? Later(params Instant?[] instants) => instants.Any(i => i is null) ? null : instants.Max();
}
