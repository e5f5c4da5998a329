using NodaTime;

namespace IrrigationFhir.Subscriptions;

/// <summary>How many, and how long.</summary>
/// <param name="Most">Most subscriptions that are not off.</param>
/// <param name="EventsKept">For how long an event can be asked for again.</param>
/// <param name="EventsAtOnce">Most events in one answer to <c>$events</c>.</param>
internal sealed record SubscriptionLimits(int Most, Duration EventsKept, int EventsAtOnce)
{
    /// <summary>What holds where nothing else is said. Our judgement: a weekend and the days around it can be caught up with.</summary>
    public static SubscriptionLimits Default { get; } = new(100, Duration.FromDays(14), 1000);
}
