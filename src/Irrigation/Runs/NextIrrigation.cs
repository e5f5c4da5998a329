using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;
using NodaTime.Text;

namespace Irrigation.Runs;

/// <summary>When the next irrigation, or dose, is due by the order's times a day.</summary>
/// <param name="Order">The order in force.</param>
/// <param name="From">Since when irrigation by cycles, with this drug, and a number of times a day have been ordered.</param>
/// <param name="Since">The beginning of the last one since then; null where there was none: it counts from the order.</param>
/// <param name="Due">When it is due, no earlier than the number of times was ordered; at the order's end or later none is.</param>
/// <remarks>
/// A day is shared out evenly: three times a day is every 8 h, from the beginning of the last. Our judgement; fixed hours of a ward are not
/// known here.
/// </remarks>
public sealed record NextIrrigation(OrderSet Order, Instant From, Instant? Since, Instant Due)
{
    private static readonly LocalDateTimePattern Clock = LocalDateTimePattern.CreateWithInvariantCulture("d MMM HH:mm");

    /// <summary>The kind of its forecast.</summary>
    public const string Kind = "irrigation-due";

    /// <summary>Of a log as of a moment; null where no order by cycles says how often, or it is over by then.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <param name="seen">The runs that are seen then, where somebody found them already.</param>
    public static NextIrrigation? Of(FluidBalance balance, Instant asOf, RunsSeen? seen = null)
    {
        if (Orders.InForce(balance.Log, asOf) is not { Terms: { ByCycles: true, TimesPerDay: { } times } terms } order)
            return null;
        var every = Duration.FromHours(24) / times;
        var from = order.Since(o => (o.ByCycles, o.Additive, o.TimesPerDay is null));
        var since = LastBegun(balance, from, asOf, seen ?? new(balance, asOf));
        var due = Instant.Max((since ?? from) + every, order.Since(o => o.TimesPerDay));
        return due >= terms.Ends || balance.Log.Frame.End <= asOf ? null : new(terms, from, since, due);
    }

    /// <summary>The same as a forecast; none where nothing is due.</summary>
    public static IEnumerable<Forecast> Forecasts(FluidBalance balance, Instant asOf)
    {
        if (Of(balance, asOf) is not { } next)
            yield break;
        string Said(Instant at) => Clock.Format(at.InZone(balance.Log.Frame.Zone).LocalDateTime);
        var wait = next.Due > asOf ? next.Due - asOf : Duration.Zero;
        yield return new(Kind, next.Order.Additive ?? "irrigation", wait, next.Due, next.Says(Said));
    }

    /// <summary>What it rests on, in words.</summary>
    /// <param name="said">How a moment is said.</param>
    public string Says(Func<Instant, string> said)
    {
        var what = Order.Additive is { } drug ? $"a dose of {drug}" : "an irrigation";
        var from = Since is { } last ? $"the last began at {said(last)}" : $"none was given since the order of {said(From)}";
        return $"{what}, {Order.TimesPerDay} times a day as ordered. {Words.Capital(from)}";
    }

    /// <summary>The beginning of the last run since a moment.</summary>
    private static Instant? LastBegun(FluidBalance balance, Instant from, Instant asOf, RunsSeen seen) =>
        seen.Latest?.Start is { } begun && begun >= from ? begun
        : balance.Log[Channel.Aliquot].LastAtOrBefore(asOf) is { } last && last.At >= from ? last.At
        : null;
}
