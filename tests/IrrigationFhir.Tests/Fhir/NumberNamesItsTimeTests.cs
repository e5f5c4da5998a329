using static IrrigationFhir.Tests.Fhir.PublishedNight;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>A number names the time that it covers: three hours' urine is not a day's.</summary>
public sealed class NumberNamesItsTimeTests(PublishedNight night) : IClassFixture<PublishedNight>
{
    [Fact]
    public void A_number_names_the_time_that_it_covers_a_day_of_which_three_hours_are_covered_has_no_value_and_says_what_is_known()
    {
        var day = night.Output("d20260313T230000"); // 14 March in Vienna; irrigation began at 21:00

        Assert.Null(day["valueQuantity"]);
        Assert.Equal("not-performed", (string)day["dataAbsentReason"]!["coding"]![0]!["code"]!);
        Assert.Equal(3m, (decimal)Part(day, "covered-duration")!["valueQuantity"]!["value"]!);
        // 51 mL by 22:00, then two of the 3 h 20 min to 01:20 that made 69 mL: 51 + 69 × 2 / 3.333 = 92.5, and to the millilitre 93.
        Assert.Equal(93m, (decimal)Part(day, "partial-volume")!["valueQuantity"]!["value"]!);
        Assert.Equal(["urine-output-day"], Codes(day));
    }

    [Fact]
    public void A_number_names_the_time_that_it_covers_what_is_not_over_is_not_known_yet()
    {
        var today = night.Output("d20260314T230000"); // 15 March, charted up to 07:00

        Assert.Equal("temp-unknown", (string)today["dataAbsentReason"]!["coding"]![0]!["code"]!);
        Assert.Equal(7m, (decimal)Part(today, "covered-duration")!["valueQuantity"]!["value"]!);
    }

    [Fact]
    public void A_number_names_the_time_that_it_covers_closed_intervals_cover_the_whole_period_of_every_value()
    {
        var intervals = night.Outputs.Where(o => Codes(o).Contains("9187-6") && Value(o) is not null).Select(Period).ToList();
        var valued = night.Outputs.Where(o => Value(o) is not null).ToList();

        Assert.True(valued.Count > intervals.Count);
        Assert.All(
            valued,
            output =>
            {
                var (start, end) = Period(output);
                var covered = intervals.Aggregate(
                    TimeSpan.Zero,
                    (sum, interval) =>
                    {
                        var (from, to) = (interval.Start > start ? interval.Start : start, interval.End < end ? interval.End : end);
                        return to > from ? sum + (to - from) : sum;
                    }
                );
                Assert.Equal(end - start, covered);
                Assert.Null(Part(output, "covered-duration"));
            }
        );
    }

    [Fact]
    public void A_number_names_the_time_that_it_covers_an_hour_is_published_once_all_of_it_is_covered() =>
        Assert.Equal(
            Enumerable.Range(20, 10).Select(hour => $"{(hour < 24 ? 14 : 15)}T{hour % 24:00}"), // 21:00 to 07:00 in Vienna
            night.Outputs.Where(o => Codes(o).Contains("9188-4")).Select(o => Id(o)[^9..^4])
        );
}
