using NodaTime;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F13: past the ordered dwell, inflow while clamped, nobody there (the order; common practice; clinical reference 2.6 and 9).
/// </summary>
public class DwellTests
{
    private static Ward Clamped() =>
        Ward.Opens("18:00").Ordered("18:00", order => order with { Dwell = Duration.FromMinutes(45) }).Syringe("18:10", 60).Clamp("18:15");

    [Fact]
    public void Past_the_ordered_dwell_to_the_minute_and_cleared_by_the_release()
    {
        Assert.Equal("", Clamped().Flags("18:59").Stood("dwell-overrun"));
        Assert.Equal("19:00-", Clamped().Flags("19:00").Stood("dwell-overrun"));
        Assert.Equal("19:00-19:20", Clamped().Release("19:20").Flags("20:00").Stood("dwell-overrun"));
        Assert.Equal("", Clamped().Release("19:00").Flags("20:00").Stood("dwell-overrun")); // released on the minute
        Assert.Equal(
            "drain clamped since 18:15, to be released at 19:00 (ordered dwell 45 min).",
            Clamped().Flags("19:10").Says("dwell-overrun")
        );
    }

    [Fact]
    public void A_second_dwell_is_a_second_flag() =>
        Assert.Equal("19:00-19:20, 20:45-", Clamped().Release("19:20").Clamp("20:00").Flags("21:00").Stood("dwell-overrun"));

    [Fact]
    public void Without_an_ordered_dwell_nobody_can_tell() =>
        Assert.Equal(
            ("the drain is clamped since 18:15 and no order names a dwell", "an order with a dwell"),
            Ward.Opens("18:00").Clamp("18:15").Flags("23:00").Undecided("dwell-overrun")
        );

    [Fact]
    public void A_release_charted_late_retracts_it()
    {
        var (after, _) = Clamped()
            .Later(Clamped().Flags("19:10"), w => new Episodes.DrainReleased(w.Header("18:55", recordedAt: "19:10", id: "late")));
        Assert.Equal("", after.Stood("dwell-overrun"));
    }

    [Theory]
    [InlineData(0, "")]
    [InlineData(1, "18:15-19:00")]
    public void Whatever_runs_into_a_shut_bladder_is_told(decimal flow, string stood) =>
        Assert.Equal(
            stood,
            Ward.Opens("18:00")
                .BagHung("18:00", 3000)
                .Flow("18:00", flow)
                .Clamp("18:15")
                .Release("19:00")
                .Flags("19:30")
                .Stood("inflow-while-clamped")
        );

    [Fact]
    public void A_flow_that_nobody_charted_is_undecided_and_stopping_it_clears_it()
    {
        Assert.Equal(
            "the flow, or that it is stopped",
            Ward.Opens("18:00").BagHung("18:00", 3000).Clamp("18:15").Flags("18:20").Undecided("inflow-while-clamped").Needs
        );
        var stopped = Ward.Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 300).Clamp("18:15").Flow("18:25", 0).Flags("18:30");
        Assert.Equal("18:15-18:25", stopped.Stood("inflow-while-clamped"));
        Assert.Equal(
            "300 mL/h runs in while the drain is clamped since 18:15. The bladder's limit is 270 mL ((8 years + 1) x 30 mL).",
            Ward.Opens("18:00")
                .BagHung("18:00", 3000)
                .Flow("18:00", 300)
                .Clamp("18:15")
                .Flags("18:20", Story.Child)
                .Says("inflow-while-clamped")
        );
    }

    [Fact]
    public void Nobody_there_for_half_an_hour_is_told_and_whoever_comes_clears_it()
    {
        Assert.Equal("", Clamped().Flags("18:44").Stood("dwell-unattended"));
        Assert.Equal("18:45-", Clamped().Flags("18:45").Stood("dwell-unattended"));
        Assert.Equal("18:45-18:50", Clamped().Bears("18:50").Flags("19:19").Stood("dwell-unattended"));
        Assert.Equal("18:45-18:50, 19:20-", Clamped().Bears("18:50").Flags("19:20").Stood("dwell-unattended"));
        Assert.Equal("", Clamped().Bears("18:40").Feels("19:05", false).Release("19:20").Flags("20:00").Stood("dwell-unattended"));
        Assert.Equal(
            "drain clamped since 18:15, and nobody charted anything at the bedside since 18:15 (limit 30 min).",
            Clamped().Flags("18:50").Says("dwell-unattended")
        );
    }
}
