using Irrigation.Balance;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F14: irrigant bag low (10 min or a tenth) and dry; drainage bag at two thirds, nine tenths, or soon (common practice; our judgement;
/// clinical reference 1.9 and 9).
/// </summary>
public class BagTests
{
    [Theory]
    [InlineData(600, "19:30-")] // a tenth, 100 mL, is left after 900 / 600 h
    [InlineData(1200, "18:40-")] // 10 min at 1200 mL/h are 200 mL: left after 800 / 1200 h
    public void Low_at_a_tenth_or_ten_minutes_whichever_is_more(decimal flow, string stood) =>
        Assert.Equal(stood, Opens("18:00").BagHung("18:00", 1000).Flow("18:00", flow).Flags("19:39").Stood("bag-low"));

    [Fact]
    public void Dry_when_the_label_has_run_and_both_end_with_the_next_bag()
    {
        var ward = Opens("18:00").BagHung("18:00", 1000).Flow("18:00", 600).BagTakenDown("19:50", 0).BagHung("19:50", 1000);
        var record = ward.Flags("20:00");
        Assert.Equal("19:40-19:50", record.Stood("bag-dry"));
        Assert.Equal("19:30-19:50", record.Stood("bag-low"));
        Assert.Equal("19:30-19:50, 21:20-", ward.Flags("21:20").Stood("bag-low"));
    }

    [Fact]
    public void A_reading_of_the_bag_and_a_slower_flow_put_it_off()
    {
        Ward Runs() => Opens("18:00").BagHung("18:00", 1000).Flow("18:00", 600);
        Assert.Equal("20:15-", Runs().BagRead("18:45", 1000).Flags("21:00").Stood("bag-low")); // 900 / 600 h from 18:45
        Assert.Equal("20:30-", Runs().Flow("19:00", 200).Flags("21:00").Stood("bag-low")); // 400 left, 100 after 300 / 200 h
        Assert.Equal("", Runs().Flow("19:00", 0).Flags("23:00").Stood("bag-low"));
    }

    [Fact]
    public void A_flow_that_does_not_divide_evenly_is_not_overlooked()
    {
        // 10 min at 700 mL/h are 116.7 mL: left after 883.3 / 700 h = 1:15:42.9, told at the next whole second.
        Assert.Equal("19:15:43-", Opens("18:00").BagHung("18:00", 1000).Flow("18:00", 700).Flags("19:20").Stood("bag-low"));
        Assert.Equal("19:25:43-", Opens("18:00").BagHung("18:00", 1000).Flow("18:00", 700).Flags("19:30").Stood("bag-dry"));
    }

    [Fact]
    public void How_fast_it_runs_nobody_charted_is_undecided()
    {
        var record = Opens("18:00").BagHung("18:00", 1000).Flags("18:30");
        Assert.Equal(("line 1: how fast the bag of 1,000 mL hung at 18:00 runs is not charted", "the flow"), record.Undecided("bag-low"));
        Assert.Equal("the flow", record.Undecided("bag-dry").Needs);
    }

    [Fact]
    public void A_nurse_reads_how_much_and_until_when()
    {
        var record = Opens("18:00").BagHung("18:00", 1000).Flow("18:00", 600).Flags("19:45");
        Assert.Equal(
            "line 1: no more than 100 mL left of 1,000 mL by the label and the charted flow of 600 mL/h. Empty at 19:40.",
            record.Standing("bag-low").Latest.Says
        );
        Assert.Equal(
            "line 1: the bag of 1,000 mL hung at 18:00 is empty by its label and the charted flow of 600 mL/h. "
                + "An overfilled bag lasts longer.",
            record.Says("bag-dry")
        );
    }

    [Fact]
    public void A_drainage_bag_is_told_half_an_hour_before_two_thirds_and_urgent_from_nine_tenths()
    {
        // Clinical reference 1.9: a 2 L bag reaches two thirds at 500 + 60 mL/h after 1333.3 / 560 = 2.38 h, 2:22:51.4; half an hour before
        // is 19:52:51.4, told at the next whole second.
        var two = FlagLimits.Default with
        {
            Forecasts = ForecastSettings.Default with { DrainageBag = Ml(2000) },
        };
        var ward = Opens("18:00").BagHung("18:00", 5000).Flow("18:00", 500).Level("18:00", 0);
        Assert.Equal("19:52:52-", ward.Flags("20:00", limits: two).Stood("drainage-bag-high"));
        Assert.Equal(
            "container 1 reaches 1,330 mL of 2,000 mL, by its reading of 18:00 and what ran in since. To be emptied by 20:22.",
            ward.Flags("20:00", limits: two).Says("drainage-bag-high")
        );

        // Nine tenths: 1800 / 560 = 3.21 h = 21:12:51.
        Assert.Equal(FlagPriority.Medium, ward.Flags("21:12", limits: two).Priority("drainage-bag-high"));
        Assert.Equal(FlagPriority.High, ward.Flags("21:13", limits: two).Priority("drainage-bag-high"));
        Assert.Equal("19:52:52-21:20", ward.Emptied("21:20", 1850).Flags("21:30", limits: two).Stood("drainage-bag-high"));
    }

    [Fact]
    public void Where_the_inflow_is_not_known_the_level_as_read_decides()
    {
        Assert.Equal(
            "the flow, or a reading of the container",
            Opens("18:00").BagHung("18:00", 5000).Level("18:30", 500).Flags("19:00").Undecided("drainage-bag-high").Needs
        );
        Assert.Equal("18:30-", Opens("18:00").BagHung("18:00", 5000).Level("18:30", 2700).Flags("19:00").Stood("drainage-bag-high"));
    }

    [Fact] // 60 mL/h of urine would fill 4 L to nine tenths in 60 h: after 6 h without a reading, as set, nobody knows what it runs into
    public void A_container_that_was_not_read_since_irrigation_ended_is_not_reckoned_on()
    {
        var ward = Opens("18:00")
            .BagHung("18:00", 3000)
            .Flow("18:00", 600)
            .Level("18:00", 0)
            .Level("19:00", 2600)
            .BagTakenDown("19:30", 2000);
        Assert.Equal("19:00-", ward.Flags("+1 00:59").Stood("drainage-bag-high"));
        Assert.Equal("19:00-01:01", ward.Urine("+1 01:01", 50).Flags("+3 20:00").Stood("drainage-bag-high"));
    }

    [Fact]
    public void Nothing_runs_into_it_behind_a_clamp() =>
        Assert.Equal(
            "",
            Opens("18:00")
                .BagHung("18:00", 5000)
                .Flow("18:00", 500)
                .Level("18:00", 2000)
                .Flow("18:05", 0)
                .Clamp("18:05")
                .Flags("23:00")
                .Stood("drainage-bag-high")
        );
}
