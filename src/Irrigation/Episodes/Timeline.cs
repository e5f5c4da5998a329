using System.Collections.Immutable;
using NodaTime;

namespace Irrigation.Episodes;

/// <summary>
/// Entries of one channel in the order in which they happened. Immutable; insert, remove and look-up cost O(log n),
/// so that the cost of an entry does not grow with the length of the episode.
/// </summary>
/// <remarks>
/// At one instant the order is: bag read, taken down, hung; clamp released, set; order withdrawn, replaced, changed; then source and id;
/// then, between versions of one entry, what they say. So the order never depends on arrival.
/// </remarks>
public sealed class Timeline
{
    private static readonly IComparer<Entry> Order = Comparer<Entry>.Create(Compare);
    private readonly ImmutableList<Entry> entries;

    private Timeline(ImmutableList<Entry> entries) => this.entries = entries;

    /// <summary>Nothing yet.</summary>
    public static Timeline Empty { get; } = new([]);

    /// <summary>How many.</summary>
    public int Count => entries.Count;

    /// <summary>The entry at a position, 0 the earliest.</summary>
    public Entry this[int index] => entries[index];

    /// <summary>With one more.</summary>
    public Timeline With(Entry entry)
    {
        var at = entries.BinarySearch(entry, Order);
        return at >= 0 ? this : new(entries.Insert(~at, entry));
    }

    /// <summary>Without one; the same where it is not there.</summary>
    public Timeline Without(Entry entry)
    {
        var at = entries.BinarySearch(entry, Order);
        return at < 0 ? this : new(entries.RemoveAt(at));
    }

    /// <summary>Position of the first entry at or after an instant; <see cref="Count"/> where there is none.</summary>
    public int FirstAtOrAfter(Instant instant) => First(instant, orAt: true);

    /// <summary>Position of the first entry after an instant; <see cref="Count"/> where there is none.</summary>
    public int FirstAfter(Instant instant) => First(instant, orAt: false);

    /// <summary>The last entry at or before an instant.</summary>
    public Entry? LastAtOrBefore(Instant instant) => At(FirstAfter(instant) - 1);

    /// <summary>The last entry before an instant.</summary>
    public Entry? LastBefore(Instant instant) => At(FirstAtOrAfter(instant) - 1);

    /// <summary>Entries before an instant, the latest first.</summary>
    public IEnumerable<Entry> Before(Instant instant)
    {
        for (var i = FirstAtOrAfter(instant) - 1; i >= 0; i--)
            yield return entries[i];
    }

    /// <summary>The first entry after an instant.</summary>
    public Entry? NextAfter(Instant instant) => At(FirstAfter(instant));

    /// <summary>The entry at a position, or null beside the ends.</summary>
    public Entry? At(int index) => index >= 0 && index < entries.Count ? entries[index] : null;

    /// <summary>Entries after <paramref name="start"/>, up to and including <paramref name="end"/>.</summary>
    public IEnumerable<Entry> After(Instant start, Instant end)
    {
        var first = FirstAfter(start);
        return first < entries.Count && entries[first].At <= end ? From(first, end) : [];
    }

    private IEnumerable<Entry> From(int first, Instant end)
    {
        for (var i = first; i < entries.Count && entries[i].At <= end; i++)
            yield return entries[i];
    }

    private static int Compare(Entry left, Entry right)
    {
        var byTime = left.At.CompareTo(right.At);
        if (byTime != 0)
            return byTime;
        var byRank = Rank(left).CompareTo(Rank(right));
        if (byRank != 0)
            return byRank;
        var byKey = EntryKey.Compare(left.Key, right.Key);
        return byKey != 0 || left == right ? byKey : string.CompareOrdinal(left.ToString(), right.ToString());
    }

    private static int Rank(Entry entry) =>
        entry switch
        {
            BagRead or DrainReleased or DrainageLevelRead => 0,
            BagTakenDown or DrainClamped or DrainageWeighed => 1,
            BagHung or DrainageEmptied => 2,
            OrderSet order => 3 - (int)order.Change,
            _ => 3,
        };

    /// <summary>One walk down the tree: looking at positions one by one would walk it at each step.</summary>
    private int First(Instant instant, bool orAt)
    {
        if (entries.IsEmpty)
            return 0;
        var bound = Bound.OfThread ??= new();
        (bound.Instant, bound.OrAt) = (instant, orAt);
        return ~entries.BinarySearch(0, entries.Count, entries[0], bound);
    }

    /// <summary>Places an instant among entries, whatever entry it is asked with; never equal to one.</summary>
    private sealed class Bound : IComparer<Entry>
    {
        /// <summary>A balance searches some hundred times for every entry: one for each thread is enough.</summary>
        [ThreadStatic]
        public static Bound? OfThread;

        public Instant Instant { get; set; }

        public bool OrAt { get; set; }

        public int Compare(Entry? sought, Entry? entry) => entry!.At > Instant || (OrAt && entry.At == Instant) ? -1 : 1;
    }
}
