using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>A container that was taken away, or has another in its place, and is not read yet: what it holds has drained.</summary>
internal static class Awaited
{
    /// <summary>Which is not read and since when; null where none is awaited.</summary>
    public static string? Says(Bedside bedside) => TakenAway(bedside) ?? Replaced(bedside);

    /// <summary>Undecided while one is not read; null where none is awaited.</summary>
    public static Finding? Undecided(Bedside bedside) =>
        Says(bedside) is { } why ? new Finding.Undecided(why, "a reading of the container that was not read") : null;

    /// <summary>When a container was last taken away; null where none was.</summary>
    public static Instant? TakenAwayAt(Bedside bedside) =>
        Channel.Containers(bedside.Log).Max(container => bedside.Log[Channel.TakenAway(container)].LastAtOrBefore(bedside.At)?.At);

    /// <summary>The container that was taken away since the books were last closed and complete.</summary>
    private static string? TakenAway(Bedside bedside)
    {
        var complete = bedside.Latest is { Absent: AbsentReason.DrainageNotReadYet } latest ? latest.Start : bedside.Balance.LastClosing;
        foreach (var container in Channel.Containers(bedside.Log))
        {
            var away = bedside.Log[Channel.TakenAway(container)].LastAtOrBefore(bedside.At);
            var read = bedside.Log[Channel.Container(container)].LastAtOrBefore(bedside.At);
            if (away is null || away.At <= complete || read?.At >= away.At)
                continue;
            return $"container {container} was taken away at {bedside.Said(away.At)} and not read yet";
        }

        return null;
    }

    /// <summary>The container read last, where another was read since and closed nothing: an empty one was hung in its place.</summary>
    private static string? Replaced(Bedside bedside)
    {
        var closed = bedside.Balance.LastClosing;
        var last = bedside.Log[Channel.BladderOutput].LastAtOrBefore(bedside.At);
        if (last is null || last.At <= closed)
            return null;
        if (bedside.Log[Channel.Clamp].LastBefore(last.At) is DrainClamped || ContainerOf(last) is not { } other)
            return null;
        (string Container, Instant At)? unread = null;
        foreach (var container in Channel.Containers(bedside.Log).Where(container => container != other))
        {
            var read = bedside.Log[Channel.Container(container)].LastAtOrBefore(closed);
            if (read is not null && !(unread?.At >= read.At))
                unread = (container, read.At);
        }

        if (unread is not { } awaited)
            return null;
        var since = bedside.Said(awaited.At);
        return $"container {other} was read at {bedside.Said(last.At)} and container {awaited.Container} not since {since}";
    }

    /// <summary>The container of a reading that did not empty it: a jug that caught a return is only ever emptied.</summary>
    private static string? ContainerOf(Entry reading) =>
        reading switch
        {
            DrainageLevelRead level => level.Container,
            DrainageWeighed { Emptied: false } weighed => weighed.Container,
            _ => null,
        };
}
