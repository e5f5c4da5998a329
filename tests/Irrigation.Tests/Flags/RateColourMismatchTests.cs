namespace Irrigation.Tests.Flags;

/// <summary>
/// F12: bright red or clots and no higher flow, call or washout within 15 min; clear for 12 h and the flow not reviewed (teaching text; the
/// times are our judgement).
/// </summary>
public class RateColourMismatchTests
{
    private const string Slug = "rate-colour-mismatch";

    private static Ward Red() =>
        Ward.Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 300).Level("18:00", 0).Looks("18:30", colour: "bright red");

    [Fact]
    public void Bloody_and_unanswered_it_is_raised_after_15_min()
    {
        Assert.Equal("", Red().Flags("18:44").Stood(Slug));
        Assert.Equal("18:45-", Red().Flags("18:45").Stood(Slug));
        Assert.Equal(
            "18:45-",
            Ward.Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 300).Looks("18:30", clots: "few").Flags("18:50").Stood(Slug)
        );
        Assert.Equal("bright red at 18:30, and no higher flow, call or washout charted within 15 min.", Red().Flags("18:50").Says(Slug));
    }

    [Fact]
    public void A_higher_flow_a_call_or_a_washout_answers_it()
    {
        Assert.Equal("", Red().Flow("18:40", 600).Flags("19:30").Stood(Slug));
        Assert.Equal("", Red().Calls("18:40").Flags("19:30").Stood(Slug));
        Assert.Equal("", Red().Washout("18:44", cleared: true).Flags("19:30").Stood(Slug));
        Assert.Equal("18:45-19:00", Red().Flow("19:00", 600).Flags("19:30").Stood(Slug));
        Assert.Equal("18:45-", Red().Flow("18:40", 200).Flags("19:30").Stood(Slug)); // lower is no answer
    }

    [Fact]
    public void Looking_again_is_no_answer_and_a_paler_look_clears_it()
    {
        Assert.Equal("18:45-", Red().Looks("18:44", colour: "bright red").Flags("18:50").Stood(Slug));
        Assert.Equal("18:45-19:00", Red().Looks("19:00", colour: "pink").Flags("19:30").Stood(Slug));
        Assert.Equal(
            "18:45-19:00, 19:45-",
            Red().Looks("19:00", colour: "pink").Looks("19:30", colour: "bright red").Flags("19:50").Stood(Slug)
        );
    }

    [Fact]
    public void While_outflow_is_in_doubt_the_flow_is_not_to_be_raised()
    {
        var record = Red().Level("18:40", 0).Flags("19:00"); // 300 mL/h: 200 mL in 40 min, so nothing for 30 min is no drainage, at the 40
        Assert.Equal("18:40-", record.Stood("no-drainage"));
        Assert.Equal("", record.Stood(Slug));
        Assert.Equal("no drainage stands since 18:40: while outflow is in doubt the flow is not to be raised", record.Undecided(Slug).Why);
    }

    [Fact]
    public void An_unanswered_look_waits_for_the_outflow_and_is_said_after_it() =>
        Assert.Equal("19:30-", Red().Level("18:40", 0).Level("19:30", 700).Flags("19:40").Stood(Slug));

    [Fact]
    public void Clear_for_12_h_asks_for_a_review_of_the_flow()
    {
        var clear = Ward.Opens("00:00")
            .BagHung("00:00", 3000)
            .Flow("00:00", 100)
            .Looks("01:00", colour: "straw")
            .Looks("08:00", colour: "clear");
        Assert.Equal("", clear.Flags("12:59").Stood(Slug));
        Assert.Equal("13:00-", clear.Flags("13:00").Stood(Slug));
        Assert.Equal("clear since 01:00 and the flow not reviewed (limit 12 h).", clear.Flags("13:00").Says(Slug));
        Assert.Equal("13:00-14:00", clear.Flow("14:00", 50).Flags("15:00").Stood(Slug));
    }

    [Fact]
    public void Nobody_looked_is_undecided_and_nothing_runs_is_not()
    {
        Assert.Equal(
            "a look at the drainage",
            Ward.Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 300).Flags("18:30").Undecided(Slug).Needs
        );
        Assert.Equal("", Red().Flow("18:31", 0).Flags("19:30").Stood(Slug));
    }
}
