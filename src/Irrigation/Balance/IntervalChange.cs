using System.Collections.Immutable;
using Irrigation.Episodes;

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

    /// <summary>What differs between two versions of the same time, each in order: first what came or changed, then what went.</summary>
    internal static IEnumerable<IntervalChange> Between(IEnumerable<ClosedInterval> before, IEnumerable<ClosedInterval> after)
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
}
