using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>
/// When the books of the bladder close: when every open drainage container has been read, or taken away to be read later.
/// </summary>
/// <remarks>
/// <para>A container that stands at the bed is open until it is taken away; so are others beside it. A jug or basin that catches a return
/// in between is only ever emptied, while another container stands: it adds to the account and closes nothing.</para>
/// <para>What a container holds that is read after it was taken away had drained by then. That it was, an entry says; or it shows, where
/// an empty container was begun and the other next emptied by itself, and not read again.</para>
/// <para>One that nobody reads for <see cref="BalanceSettings.LongestGap"/> while others are read is taken as no longer there.</para>
/// </remarks>
internal sealed class ClosingPoints
{
    private readonly EpisodeLog log;
    private readonly BalanceSettings settings;
    private readonly DrainedOverTime drained;
    private readonly Timeline outputs;
    private readonly Timeline clamps;
    private readonly IReadOnlyList<string> containers;
    private readonly HashSet<string> jugs = [];

    public ClosingPoints(EpisodeLog log, BalanceSettings settings, DrainedOverTime drained)
    {
        (this.log, this.settings, this.drained) = (log, settings, drained);
        (outputs, clamps) = (log[Channel.BladderOutput], log[Channel.Clamp]);
        containers = Channel.Containers(log);
        Several = containers.Count > 1 || containers.Any(c => log[Channel.TakenAway(c)].Count > 0);
        if (containers.Count > 1)
            FindJugs();
    }

    /// <summary>More than one container, or one that was taken away: then readings alone do not tell.</summary>
    public bool Several { get; }

    /// <summary>The clamp that was on just before a moment; null where the drain was open.</summary>
    public Instant? ClampOf(Instant at) => clamps.LastBefore(at) is DrainClamped clamp ? Instant.Max(clamp.At, log.Frame.Start) : null;

    /// <summary>
    /// The moment that a reading speaks of: its own; that of taking away, where the container was read after that; the moment of
    /// clamping, where the drain was clamped then, for nothing has left the bladder since.
    /// </summary>
    public Instant MomentOf(Entry reading)
    {
        var at = TakenAwayBefore(reading) ?? reading.At;
        return ClampOf(at) ?? at;
    }

    /// <summary>Closing points after an instant, up to and including another; null for no end.</summary>
    public IEnumerable<Instant> After(Instant after, Instant? upTo)
    {
        var away = Several ? TakenAwayAfter(after) : [];
        var next = 0;
        Instant? last = null;
        for (var i = outputs.FirstAfter(after); i < outputs.Count; i++)
        {
            if (Several && TakenAwayBefore(outputs[i]) is not null)
                continue;
            var closing = ClampOf(outputs[i].At) ?? outputs[i].At;
            for (; next < away.Length && away[next] <= closing; next++)
            {
                if (away[next] > upTo)
                    yield break;
                if (away[next] == last)
                    continue;
                last = away[next];
                yield return away[next];
            }

            if (closing > upTo)
                yield break;
            if (closing <= after || closing == last || !Closes(outputs[i]))
                continue;
            last = closing;
            yield return closing;
        }

        for (; next < away.Length; next++)
        {
            if (away[next] > upTo)
                yield break;
            if (away[next] != last)
                yield return away[next];
        }
    }

    /// <summary>The last closing point before an instant; the episode's start where there is none.</summary>
    public Instant Before(Instant before)
    {
        var i = outputs.FirstAtOrAfter(before);
        for (var j = i; outputs.At(j) is { } spanning && ClampOf(spanning.At) is { } shut && shut < before; j++)
        {
            if (!IsLate(spanning) && Closes(spanning))
                return shut;
        }

        var last = log.Frame.Start;
        for (i--; i >= 0 && outputs[i].At > last; i--)
        {
            if (IsLate(outputs[i]) || !Closes(outputs[i]))
                continue;
            last = Instant.Max(last, ClampOf(outputs[i].At) ?? outputs[i].At);
            break;
        }

        if (!Several)
            return last;
        foreach (var container in containers)
        {
            var taken = log[Channel.TakenAway(container)];
            var next = taken.FirstAtOrAfter(before);
            while (taken.At(next) is { } later && ClampOf(later.At) < before)
                next++; // taken away under a clamp that began before
            for (var j = next - 1; j >= 0; j--)
            {
                var away = taken[j];
                var moment = ClampOf(away.At) ?? away.At;
                if (moment <= last)
                    break;
                if (moment < before && ClosesByTakingAway(container, away.At))
                    last = moment;
            }
        }

        return last;
    }

    /// <summary>The readings that speak of the time after one moment, up to another, in the order in which they were taken.</summary>
    public IEnumerable<Entry> ReadingsBetween(Instant start, Instant end)
    {
        var i = outputs.FirstAfter(start);
        for (; i < outputs.Count && outputs[i].At <= end; i++)
        {
            if (MomentOf(outputs[i]) > start)
                yield return outputs[i];
        }

        for (; i < outputs.Count; i++)
        {
            if (IsLate(outputs[i]))
                continue;
            if (ClampOf(outputs[i].At) is not { } shut || shut > end)
                break;
            if (shut > start)
                yield return outputs[i];
        }

        if (!Several)
            yield break;
        foreach (var container in containers)
        {
            if (log[Channel.Container(container)].NextAfter(end) is not { } late || TakenAwayBefore(late) is not { } at)
                continue;
            var moment = ClampOf(at) ?? at;
            if (moment > start && moment <= end)
                yield return late;
        }
    }

    /// <summary>Whether a container was taken away in a time, and has not been read since.</summary>
    public bool Awaited(Instant start, Instant end)
    {
        if (!Several)
            return false;
        foreach (var container in containers)
        {
            foreach (var away in log[Channel.TakenAway(container)].After(start, end))
            {
                if (
                    log[Channel.Container(container)].NextAfter(away.At) is null
                    && log[Channel.Container(container)].LastAtOrBefore(away.At)?.At != away.At
                )
                    return true;
            }
        }

        return false;
    }

    /// <summary>The times whose closing points a reading, or the taking away of a container, can change.</summary>
    public Interval Touched(string container, Instant at)
    {
        var own = log[Channel.Container(container)];
        var i = own.FirstAtOrAfter(at);
        var from = own.At(i - 2)?.At ?? own.At(i - 1)?.At ?? at;
        if (log[Channel.TakenAway(container)].LastBefore(at) is { } away)
            from = Instant.Min(from, away.At);
        foreach (var other in containers.Where(c => c != container))
        {
            if (log[Channel.Container(other)].LastBefore(at) is { } read)
                from = Instant.Min(from, read.At);
            else if (log[Channel.Container(other)].At(0) is { } begins)
                from = Instant.Min(from, MomentOf(begins)); // its first reading, whether it is a jug or not
        }

        var first = own.LastBefore(at) is null;
        return new(Before(from), first ? null : Instant.Max(own.NextAfter(at)?.At ?? at, at) + settings.LongestGap + settings.LongestGap);
    }

    private bool IsLate(Entry reading) => Several && TakenAwayBefore(reading) is not null;

    /// <summary>Whether a reading closes the books at the moment that it speaks of.</summary>
    private bool Closes(Entry reading)
    {
        if (DrainedOverTime.ContainerOf(reading) is not { } container)
            return true;
        if (drained.LeavesAPart(reading))
            return false;
        if (containers.Count == 1)
            return true;
        var jug = jugs.Contains(container);
        return !containers.Any(other => other != container && !jugs.Contains(other) && IsOpen(other, reading.At, together: !jug));
    }

    private bool ClosesByTakingAway(string container, Instant at) =>
        log[Channel.Container(container)].LastAtOrBefore(at) is not null
        && !jugs.Contains(container)
        && !containers.Any(other => other != container && !jugs.Contains(other) && IsOpen(other, at, together: true));

    private Instant[] TakenAwayAfter(Instant after) =>
        [
            .. containers
                .SelectMany(container =>
                    log[Channel.TakenAway(container)]
                        .After(after, Instant.MaxValue)
                        .Where(away => ClosesByTakingAway(container, away.At))
                        .Select(away => ClampOf(away.At) ?? away.At)
                )
                .Where(at => at > after)
                .Distinct()
                .Order(),
        ];

    /// <summary>
    /// Whether a container stands at the bed at a moment and was not read then, nor (<paramref name="together"/>) in the same round.
    /// </summary>
    private bool IsOpen(string container, Instant at, bool together)
    {
        var readings = log[Channel.Container(container)];
        var next = readings.FirstAfter(at);
        if (readings.At(next - 1) is not { } read || read.At == at)
            return false;
        if (at - read.At > settings.LongestGap || (together && at - read.At <= settings.ReadTogether))
            return false;
        if (log[Channel.TakenAway(container)].LastAtOrBefore(at) is { } away && away.At >= read.At)
            return false;
        if (IsLate(read))
            return false; // taken away and read elsewhere: it is back only when it is begun again
        return !(readings.At(next) is { } later && TakenAwayBefore(later) <= at);
    }

    /// <summary>Whether a container is a jug or basin: nothing was in it before it caught a return.</summary>
    public bool IsJug(string container) => jugs.Contains(container);

    /// <summary>When the container of a reading was taken away to be read later; null where it was read in its place.</summary>
    private Instant? TakenAwayBefore(Entry reading)
    {
        if (!Several || DrainedOverTime.ContainerOf(reading) is not { } container)
            return null;
        var readings = log[Channel.Container(container)];
        var i = readings.FirstAtOrAfter(reading.At);
        while (readings.At(i) is { } other && other != reading && other.At == reading.At)
            i++;
        if (readings.At(i) != reading)
            return null; // not in this log
        var before = readings.At(i - 1);
        if (log[Channel.TakenAway(container)].LastBefore(reading.At) is { } away)
            return !(before?.At >= away.At) ? away.At : Swapped(readings, i, container);
        return Swapped(readings, i, container);
    }

    /// <summary>When an empty container was begun in place of one that was then emptied by itself.</summary>
    private Instant? Swapped(Timeline readings, int i, string container)
    {
        if (containers.Count == 1 || !Empties(readings[i]) || readings.At(i - 1) is not { } before)
            return null;
        if (readings.At(i + 1) is { } again && !IsEmpty(again))
            return null;
        Instant? swapped = null;
        foreach (var other in containers)
        {
            if (other == container)
                continue;
            var others = log[Channel.Container(other)];
            if (others.At(others.FirstAtOrAfter(readings[i].At))?.At == readings[i].At)
                continue;
            var begun = others.At(others.FirstAfter(before.At));
            if (
                begun is null
                || begun.At >= readings[i].At
                || !IsEmpty(begun)
                || readings[i].At - begun.At > settings.LongestGap
                || begun.At - before.At > settings.LongestGap
            )
                continue;

            // One that was used before comes back only if it was emptied, and the other was read since.
            var rested = others.LastBefore(begun.At);
            if (rested is not null && !(Empties(rested) && rested.At < before.At))
                continue;
            if (!(swapped <= begun.At))
                swapped = begun.At;
        }

        return swapped;
    }

    private static bool Empties(Entry reading) => reading is DrainageEmptied or DrainageWeighed { Emptied: true };

    private bool IsEmpty(Entry reading) => !Empties(reading) && drained.Content(reading).Millilitres <= settings.Characters.FirstMark;

    /// <summary>Containers whose first reading is an emptying while another stood at the bed.</summary>
    private void FindJugs()
    {
        var firsts = containers.Select(c => (Name: c, First: log[Channel.Container(c)][0]));
        foreach (var (name, first) in firsts.OrderBy(c => c.First.At).ThenBy(c => c.Name, StringComparer.Ordinal))
        {
            var stands = containers.Any(other => other != name && !jugs.Contains(other) && IsOpen(other, first.At, together: false));
            if (stands && Empties(first))
                jugs.Add(name);
        }
    }
}
