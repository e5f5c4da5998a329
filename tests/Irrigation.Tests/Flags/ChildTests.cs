using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// A boy of 3 years and 12 kg, 50 mL/h. His bladder is expected to hold (3 + 1) · 30 = 120 mL (ICCS, clinical reference 2.3): from 10:00
/// on nearly nothing comes back, and with 12 mL/h of urine 80 % of it are held back five minutes before noon.
/// </summary>
public class ChildTests
{
    private static readonly PatientFacts Boy = Story.Aged(new(2023, 2, 1));

    private static Ward UntilTen() =>
        Opens("08:00")
            .Level("08:00", 0)
            .Weighs("08:00", 12)
            .BagHung("08:00", 500)
            .Flow("08:00", 50)
            .Emptied("09:00", 62)
            .Emptied("10:00", 62);

    private static Ward Fails() => UntilTen().Emptied("11:00", 12).Emptied("12:00", 12).Emptied("13:00", 12);

    [Fact]
    public void His_limits_are_a_child_s_and_somebody_is_called_before_80_percent_are_held_back()
    {
        var record = Fails().Flags("13:00", Boy);
        Assert.Equal("11:00-", record.Stood("no-drainage")); // 12 of 50 and the urine
        Assert.Equal("12:00-", record.Stood("outflow-deficit")); // 76 mL; 200 · 96 / 500 = 38.4 warn
        Assert.Equal(FlagPriority.High, Fails().Flags("12:00", Boy).Priority("outflow-deficit"));
        Assert.Equal(FlagPriority.Urgent, record.Priority("outflow-deficit")); // 114 of 120 mL
        Assert.EndsWith("limit is 96 mL, 0.8 of (3 years + 1) x 30 mL.", record.Says("outflow-deficit"), StringComparison.Ordinal);
    }

    [Fact]
    public void Of_the_same_figures_an_adult_s_bladder_bears_more()
    {
        var record = Fails().Flags("13:00");
        Assert.Equal("", record.Stood("outflow-deficit")); // 114 of 200 mL
        Assert.Equal("11:00-", record.Stood("no-drainage")); // whoever it is, 12 of 50 is next to nothing
    }

    [Theory]
    [InlineData(62)]
    [InlineData(45)] // a little less each hour, and no more than a reading may be wrong by
    [InlineData(38)]
    public void While_it_comes_back_nobody_is_called(decimal hourly)
    {
        var record = UntilTen().Emptied("11:00", hourly).Emptied("12:00", 62).Emptied("13:00", hourly).Flags("13:00", Boy);
        Assert.Equal(("", ""), (record.Stood("no-drainage"), record.Stood("outflow-deficit")));
    }

    [Fact]
    public void His_own_capacity_goes_before_what_is_expected()
    {
        // 60 mL: 48 are critical, 19.2 warn. 38 are missing at 11:00, 76 at noon.
        var small = Boy with
        {
            BladderCapacity = Ml(60),
        };
        Assert.Equal(FlagPriority.High, Fails().Flags("11:00", small).Priority("outflow-deficit"));
        Assert.Equal(FlagPriority.Urgent, Fails().Flags("12:00", small).Priority("outflow-deficit"));
    }

    [Fact]
    public void The_forecast_of_a_distension_is_a_child_s()
    {
        var balance = UntilTen().Balance(Exact);
        var distension = Balance.Forecasts.Of(balance, 3, null, UntilTen().At("10:00"), Balance.ForecastSettings.Default)[^1];
        Assert.Equal(116, Math.Round(distension.In!.Value.TotalMinutes)); // 120 at 50 + 12 mL/h
    }
}
