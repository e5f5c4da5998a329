using IrrigationFhir.Search;
using IrrigationFhir.Tests.Store;
using NodaTime;

namespace IrrigationFhir.Tests.Search;

public class TimeRangeTests
{
    private static readonly DateTimeZone Berlin = DateTimeZoneProviders.Tzdb["Europe/Berlin"];

    [Theory]
    // Precision decides the width.
    [InlineData("2026", "2025-12-31T23:00:00Z", "2026-12-31T23:00:00Z")]
    [InlineData("2026-02", "2026-01-31T23:00:00Z", "2026-02-28T23:00:00Z")]
    [InlineData("2026-03-02", "2026-03-01T23:00:00Z", "2026-03-02T23:00:00Z")]
    [InlineData("2026-03-02T08:50Z", "2026-03-02T08:50:00Z", "2026-03-02T08:51:00Z")]
    [InlineData("2026-03-02T08:50:00+01:00", "2026-03-02T07:50:00Z", "2026-03-02T07:50:01Z")]
    [InlineData("2026-03-02T08:50:00.12Z", "2026-03-02T08:50:00.12Z", "2026-03-02T08:50:00.13Z")]
    [InlineData("2026-03-02T08:50:00.1234567891Z", "2026-03-02T08:50:00.123456789Z", "2026-03-02T08:50:00.12345679Z")]
    // The day the clocks go forward has 23 hours, the one they go back 25.
    [InlineData("2026-03-29", "2026-03-28T23:00:00Z", "2026-03-29T22:00:00Z")]
    [InlineData("2026-10-25", "2026-10-24T22:00:00Z", "2026-10-25T23:00:00Z")]
    // 02:30 happens twice on 25 October; without an offset it may be either.
    [InlineData("2026-10-25T02:30", "2026-10-25T00:30:00Z", "2026-10-25T01:31:00Z")]
    [InlineData("2026-10-25T02:30+01:00", "2026-10-25T01:30:00Z", "2026-10-25T01:31:00Z")]
    // 02:30 does not happen on 29 March; it is taken as the half hour after the change.
    [InlineData("2026-03-29T02:30", "2026-03-29T01:30:00Z", "2026-03-29T01:31:00Z")]
    // A leap second is the next minute's first.
    [InlineData("2016-12-31T23:59:60Z", "2017-01-01T00:00:00Z", "2017-01-01T00:00:01Z")]
    public void A_text_stands_for_a_stretch_of_time(string text, string from, string to)
    {
        var range = TimeRange.Parse(text, Berlin);

        Assert.Equal(
            (StoreOnDisk.At(from), StoreOnDisk.At(to)),
            (UnixNanoseconds.ToInstant(range!.Value.From), UnixNanoseconds.ToInstant(range.Value.To))
        );
    }

    [Theory]
    [InlineData("")]
    [InlineData("26-03-02")]
    [InlineData("2026-13")]
    [InlineData("2026-02-29")]
    [InlineData("0000")]
    [InlineData("2026-03-02T24:00:00Z")]
    [InlineData("2026-03-02T08")]
    [InlineData("2026-03-02T08:50:00+14:01")]
    [InlineData("2026-03-02T08:50:00 01:00")]
    [InlineData("2026-03-02T08:50:00Z\n")]
    [InlineData("２０２６")]
    public void What_is_no_FHIR_date_is_none(string text) => Assert.Null(TimeRange.Parse(text, Berlin));

    [Theory]
    [InlineData("0001")]
    [InlineData("9999")]
    [InlineData("9999-12-31")]
    [InlineData("9999-12-31T23:59:59.999-14:00")]
    public void Times_that_cannot_be_stored_count_as_the_nearest_that_can(string text)
    {
        var range = TimeRange.Parse(text, Berlin)!.Value;
        Assert.True(range.From is long.MinValue or long.MaxValue && range.To is long.MinValue or long.MaxValue);
    }

    [Fact]
    public void A_period_is_open_where_it_has_no_end()
    {
        Assert.Equal(long.MaxValue, TimeRange.Parse("2026-03-02T08:00:00Z", null, Berlin)!.Value.To);
        Assert.Equal(long.MinValue, TimeRange.Parse(null, "2026-03-02T08:00:00Z", Berlin)!.Value.From);
        Assert.Null(TimeRange.Parse(null, null, Berlin));
    }
}
