using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>A change of the flow of a line, with what the drainage looked like before and after, and the order's range then.</summary>
/// <param name="Change">The entry.</param>
/// <param name="From">The flow before; null where none was charted.</param>
/// <param name="Before">The last look within an hour before; null where nobody looked.</param>
/// <param name="After">The first look within an hour after, and before the next change; null where nobody looked.</param>
/// <param name="Reason">Why, if it was noted.</param>
/// <param name="Order">The order in force then; null where there was none.</param>
public sealed record Titration(
    FlowSet Change,
    FlowRate? From,
    DrainageAppearance? Before,
    DrainageAppearance? After,
    string? Reason,
    OrderSet? Order
)
{
    private static readonly Duration Reach = Duration.FromHours(1);

    /// <summary>Whether the flow lies in the ordered range; null where no range is ordered, and of a stop: that is no flow.</summary>
    public bool? WithinOrder =>
        Order is { AtLeast: null, AtMost: null } or null || Change.Rate <= FlowRate.Stopped
            ? null
            : !(Change.Rate < Order.AtLeast) && !(Change.Rate > Order.AtMost);

    /// <summary>Every change of flow of a line after one moment, up to another.</summary>
    public static IEnumerable<Titration> Of(EpisodeLog log, string line, Instant after, Instant upTo)
    {
        var (flows, looks) = (log[Channel.Flow(line)], log[Slug.Of(nameof(DrainageAppearance))]);
        foreach (var change in flows.After(after, upTo).Cast<FlowSet>())
        {
            var (before, next) = (looks.LastAtOrBefore(change.At) as DrainageAppearance, looks.NextAfter(change.At) as DrainageAppearance);
            var until = Instant.Min(flows.NextAfter(change.At)?.At ?? Instant.MaxValue, change.At + Reach);
            yield return new(
                change,
                (flows.LastBefore(change.At) as FlowSet)?.Rate,
                before?.At >= change.At - Reach ? before : null,
                next?.At <= until && next.At <= upTo ? next : null,
                change.Header.Note,
                Orders.InForce(log, change.At)?.Terms
            );
        }
    }
}
