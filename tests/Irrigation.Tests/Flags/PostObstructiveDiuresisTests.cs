using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F9: after an obstruction was relieved, 200 mL/h or more in each of two consecutive hours, or 3 L or more in 24 h (LITFL, clinical
/// reference 2.2).
/// </summary>
public class PostObstructiveDiuresisTests
{
    private const string Slug = "post-obstructive-diuresis";

    /// <summary>Blocked from 19:00 to 20:30, when a litre comes out at once; irrigation is stopped then, and urine read hourly.</summary>
    private static Ward Relieved(params decimal[] hourly) =>
        Opens("18:00")
            .BagHung("18:00", 3000)
            .Flow("18:00", 600)
            .Level("18:00", 0)
            .Level("19:00", 650)
            .Level("20:00", 650)
            .Emptied("20:30", 1650)
            .BagTakenDown("20:30", 1500)
            .UrineHourly("20:30", hourly);

    [Theory]
    [InlineData(200, 200, "22:30-")]
    [InlineData(200, 199, "")]
    [InlineData(199, 300, "")]
    public void Two_hours_of_200_mL_each(decimal one, decimal other, string stood) =>
        Assert.Equal(stood, Relieved(one, other).Exactly("23:00").Stood(Slug));

    [Fact]
    public void What_had_been_held_back_is_not_urine_made_since()
    {
        // 1000 mL in the half hour of the relief and 250 in the hour after: only hours after the relief count.
        Assert.Equal("", Relieved(250).Exactly("22:00").Stood(Slug));
        Assert.Equal("20:00-20:30", Relieved(250).Exactly("22:00").Stood("no-drainage"));
    }

    [Fact]
    public void Without_an_obstruction_it_is_not_looked_for() =>
        Assert.Equal("", Opens("18:00").UrineHourly("18:00", 300, 300, 300).Exactly("21:30").Stood(Slug));

    [Fact]
    public void A_washout_that_cleared_is_a_relief_and_one_that_did_not_is_none()
    {
        Assert.Equal("20:00-", Opens("18:00").Washout("18:00", cleared: true).UrineHourly("18:00", 200, 200).Exactly("20:30").Stood(Slug));
        Assert.Equal("", Opens("18:00").Washout("18:00", cleared: false).UrineHourly("18:00", 200, 200).Exactly("20:30").Stood(Slug));
    }

    [Fact]
    public void It_is_cleared_when_an_hour_stays_below_and_undecided_where_hours_cannot_be_told()
    {
        Assert.Equal("22:30-23:30", Relieved(200, 200, 100).Exactly("23:45").Stood(Slug));
        var (why, needs) = Relieved(200, 205).Flags("22:30").Undecided(Slug); // a meter is ±14.7 mL
        Assert.Equal("obstruction relieved at 20:30, and the output of the hours since cannot be told well enough", why);
        Assert.Equal("hourly readings, weighed where the flow is high", needs);
    }

    [Fact]
    public void No_obstruction_was_one_that_was_only_mistyped()
    {
        // 1290 read at 20:00 and 650 typed, as if nothing had drained for an hour. 220 and 240 mL of urine follow.
        var ward = Relieved(220, 240);
        var before = ward.Exactly("22:30");
        Assert.Equal(("20:00-20:30", "22:30-"), (before.Stood("no-drainage"), before.Stood(Slug)));
        var mistyped = ward.Entries.OfType<DrainageLevelRead>().Single(e => e.At == ward.At("20:00"));
        var (after, changes) = ward.Later(before, _ => mistyped with { Level = Ml(1290) }, Exact);
        Assert.Equal(("", ""), (after.Stood("no-drainage"), after.Stood(Slug)));
        Assert.Null(Assert.Single(changes, c => c.Before?.Slug == Slug).After);
    }

    [Fact]
    public void No_obstruction_was_one_that_was_only_mistimed()
    {
        // Emptied at 19:00, looked at once more at 19:01, and that charted for 20:00, as if nothing had drained for an hour.
        var ward = Opens("18:00")
            .BagHung("18:00", 3000)
            .Flow("18:00", 600)
            .Level("18:00", 0)
            .Emptied("19:00", 650, id: "slip")
            .Level("20:00", 0)
            .Emptied("20:30", 1150)
            .BagTakenDown("20:30", 1500)
            .UrineHourly("20:30", 220, 240);
        var before = ward.Exactly("22:30");
        Assert.Equal("22:30-", before.Stood(Slug));
        var slip = ward.Entries.OfType<DrainageLevelRead>().Single(e => e.At == ward.At("20:00"));
        var (after, _) = ward.Later(before, _ => slip with { Header = slip.Header with { At = ward.At("19:01") } }, Exact);
        Assert.Equal(("", ""), (after.Stood("no-drainage"), after.Stood(Slug)));
    }

    [Fact]
    public void A_reading_in_doubt_relieves_nothing_and_the_next_one_does()
    {
        // Of the 1650 mL of 20:30 somebody makes 16500: the flag waits for the urine of 21:30, and the two hours count from then.
        Ward Slipped(params decimal[] hourly) =>
            Opens("18:00")
                .BagHung("18:00", 3000)
                .Flow("18:00", 600)
                .Level("18:00", 0)
                .Level("19:00", 650)
                .Level("20:00", 650)
                .Emptied("20:30", 16500)
                .BagTakenDown("20:30", 1500)
                .UrineHourly("20:30", hourly);
        Assert.Equal("20:00-21:30", Slipped(220, 240).Exactly("22:30").Stood("no-drainage"));
        Assert.Equal("", Slipped(220, 240).Exactly("22:30").Stood(Slug));
        Assert.Equal("23:30-", Slipped(220, 240, 230).Exactly("23:30").Stood(Slug));
    }

    [Fact]
    public void An_hour_in_doubt_is_not_one_of_much_urine()
    {
        // 350 and 350 mL drained while 60 ran in; the second typed as 3500.
        Ward Second(decimal ml) =>
            Opens("18:00")
                .Washout("18:00", cleared: true)
                .BagHung("18:00", 3000)
                .Flow("18:00", 60)
                .Level("18:00", 0)
                .Emptied("19:00", 350)
                .Emptied("20:00", ml);
        Assert.Equal("20:00-", Second(350).Exactly("20:00").Stood(Slug));
        Assert.Equal("", Second(3500).Exactly("20:00").Stood(Slug));
    }

    [Fact]
    public void While_the_bag_hangs_it_is_provisional()
    {
        // 60 mL/h run in: 270 − 60 = 210 and 280 − 60 = 220 mL.
        var ward = Opens("18:00")
            .Washout("18:00", cleared: true)
            .BagHung("18:00", 3000)
            .Flow("18:00", 60)
            .Level("18:00", 0)
            .Level("19:00", 270)
            .Level("20:00", 550);
        Assert.EndsWith(
            "210 mL and 220 mL in the last two hours. The threshold is 200 mL or more in each."
                + " This is provisional: the bag was not read yet.",
            ward.Exactly("20:00").Says(Slug),
            StringComparison.Ordinal
        );

        // The bag is read: 125 mL had run by 20:05, as charted.
        Assert.EndsWith("threshold is 200 mL or more in each.", ward.BagRead("20:05", 2875).Exactly("20:30").Says(Slug));
    }

    [Fact]
    public void An_hour_below_zero_tells_nothing()
    {
        var ward = Opens("18:00")
            .Washout("18:00", cleared: true)
            .PumpTotal("18:00", 0)
            .Level("18:00", 0)
            .PumpTotal("19:00", 100)
            .Level("19:00", 350)
            .PumpTotal("20:00", 700)
            .Level("20:00", 900);
        Assert.Equal(FlagPriority.Low, ward.Exactly("20:00").Priority("negative-corrected-output")); // 550 − 600
        Assert.EndsWith("cannot be told well enough", ward.Exactly("20:00").Undecided(Slug).Why, StringComparison.Ordinal);
    }

    [Fact]
    public void A_nurse_reads_both_hours()
    {
        var record = Relieved(220, 240).Exactly("22:30");
        Assert.Equal(
            "obstruction relieved at 20:30. 220 mL and 240 mL in the last two hours. The threshold is 200 mL or more in each.",
            record.Says(Slug)
        );
        Assert.Equal(FlagPriority.High, record.Priority(Slug));
    }
}
