using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>F15. What is done is not what was ordered, there is no order or it has expired, or two identifiers were not checked.</summary>
public static class OrderMismatch
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "order-mismatch",
            "Order and record differ",
            FlagCategory.Safety,
            "common practice, no source: irrigation is ordered, and the patient identified twice",
            Cautions.Order,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (Began(bedside) is not { } began)
            return new Finding.NotRaised();
        var (order, due) = (bedside.Order, began + bedside.Settings.RecordDueAfter);
        var withdrawn = Orders.Withdrawal(bedside.Log, bedside.At);
        var overdue = bedside.At >= due;
        var look = Earlier(overdue ? order?.Terms.Ends : Earlier(due, order?.Terms.Ends), OrderedCycles.LooksAgain(bedside));
        List<string> differs = [];
        if (withdrawn is not null)
            differs.AddRange(GoesOn(bedside, withdrawn));
        else if (order is null && overdue)
            differs.Add("there is no order");
        if (order is not null)
            differs.AddRange(Differences(bedside, order));
        if (overdue && !CompleteRecord.IdentityChecked(bedside))
            differs.Add("two identifiers were not checked");
        if (differs.Count > 0)
            return new Finding.Raised(
                FlagPriority.Medium,
                $"{string.Join(". ", differs.Select((one, place) => place == 0 ? one : Words.Capital(one)))}."
            )
            {
                LookAgain = look,
                Evidence = [.. order?.Entries.Select(Evidence.Of) ?? [], .. withdrawn is null ? [] : (Evidence[])[Evidence.Of(withdrawn)]],
            };
        return new Finding.NotRaised { LookAgain = look };
    }

    /// <summary>What is done though the order was withdrawn.</summary>
    private static IEnumerable<string> GoesOn(Bedside bedside, OrderSet withdrawn)
    {
        var since = $"the order was withdrawn at {bedside.Said(withdrawn.At)}";
        if (bedside.Runs)
            yield return $"{since} and irrigation goes on";
        if (bedside.Log[Channel.Aliquot].LastAtOrBefore(bedside.At) is IrrigantInstilled given && given.At > withdrawn.At)
            yield return $"{since} and {given.Amount} was given at {bedside.Said(given.At)}";
    }

    private static IEnumerable<string> Differences(Bedside bedside, OrderInForce inForce)
    {
        var order = inForce.Terms;
        if (order.Ends <= bedside.At && bedside.Runs)
            yield return $"the order expired at {bedside.Said(order.Ends.Value)} and irrigation goes on";
        if (
            order.Method is "continuous"
            && bedside.Lines.All(line => bedside.Log[Channel.Line(line)].Count == bedside.Log[Channel.Syringe(line)].Count)
        )
            yield return "continuous irrigation is ordered and only syringes are charted";
        if (order.Method is "intermittent-manual" or "open" or "instillation-dwell" && bedside.Inflow > FlowRate.Stopped)
            yield return $"{Words.Of(order.Method)} irrigation is ordered and {bedside.Inflow} runs continuously";
        foreach (var bag in Irrigants.Hanging(bedside))
        {
            if (bag.Solution is { } hung && order.Solution is { } ordered && !Same(hung, ordered))
                yield return $"{ordered} is ordered and {hung} hangs on line {bag.Line}";
        }

        if (bedside.Inflow is { } flow && flow > FlowRate.Stopped)
        {
            if (flow < order.AtLeast)
                yield return $"at least {order.AtLeast} is ordered and {flow} runs";
            if (flow > order.AtMost)
                yield return $"at most {order.AtMost} is ordered and {flow} runs";
        }

        foreach (var difference in OrderedCycles.Differences(bedside, inForce))
            yield return difference;
    }

    /// <summary>The first irrigant; null before it.</summary>
    internal static Instant? Began(Bedside bedside)
    {
        Instant? began = null;
        foreach (var line in bedside.Lines)
        {
            if (bedside.Log[Channel.Line(line)] is { Count: > 0 } entries && entries[0].At <= bedside.At)
                began = Earlier(began, entries[0].At);
        }

        return began;
    }

    private static Instant? Earlier(Instant? one, Instant? other) => one is { } a && other is { } b ? Instant.Min(a, b) : one ?? other;

    internal static bool Same(string one, string other)
    {
        var (a, b) = (Plain(one), Plain(other));
        return a.Contains(b, StringComparison.Ordinal) || b.Contains(a, StringComparison.Ordinal);
    }

    private static string Plain(string text) => string.Concat(text.Where(char.IsLetterOrDigit)).ToUpperInvariant();
}
