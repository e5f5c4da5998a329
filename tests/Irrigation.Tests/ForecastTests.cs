using Irrigation.Balance;
using Irrigation.Measures;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>Forecasts, drops and weights against the vectors of the clinical reference (1.7, 1.9, 1.10, 1.11: own arithmetic, standard densities).</summary>
public class ForecastTests
{
    [Fact] // clinical reference 1.9
    public void A_bag_of_3000_mL_at_500_mL_an_hour_lasts_six_hours()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500);
        var forecast = Forecasts.BagEmpty(ward.Balance(), "1", ward.At("08:00"));
        Assert.Equal((Duration.FromHours(6), ward.At("14:00")), (forecast.In!.Value, forecast.At!.Value));

        var later = Forecasts.BagEmpty(ward.Balance(), "1", ward.At("10:00"));
        Assert.Equal((Duration.FromHours(4), ward.At("14:00")), (later.In!.Value, later.At!.Value));
    }

    [Theory] // clinical reference 1.9: 1333.3 / 560 and 2666.7 / 560
    [InlineData(2, 2.38)]
    [InlineData(4, 4.76)]
    public void A_drainage_bag_is_two_thirds_full(int litres, double hours)
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500).Emptied("08:00", 0);
        var forecast = Forecasts.ContainerFull(ward.Balance(), "1", Volume.FromLitres(litres), 2m / 3, FlowRate.FromMillilitresPerHour(60), ward.At("08:00"));
        Assert.Equal(hours, Math.Round(forecast.In!.Value.TotalHours, 2));
    }

    [Fact]
    public void A_drainage_bag_fills_on_from_its_last_reading()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500).Level("09:00", 560);
        // 560 at 09:00 and 280 more by 09:30; 560 mL of room left to 1400 at 560 mL/h.
        var forecast = Forecasts.ContainerFull(ward.Balance(), "1", Ml(2000), 0.7m, FlowRate.FromMillilitresPerHour(60), ward.At("09:30"));
        Assert.Equal(ward.At("10:30"), forecast.At);
    }

    [Theory] // clinical reference 1.10
    [InlineData(300, 500, 83)]
    [InlineData(100, 500, 188)]
    [InlineData(300, 200, 33)]
    public void The_bladder_reaches_a_limit_when_the_outflow_stops(int flow, int limit, int minutes)
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", flow);
        var forecast = Forecasts.DistensionLimit(ward.Balance(), Ml(0), Ml(limit), FlowRate.FromMillilitresPerHour(60), ward.At("08:00"));
        Assert.Equal(minutes, Math.Round(forecast.In!.Value.TotalMinutes));
    }

    [Fact] // clinical reference 1.10: wide open, 1.6 mL/s
    public void Wide_open_500_mL_take_five_minutes() =>
        Assert.Equal(5.2, Math.Round(Forecasts.TimeFor(Ml(500), FlowRate.FromMillilitresPerHour(1.6m * 3600))!.Value.TotalMinutes, 1));

    [Fact]
    public void What_cannot_be_told_says_why()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000);
        Assert.Equal((null, "no flow is charted for the line"), Told(Forecasts.BagEmpty(ward.Balance(), "1", ward.At("09:00"))));
        ward.Flow("08:00", 0);
        Assert.Equal((null, "the flow is stopped"), Told(Forecasts.BagEmpty(ward.Balance(), "1", ward.At("09:00"))));
        Assert.Equal((null, "the container was never read"), Told(Forecasts.ContainerFull(ward.Balance(), "1", Ml(2000), 0.5m, FlowRate.Stopped, ward.At("09:00"))));
        Assert.Equal((null, "nothing runs"), Told(Forecasts.DistensionLimit(ward.Balance(), Ml(0), Ml(500), FlowRate.Stopped, ward.At("09:00"))));
        ward.BagTakenDown("09:30", 0).Flow("09:30", 100);
        Assert.Equal((null, "no bag hangs on the line, or a pump delivers what hangs"), Told(Forecasts.BagEmpty(ward.Balance(), "1", ward.At("10:00"))));
    }

    [Fact]
    public void A_limit_that_is_passed_is_now() =>
        Assert.Equal(Duration.Zero, Forecasts.DistensionLimit(Opens("08:00").Balance(), Ml(600), Ml(500), FlowRate.Stopped, Opens("08:00").At("08:00")).In);

    [Theory] // clinical reference 1.7: drop factors in use
    [InlineData(10)]
    [InlineData(12)]
    [InlineData(15)]
    [InlineData(20)]
    [InlineData(60)]
    public void Drops_to_flow_and_back(int dropsPerMillilitre)
    {
        var set = new DropFactor(dropsPerMillilitre);
        for (var drops = 0; drops <= 300; drops++) Assert.Equal(drops, FlowRate.FromDropsPerMinute(drops, set).ToDropsPerMinute(set));
    }

    [Fact] // clinical reference 1.7: with 60 drops/mL, drops per minute are mL per hour
    public void A_microdrip_counts_millilitres_per_hour() =>
        Assert.Equal(83, FlowRate.FromDropsPerMinute(83, new(60)).MillilitresPerHour);

    [Fact] // check-value W14, and its mirror: half away from zero, not to even
    public void Half_a_drop_is_rounded_up()
    {
        Assert.Equal(3, FlowRate.FromMillilitresPerHour(10).ToDropsPerMinute(new(15)));  // 2.5
        Assert.Equal(2, FlowRate.FromMillilitresPerHour(9.96m).ToDropsPerMinute(new(15))); // 2.49
        Assert.Equal(4, FlowRate.FromMillilitresPerHour(14).ToDropsPerMinute(new(15)));  // 3.5
    }

    [Fact] // clinical reference 1.11
    public void Grams_are_not_millilitres()
    {
        Assert.Equal(3429.4m, Math.Round(Mass.FromGrams(3450).At(1.006m).Millilitres, 1));
        Assert.Equal(67.6m, Math.Round(Mass.FromGrams(70).At(1.035m).Millilitres, 1));
        Assert.Equal(3000m, Math.Round(Mass.FromGrams(3013.8m).At(1.0046m).Millilitres, 1));
    }

    [Fact] // clinical reference 1.11, through the balance: a weighed drainage container
    public void A_weighed_container_is_a_volume_by_its_density()
    {
        var ward = Opens("08:00");
        ward.Chart(new Episodes.DrainageWeighed(ward.Header("12:00"), "1", Mass.FromGrams(3520), Mass.FromGrams(70), null, true));
        Assert.Equal(3429.4m, Math.Round(ward.Interval("12:00").Drained!.Value.Millilitres, 1)); // (3520 − 70) / 1.006
    }

    private static (Duration?, string) Told(Forecast forecast) => (forecast.In, forecast.Assumption);
}
