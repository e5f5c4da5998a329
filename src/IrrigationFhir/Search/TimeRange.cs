using System.Globalization;
using System.Text.RegularExpressions;
using NodaTime;
using NodaTime.TimeZones;

namespace IrrigationFhir.Search;

/// <summary>The stretch of time that a FHIR date, dateTime, instant or Period stands for, by its precision.</summary>
/// <param name="From">First nanosecond inside (since 1970-01-01T00:00:00Z); <see cref="long.MinValue"/> when open.</param>
/// <param name="To">First nanosecond after; <see cref="long.MaxValue"/> when open.</param>
/// <remarks>
/// Half-open: <c>2026-03-29</c> is that day's midnight up to the next one (23 h where clocks go forward), <c>10:00:00Z</c> is one
/// second. Times outside 1677 to 2262 count as the nearest storable one.
/// </remarks>
internal readonly partial record struct TimeRange(long From, long To)
{
    /// <summary>The range of a FHIR date text, or null when it is none.</summary>
    /// <param name="text">Year, month, day, or day and time to the minute or finer; seconds may be left out.</param>
    /// <param name="zone">The zone for texts without an offset. An hour that occurs twice there stands for both.</param>
    public static TimeRange? Parse(string text, DateTimeZone zone)
    {
        var match = Shape().Match(text);
        if (!match.Success)
            return null;

        var year = Number(match, "year", 1);
        var month = Number(match, "month", 1);
        var day = Number(match, "day", 1);
        if (year < 1 || month is < 1 or > 12 || day < 1 || day > CalendarSystem.Iso.GetDaysInMonth(year, month))
            return null;

        var (hour, minute, second) = (Number(match, "hour", 0), Number(match, "minute", 0), Number(match, "second", 0));
        // FHIR allows second 60 for a leap second; it falls on the next minute's first.
        if (hour > 23 || minute > 59 || second > 60)
            return null;
        var offset = OffsetOf(match.Groups["offset"].Value);
        if (offset is null && match.Groups["offset"].Success)
            return null;

        // Wholly outside what can be stored; also keeps the calendar below from running over its own end.
        if (year is < 1677 or > 2262)
            return year < 1677 ? new(long.MinValue, long.MinValue) : new(long.MaxValue, long.MaxValue);

        var date = new LocalDate(year, month, day);
        if (!match.Groups["hour"].Success)
        {
            var next =
                match.Groups["day"].Success ? date.PlusDays(1)
                : match.Groups["month"].Success ? date.PlusMonths(1)
                : date.PlusYears(1);
            return new(StartOf(date, zone), StartOf(next, zone));
        }

        var fraction = match.Groups["fraction"].Value;
        var nanoseconds = fraction.Length == 0 ? 0 : long.Parse(fraction.PadRight(9, '0')[..9], CultureInfo.InvariantCulture);
        var local = date.At(new LocalTime(hour, minute)).PlusSeconds(second).PlusNanoseconds(nanoseconds);
        var width = !match.Groups["second"].Success
            ? NodaConstants.NanosecondsPerMinute
            : (long)Math.Pow(10, 9 - Math.Min(fraction.Length, 9));

        if (offset is { } given)
            return Width(local.WithOffset(given).ToInstant(), width);

        var mapping = zone.MapLocal(local);
        return mapping.Count switch
        {
            0 => Width(Resolvers.LenientResolver(mapping).ToInstant(), width),
            1 => Width(mapping.Single().ToInstant(), width),
            _ => Width(mapping.First().ToInstant(), width) with { To = Width(mapping.Last().ToInstant(), width).To },
        };
    }

    /// <summary>From the start of one text to the end of another; a missing end is open.</summary>
    /// <returns>Null when both are missing or one of them is no FHIR date.</returns>
    public static TimeRange? Parse(string? from, string? to, DateTimeZone zone)
    {
        var start = from is null ? null : Parse(from, zone);
        var end = to is null ? null : Parse(to, zone);
        if ((from is null && to is null) || (from is not null && start is null) || (to is not null && end is null))
            return null;
        return new(start?.From ?? long.MinValue, end?.To ?? long.MaxValue);
    }

    private static TimeRange Width(Instant start, long width)
    {
        var from = UnixNanoseconds.Nearest(start);
        return new(from, from > long.MaxValue - width ? long.MaxValue : from + width);
    }

    private static long StartOf(LocalDate date, DateTimeZone zone) => UnixNanoseconds.Nearest(date.AtStartOfDayInZone(zone).ToInstant());

    private static int Number(Match match, string group, int otherwise) =>
        match.Groups[group].Success ? int.Parse(match.Groups[group].Value, CultureInfo.InvariantCulture) : otherwise;

    private static Offset? OffsetOf(string text)
    {
        if (text.Length == 0)
            return null;
        if (text == "Z")
            return Offset.Zero;
        var (hours, minutes) = (
            int.Parse(text.AsSpan(1, 2), CultureInfo.InvariantCulture),
            int.Parse(text.AsSpan(4, 2), CultureInfo.InvariantCulture)
        );
        if (minutes > 59 || hours * 60 + minutes > 14 * 60)
            return null;
        return Offset.FromSeconds((text[0] == '-' ? -1 : 1) * (hours * 60 + minutes) * 60);
    }

    [GeneratedRegex(
        @"\A(?<year>[0-9]{4})(-(?<month>[0-9]{2})(-(?<day>[0-9]{2})"
            + @"(T(?<hour>[0-9]{2}):(?<minute>[0-9]{2})(:(?<second>[0-9]{2})(\.(?<fraction>[0-9]+))?)?"
            + @"(?<offset>Z|[+-][0-9]{2}:[0-9]{2})?)?)?)?\z",
        RegexOptions.ExplicitCapture
    )]
    private static partial Regex Shape();
}
