using NodaTime;

namespace Irrigation.Measures;

/// <summary>Elapsed time as an exact number, so that shares of a volume are worked in decimals.</summary>
internal static class Elapsed
{
    /// <summary>Nanoseconds in an hour.</summary>
    public const decimal PerHour = 3_600_000_000_000m;

    /// <summary>The duration in nanoseconds.</summary>
    public static decimal Of(Duration duration) => duration.ToInt64Nanoseconds();

    /// <summary>The nanoseconds between two instants; negative when they are the wrong way round.</summary>
    public static decimal Between(Instant start, Instant end) => Of(end - start);
}
