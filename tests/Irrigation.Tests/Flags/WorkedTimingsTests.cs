using Irrigation.Balance;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>The worked timings of clinical reference 1.9, 1.10 and 2.1, and what the flags make of them.</summary>
/// <remarks>Urine of 60 mL/h is assumed where none has been measured, as in those examples.</remarks>
public class WorkedTimingsTests
{
    private static Ward Runs(decimal flow, decimal bag = 3000) =>
        Opens("18:00").BagHung("18:00", bag).Flow("18:00", flow).Level("18:00", 0);

    /// <summary>Minutes until a forecast comes, asked at 18:00.</summary>
    private static double Minutes(Ward ward, string kind, ForecastSettings? settings = null) =>
        Forecasts
            .Of(ward.Balance(), null, null, ward.At("18:00"), settings ?? ForecastSettings.Default)
            .Single(f => f.Kind == kind)
            .In!.Value.TotalMinutes;

    [Fact]
    public void A_3_L_bag_at_500_mL_per_hour_lasts_6_h_and_is_low_36_min_before()
    {
        Assert.Equal(360, Minutes(Runs(500), "bag-empty"), 6);
        var record = Runs(500).Flags("+1 00:30");
        Assert.Equal("23:24-", record.Stood("bag-low")); // a tenth, 300 mL, is left after 2700 / 500 = 5.4 h
        Assert.Equal("00:00-", record.Stood("bag-dry"));
    }

    [Theory]
    [InlineData(2000, 2.38, "19:52:52-")] // 1333.3 / 560 h, and told half an hour before
    [InlineData(4000, 4.76, "22:15:43-")] // 2666.7 / 560 h
    public void A_drainage_bag_is_two_thirds_full_and_told_half_an_hour_before(decimal capacity, double hours, string stood)
    {
        var settings = ForecastSettings.Default with { DrainageBag = Ml(capacity) };
        Assert.Equal(hours, Minutes(Runs(500, 5000), "container-full", settings) / 60, 0.005);
        Assert.Equal(
            stood,
            Runs(500, 5000).Flags("22:30", limits: FlagLimits.Default with { Forecasts = settings }).Stood("drainage-bag-high")
        );
    }

    /// <summary>From an empty bladder to 500 mL, and when somebody is asked to read: before that only where the flow is fast.</summary>
    [Theory]
    [InlineData(300, 83, 60)] // 500 / 360 h = 83.3 min
    [InlineData(100, 188, 60)] // 500 / 160 h = 187.5 min
    [InlineData(5760, 5.2, 5.2)] // wide open, 1.6 mL/s: 500 / 5820 h = 5.15 min: a fixed 30 min would be far too late
    [InlineData(600, 45, 60)] // 500 / 660 h: the hourly check comes a quarter of an hour after the limit, if nothing at all drains
    public void If_outflow_stops_the_bladder_is_full_and_the_reading_is_due(decimal flow, double full, double due)
    {
        Assert.Equal(full, Minutes(Runs(flow), "distension-limit"), 0.51);
        var ward = Runs(flow);
        var next = ward.Flags("18:00").Said("drainage-reading-stale").LookAgain!.Value;
        Assert.Equal(due, (next - ward.At("18:00")).TotalMinutes, 0.06);
    }

    [Fact]
    public void To_200_mL_it_takes_33_min_at_300_and_no_drainage_takes_30()
    {
        var to200 = ForecastSettings.Default with { DistensionLimit = Ml(200) };
        Assert.Equal(33.3, Minutes(Runs(300), "distension-limit", to200), 0.05); // 200 / 360 h
        Assert.Equal("", Runs(300).Level("18:29", 0).Flags("18:40").Stood("no-drainage"));
        Assert.Equal("18:30-", Runs(300).Level("18:30", 0).Flags("18:40").Stood("no-drainage"));
    }

    [Fact]
    public void Wide_open_no_drainage_takes_two_minutes()
    {
        // 200 / 5760 h = 2.08 min: of the reading that shows nothing no urine is counted, for what is held back may be urine.
        Assert.Equal("", Runs(5760).Level("18:02", 0).Flags("18:03").Stood("no-drainage"));
        Assert.Equal("18:03-", Runs(5760).Level("18:03", 0).Flags("18:03").Stood("no-drainage"));
    }

    [Fact]
    public void The_two_readings_of_the_criteria_part_where_one_hour_is_better()
    {
        // 70 kg: 20 · 5 + 50 = 150 mL in 6 h, 0.357 mL/kg/h: met by the mean; hour 6 is 0.714: not met by every hour (2.1).
        var says = Opens("00:00")
            .UrineHourly("00:00", 20, 20, 20, 20, 20, 50)
            .Weighs("00:00", 70)
            .Exactly("06:00")
            .Says("urine-output-criterion");
        Assert.StartsWith("urine-output criterion stage 1 (KDIGO 2012) met by the mean: 0.36 mL/kg/h", says, StringComparison.Ordinal);
    }

    [Fact]
    public void Anuria_behind_an_obstruction_is_not_called_anuria()
    {
        // 12 h without a drop and 100 mL/h running in: 1200 mL are missing, not unmade (9, F6).
        var ward = Opens("00:00").BagHung("00:00", 3000).Flow("00:00", 100).Level("00:00", 0);
        foreach (var hour in Enumerable.Range(1, 13))
            ward.Level($"{hour:00}:00", 0);
        var record = ward.Flags("13:00");
        Assert.Equal("01:00-", record.Stood("no-drainage"));
        Assert.Equal("", record.Stood("anuria"));
        Assert.Equal(FlagPriority.Urgent, record.Priority("outflow-deficit"));
    }
}
