using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>A bag on a line, from its hanging to its end, with everything that was read of it.</summary>
/// <remarks>Of a bag whose hanging was not charted it begins with its first reading.</remarks>
internal sealed class HangingBag
{
    private HangingBag(BagHung? hung, Instant from) => (Hung, From) = (hung, from);

    /// <summary>Its hanging; null where that was not charted.</summary>
    public BagHung? Hung { get; }

    /// <summary>From when it can run: its hanging, or when the bag that it waited beside was taken down.</summary>
    public Instant From { get; private set; }

    /// <summary>When it was taken down, or another was hung in its place; null while it hangs.</summary>
    public Instant? To { get; private set; }

    /// <summary>Readings of what was left in it, in order; the taking down is the last.</summary>
    public List<Entry> Readings { get; } = [];

    /// <summary>The bag that was hung in its place without a word of what was left in this one; null where there was none.</summary>
    public BagHung? ReplacedBy { get; private set; }

    /// <summary>Hangs beside the one that runs (a Y-set) and does not run.</summary>
    public bool Waits { get; private set; }

    /// <summary>Names it among all bags of the episode.</summary>
    public EntryKey Key => (Hung ?? Readings[0]).Key;

    /// <summary>Whether it hangs at a moment, and is the one that runs.</summary>
    public bool RunsAt(Instant at) => !Waits && From <= at && !(To <= at);

    /// <summary>Whether another, found in the same log, is this one with the same readings.</summary>
    public bool IsAsKnown(HangingBag other) =>
        Key == other.Key && From == other.From && To == other.To && Waits == other.Waits && Readings.Count == other.Readings.Count;

    /// <summary>What is left by a reading; null where nobody charted it.</summary>
    public static Volume? LeftBy(Entry reading) => reading is BagRead read ? read.Remaining : ((BagTakenDown)reading).Remaining;

    /// <summary>
    /// The bags of a line that hang in the time up to <paramref name="end"/> and have not ended by <paramref name="start"/>, each to its
    /// end.
    /// </summary>
    public static List<HangingBag> Of(Timeline bags, Instant start, Instant end)
    {
        List<HangingBag> found = [];
        List<HangingBag> waiting = [];
        HangingBag? runs = null;
        for (var i = Beginning(bags, start); i < bags.Count; i++)
        {
            var entry = bags[i];
            if (runs is null && waiting.Count == 0 && entry.At > end && entry is BagHung)
                break;
            switch (entry)
            {
                case BagHung hung when runs is not null && BesideIt(runs, hung):
                    waiting.Add(new(hung, hung.At) { Waits = true });
                    break;
                case BagHung hung:
                    if (runs is not null)
                        End(runs, hung.At, hung);
                    runs = new(hung, hung.At);
                    break;
                default:
                    var named = entry is BagRead read ? read.Bag : ((BagTakenDown)entry).Bag;
                    var about = named is null || named == runs?.Hung?.Bag ? null : waiting.Find(bag => bag.Hung!.Bag == named);
                    about ??= runs ??= new(null, entry.At);
                    about.Readings.Add(entry);
                    if (entry is BagRead)
                        break;
                    End(about, entry.At, null);
                    waiting.Remove(about);
                    if (about != runs)
                        break;
                    runs = waiting.FirstOrDefault();
                    if (runs is null)
                        break;
                    waiting.Remove(runs);
                    (runs.Waits, runs.From) = (false, entry.At);
                    break;
            }
        }

        if (runs is not null)
            Found(runs);
        foreach (var bag in waiting)
            Found(bag);
        return found;

        void End(HangingBag bag, Instant at, BagHung? replacedBy)
        {
            (bag.To, bag.ReplacedBy) = (at, replacedBy);
            Found(bag);
        }

        void Found(HangingBag bag)
        {
            if (bag.From <= end)
                found.Add(bag);
        }
    }

    /// <summary>
    /// Two bags of a Y-set hang side by side where each has a name of its own; without names the second takes the place of the first.
    /// </summary>
    internal static bool BesideIt(HangingBag runs, BagHung hung) => BesideIt(runs.Hung, hung);

    /// <summary>The same of the hanging of the one that runs.</summary>
    internal static bool BesideIt(BagHung? runs, BagHung hung) => runs?.Bag is { } one && hung.Bag is { } other && one != other;

    /// <summary>The place of the entry from which the bags at a moment can be told.</summary>
    private static int Beginning(Timeline bags, Instant start)
    {
        const int farBack = 16; // entries: of bags that hang side by side no more are looked at
        var i = bags.FirstAfter(start) - 1;
        while (i > 0 && bags[i] is not BagHung)
            i--;
        if (bags.At(i) is not BagHung { Bag: { } name })
            return Math.Max(i, 0);

        var down = new HashSet<string>();
        for (var j = i - 1; j >= 0 && j >= i - farBack; j--)
        {
            if (bags[j] is BagTakenDown { Bag: var named })
            {
                if (named is null)
                    break;
                down.Add(named);
            }
            else if (bags[j] is BagHung hung)
            {
                if (hung.Bag is null)
                    break;
                if (hung.Bag != name && !down.Contains(hung.Bag))
                    i = j;
            }
        }

        return i;
    }
}
