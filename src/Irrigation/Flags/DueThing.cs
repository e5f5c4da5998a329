using NodaTime;

namespace Irrigation.Flags;

/// <summary>Something that somebody has to do at a bedside, and when.</summary>
/// <param name="What">In words.</param>
/// <param name="At">When; in the past where it is overdue.</param>
/// <param name="Supposed">Whether it comes only if the outflow stopped now.</param>
public sealed record DueThing(string What, Instant At, bool Supposed = false)
{
    /// <summary>Everything whose time can be told: bag, container, bladder, clamp, reading, next irrigation.</summary>
    public static IEnumerable<DueThing> Of(Bedside bedside)
    {
        foreach (var forecast in bedside.Foretold)
        {
            if (forecast is { Kind: "bag-empty", At: { } dry })
                yield return new("bag dry", dry);
            if (forecast is { Kind: "container-full", At: { } full })
                yield return new("container to empty", full);
            if (forecast is { Kind: "distension-limit", At: { } limit, In: { } left } && left > Duration.Zero)
                yield return bedside.Clamped is null
                    ? new("bladder full if the outflow stopped now", limit, Supposed: true)
                    : new("bladder full behind the clamp", limit);
        }

        if (bedside.Clamped is { } clamp && bedside.DwellOf(clamp) is { } dwell)
            yield return new("clamp to release", clamp.At + dwell);
        if (DrainageReadingStale.DueAt(bedside) is { } reading)
            yield return new("drainage to read", reading);
        if (bedside.NextIrrigation is { } next)
            yield return new("next irrigation", next.Due);
    }
}
