using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>Names of stretches of time on the wall clock: clock hours, shifts and local days, half-open.</summary>
/// <remarks>A spring day has 23 h and an autumn day 25 h; a shift over the change is an hour shorter or longer.</remarks>
public static class Calendar
{
    /// <summary>The windows of a kind that reach into [start, end), in order.</summary>
    /// <exception cref="ArgumentOutOfRangeException">Closed intervals and trailing windows are no matter of the calendar.</exception>
    public static IEnumerable<Interval> Windows(WindowKind kind, EpisodeFrame frame, Instant start, Instant end) =>
        kind switch
        {
            WindowKind.ClockHour => Hours(frame.Zone, start, end),
            WindowKind.Shift => Shifts(frame, start, end),
            WindowKind.LocalDay => Days(frame.Zone, start, end),
            WindowKind.ClosedInterval or WindowKind.Trailing => throw new ArgumentOutOfRangeException(
                nameof(kind),
                kind,
                "not a calendar window"
            ),
        };

    private static IEnumerable<Interval> Hours(DateTimeZone zone, Instant start, Instant end)
    {
        var at = start;
        while (at < end)
        {
            var rules = zone.GetZoneInterval(at);
            var local = at.InZone(zone).LocalDateTime;
            var from = at - Duration.FromNanoseconds(local.TimeOfDay.NanosecondOfDay % NodaConstants.NanosecondsPerHour);
            var to = from + Duration.FromHours(1);

            // A clock change in the middle of an hour (half-hour zones) ends the one and begins another.
            if (rules.HasStart)
                from = Instant.Max(from, rules.Start);
            if (rules.HasEnd)
                to = Instant.Min(to, rules.End);
            yield return new(from, to);
            at = to;
        }
    }

    private static IEnumerable<Interval> Days(DateTimeZone zone, Instant start, Instant end)
    {
        for (var day = start.InZone(zone).Date; zone.AtStartOfDay(day).ToInstant() < end; day = day.PlusDays(1))
        {
            yield return new(zone.AtStartOfDay(day).ToInstant(), zone.AtStartOfDay(day.PlusDays(1)).ToInstant());
        }
    }

    private static IEnumerable<Interval> Shifts(EpisodeFrame frame, Instant start, Instant end)
    {
        if (frame.ShiftStarts.IsEmpty)
            yield break;
        Instant? from = null;
        for (var day = start.InZone(frame.Zone).Date.PlusDays(-1); ; day = day.PlusDays(1))
        {
            foreach (var begins in frame.ShiftStarts)
            {
                var at = frame.Zone.AtLeniently(day + begins).ToInstant();
                if (from is { } since && at > start && at > since)
                    yield return new(since, at);
                from = at;
                if (at >= end)
                    yield break;
            }
        }
    }
}
