using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>What comes back of an aliquot should be what went in.</summary>
public class ReturnShortTests
{
    private const string Slug = "return-short";

    /// <summary>30 mL pushed in, 12 mL back into the basin; 30 mL again, 5 mL back.</summary>
    private static Ward Basin => Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 12).Syringe("08:15", 30).Back("08:17", 5);

    [Fact]
    public void A_nurse_stops_after_the_first_short_return()
    {
        // 30 − 12 = 18 mL, half an aliquot is 15. Doubt: basin ±10 and ±10 % of 12, syringe ±4 % of 30, all over √3:
        // √(5.77² + 0.69² + 0.69²) = 5.86, so 18 ± 11.7: 6.3 to 29.7.
        var flags = Basin.Flags("08:14");
        Assert.Equal("08:13-", flags.Stood(Slug));
        Assert.Equal(FlagPriority.High, flags.Priority(Slug));
        Assert.Equal(
            "18 mL did not come back of cycle 1, from 08:10: 30 mL in, 12 mL back. The 95 % interval is 6.3 to 30 mL. "
                + "The limit is 15 mL, 50 % of an aliquot.",
            flags.Says(Slug)
        );
    }

    [Fact]
    public void A_second_aliquot_on_top_makes_it_urgent()
    {
        var flags = Basin.Flags("08:17");
        Assert.Equal("08:13-", flags.Stood(Slug));
        Assert.Equal(FlagPriority.Urgent, flags.Priority(Slug));
        Assert.Contains(
            "43 mL did not come back of cycles 1 to 2, from 08:10: 60 mL in, 17 mL back",
            flags.Says(Slug),
            StringComparison.Ordinal
        );
        Assert.Contains("30 mL more was instilled at 08:15, on top of it.", flags.Says(Slug), StringComparison.Ordinal);
    }

    [Fact]
    public void A_run_with_short_returns_says_nothing_of_a_corrected_output_that_covers_0()
    {
        Assert.Equal("", Basin.Flags("08:30").Stood("negative-corrected-output"));
        Assert.Equal("", Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 27).Flags("08:30").Stood("negative-corrected-output"));
    }

    [Theory]
    [InlineData(15, "08:13-")] // 30 − 15 = 15: half an aliquot
    [InlineData(16, "")]
    [InlineData(30, "")]
    [InlineData(45, "")] // what comes back beyond is urine
    public void Half_an_aliquot_in_one_cycle(decimal back, string stood) =>
        Assert.Equal(stood, Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", back).Exactly("08:20").Stood(Slug));

    [Theory]
    [InlineData(20, "08:19-")] // 3 × 10 short: 30, one aliquot
    [InlineData(21, "")]
    public void One_aliquot_over_the_run(decimal back, string stood) =>
        Assert.Equal(
            stood,
            Ward.Opens("08:00")
                .Syringe("08:10", 30)
                .Back("08:13", back)
                .Syringe("08:14", 30)
                .Back("08:16", back)
                .Syringe("08:17", 30)
                .Back("08:19", back)
                .Exactly("08:20")
                .Stood(Slug)
        );

    [Fact]
    public void Urine_that_came_with_the_first_return_does_not_pay_for_a_later_one() =>
        // 30 in, 200 back: 170 of urine. Then 30 in, 10 back.
        Assert.Equal(
            "08:16-",
            Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 200).Syringe("08:14", 30).Back("08:16", 10).Exactly("08:20").Stood(Slug)
        );

    [Fact]
    public void What_does_not_exceed_its_own_doubt_is_not_said() =>
        // 20 in, 8 back: 12 short of a limit of 10, and the basin alone is ±10: 12 ± 11.6. 9 back: 11 ± 11.6.
        Assert.Equal(
            ("08:13-", ""),
            (
                Ward.Opens("08:00").Syringe("08:10", 20).Back("08:13", 8).Flags("08:20").Stood(Slug),
                Ward.Opens("08:00").Syringe("08:10", 20).Back("08:13", 9).Flags("08:20").Stood(Slug)
            )
        );

    [Fact]
    public void A_drainage_bag_is_too_coarse_to_say_it_and_a_syringe_is_not()
    {
        Ward In(Vessel vessel) => Ward.Opens("08:00").Emptied("08:05", 300).Syringe("08:10", 60).Back("08:13", 28, vessel);
        Assert.Equal("", In(Vessel.DrainageBag).Flags("08:20").Stood(Slug)); // 32 mL, and ±(28 + 5) of the reading are 2 × 19.1
        Assert.Equal("08:13-", In(Vessel.Syringe).Flags("08:20").Stood(Slug));
    }

    [Fact]
    public void A_later_return_clears_it() =>
        // 18 short, then 30 in and 40 back: 8 short in all, below three quarters of 30.
        Assert.Equal(
            "08:13-08:20",
            Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 12).Syringe("08:18", 30).Back("08:20", 40).Flags("08:30").Stood(Slug)
        );

    [Theory]
    [InlineData(60, "08:13-08:25")]
    [InlineData(100, "08:13-08:25")]
    [InlineData(101, "08:13-")]
    public void A_scan_that_shows_little_clears_it(decimal held, string stood) =>
        Assert.Equal(stood, Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 12).Scan("08:25", held).Flags("08:30").Stood(Slug));

    [Fact]
    public void Drainage_afterwards_clears_it() =>
        Assert.Equal(
            "08:13-10:00",
            Ward.Opens("08:00").Emptied("08:05", 0).Syringe("08:10", 30).Back("08:13", 12).Emptied("10:00", 150).Flags("10:30").Stood(Slug)
        );

    [Fact]
    public void Silence_does_not_clear_it() =>
        Assert.Equal("08:13-", Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 12).Flags("+1 23:00").Stood(Slug));

    [Fact]
    public void A_further_irrigation_on_top_is_urgent_hours_later() =>
        Assert.Equal(
            FlagPriority.Urgent,
            Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 12).Syringe("12:00", 30).Flags("12:00").Priority(Slug)
        );

    [Fact]
    public void A_correction_takes_it_back()
    {
        var ward = Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 12);
        var before = ward.Flags("08:20");
        var reading = (DrainageEmptied)ward.Entries[^1];
        var (record, changes) = ward.Later(before, _ => reading with { Drained = Ml(32) });
        Assert.Equal("", record.Stood(Slug));
        Assert.Contains(changes, change => change.Before?.Slug == Slug && change.After is null);
    }

    [Fact]
    public void A_return_that_nobody_charted_is_not_0_and_said_to_be_missing()
    {
        var ward = Ward.Opens("08:00").Syringe("08:10", 30);
        Assert.IsType<Finding.NotRaised>(ward.Flags("09:09").Said(Slug));
        Assert.Equal("what came back of cycle 1, instilled at 08:10, is not charted", ward.Flags("09:10").Undecided(Slug).Why);
    }

    [Fact]
    public void What_leaked_beside_the_catheter_is_accounted_for() =>
        // 30 in, 10 back and 20 beside it: none is missing.
        Assert.Equal("", Ward.Opens("08:00").Syringe("08:10", 30).Leak("08:12", 20).Back("08:13", 10).Exactly("08:20").Stood(Slug));

    [Theory]
    [InlineData(21, "08:13-")] // 30 × 0.5 × 270 / 500 = 8.1 mL for a bladder of (8 + 1) × 30 mL: 9 are missing
    [InlineData(22, "")] // and here 8
    public void A_child_has_a_smaller_limit(decimal back, string stood) =>
        Assert.Equal(stood, Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", back).Exactly("08:20", Story.Child).Stood(Slug));

    [Fact]
    public void With_a_spinal_cord_injury_it_is_a_risk_of_dysreflexia() =>
        Assert.Equal("08:13-", Basin.Flags("08:14", Story.Adult with { SpinalLevel = "T4" }).Stood("dysreflexia-risk"));
}
