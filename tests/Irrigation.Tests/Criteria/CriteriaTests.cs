using CsCheck;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Criteria;

/// <summary>
/// The urine-output criteria at the bedside (clinical reference 2.1 and 2.2). Edges are tried with <see cref="Ward.Exact"/>
/// measures, so that the threshold alone decides; the four answers with the default ones.
/// </summary>
public class CriteriaTests
{
    private static readonly Patient Adult = Born(new(1950, 5, 1));
    private static readonly Patient Child = Born(new(2018, 5, 1));
    private static readonly Patient Neonate = Born(Evening.PlusDays(-9));
    private static readonly Patient OfUnknownAge = new(null, DateTimeZone.Utc);

    [Fact] // KDIGO 2012, stage 1
    public void Six_hours_under_half_a_millilitre_meet_stage_1_in_both_readings()
    {
        var balance = Weighing(70).UrineHourly("00:00", Same(34, 6)).Balance(Exact);
        Assert.Equal([Answer.Met, Answer.Met], Answers(balance, "kdigo", 1, "06:00")); // 34 / 70 = 0.486
        Assert.All(Answers(balance, "kdigo", 2, "06:00"), answer => Assert.Equal(Answer.NotEvaluable, answer));
    }

    [Fact] // KDIGO 2012, stage 2; the convention: duration inclusive
    public void Twelve_hours_are_enough_for_stage_2_and_eleven_are_not()
    {
        var balance = Weighing(70).UrineHourly("00:00", Same(34, 12)).Balance(Exact);
        Assert.Equal([Answer.Met, Answer.Met], Answers(balance, "kdigo", 2, "12:00"));
        Assert.Equal([Answer.Met, Answer.Met], Answers(balance, "kdigo", 1, "12:00"));

        var hourBefore = Mean(balance, "kdigo", 2, "11:00");
        Assert.Equal((Answer.NotEvaluable, Obstacle.NotCovered), (hourBefore.Answer, Assert.Single(hourBefore.Obstacles)));
        Assert.Equal(11m / 12, hourBefore.Coverage);
    }

    [Fact] // KDIGO 2012, stage 3
    public void A_day_under_three_tenths_of_a_millilitre_meets_stage_3()
    {
        var balance = Weighing(70).UrineHourly("00:00", Same(20, 24)).Balance(Exact);
        Assert.Equal([Answer.Met, Answer.Met], Answers(balance, "kdigo", 3, "+1 00:00")); // 20 / 70 = 0.286
    }

    [Fact] // check-values W23 and W24; the convention: rate strict
    public void A_rate_of_exactly_the_threshold_is_not_below_it()
    {
        var half = Weighing(70).UrineHourly("00:00", Same(35, 12)).Balance(Exact); // 35 / 70 = 0.5
        Assert.Equal([Answer.NotMet, Answer.NotMet], Answers(half, "kdigo", 1, "06:00"));
        Assert.Equal([Answer.NotMet, Answer.NotMet], Answers(half, "kdigo", 2, "12:00"));
        Assert.Equal(0.5m, Mean(half, "kdigo", 1, "06:00").Value!.Value, 12);

        var threeTenths = Weighing(70).UrineHourly("00:00", Same(21, 24)).Balance(Exact); // 21 / 70 = 0.3
        Assert.Equal([Answer.NotMet, Answer.NotMet], Answers(threeTenths, "kdigo", 3, "+1 00:00"));
    }

    [Fact] // clinical reference 2.1, own vector
    public void One_good_hour_breaks_the_reading_by_the_hour_and_not_the_mean()
    {
        var balance = Weighing(70).UrineHourly("00:00", 20, 20, 20, 20, 20, 50).Balance(Exact);
        var (mean, hourly) = (Mean(balance, "kdigo", 1, "06:00"), EveryHour(balance, "kdigo", 1, "06:00"));
        Assert.Equal((Answer.Met, 0.357m), (mean.Answer, Math.Round(mean.Value!.Value, 3))); // 150 / 6 / 70
        Assert.Equal((Answer.NotMet, 0.714m), (hourly.Answer, Math.Round(hourly.Value!.Value, 3))); // hour 6: 50 / 70
    }

    [Fact] // clinical reference 3.3: "0.5 cannot be excluded -> indeterminate, not normal"
    public void A_bag_read_off_its_marks_leaves_the_threshold_open()
    {
        var mean = Mean(WorkedExample(80).Balance(), "kdigo", 1, "06:00");
        Assert.Equal(
            (0.77m, 0.48m),
            (Math.Round(mean.Value!.Value, 2), Math.Round((mean.Interval95!.Value.High - mean.Interval95.Value.Low) / 2, 2))
        );
        Assert.Equal(Answer.Indeterminate, mean.Answer);
        Assert.Empty(mean.Obstacles);
    }

    [Fact] // clinical reference 3.4: from about 500 mL/h read off graduations, 0.5 mL/kg/h is not decidable
    public void Fast_irrigation_read_off_graduations_is_not_evaluable()
    {
        var ward = Weighing(70)
            .BagHung("00:00", 3000)
            .BagTakenDown("03:00", 0)
            .Emptied("03:00", 3105)
            .BagHung("03:00", 3000)
            .BagTakenDown("06:00", 0)
            .Emptied("06:00", 3105);
        Assert.Equal((Answer.NotEvaluable, Obstacle.TooUncertain), Said(Mean(ward.Balance(), "kdigo", 1, "06:00")));
    }

    /// <summary>But for a doubted reading, which has stories of its own.</summary>
    public static TheoryData<Obstacle> EveryObstacle => [.. Enum.GetValues<Obstacle>().Except([Obstacle.Doubted])];

    [Theory]
    [MemberData(nameof(EveryObstacle))]
    public void Every_obstacle_makes_a_criterion_not_evaluable_and_is_named(Obstacle obstacle)
    {
        var (ward, patient) = obstacle switch
        {
            Obstacle.AgeUnknown => (Weighing(70).UrineHourly("00:00", Same(20, 6)), OfUnknownAge),
            Obstacle.AgeDoesNotFit => (Weighing(25).UrineHourly("00:00", Same(5, 6)), Child),
            Obstacle.WeightUnknown => (Opens("00:00").UrineHourly("00:00", Same(20, 6)), Adult),
            Obstacle.WeightImplausible => (Weighing(700).UrineHourly("00:00", Same(20, 6)), Adult),
            Obstacle.NotCovered => (Weighing(70).UrineHourly("00:00", Same(20, 5)), Adult),
            Obstacle.OutputUnknown => (Weighing(70).Level("00:00", 0).Level("03:00", 900).Level("06:00", 200), Adult),
            Obstacle.DoubtsUnknown => (Weighing(70).UrineHourly("00:00", Same(20, 5)).Instilled("06:00", 3000).Urine("06:00", 20), Adult),
            Obstacle.TooUncertain => (Weighing(70).Instilled("06:00", 6000, from: "00:00").Emptied("06:00", 6200), Adult),
            Obstacle.Gap => (Weighing(70).Urine("07:00", 140), Adult),
            Obstacle.StillOpen => (Weighing(70).BagHung("00:00", 3000).Emptied("06:00", 400), Adult), // nobody charted a flow
            Obstacle.BelowZero => (Weighing(70).Instilled("06:00", 600, from: "00:00").Emptied("06:00", 200), Adult), // −400 ± 61 mL
            Obstacle.Doubted => throw new NotSupportedException("has stories of its own"),
        };
        var adultRule = UrineOutputCriteria.All.Single(c => (c.Name, c.Stage) == ("kdigo", 1));
        var results = UrineOutputCriteria.Evaluate(adultRule, ward.Balance(), patient, ward.At("06:00"), CriteriaSettings.Default).ToList();
        var named = Assert.Single(results, r => r.Reading == (obstacle == Obstacle.Gap ? Reading.EveryHour : Reading.MeanOverWindow));
        Assert.Equal(Answer.NotEvaluable, named.Answer);
        Assert.Contains(obstacle, named.Obstacles);
    }

    [Fact] // clinical reference 4: a gap longer than 6 h never feeds the reading by the hour
    public void A_long_gap_feeds_the_mean_and_never_the_hours()
    {
        var six = Weighing(70).Urine("06:00", 120).Balance(Exact);
        Assert.Equal([Answer.Met, Answer.Met], Answers(six, "kdigo", 1, "06:00"));

        var seven = Weighing(70).Urine("07:00", 140).Balance(Exact);
        Assert.Equal(
            (Answer.Met, Answer.NotEvaluable),
            (Mean(seven, "kdigo", 1, "07:00").Answer, EveryHour(seven, "kdigo", 1, "07:00").Answer)
        );
        Assert.Equal(Obstacle.Gap, Assert.Single(EveryHour(seven, "kdigo", 1, "07:00").Obstacles));
    }

    [Fact]
    public void A_site_may_ask_for_less_coverage_and_the_result_still_tells_it()
    {
        var balance = Weighing(70).UrineHourly("00:00", Same(20, 5)).Balance(Exact);
        var rule = UrineOutputCriteria.All.Single(c => (c.Name, c.Stage) == ("kdigo", 1));
        var ward = Opens("00:00");
        var lenient = UrineOutputCriteria
            .Evaluate(rule, balance, Adult, ward.At("06:00"), CriteriaSettings.Default with { RequiredCoverage = 0.8m })
            .First();
        Assert.Equal((Answer.Met, 5m / 6), (lenient.Answer, lenient.Coverage));
        Assert.Equal(0.286m, Math.Round(lenient.Value!.Value, 3)); // 100 mL over the five hours that are covered, not over six
    }

    [Fact] // clinical reference 2.2: never apply adult rules when age is missing
    public void Without_a_date_of_birth_nothing_is_staged()
    {
        var ward = Weighing(70).UrineHourly("00:00", Same(0, 24));
        var results = UrineOutputCriteria.At(ward.Balance(Exact), OfUnknownAge, ward.At("+1 00:00"), CriteriaSettings.Default);
        Assert.NotEmpty(results);
        Assert.All(results, r => Assert.Equal((Answer.NotEvaluable, true), (r.Answer, r.Obstacles.Contains(Obstacle.AgeUnknown))));
        var volumes = UrineOutputCriteria.Volumes(ward.Balance(Exact), OfUnknownAge, ward.At("+1 00:00"), CriteriaSettings.Default);
        Assert.All(volumes, r => Assert.Equal(Answer.NotEvaluable, r.Answer));
    }

    [Fact] // pRIFLE (Ann Intensive Care 2016)
    public void A_child_is_judged_by_pRIFLE_over_8_16_and_24_hours()
    {
        var balance = Weighing(24).UrineHourly("00:00", Same(7, 24)).Balance(Exact); // 7 / 24 = 0.292
        Assert.Equal([Answer.Met, Answer.Met], Answers(balance, "prifle", 1, "08:00", Child));
        Assert.Equal([Answer.Met, Answer.Met], Answers(balance, "prifle", 2, "16:00", Child));
        Assert.Equal([Answer.Met, Answer.Met], Answers(balance, "prifle", 3, "+1 00:00", Child));
        Assert.Equal(Answer.NotEvaluable, Mean(balance, "prifle", 1, "07:00", Child).Answer);
        Assert.DoesNotContain(At(balance, "+1 00:00", Child), r => r.Name != "prifle");
    }

    [Fact] // neonatal KDIGO (BMC Nephrol 2020): 1.0, 0.5 and 0.3 inclusive, mean over 24 h
    public void A_neonate_is_judged_by_the_mean_of_a_day_alone()
    {
        // 3 kg: 72 mL a day are 1.0, 36 are 0.5, 21.6 are 0.3 mL/kg/h.
        foreach (var (day, stages) in new[] { (72.024m, 0), (72m, 1), (36.024m, 1), (36m, 2), (21.624m, 2), (21.6m, 3) })
        {
            var balance = Weighing(3).UrineHourly("00:00", Same(day / 24, 24)).Balance(Exact);
            var results = At(balance, "+1 00:00", Neonate);
            Assert.Equal([1, 2, 3], results.Select(r => r.Stage));
            Assert.All(results, r => Assert.Equal(("neonatal-kdigo", Reading.MeanOverWindow), (r.Name, r.Reading)));
            Assert.Equal(stages, results.Count(r => r.Answer == Answer.Met));
        }
    }

    [Theory]
    [InlineData("2026-02-14", AgeGroup.Neonate)] // 28 days old
    [InlineData("2026-02-13", AgeGroup.Child)] // 29 days old
    [InlineData("2008-03-15", AgeGroup.Child)] // 18 tomorrow
    [InlineData("2008-03-14", AgeGroup.Adult)] // 18 today
    [InlineData("2026-03-14", AgeGroup.Neonate)] // born today
    public void Ages_change_on_the_day(string born, AgeGroup group) =>
        Assert.Equal(group, Born(NodaTime.Text.LocalDatePattern.Iso.Parse(born).Value).GroupAt(Opens("12:00").At("12:00")));

    [Fact]
    public void A_birthday_is_a_day_of_the_facility()
    {
        var lastHourOfUtcsThirteenth = Instant.FromUtc(2026, 3, 13, 23, 30);
        Assert.Equal(AgeGroup.Child, new Patient(new(2008, 3, 14), DateTimeZone.Utc).GroupAt(lastHourOfUtcsThirteenth));
        Assert.Equal(
            AgeGroup.Adult,
            new Patient(new(2008, 3, 14), DateTimeZoneProviders.Tzdb["Europe/Vienna"]).GroupAt(lastHourOfUtcsThirteenth)
        );
    }

    [Fact]
    public void On_the_eighteenth_birthday_the_hours_of_the_evening_before_count_too()
    {
        var balance = Opens("20:00").Weighs("20:00", 60).UrineHourly("20:00", Same(20, 6)).Balance(Exact);
        Assert.Equal([Answer.Met, Answer.Met], Answers(balance, "kdigo", 1, "+1 02:00", Born(new(2008, 3, 15))));
    }

    [Fact] // check-value W25
    public void W25_a_six_year_old_of_220_kg_is_not_staged()
    {
        var balance = Weighing(220.5m).UrineHourly("00:00", Same(18.75m, 8)).Balance(Exact);
        var result = Mean(balance, "prifle", 1, "08:00", Born(new(2020, 1, 1)));
        Assert.Equal((Answer.NotEvaluable, Obstacle.WeightImplausible), Said(result));
        Assert.Equal(0.085m, Math.Round(result.Value!.Value, 3)); // shown, and not judged
        Assert.Equal("220.5 kg (actual) is outside 5 to 80 kg, plausible for a child of 6 years", result.Weight!.Doubt);
    }

    [Fact]
    public void A_weight_of_1_kg_after_80_is_doubted_and_the_next_good_one_is_not()
    {
        var ward = Weighing(80).Weighs("01:00", 1.0m).UrineHourly("00:00", Same(20, 6));
        Assert.Equal((Answer.NotEvaluable, Obstacle.WeightImplausible), Said(Mean(ward.Balance(Exact), "kdigo", 1, "06:00")));
        ward.Weighs("02:00", 80);
        Assert.Equal(Answer.Met, Mean(ward.Balance(Exact), "kdigo", 1, "06:00").Answer);
    }

    [Fact]
    public void A_weight_more_than_three_tenths_off_the_one_before_is_doubted()
    {
        var (atEdge, beyond) = (Weighing(100).Weighs("01:00", 70), Weighing(100).Weighs("01:00", 69.9m));
        Assert.Null(InForce(atEdge).Doubt);
        Assert.Equal("69.9 kg (actual) after 100 kg (actual): more than 30 % apart", InForce(beyond).Doubt);
    }

    [Fact]
    public void Kind_and_date_of_the_weight_travel_with_the_result()
    {
        var ward = Opens("00:00").Weighs("00:00", 70, WeightKind.Stated).UrineHourly("00:00", Same(20, 6));
        var weight = Mean(ward.Balance(), "kdigo", 1, "06:00").Weight!;
        Assert.Equal((new BodyWeight(70, WeightKind.Stated), ward.At("00:00")), (weight.Weight, weight.At));
        Assert.Equal("70 kg (stated)", weight.Weight.ToString());
    }

    [Fact] // default of the setting: our judgement, for KDIGO gives no number
    public void Anuria_is_50_mL_or_less_in_12_hours()
    {
        Assert.Equal(Answer.Met, Anuria(Weighing(70).UrineHourly("00:00", [.. Same(4, 11), 6]).Balance(Exact)).Answer); // 50
        Assert.Equal(Answer.NotMet, Anuria(Weighing(70).UrineHourly("00:00", [.. Same(4, 11), 6.1m]).Balance(Exact)).Answer);
        Assert.Equal(Answer.Met, Anuria(Weighing(70).UrineHourly("00:00", Same(0, 12)).Balance(Exact)).Answer); // zeros are readings
    }

    [Fact] // the meter's own errors, not exact ones: an empty meter is a measured nothing
    public void An_empty_meter_for_12_hours_is_anuria()
    {
        Assert.Equal(Answer.Met, Anuria(Weighing(70).UrineHourly("00:00", Same(0, 12)).Balance()).Answer);
        Assert.Equal(Answer.Indeterminate, Anuria(Weighing(70).UrineHourly("00:00", Same(4, 12)).Balance()).Answer);
        Assert.Equal((Answer.NotEvaluable, Obstacle.TooUncertain), Said(Anuria(Weighing(70).UrineHourly("00:00", Same(9, 12)).Balance())));
        // 234 ± 59: wide, and yet plainly more
        Assert.Equal(Answer.NotMet, Anuria(Weighing(70).UrineHourly("00:00", Same(20, 12)).Balance()).Answer);
    }

    [Theory]
    [InlineData(5, 4, Answer.NotMet)] // 48 mL in 12 h are 0.8 mL/kg/h: an infant who makes enough
    [InlineData(5, 0.25, Answer.Met)] // 3 mL; 0.7 mL/kg are 3.5
    [InlineData(60, 3.5, Answer.Met)] // 42 mL; as an adult of that weight
    [InlineData(60, 3.6, Answer.NotMet)] // 43.2 mL
    [InlineData(85, 4, Answer.Met)] // 48 mL; never more than an adult's 50 mL
    [InlineData(85, 4.3, Answer.NotMet)]
    public void What_is_next_to_nothing_for_an_adult_may_be_enough_for_a_child(decimal kilograms, decimal hourly, Answer expected)
    {
        var balance = Weighing(kilograms).UrineHourly("00:00", Same(hourly, 12)).Balance(Exact);
        var born = kilograms < 10 ? Born(new(2026, 1, 1)) : Child;
        var result = At(balance, "12:00", born).Single(r => r is { Stage: 3, Unit: "mL" });
        Assert.Equal((expected, Math.Min(50, 0.7m * kilograms)), (result.Answer, result.Threshold));
        Assert.Equal(kilograms, result.Weight!.Weight.Kilograms);
    }

    [Fact]
    public void Nobody_can_tell_what_is_next_to_nothing_for_a_child_of_unknown_weight()
    {
        var balance = Opens("00:00").UrineHourly("00:00", Same(4, 12)).Balance(Exact);
        var result = At(balance, "12:00", Child).Single(r => r is { Stage: 3, Unit: "mL" });
        Assert.Equal((Answer.NotEvaluable, Obstacle.WeightUnknown), Said(result));
    }

    [Fact]
    public void Irrigation_errors_that_cancel_to_0_mL_are_not_anuria()
    {
        var ward = Weighing(70).BagHung("00:00", 3000).BagTakenDown("12:00", 0).Emptied("06:00", 1500).Emptied("12:00", 1500);
        var half = ward.Balance().Over(WindowKind.Trailing, new(ward.At("00:00"), ward.At("12:00")));
        Assert.Equal(Ml(0), half.Output!.Headline); // 3000 − 3000
        Assert.Equal((Answer.NotEvaluable, Obstacle.TooUncertain), Said(Anuria(ward.Balance())));
    }

    [Fact]
    public void A_bag_whose_drainage_was_never_charted_never_reads_as_stage_3()
    {
        var ward = Weighing(70).UrineHourly("00:00", Same(60, 6)).Instilled("07:00", 3000).Urine("07:00", 60);
        ward.UrineHourly("07:00", Same(60, 40));
        var balance = ward.Balance();
        for (var hour = 7; hour <= 30; hour++)
        {
            var at = ward.At("00:00") + Duration.FromHours(hour);
            var results = UrineOutputCriteria.At(balance, Adult, at, CriteriaSettings.Default);
            Assert.DoesNotContain(results, r => r.Answer == Answer.Met);
            Assert.All(
                results.Where(r =>
                    r.Reading == Reading.MeanOverWindow && r.Window.Contains(ward.At("06:30")) && r.Window.Start >= ward.At("00:00")
                ),
                r => Assert.Contains(Obstacle.DoubtsUnknown, r.Obstacles)
            );
        }

        // A day after it the bag is out of the window, and the kidneys have been well all along.
        Assert.Equal(Answer.NotMet, Mean(balance, "kdigo", 3, "+1 07:00").Answer);
    }

    [Theory] // Klahr and Miller, NEJM 1998: under 400 mL a day
    [InlineData(400, Answer.NotMet)]
    [InlineData(399.9, Answer.Met)]
    public void Oliguria_is_less_than_400_mL_in_24_hours(decimal day, Answer answer) =>
        Assert.Equal(answer, Of("oliguria", Same(day / 24, 24)).Answer);

    [Theory] // Merck Manual Professional, 2024: over 3 L a day
    [InlineData(3000, Answer.NotMet)]
    [InlineData(3000.1, Answer.Met)]
    public void Polyuria_is_more_than_3_L_in_24_hours(decimal day, Answer answer) =>
        Assert.Equal(answer, Of("polyuria", Same(day / 24, 24)).Answer);

    [Theory] // nursing texts: under 30 mL/h for two hours
    [InlineData(29.9, 29.9, Answer.Met)]
    [InlineData(29.9, 30, Answer.NotMet)]
    [InlineData(30, 29.9, Answer.NotMet)]
    public void Low_hourly_output_is_less_than_30_mL_in_each_of_two_hours(decimal one, decimal other, Answer answer) =>
        Assert.Equal(answer, Of("low-hourly-output", [.. Same(50, 22), one, other]).Answer);

    // KDIGO 2012 as reprinted in CJASN (PMC4943672, table 1); pRIFLE: Ann Intensive Care 2016; neonates: BMC Nephrol 2020. Rate strict,
    // duration inclusive
    [Fact]
    public void The_criteria_are_those_of_the_papers()
    {
        Assert.Equal(
            [
                "kdigo 1: < 0.5 mL/kg/h, 6 h, adult",
                "kdigo 2: < 0.5 mL/kg/h, 12 h, adult",
                "kdigo 3: < 0.3 mL/kg/h, 24 h, adult",
                "kdigo 3: anuria, 12 h, adult",
                "prifle 1: < 0.5 mL/kg/h, 8 h, child",
                "prifle 2: < 0.5 mL/kg/h, 16 h, child",
                "prifle 3: < 0.3 mL/kg/h, 24 h, child",
                "prifle 3: anuria, 12 h, child",
                "neonatal-kdigo 1: <= 1.0 mL/kg/h, 24 h, neonate",
                "neonatal-kdigo 2: <= 0.5 mL/kg/h, 24 h, neonate",
                "neonatal-kdigo 3: <= 0.3 mL/kg/h, 24 h, neonate",
            ],
            UrineOutputCriteria.All.Select(c =>
                FormattableString.Invariant($"{c.Name} {c.Stage}: {Threshold(c)}, {c.Window.TotalHours} h, {Slug.Of(c.Group)}")
            )
        );
        Assert.All(UrineOutputCriteria.All, c => Assert.Contains(c.Source[..4], new[] { "KDIG", "Ann ", "BMC " }));

        static string Threshold(RateCriterion c) =>
            c.Threshold is { } rate ? FormattableString.Invariant($"{(c.Inclusive ? "<=" : "<")} {rate} mL/kg/h") : "anuria";
    }

    [Theory] // the least and the most that an adult is taken to weigh, both included
    [InlineData(20, null)]
    [InlineData(400, null)]
    [InlineData(19.9, "19.9 kg (actual) is outside 20 to 400 kg, plausible for an adult of 75 years")]
    [InlineData(400.1, "400.1 kg (actual) is outside 20 to 400 kg, plausible for an adult of 75 years")]
    public void A_weight_is_doubted_outside_its_range_and_not_at_its_ends(decimal kilograms, string? doubt) =>
        Assert.Equal(doubt, InForce(Weighing(kilograms)).Doubt);

    [Fact]
    public void A_weight_at_the_end_of_its_range_is_one_to_compare_with()
    {
        Assert.NotNull(InForce(Weighing(400).Weighs("01:00", 200)).Doubt);
        Assert.NotNull(InForce(Weighing(20).Weighs("01:00", 70)).Doubt);
    }

    [Fact]
    public void Coverage_by_the_hour_is_the_mean_of_the_hours()
    {
        var result = EveryHour(Weighing(70).UrineHourly("00:00", Same(20, 3)).Balance(Exact), "kdigo", 1, "06:00");
        Assert.Equal((0.5m, Obstacle.NotCovered), (result.Coverage, Assert.Single(result.Obstacles)));
        Assert.Empty(
            EveryHour(Weighing(70).UrineHourly("00:00", [.. Same(50, 1), .. Same(20, 4)]).Balance(Exact), "kdigo", 1, "06:00").Obstacles
        ); // an hour that is not below decides
    }

    [Fact]
    public void Obstacles_are_named_in_their_order()
    {
        var ward = Opens("00:00").Instilled("06:00", 3000).Urine("06:00", 20);
        var rule = UrineOutputCriteria.All.Single(c => (c.Name, c.Stage) == ("kdigo", 1));
        var named = UrineOutputCriteria
            .Evaluate(rule, ward.Balance(), OfUnknownAge, ward.At("07:00"), CriteriaSettings.Default)
            .First()
            .Obstacles;
        Assert.Equal([Obstacle.AgeUnknown, Obstacle.WeightUnknown, Obstacle.NotCovered, Obstacle.DoubtsUnknown], named.ToArray());
    }

    [Fact]
    public void Nothing_covered_says_0_and_has_no_value()
    {
        var mean = Mean(Weighing(70).Balance(), "kdigo", 1, "06:00");
        Assert.Equal((0m, null, Answer.NotEvaluable), (mean.Coverage, mean.Value, mean.Answer));
    }

    [Fact] // one short interval among them is enough to keep the long one out
    public void A_gap_that_ends_within_the_hour_is_a_gap()
    {
        var balance = Weighing(70).Urine("06:30", 140).Urine("07:00", 10).Balance(Exact);
        var ward = Opens("00:00");
        Assert.Contains(
            Obstacle.Gap,
            UrineOutputCriteria
                .Volumes(balance, Adult, ward.At("07:00"), CriteriaSettings.Default)
                .Single(r => r.Name == "low-hourly-output")
                .Obstacles
        );
    }

    [Fact]
    public void Moments_are_the_clock_hours_and_the_closings()
    {
        var ward = Opens("07:50").Urine("08:20", 30).Urine("10:00", 50);
        Assert.Equal(
            new[] { "09:00", "10:00" }.Select(ward.At),
            UrineOutputCriteria.Moments(ward.Balance(), ward.At("08:20"), ward.At("10:00"))
        );
        Assert.Equal(new[] { "09:00" }.Select(ward.At), UrineOutputCriteria.Moments(ward.Balance(), ward.At("08:30"), ward.At("09:59")));
        var moments = UrineOutputCriteria.Moments(ward.Balance(), ward.At("07:50"), ward.At("10:00"));
        Assert.Equal(new[] { "08:00", "08:20", "09:00", "10:00" }.Select(ward.At), moments);
    }

    [Fact]
    public void A_moment_at_which_an_episode_is_asked_up_to_is_one_and_the_one_before_is_not()
    {
        var ward = Opens("08:00").Urine("09:00", 30);
        Assert.Equal([ward.At("10:00")], UrineOutputCriteria.Moments(ward.Balance(), ward.At("09:00"), ward.At("10:00")));
    }

    [Fact]
    public void Every_result_tells_its_slug_and_how_it_compares()
    {
        var ward = Weighing(70).UrineHourly("00:00", Same(50, 24));
        var results = At(ward.Balance(Exact), "+1 00:00", Adult)
            .Concat(UrineOutputCriteria.Volumes(ward.Balance(Exact), Adult, ward.At("+1 00:00"), CriteriaSettings.Default));
        Assert.Equal(
            [
                "kdigo-1 < 0.5 mL/kg/h",
                "kdigo-2 < 0.5 mL/kg/h",
                "kdigo-3 < 0.3 mL/kg/h",
                "kdigo-3-anuria <= 50 mL",
                "low-hourly-output < 30 mL",
                "oliguria < 400 mL",
                "polyuria > 3000 mL",
            ],
            results
                .Select(r => FormattableString.Invariant($"{r.Slug} {r.Comparison} {r.Threshold:0.#} {r.Unit}"))
                .Distinct()
                .Order(StringComparer.Ordinal)
        );
        Assert.Equal(
            "neonatal-kdigo-1 <=",
            At(Weighing(3).UrineHourly("00:00", Same(3, 24)).Balance(Exact), "+1 00:00", Neonate)
                .Select(r => $"{r.Slug} {r.Comparison}")
                .First()
        );
    }

    [Fact]
    public void A_criterion_by_the_hour_names_each_obstacle_once_and_in_order()
    {
        var ward = Opens("00:00").UrineHourly("00:00", Same(20, 3));
        Assert.Equal(
            [Obstacle.WeightUnknown, Obstacle.NotCovered],
            EveryHour(ward.Balance(Exact), "kdigo", 1, "06:00").Obstacles.ToArray()
        );
    }

    [Fact] // whom a change of a weight can touch: until a plausible one has been followed by another
    public void A_weight_reaches_as_far_as_the_one_after_the_next_plausible_one()
    {
        var ward = Opens("00:00").Weighs("01:00", 70).Weighs("02:00", 700).Weighs("03:00", 20).Weighs("04:00", 71).Weighs("05:00", 72);
        Instant? EndOfReach(string at, Ward on) => WeightInForce.EndOfReach(on.Balance().Log, on.At(at), Adult, CriteriaSettings.Default);
        Assert.Equal(ward.At("02:00"), EndOfReach("00:30", ward)); // 70 at 01:00 is plausible; whatever follows is compared with it
        Assert.Equal(ward.At("04:00"), EndOfReach("01:00", ward)); // 700 takes over nothing, 20 is just plausible
        Assert.Equal(ward.At("05:00"), EndOfReach("03:00", ward));
        Assert.Null(EndOfReach("04:00", ward)); // nothing follows 72
        Assert.Null(EndOfReach("05:00", ward));
        Assert.Equal(ward.At("03:00"), EndOfReach("01:00", Opens("00:00").Weighs("01:00", 70).Weighs("02:00", 400).Weighs("03:00", 71)));
        Assert.Null(EndOfReach("01:00", Opens("00:00").Weighs("01:00", 70).Weighs("02:00", 19.9m).Weighs("03:00", 400.1m)));
    }

    [Fact]
    public void Answers_combine_by_the_one_that_decides()
    {
        Assert.Equal(Answer.NotMet, Decision.All([Answer.Met, Answer.NotEvaluable, Answer.NotMet]));
        Assert.Equal(Answer.NotEvaluable, Decision.All([Answer.Met, Answer.NotEvaluable, Answer.Indeterminate]));
        Assert.Equal(Answer.Indeterminate, Decision.All([Answer.Met, Answer.Indeterminate]));
        Assert.Equal(Answer.Met, Decision.All([Answer.Met, Answer.Met]));
        Assert.Equal(Answer.Met, Decision.Any([Answer.NotEvaluable, Answer.Met, Answer.NotMet]));
        Assert.Equal(Answer.Indeterminate, Decision.Any([Answer.NotEvaluable, Answer.Indeterminate, Answer.NotMet]));
        Assert.Equal(Answer.NotEvaluable, Decision.Any([Answer.NotEvaluable, Answer.NotMet]));
        Assert.Equal(Answer.NotMet, Decision.Any([Answer.NotMet, Answer.NotMet]));
    }

    [Theory]
    [InlineData(1, 2, 3, false, Answer.Met)]
    [InlineData(1, 3, 3, false, Answer.Indeterminate)] // the upper end is on the threshold: not below it
    [InlineData(1, 3, 3, true, Answer.Met)]
    [InlineData(3, 4, 3, false, Answer.NotMet)]
    [InlineData(3, 4, 3, true, Answer.Indeterminate)]
    [InlineData(2, 4, 3, false, Answer.Indeterminate)]
    [InlineData(4, 5, 3, true, Answer.NotMet)]
    public void An_interval_decides_only_when_all_of_it_is_on_one_side(
        decimal low,
        decimal high,
        decimal threshold,
        bool inclusive,
        Answer below
    ) => Assert.Equal(below, Decision.Below(low, high, threshold, inclusive));

    [Fact]
    public void A_patient_weighed_anew_is_judged_by_the_new_weight_hour_by_hour()
    {
        var ward = Weighing(80).UrineHourly("00:00", 38, 38, 38, 38, 38, 34).Weighs("05:30", 70);
        // Over 70 kg the first five hours are 0.54; over 80 kg they would be 0.48, and the last over 70 kg 0.49.
        Assert.Equal([Answer.NotMet, Answer.NotMet], Answers(ward.Balance(Exact), "kdigo", 1, "06:00"));
    }

    [Fact] // clinical reference 2.1: with the same windows, every hour met implies mean met
    public void What_holds_by_the_hour_holds_for_the_mean()
    {
        var held = 0;
        Gen.Select(Gen.Int[10, 110].Array[4, 24], Gen.Int[0, 38].Array[24], Gen.Int[60, 80].Array[1, 4], Gen.Int[0, 1])
            .Sample(
                (gaps, amounts, weights, exact) =>
                {
                    var ward = Opens("00:00");
                    foreach (var (i, weight) in weights.Index())
                        ward.Chart(
                            new WeightMeasured(
                                ward.Header("00:00") with
                                {
                                    At = ward.At("00:00") + Duration.FromHours(3 * i),
                                },
                                new(weight, WeightKind.Actual)
                            )
                        );
                    var at = ward.At("00:00");
                    foreach (var (i, gap) in gaps.Index())
                    {
                        at += Duration.FromMinutes(gap);
                        ward.Chart(
                            new UrineCollected(
                                ward.Header("00:00") with
                                {
                                    At = at,
                                },
                                UrineRoute.UrethralCatheter,
                                Ml(amounts[i] * gap / 60m)
                            )
                        );
                    }

                    var balance = ward.Balance(exact == 1 ? Exact : null);
                    foreach (var moment in UrineOutputCriteria.Moments(balance, ward.At("00:00"), at).TakeLast(4))
                    {
                        var results = UrineOutputCriteria.At(balance, Adult, moment, CriteriaSettings.Default);
                        foreach (var hourly in results.Where(r => r is { Reading: Reading.EveryHour, Answer: Answer.Met }))
                        {
                            Assert.Equal(
                                Answer.Met,
                                results
                                    .Single(r => r.Reading == Reading.MeanOverWindow && r.Stage == hourly.Stage && r.Unit == "mL/kg/h")
                                    .Answer
                            );
                            Interlocked.Increment(ref held);
                        }
                    }
                },
                iter: Ward.Times(200)
            );
        Assert.True(held > 50, $"only {held} cases met by the hour: the nights drawn prove little");
    }

    private static Patient Born(LocalDate day) => new(day, DateTimeZone.Utc);

    private static Ward Weighing(decimal kilograms) => Opens("00:00").Weighs("00:00", kilograms);

    private static Ward WorkedExample(decimal kilograms) =>
        Weighing(kilograms).BagHung("00:00", 3000).Emptied("03:00", 2000).BagTakenDown("06:00", 0).Emptied("06:00", 1450);

    private static decimal[] Same(decimal ml, int hours) => [.. Enumerable.Repeat(ml, hours)];

    private static WeightInForce InForce(Ward ward) =>
        WeightInForce.Of(ward.Balance().Log, ward.At("06:00"), Adult, CriteriaSettings.Default)!;

    private static (Answer, Obstacle) Said(CriterionResult result) => (result.Answer, Assert.Single(result.Obstacles));

    private static CriterionResult[] At(FluidBalance balance, string clock, Patient patient) =>
        [.. UrineOutputCriteria.At(balance, patient, Opens("00:00").At(clock), CriteriaSettings.Default)];

    private static Answer[] Answers(FluidBalance balance, string name, int stage, string clock, Patient? patient = null) =>
        [Mean(balance, name, stage, clock, patient).Answer, EveryHour(balance, name, stage, clock, patient).Answer];

    private static CriterionResult Mean(FluidBalance balance, string name, int stage, string clock, Patient? patient = null) =>
        Single(balance, name, stage, clock, patient, Reading.MeanOverWindow);

    private static CriterionResult EveryHour(FluidBalance balance, string name, int stage, string clock, Patient? patient = null) =>
        Single(balance, name, stage, clock, patient, Reading.EveryHour);

    private static CriterionResult Single(FluidBalance balance, string name, int stage, string clock, Patient? patient, Reading reading) =>
        At(balance, clock, patient ?? Adult).Single(r => (r.Name, r.Stage, r.Reading, r.Unit) == (name, stage, reading, "mL/kg/h"));

    private static CriterionResult Anuria(FluidBalance balance) => At(balance, "12:00", Adult).Single(r => r is { Stage: 3, Unit: "mL" });

    private static CriterionResult Of(string name, decimal[] day)
    {
        var ward = Weighing(70).UrineHourly("00:00", day);
        return UrineOutputCriteria
            .Volumes(ward.Balance(Exact), Adult, ward.At("+1 00:00"), CriteriaSettings.Default)
            .Single(r => r.Name == name);
    }
}
