using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>How long the drain was clamped.</summary>
internal sealed class ClampTimes(Timeline clamps)
{
    /// <summary>How long of a time it was clamped, in the unit of <see cref="Elapsed"/>.</summary>
    public decimal Clamped(Instant start, Instant end)
    {
        var shut = clamps.LastAtOrBefore(start) is DrainClamped ? start : (Instant?)null;
        var sum = 0m;
        foreach (var change in clamps.After(start, end))
        {
            if (change is DrainClamped)
                shut ??= change.At;
            else if (shut is { } since)
            {
                sum += Elapsed.Between(since, change.At);
                shut = null;
            }
        }

        return shut is { } open ? sum + Elapsed.Between(open, end) : sum;
    }

    /// <summary>How long of a time it was open.</summary>
    public decimal Unclamped(Instant start, Instant end) => Elapsed.Between(start, end) - Clamped(start, end);
}
