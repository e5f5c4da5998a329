using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Criteria;

/// <summary>For what time rates and criteria rest on something that changed about the patient.</summary>
public static class WeightReach
{
    /// <summary>The times for which the weights of an append are, or were, in force.</summary>
    /// <param name="balance">The balance as it is now.</param>
    /// <param name="patient">Whose.</param>
    /// <param name="changes">What came into force, and what went out of it.</param>
    /// <param name="settings">What weights are plausible.</param>
    public static ImmutableArray<Interval> Of(
        FluidBalance balance,
        Patient patient,
        IEnumerable<Change> changes,
        CriteriaSettings settings
    ) =>
        [
            .. changes
                .SelectMany(change => new[] { change.Before, change.After })
                .OfType<WeightMeasured>()
                .Select(weight => Of(balance, weight.At, WeightInForce.EndOfReach(balance.Log, weight.At, patient, settings))),
        ];

    /// <summary>
    /// From a moment to another, or to the last closing; at most the time over which windows are worked out again, counted back from its
    /// end. A result from before that keeps the weight it was published with, and names it.
    /// </summary>
    /// <param name="balance">The balance as it is now.</param>
    /// <param name="from">The moment.</param>
    /// <param name="to">The other; null for the last closing.</param>
    public static Interval Of(FluidBalance balance, Instant from, Instant? to)
    {
        var last = balance.LastClosing + Duration.Epsilon;
        var end = to is { } known ? Instant.Min(known, last) : last;
        var start = Instant.Max(from, end - balance.Settings.LongestApportioned);
        return new(Instant.Min(start, end), end);
    }
}
