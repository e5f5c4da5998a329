using System.Collections.Immutable;
using NodaTime;
using NodaTime.Text;

namespace Irrigation.Episodes;

/// <summary>What the arithmetic has to know of an episode besides its entries.</summary>
/// <param name="Start">When the balance begins. Nothing is known of the bladder before it.</param>
/// <param name="End">When the episode ended, or null while it is open. After <paramref name="Start"/>.</param>
/// <param name="Zone">The facility's time zone; calendars only name hours, shifts and days.</param>
/// <param name="ShiftStarts">When shifts begin by the wall clock, ascending; empty where the facility has no shifts.</param>
public sealed record EpisodeFrame(Instant Start, Instant? End, DateTimeZone Zone, ImmutableArray<LocalTime> ShiftStarts)
{
    private static readonly LocalTimePattern Clock = LocalTimePattern.CreateWithInvariantCulture("HH:mm");
    private static readonly LocalDateTimePattern DayAndClock = LocalDateTimePattern.CreateWithInvariantCulture("d MMM HH:mm");

    /// <summary>A moment by the ward's clock; with the day, where that is another one than that of asking.</summary>
    /// <param name="instant">The moment.</param>
    /// <param name="asOf">The moment of asking.</param>
    public string Said(Instant instant, Instant asOf)
    {
        var (then, now) = (instant.InZone(Zone), asOf.InZone(Zone));
        return then.Date == now.Date ? Clock.Format(then.TimeOfDay) : DayAndClock.Format(then.LocalDateTime);
    }
}
