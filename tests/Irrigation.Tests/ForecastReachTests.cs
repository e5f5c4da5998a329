using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>How far a reading foretells: 6 h by default, our judgement. Of what nobody looked at since nothing is told but why.</summary>
public class ForecastReachTests
{
    private static Ward Runs() => Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 100).Level("08:00", 0).Level("09:00", 160);

    private static Forecast Of(Ward ward, string kind, string clock) => ward.Forecast(clock).Single(f => f.Kind == kind);

    [Fact]
    public void A_container_read_six_hours_ago_is_foretold_and_one_read_before_that_is_not()
    {
        // 160 at 09:00 and 6 h of 100 + 60 mL/h: 1120 of 2666.7 mL, and the rest at 160 mL/h takes 9.67 h.
        Assert.Equal(9.67, Math.Round(Of(Runs(), "container-full", "15:00").In!.Value.TotalHours, 2));
        Assert.Equal((null, "the container was not read since 09:00"), Told(Of(Runs(), "container-full", "15:01")));
        Assert.NotNull(Of(Runs().Level("14:00", 900), "container-full", "15:01").In);
    }

    [Fact]
    public void After_258_days_nothing_is_foretold_of_anything()
    {
        var ward = Runs();
        var late = ward.At("08:00") + Duration.FromDays(258);
        var forecasts = Forecasts.Of(ward.Balance(), null, null, late, ForecastSettings.Default);
        Assert.Equal(["bag-empty", "container-full", "distension-limit"], forecasts.Select(f => f.Kind));
        Assert.All(forecasts, forecast => Assert.Null(forecast.In));
        Assert.Equal("neither was the drainage read nor the bladder scanned since 14 Mar 09:00", forecasts[^1].Assumption);
    }

    [Theory]
    [InlineData("14:00", true)] // six hours after it was hung and its flow set
    [InlineData("14:01", false)]
    public void A_bag_that_nobody_looked_at_for_longer_is_not_foretold(string clock, bool told)
    {
        var forecast = Of(Runs(), "bag-empty", clock);
        Assert.Equal(told, forecast.In is not null);
        if (!told)
            Assert.Equal("neither the bag nor its flow was charted since 08:00", forecast.Assumption);
    }

    [Fact]
    public void Whoever_reads_the_bag_or_sets_its_flow_has_looked_at_it()
    {
        Assert.NotNull(Of(Runs().BagRead("12:00", 2600), "bag-empty", "18:00").In);
        Assert.NotNull(Of(Runs().Flow("12:00", 100), "bag-empty", "18:00").In);
        Assert.Null(Of(Runs().Syringe("12:00", 50), "bag-empty", "18:00").In);
    }

    [Fact]
    public void An_open_bladder_is_taken_as_empty_only_where_somebody_looked_lately()
    {
        Assert.StartsWith(
            "from 0 mL to 500 mL. Taken as empty",
            Of(Runs(), "distension-limit", "10:00").Assumption,
            StringComparison.Ordinal
        );
        Assert.Equal(
            (null, "neither was the drainage read nor the bladder scanned since 09:00"),
            Told(Of(Runs(), "distension-limit", "10:01")) // an hour after the reading
        );
        Assert.NotNull(Of(Runs().Scan("14:30", 80), "distension-limit", "15:01").In);
    }

    [Fact]
    public void Where_the_drainage_was_never_read_it_is_as_long_since_the_episode_began()
    {
        var unread = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 100);
        Assert.NotNull(Of(unread, "distension-limit", "09:00").In);
        Assert.Null(Of(unread, "distension-limit", "09:01").In);
    }

    [Fact]
    public void Behind_a_clamp_it_goes_by_the_clamping_or_the_scan_since()
    {
        var clamped = Opens("08:00").Flow("08:00", 0).Level("08:00", 0).Clamp("09:00");
        Assert.NotNull(Of(clamped, "distension-limit", "15:00").In);
        Assert.Equal(
            (null, "the drain is clamped and the bladder was not scanned since 09:00"),
            Told(Of(clamped, "distension-limit", "15:01"))
        );

        var scanned = Of(clamped.Scan("14:00", 200), "distension-limit", "15:01").Assumption;
        Assert.StartsWith(
            "from 261 mL to 500 mL. The drain is clamped since 09:00: scan of 200 mL at 14:00",
            scanned,
            StringComparison.Ordinal
        );
    }

    [Fact]
    public void A_site_sets_how_far_a_reading_foretells()
    {
        var ward = Runs();
        var anHour = ForecastSettings.Default with { ReadingReach = Duration.FromHours(1) };
        Assert.All(Forecasts.Of(ward.Balance(), null, null, ward.At("10:01"), anHour), forecast => Assert.Null(forecast.In));
    }

    [Fact]
    public void Urine_measured_long_ago_is_assumed_again()
    {
        var ward = Runs();
        Assert.StartsWith("urine 60 mL/h, the best estimate of 08:00 to 09:00", Urine(ward, "15:00").Whence, StringComparison.Ordinal);
        Assert.Equal("urine 60 mL/h, assumed: none measured since 09:00", Urine(ward, "15:01").Whence);
    }

    [Fact]
    public void A_child_makes_less_urine_than_an_adult()
    {
        // 3 years: 120 of 500 mL, so 60 · 0.24 = 14.4 mL/h.
        var unread = Opens("08:00").BagHung("08:00", 500).Flow("08:00", 50);
        var urine = Forecasts.Urine(unread.Balance(), unread.At("08:30"), ForecastSettings.Default, years: 3);
        Assert.Equal(14.4m, urine.Rate.MillilitresPerHour);
        Assert.Equal("urine 14.4 mL/h, assumed for a child of 3 years: none measured yet", urine.Whence);
        var grown = Forecasts.Urine(unread.Balance(), unread.At("08:30"), ForecastSettings.Default, years: 17);
        Assert.Equal("urine 60 mL/h, assumed: none measured yet", grown.Whence);

        // 120 mL at 50 + 14.4 mL/h: 1.86 h.
        var distension = Forecasts.Of(unread.Balance(), 3, null, unread.At("08:00"), ForecastSettings.Default)[^1];
        Assert.Equal(1.86, Math.Round(distension.In!.Value.TotalHours, 2));
    }

    [Theory]
    [InlineData(0, 120)]
    [InlineData(9.9, 120)] // below 10 mL it is a slip
    [InlineData(10, 10)]
    [InlineData(95, 95)]
    public void A_capacity_that_cannot_be_does_not_count(double capacity, double limit) =>
        Assert.Equal((decimal)limit, ForecastSettings.Default.LimitFor(3, Ml((decimal)capacity)).Limit.Millilitres);

    [Fact]
    public void A_capacity_that_does_not_count_is_named() =>
        Assert.Equal(
            [
                "(3 years + 1) x 30 mL, for 0 mL, as charted, cannot be",
                "the limit for an adult, for 0.4 mL, as charted, cannot be",
                "the limit for an adult, as the age is not known, for 0.4 mL, as charted, cannot be",
            ],
            new[] { (3, 0m), (70, 0.4m), ((int?)null, 0.4m) }.Select(p => ForecastSettings.Default.LimitFor(p.Item1, Ml(p.Item2)).Whence)
        );

    [Fact]
    public void A_container_that_was_taken_away_fills_no_more_and_one_that_hangs_again_does()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 100).Level("08:00", 0).Level("09:00", 160);
        ward.Chart(new ContainerTakenAway(ward.Header("10:00"), "1", "the sluice")).Level("10:00", 0, container: "2");
        Assert.Equal(["2"], ward.Forecast("10:30").Where(f => f.Kind == "container-full").Select(f => f.What));
        ward.Level("10:40", 320); // read in the sluice
        Assert.Equal(["2"], ward.Forecast("11:00").Where(f => f.Kind == "container-full").Select(f => f.What));
        ward.Level("11:10", 0); // rinsed, and hung again
        Assert.Equal(["1", "2"], ward.Forecast("11:30").Where(f => f.Kind == "container-full").Select(f => f.What));
    }

    private static UrineForecast Urine(Ward ward, string clock) =>
        Forecasts.Urine(ward.Balance(Exact), ward.At(clock), ForecastSettings.Default);

    private static (Duration?, string) Told(Forecast forecast) => (forecast.In, forecast.Assumption);
}
