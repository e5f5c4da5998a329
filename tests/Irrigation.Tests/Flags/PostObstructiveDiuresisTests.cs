using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>F9: after an obstruction was relieved, 200 mL/h or more in each of two consecutive hours, or 3 L or more in 24 h (LITFL, clinical reference 2.2).</summary>
public class PostObstructiveDiuresisTests
{
    private const string Slug = "post-obstructive-diuresis";

    /// <summary>Blocked from 19:00 to 20:30, when a litre comes out at once; irrigation is stopped then, and urine read hourly.</summary>
    private static Ward Relieved(params decimal[] hourly) =>
        Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 650).Level("20:00", 650).Emptied("20:30", 1650).BagTakenDown("20:30", 1500).UrineHourly("20:30", hourly);

    [Theory]
    [InlineData(200, 200, "22:30-")]
    [InlineData(200, 199, "")]
    [InlineData(199, 300, "")]
    public void Two_hours_of_200_mL_each(decimal one, decimal other, string stood) => Assert.Equal(stood, Relieved(one, other).Exactly("23:00").Stood(Slug));

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
        Assert.Equal("obstruction relieved at 20:30; the output of the hours since cannot be told well enough", why);
        Assert.Equal("hourly readings, weighed where the flow is high", needs);
    }

    [Fact]
    public void A_nurse_reads_both_hours()
    {
        var record = Relieved(220, 240).Exactly("22:30");
        Assert.Equal("obstruction relieved at 20:30; 220 mL and 240 mL in the last two hours, threshold 200 mL or more in each.", record.Says(Slug));
        Assert.Equal(FlagPriority.High, record.Priority(Slug));
    }
}
