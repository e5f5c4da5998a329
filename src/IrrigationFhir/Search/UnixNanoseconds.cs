using NodaTime;

namespace IrrigationFhir.Search;

/// <summary>How an instant is stored: whole nanoseconds since 1970-01-01T00:00:00Z.</summary>
/// <remarks>Exact for every <see cref="Instant"/> from 1677-09-21 to 2262-04-11.</remarks>
internal static class UnixNanoseconds
{
    /// <summary>The stored form.</summary>
    /// <exception cref="OverflowException">The instant lies before 1677-09-21 or after 2262-04-11.</exception>
    public static long Of(Instant instant) => (instant - NodaConstants.UnixEpoch).ToInt64Nanoseconds();

    /// <summary>The stored form, or the nearest one that can be stored: good enough for comparing, not for keeping.</summary>
    public static long Nearest(Instant instant)
    {
        var since = instant - NodaConstants.UnixEpoch;
        return since < Duration.FromNanoseconds(long.MinValue) ? long.MinValue
            : since > Duration.FromNanoseconds(long.MaxValue) ? long.MaxValue
            : since.ToInt64Nanoseconds();
    }

    /// <summary>The instant of a stored form.</summary>
    public static Instant ToInstant(long nanoseconds) => NodaConstants.UnixEpoch + Duration.FromNanoseconds(nanoseconds);
}
