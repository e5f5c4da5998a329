using Irrigation.Criteria;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// Flags of criteria that are not certainly met: raised as possible, held while the probability wavers, cleared when it has fallen.
/// </summary>
/// <remarks>
/// A urine meter reads 2.44 % high and each reading is off by 14.7 / √3 = 8.49 mL; six hours of it by 20.8 mL. Stage 1 of 70 kg is less
/// than 210 mL in 6 h.
/// </remarks>
public class PossibleFlagTests
{
    private const string Stage = "urine-output-criterion";

    private static Ward Hours(params decimal[] hourly) => Opens("00:00").Weighs("00:00", 70).UrineHourly("00:00", hourly);

    private static FlagLimits With(Func<FlagSettings, FlagSettings> set) => FlagLimits.Default with { Flags = set(FlagSettings.Default) };

    [Fact]
    public void A_criterion_that_is_probably_met_is_raised_as_possible_one_step_lower()
    {
        // 6 · 32 = 192, best 187.3: Φ((210 − 187.3) / 20.8) = Φ(1.09) = 0.86.
        var record = Hours(32, 32, 32, 32, 32, 32).Flags("06:00");
        Assert.Equal(FlagPriority.Medium, record.Priority(Stage));
        Assert.Equal(
            "possibly, and to be confirmed first: urine-output criterion stage 1 (KDIGO 2012) by the mean: "
                + "0.45 mL/kg/h from 00:00 to 06:00. The 95 % interval is 0.35 to 0.55 mL/kg/h. The probability is 86 %. "
                + "The threshold is less than 0.5 mL/kg/h, by 70 kg (actual) of 00:00. By every hour it is not decided.",
            record.Says(Stage)
        );
        Assert.Equal(0.86, Math.Round(record.Standing(Stage).Latest.Criterion!.Probability!.Value, 2));
    }

    [Fact]
    public void A_little_less_probable_it_is_undecided_and_tells_how_probable()
    {
        // 206 mL, best 201: Φ(0.43) = 0.67.
        var (why, needs) = Hours(34, 34, 34, 34, 34, 36).Flags("06:00").Undecided(Stage);
        Assert.Contains("probability is 67 %", why, StringComparison.Ordinal);
        Assert.StartsWith("a more exact measurement", needs, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(60, "06:00-")] // 5 · 32 + 60 = 220, best 214.6: Φ(−0.22) = 0.41
    [InlineData(61, "06:00-07:00")] // 221, 215.6: Φ(−0.27) = 0.39, and 0.4 is set
    public void A_flag_that_stands_is_cleared_when_it_has_become_unlikely_and_not_before(decimal seventh, string stood) =>
        Assert.Equal(stood, Hours(32, 32, 32, 32, 32, 32, seventh).Flags("07:30").Stood(Stage));

    [Fact]
    public void A_probability_that_wavers_raises_one_flag_and_not_four()
    {
        // Sums of six: 192, 210, 192, 210, 192, 210 mL: 0.86 and 0.60 in turn.
        var record = Hours(32, 32, 32, 32, 32, 32, 50, 14, 50, 14, 50).Flags("11:30");
        Assert.Equal("06:00-", record.Stood(Stage));
        Assert.Contains("probability is 60 %", record.Says(Stage), StringComparison.Ordinal);
    }

    [Fact]
    public void A_flag_that_was_met_steps_down_when_it_is_no_more_than_possible_and_up_only_when_it_is_met_again()
    {
        var ward = Hours(20, 20, 20, 20, 20, 20, 92, 38, 2, 20, 8);
        FlagPriority? At(string clock) => ward.Flags(clock).Priority(Stage);
        Assert.Equal(FlagPriority.High, At("06:00"));
        Assert.Equal(FlagPriority.High, At("07:00")); // 5 · 20 + 92 = 192 mL: 0.86, and still possible
        Assert.Equal(FlagPriority.Medium, At("08:00")); // 4 · 20 + 92 + 38 = 210 mL: 0.60
        Assert.Equal(FlagPriority.Medium, At("09:00")); // 192 mL again: a possible one does not step up for that
        Assert.Equal("06:00-", ward.Flags("11:30").Stood(Stage));
    }

    [Fact]
    public void A_site_sets_the_probabilities()
    {
        var ward = Hours(32, 32, 32, 32, 32, 32, 61); // 0.86, then 0.39
        Assert.Equal(FlagPriority.High, ward.Flags("06:00", limits: With(s => s with { CriterionRaisedFrom = 0.86m })).Priority(Stage));
        Assert.Equal(FlagPriority.Medium, ward.Flags("06:00", limits: With(s => s with { CriterionRaisedFrom = 0.87m })).Priority(Stage));
        Assert.Equal("", ward.Flags("06:00", limits: With(s => s with { CriterionPossibleFrom = 0.87m })).Stood(Stage));
        Assert.Equal("", ward.Flags("06:00", limits: With(s => s with { CriterionPossibleFrom = 1 })).Stood(Stage));
        Assert.Equal("06:00-", ward.Flags("07:00", limits: With(s => s with { CriterionClearedBelow = 0 })).Stood(Stage));

        // As before there were probabilities: only what is met raises, and only what is not met clears.
        var certain = With(s => s with { CriterionPossibleFrom = 1, CriterionClearedBelow = 0 });
        Assert.Equal("06:00-", Hours(20, 20, 20, 20, 20, 20, 110).Flags("07:00", limits: certain).Stood(Stage)); // 210 mL: 0.6
        Assert.Equal("06:00-07:00", Hours(20, 20, 20, 20, 20, 20, 200).Flags("07:00", limits: certain).Stood(Stage)); // 300 mL
    }

    [Fact]
    public void The_stage_that_is_met_is_named_and_a_higher_one_that_is_probable_is_added()
    {
        // 12 h: 6 · 43 + 6 · 20 = 378 mL, best 368.8 of 420, u = 29.4: Φ(1.74) = 0.96, and its interval reaches to 427.6.
        var record = Hours(43, 43, 43, 43, 43, 43, 20, 20, 20, 20, 20, 20).Flags("12:00");
        Assert.Equal(FlagPriority.High, record.Priority(Stage));
        Assert.StartsWith("urine-output criterion stage 1 (KDIGO 2012) met by the mean: ", record.Says(Stage), StringComparison.Ordinal);
        Assert.EndsWith(
            " By every hour it is not decided. Stage 2 has a probability of 96 %.",
            record.Says(Stage),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public void The_stage_that_it_stands_for_holds_it_though_the_shortest_window_is_not_met()
    {
        // Six hours of 24 mL meet stage 1; five of 43 and one of 24 do not (239 mL: 0.14). The twelve hours to 12:00 are 402 of 420 mL:
        // 0.83 of stage 2, while the last six are 258 mL and not below 210. To 13:00 they are 421 mL: 0.62; to 14:00 440: 0.38.
        var ward = Hours(24, 24, 24, 24, 24, 24, 43, 43, 43, 43, 43, 43, 43, 43);
        Assert.Contains("stage 2", ward.Flags("12:00").Says(Stage), StringComparison.Ordinal);
        Assert.Contains("stage 2", ward.Flags("13:00").Says(Stage), StringComparison.Ordinal);
        Assert.Contains("probability is 62 %", ward.Flags("13:00").Says(Stage), StringComparison.Ordinal);
        Assert.Equal("06:00-11:00, 12:00-14:00", ward.Flags("14:30").Stood(Stage));
    }

    [Fact]
    public void Too_uncertain_to_answer_and_yet_probable_is_possible()
    {
        // 500 mL/h off the marks, nothing but irrigant: 6000 in, 6000 out. The interval is wider than the threshold.
        var ward = Opens("00:00")
            .Weighs("00:00", 70)
            .BagHung("00:00", 3000)
            .BagTakenDown("03:00", 0)
            .Emptied("03:00", 3000)
            .BagHung("03:00", 3000)
            .BagTakenDown("06:00", 0)
            .Emptied("06:00", 3000);
        var record = ward.Flags("06:00");
        Assert.Equal(FlagPriority.Medium, record.Priority(Stage));
        Assert.Equal([Obstacle.TooUncertain], record.Standing(Stage).Latest.Criterion!.Obstacles.ToArray());
    }

    [Theory]
    [InlineData(22, FlagPriority.Low)] // best 21.46 of 30: Φ(1.01) = 0.84 each
    [InlineData(27, null)] // best 26.34: Φ(0.43) = 0.67
    public void Low_hourly_output_may_be_possible_and_its_lowest_priority_stays(decimal each, FlagPriority? priority)
    {
        var record = Hours(each, each).Flags("02:00");
        Assert.Equal(priority, record.Priority("low-hourly-output"));
        if (priority is null)
            return;
        var says = record.Says("low-hourly-output");
        Assert.StartsWith("possibly, and to be confirmed first: output of each of the last two hours: ", says);
        Assert.Contains("probability is at most 84 %", says, StringComparison.Ordinal);
    }

    [Fact]
    public void A_few_mL_in_an_empty_meter_are_possibly_no_urine()
    {
        // 12 · 3 = 36 mL, best 35.1; a reading of 3 is off by no more than 8, u = 12 of them 16.0: 0.82 of up to 50 mL.
        var record = Hours([.. Enumerable.Repeat(3m, 12)]).Flags("12:00");
        Assert.Equal(FlagPriority.Medium, record.Priority("anuria"));
        Assert.Contains("probability is 82 %", record.Says("anuria"), StringComparison.Ordinal);
        Assert.Null(Hours([.. Enumerable.Repeat(6m, 12)]).Flags("12:00").Priority("anuria")); // 70.2, u = 22.0: 0.18
    }

    [Fact]
    public void Much_urine_may_be_possible_too()
    {
        // 24 · 131 = 3144, best 3067 of more than 3000, u = 42.6: Φ(1.58) = 0.94; 24 · 128 = 3072, 2997: 0.47.
        Ward Day(decimal hourly) => Hours([.. Enumerable.Repeat(hourly, 24)]);
        Assert.Contains("probability is 94 %", Day(131).Flags("+1 00:00").Says("polyuria"), StringComparison.Ordinal);
        Assert.Null(Day(128).Flags("+1 00:00").Priority("polyuria"));
    }

    [Fact]
    public void What_stands_and_cannot_be_told_goes_on_standing_and_is_not_undecided_as_well()
    {
        // Read at 02:00 and then not for seven hours, which say nothing of single hours.
        var record = Hours(10, 10).Urine("09:00", 70).Flags("09:00");
        Assert.Equal("02:00-", record.Stood("low-hourly-output"));
        Assert.Equal(FlagPriority.Low, record.Priority("low-hourly-output"));
        Assert.Equal(
            "it stands since 02:00, and whether it has ended cannot be told. "
                + "Output of each of the last two hours: cannot be said. "
                + "The time between two readings is too long to speak of single hours. Needs readings without long gaps.",
            record.Says("low-hourly-output")
        );
        Assert.IsType<Finding.Raised>(record.Said("low-hourly-output"));

        // A possible one stays a possible one.
        var possible = Hours(22, 22).Urine("09:00", 70).Flags("09:00");
        Assert.StartsWith("possible since 02:00, and whether it has ended cannot be told. ", possible.Says("low-hourly-output"));
    }

    [Fact]
    public void What_stands_and_waits_for_an_obstruction_is_not_undecided_as_well()
    {
        var ward = Hours(10, 10).BagHung("02:30", 3000).Flow("02:30", 600).Level("02:30", 0).Level("03:30", 0);
        var record = ward.Flags("03:30");
        Assert.Equal("03:30-", record.Stood("no-drainage"));
        Assert.Equal("02:00-", record.Stood("low-hourly-output"));
        Assert.IsType<Finding.Raised>(record.Said("low-hourly-output"));
    }

    [Fact]
    public void Below_zero_as_a_whole_it_raises_nothing_and_asks_what_is_missing()
    {
        // 1200 counted in, 1088 out in 12 h: −112 mL, measured without doubt.
        const string Needs = "the missing or wrong volume";
        var ward = Opens("00:00").Weighs("00:00", 70).PumpTotal("00:00", 0).Level("00:00", 0).PumpTotal("12:00", 1200).Level("12:00", 1088);
        var record = ward.Exactly("12:00");
        Assert.Equal(
            ("stage 1: cannot be said. The whole interval lies below 0, so something that left or stayed is missing in the balance", Needs),
            record.Undecided(Stage)
        );
        Assert.Equal(
            (
                "output of 12 h: cannot be said. The whole interval lies below 0, "
                    + "so something that left or stayed is missing in the balance",
                Needs
            ),
            record.Undecided("anuria")
        );
        Assert.Equal("12:00-", record.Stood("negative-corrected-output"));
    }

    [Fact]
    public void Per_cents_are_never_more_certain_than_they_can_be()
    {
        Assert.Contains("probability is over 99 %", Hours(0, 0, 0, 0, 0, 0).Flags("06:00").Says(Stage), StringComparison.Ordinal);
        var unlikely = Opens("00:00").Weighs("00:00", 70).UrineHourly("00:00", 60, 60, 60, 60, 60, 60).Flags("06:00");
        Assert.IsType<Finding.NotRaised>(unlikely.Said(Stage));
    }
}
