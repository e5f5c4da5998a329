using Irrigation.Episodes;
using Irrigation.Flags;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F4: a closed interval with a corrected output below 0 (clinical reference 1.2 and 9; negative outputs of an open dataset).
/// </summary>
public class NegativeCorrectedOutputTests
{
    private const string Slug = "negative-corrected-output";

    /// <summary>600 mL counted by a pump from 18:00 to 19:00.</summary>
    private static Ward Pumped(decimal drained) =>
        Ward.Opens("18:00").PumpTotal("18:00", 0).Level("18:00", 0).PumpTotal("19:00", 600).Level("19:00", drained);

    [Theory]
    [InlineData(600, "")]
    [InlineData(599, "19:00-")]
    public void Below_zero_and_not_at_zero(decimal drained, string stood) =>
        Assert.Equal(stood, Pumped(drained).Flags("19:30").Stood(Slug));

    [Fact]
    public void It_says_whether_the_interval_covers_zero()
    {
        // u: pump 600 · 5 % / √3 = 17.3; marks 50 / √3 = 28.9, and of an empty bag 5 / √3 = 2.9; scale 590 · 5 % / √3 = 17.0:
        // together 37.9 mL.
        Assert.Equal(
            "corrected output -10 mL from 18:00 to 19:00, which is below 0. The 95 % interval is -86 to 66 mL: it covers 0.",
            Pumped(590).Flags("19:30").Says(Slug)
        );
        Assert.EndsWith(": all of it below 0.", Pumped(480).Flags("19:30").Says(Slug), StringComparison.Ordinal);
        Assert.Equal(FlagPriority.Low, Pumped(480).Flags("19:30").Priority(Slug));
    }

    [Fact]
    public void The_next_interval_that_is_not_below_zero_clears_it() =>
        Assert.Equal("19:00-20:00", Pumped(590).PumpTotal("20:00", 1200).Level("20:00", 1190).Flags("20:30").Stood(Slug));

    [Fact]
    public void What_the_bag_has_not_told_yet_is_undecided() =>
        Assert.Equal(
            ("the output from 18:00 to 19:00 is -50 mL and preliminary", "a reading of the bag"),
            Ward.Opens("18:00")
                .BagHung("18:00", 3000)
                .Flow("18:00", 600)
                .Level("18:00", 0)
                .Level("19:00", 550)
                .Flags("19:30")
                .Undecided(Slug)
        );

    [Fact]
    public void What_the_bag_has_not_told_yet_is_said_where_all_of_it_lies_below_zero_and_is_provisional()
    {
        // 600 in by the charted flow, 200 out: −400 mL, and the doubts about the flow and the marks are not half of that.
        var ward = Ward.Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 200);
        var says = ward.Flags("19:00").Says(Slug);
        Assert.StartsWith(
            "corrected output -400 mL from 18:00 to 19:00, which is below 0. The 95 % interval is ",
            says,
            StringComparison.Ordinal
        );
        Assert.EndsWith("all of it below 0. This is provisional: the bag was not read yet.", says, StringComparison.Ordinal);

        // The bag is weighed: 2850 of its 3000 mL are left, so that 150 had run, and the output was 50 mL.
        var weighed = new BagRead(ward.Header("19:05", MeasuringWay.Weighed), "1", Ward.Ml(2850));
        Assert.Equal("19:00-19:05", ward.Chart(weighed).Flags("19:30").Stood(Slug));
    }

    [Fact]
    public void What_nobody_measured_is_undecided() =>
        Assert.Equal(
            ("the output from 18:00 to 19:00 is not known", "readings of the bag and of the drainage"),
            Ward.Opens("18:00").BagHung("18:00", 3000).Level("18:00", 0).Level("19:00", 550).Flags("19:30").Undecided(Slug)
        );

    [Fact]
    public void A_leak_that_is_charted_late_retracts_it()
    {
        var ward = Pumped(590);
        var (after, _) = ward.Later(
            ward.Flags("19:30"),
            w => new LeakEstimated(w.Header("18:30", recordedAt: "19:30", id: "late"), Ward.Ml(50))
        );
        Assert.Equal("", after.Stood(Slug));
    }
}
