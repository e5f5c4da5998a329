using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>How long a catheter has been in place: two ways of counting that differ.</summary>
/// <param name="Inserted">When, if known.</param>
/// <param name="Removed">When, once it was.</param>
/// <param name="Hours">Elapsed hours in place; null where the insertion is not known.</param>
/// <param name="Days">
/// How many times a count once a day, at one fixed hour, would have met it (NHSN); null where the insertion is not known.
/// </param>
public sealed record CatheterDays(Instant? Inserted, Instant? Removed, decimal? Hours, int? Days)
{
    /// <summary>The days of the catheter of an episode up to a moment.</summary>
    /// <param name="log">The log.</param>
    /// <param name="insertedBefore">When the catheter was inserted that was there at the start, if known.</param>
    /// <param name="asOf">The moment.</param>
    /// <param name="countedAt">The ward's hour for the daily count.</param>
    public static CatheterDays Of(EpisodeLog log, Instant? insertedBefore, Instant asOf, LocalTime countedAt)
    {
        var inserted = log[Slug.Of(nameof(CatheterInserted))].LastAtOrBefore(asOf)?.At ?? insertedBefore;
        var removed = log[Slug.Of(nameof(CatheterRemoved))].LastAtOrBefore(asOf)?.At;
        if (removed < inserted)
            removed = null;
        if (inserted is not { } since)
            return new(null, removed, null, null);
        var until = removed ?? asOf;
        var zone = log.Frame.Zone;
        var counts = 0;
        for (var date = since.InZone(zone).Date; date <= until.InZone(zone).Date; date = date.PlusDays(1))
        {
            var count = zone.AtLeniently(date + countedAt).ToInstant();
            if (count >= since && count < until)
                counts++;
        }

        return new(since, removed, Measures.Elapsed.Of(until - since) / Measures.Elapsed.PerHour, counts);
    }

    /// <summary>When the catheter in place was inserted; null where none is, or nobody charted when.</summary>
    internal static Instant? InPlaceSince(Bedside bedside)
    {
        var inserted = bedside.Last<CatheterInserted>()?.At ?? bedside.Facts.CatheterInserted;
        return bedside.Last<CatheterRemoved>()?.At >= inserted ? null : inserted;
    }

    /// <summary>The day of a catheter by the calendar: 1 on the day of its insertion.</summary>
    public static int DayOf(Instant inserted, Instant at, DateTimeZone zone) =>
        Period.DaysBetween(inserted.InZone(zone).Date, at.InZone(zone).Date) + 1;
}
