using System.Runtime.CompilerServices;
using NodaTime;

namespace Irrigation.Episodes;

/// <summary>The order as it stands: what the entries about it say together.</summary>
public sealed class OrderInForce
{
    private readonly OrderSet entry;
    private readonly OrderInForce? before;

    internal OrderInForce(OrderSet terms, OrderSet entry, OrderInForce? before)
    {
        Terms = terms;
        this.entry = entry;
        this.before = before;
    }

    /// <summary>Everything that is in force. Its header, and who ordered it how, are those of the latest entry.</summary>
    public OrderSet Terms { get; }

    /// <summary>From when it is in force: the entry that began it.</summary>
    public Instant Start => Steps.Last().entry.At;

    /// <summary>The entries that it is made of, the latest first; at least one.</summary>
    public IEnumerable<OrderSet> Entries => Steps.Select(step => step.entry);

    /// <summary>Since when something of it has been as it is now, however often it was said again.</summary>
    /// <param name="of">What of the terms.</param>
    public Instant Since(Func<OrderSet, object?> of) => Steps.First(step => step.Alters(of)).entry.At;

    /// <summary>When something of it was last said, or became what it is because something else was said.</summary>
    /// <param name="of">What of the terms, or of an entry; null where that does not say it.</param>
    public Instant SaidLast(Func<OrderSet, object?> of) => Steps.First(step => of(step.entry) is not null || step.Alters(of)).entry.At;

    /// <summary>Who ordered it, how and when, and the same of its last change; null where there is nothing to tell but its age.</summary>
    /// <param name="said">How a moment is said.</param>
    public string? Given(Func<Instant, string> said)
    {
        var first = Entries.Last();
        if (before is null)
            return By(first) is { Length: > 0 } by ? $"ordered{by}" : null;
        return $"ordered{By(first)}; changed {said(entry.At)}{By(entry)}";
    }

    private IEnumerable<OrderInForce> Steps
    {
        get
        {
            for (var step = this; step is not null; step = step.before)
                yield return step;
        }
    }

    internal static string By(OrderSet entry)
    {
        var how = entry.OrderedHow switch
        {
            OrderedHow.Written => ", in writing",
            OrderedHow.Telephone => ", by telephone, not charted as read back",
            OrderedHow.TelephoneReadBack => ", by telephone and read back",
            OrderedHow.Verbal => ", by word of mouth",
            null => "",
        };
        return entry.OrderedBy is { } who ? $" by {who}{how}" : how;
    }

    private bool Alters(Func<OrderSet, object?> of) => before is null || !Equals(of(before.Terms), of(Terms));
}

/// <summary>Which order is in force when: the entries about it, taken together in the order in which they hold.</summary>
/// <remarks>
/// <para>An entry changes what it says and leaves the rest in force, unless it says in so many words that it replaces or withdraws
/// (<see cref="OrderChange"/>). What is said in one of two ways is one thing: a flow (a volume in a time, or a range), an end (a time, or a
/// number of days), how often (a number, or words), how many cycles (a number, or until clear). An end of the range that the other now
/// crosses holds no longer. From a flow to cycles, or back, how much and how often begin anew, for those of the one say nothing of the
/// other.</para>
/// <para>Within an instant withdrawals come first, then what replaces, then what changes.</para>
/// <para>An order that has expired is in force still: <see cref="OrderSet.Ends"/> says when it ended, and only another end prolongs
/// it.</para>
/// </remarks>
public static class Orders
{
    // An order is asked for by many rules at every moment, and given a few times a day.
    private static readonly ConditionalWeakTable<Timeline, OrderInForce?[]> Folded = [];

    /// <summary>The order in force at a moment; null where none is on record or it was withdrawn.</summary>
    public static OrderInForce? InForce(EpisodeLog log, Instant at)
    {
        var (orders, last) = Upto(log, at);
        return last < 0 ? null : StatesOf(orders)[last];
    }

    /// <summary>The order in force at a moment, or else the last one before it was withdrawn; null where none is on record.</summary>
    public static OrderInForce? Latest(EpisodeLog log, Instant at) => Before(log, at).FirstOrDefault();

    /// <summary>The order as it stood at a moment, and after each entry before that; the latest first.</summary>
    public static IEnumerable<OrderInForce> Before(EpisodeLog log, Instant at)
    {
        var (orders, last) = Upto(log, at);
        var states = StatesOf(orders);
        for (var i = last; i >= 0; i--)
        {
            if (states[i] is { } order)
                yield return order;
        }
    }

    /// <summary>The entry that withdrew what was in force; null where something is, or nothing was ever ordered.</summary>
    public static OrderSet? Withdrawal(EpisodeLog log, Instant at)
    {
        var (orders, i) = Upto(log, at);
        var states = StatesOf(orders);
        if (i < 0 || states[i] is not null)
            return null;
        while (i > 0 && states[i - 1] is null)
            i--;
        return (OrderSet)orders[i];
    }

    /// <summary>Why no order is in force, as a sentence.</summary>
    /// <param name="log">The log.</param>
    /// <param name="at">A moment at which none is.</param>
    /// <param name="said">How a moment is said.</param>
    public static string NoneSays(EpisodeLog log, Instant at, Func<Instant, string> said) =>
        Withdrawal(log, at) is { } entry ? $"The order was withdrawn {said(entry.At)}{OrderInForce.By(entry)}." : "No order is on record.";

    private static (Timeline Orders, int Last) Upto(EpisodeLog log, Instant at)
    {
        var orders = log[Slug.Of(nameof(OrderSet))];
        return (orders, orders.FirstAfter(at) - 1);
    }

    /// <summary>What is in force after each entry; null where nothing is.</summary>
    private static OrderInForce?[] StatesOf(Timeline orders) => Folded.GetValue(orders, Fold);

    private static OrderInForce?[] Fold(Timeline orders)
    {
        var states = new OrderInForce?[orders.Count];
        OrderInForce? order = null;
        for (var i = 0; i < states.Length; i++)
            states[i] = order = After(order, (OrderSet)orders[i]);
        return states;
    }

    private static OrderInForce? After(OrderInForce? before, OrderSet entry) =>
        entry.Change switch
        {
            OrderChange.Withdraws => Concerns(entry, before) ? null : before,
            OrderChange.Changes when before is not null => new(Changed(before.Terms, entry), entry, before),
            OrderChange.Changes or OrderChange.Replaces => new(entry, entry, null),
        };

    /// <summary>A withdrawal that names an order is of that one: what has replaced it stands.</summary>
    private static bool Concerns(OrderSet withdrawal, OrderInForce? order)
    {
        var names = order?.Entries.Select(entry => entry.Order).OfType<string>().ToList() ?? [];
        return withdrawal.Order is not { } named || names.Count == 0 || names.Contains(named);
    }

    private static OrderSet Changed(OrderSet was, OrderSet says)
    {
        if (says.Method is not null && was.Method is not null && says.ByCycles != was.ByCycles)
            was = WithoutAmounts(was);
        var (inTime, inRange) = (says.Over is not null, says.AtLeast is not null || says.AtMost is not null);
        var often = says.Frequency is not null || says.TimesPerDay is not null;
        var many = says.Cycles is not null || says.UntilClear is not null;
        var ends = says.Until is not null || says.Days is not null;
        return says with
        {
            Order = says.Order ?? was.Order,
            Method = says.Method ?? was.Method,
            Solution = says.Solution ?? was.Solution,
            Additive = says.Additive ?? was.Additive,
            Amount = says.Amount ?? (inRange && was.Over is not null ? null : was.Amount),
            Over = says.Over ?? (inRange ? null : was.Over),
            AtLeast = says.AtLeast ?? (inTime || was.AtLeast > says.AtMost ? null : was.AtLeast),
            AtMost = says.AtMost ?? (inTime || was.AtMost < says.AtLeast ? null : was.AtMost),
            DropFactor = says.DropFactor ?? was.DropFactor,
            Dwell = says.Dwell ?? was.Dwell,
            Frequency = often ? says.Frequency : was.Frequency,
            TimesPerDay = often ? says.TimesPerDay : was.TimesPerDay,
            Aliquot = says.Aliquot ?? was.Aliquot,
            Cycles = many ? says.Cycles : was.Cycles,
            UntilClear = many ? says.UntilClear : was.UntilClear,
            Target = says.Target ?? was.Target,
            Contact = says.Contact ?? was.Contact,
            Days = says.Days,
            Until = ends ? says.Until : was.Ends, // days are counted from the entry that said them
        };
    }

    private static OrderSet WithoutAmounts(OrderSet order) =>
        order with
        {
            Amount = null,
            Over = null,
            AtLeast = null,
            AtMost = null,
            Dwell = null,
            Frequency = null,
            TimesPerDay = null,
            Aliquot = null,
            Cycles = null,
            UntilClear = null,
        };
}
