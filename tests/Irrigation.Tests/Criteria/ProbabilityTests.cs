using CsCheck;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Criteria;

/// <summary>The probability beside each of the four answers, and what is answered while a bag still hangs.</summary>
public class ProbabilityTests
{
    private static readonly Patient Adult = new(new(1950, 5, 1), DateTimeZone.Utc);

    [Fact]
    public void An_open_bag_is_a_doubt_and_no_obstacle()
    {
        // 60 mL/h for 6 h is 360 in, 480 out: 120 mL of urine, by 70 kg 0.286 mL/kg/h.
        var ward = Weighing(70).BagHung("00:00", 3000).Flow("00:00", 60).Emptied("06:00", 480);
        var open = Mean(ward, 1, "06:00", Exact);
        Assert.Equal((Answer.Met, true, 1.0), (open.Answer, open.Provisional, open.Probability));
        Assert.Equal(0.286m, Math.Round(open.Value!.Value, 3));
        Assert.Empty(open.Obstacles);

        // The bag is read: 2640 of 3000 are left, so 360 did run in, and the same answer is no longer provisional.
        var read = Mean(ward.BagRead("06:00", 2640), 1, "06:00", Exact);
        Assert.Equal((Answer.Met, false, 0.286m), (read.Answer, read.Provisional, Math.Round(read.Value!.Value, 3)));
    }

    [Fact]
    public void Without_a_flow_an_open_bag_leaves_nothing_to_decide_by()
    {
        var open = Mean(Weighing(70).BagHung("00:00", 3000).Emptied("06:00", 480), 1, "06:00", Exact);
        Assert.Equal((Answer.NotEvaluable, null, true), (open.Answer, open.Probability, open.Provisional));
        Assert.Equal([Obstacle.NotCovered, Obstacle.StillOpen], open.Obstacles.ToArray());
    }

    [Fact]
    public void Every_hour_is_provisional_as_soon_as_one_of_them_is()
    {
        // The last hour: 80 − 60.
        var ward = Weighing(70).UrineHourly("00:00", 20, 20, 20, 20, 20).BagHung("05:00", 3000).Flow("05:00", 60).Emptied("06:00", 80);
        Assert.Equal((Answer.Met, true), Said(EveryHour(ward, 1, "06:00", Exact)));
        Assert.Equal((Answer.Met, false), Said(EveryHour(Weighing(70).UrineHourly("00:00", 20, 20, 20, 20, 20, 20), 1, "06:00", Exact)));
    }

    [Fact]
    public void A_window_that_is_not_all_covered_yet_is_provisional()
    {
        var ward = Weighing(70).UrineHourly("00:00", 20, 20, 20, 20, 20);
        var five = CriteriaSettings.Default with { RequiredCoverage = 0.8m };
        var mean = UrineOutputCriteria.Evaluate(Stage1, ward.Balance(Exact), Adult, ward.At("06:00"), five).First();
        Assert.Equal((Answer.Met, true), Said(mean));
    }

    [Fact] // clinical reference 3.3: 367.5 mL with u = 115.8 in 6 h of 80 kg, threshold 0.5 · 80 · 6 = 240 mL
    public void Where_the_interval_covers_the_threshold_the_probability_still_says_something()
    {
        var ward = Weighing(80).BagHung("00:00", 3000).Emptied("03:00", 2000).BagTakenDown("06:00", 0).Emptied("06:00", 1450);
        var mean = Mean(ward, 1, "06:00");

        // (Φ((240 − 367.5) / 115.8) − Φ(−367.5 / 115.8)) / Φ(367.5 / 115.8) = (0.1355 − 0.0008) / 0.9992
        Assert.Equal((Answer.Indeterminate, 0.135), (mean.Answer, Math.Round(mean.Probability!.Value, 3)));
    }

    [Fact] // clinical reference 3.4
    public void Too_uncertain_to_answer_is_not_too_uncertain_for_a_probability()
    {
        // 6000 in, 6210 out: 6210 − 6000 · 1.0375 + 2 · 30 = 45 mL of 210: more likely below than above, and far from certain.
        var ward = Weighing(70)
            .BagHung("00:00", 3000)
            .BagTakenDown("03:00", 0)
            .Emptied("03:00", 3105)
            .BagHung("03:00", 3000)
            .BagTakenDown("06:00", 0)
            .Emptied("06:00", 3105);
        var mean = Mean(ward, 1, "06:00");
        Assert.Equal((Answer.NotEvaluable, Obstacle.TooUncertain), (mean.Answer, Assert.Single(mean.Obstacles)));
        Assert.InRange(mean.Probability!.Value, 0.60, 0.75);
    }

    [Theory]
    [InlineData(4.5, "kdigo-3-anuria", 0)] // 54 mL in 12 h
    [InlineData(4.1666, "kdigo-3-anuria", 1)] // 50 mL: up to, and exactly
    [InlineData(17, "oliguria", 0)] // 408 mL in 24 h
    [InlineData(16, "oliguria", 1)] // 384 mL
    [InlineData(125, "polyuria", 0)] // 3000 mL: over, and not exactly
    [InlineData(126, "polyuria", 1)]
    [InlineData(30, "low-hourly-output", 0)]
    [InlineData(29, "low-hourly-output", 1)]
    public void Without_doubt_it_is_0_or_1_on_the_side_of_each_criterion(decimal hourly, string slug, double probability)
    {
        var ward = Weighing(70).UrineHourly("00:00", [.. Enumerable.Repeat(hourly, 24)]);
        Assert.Equal(probability, Single(ward.Balance(Exact), ward.At("+1 00:00"), slug).Probability);
    }

    [Fact]
    public void By_every_hour_it_is_the_least_of_the_hours()
    {
        // A meter: 34 mL are 34 · 0.9756 = 33.17 with u = 14.7 / √3 = 8.49; below 35 with Φ(0.2155) = 0.585. Those of 20:
        // Φ(1.82) = 0.97.
        var result = EveryHour(Weighing(70).UrineHourly("00:00", 20, 20, 34, 20, 20, 20), 1, "06:00");
        Assert.Equal(0.585, Math.Round(result.Probability!.Value, 3));

        // Six of 36: 35.12, Φ(−0.0145) = 0.494 each; that the mean is below, 210.7 of 210 with u = 20.8, is no more than 0.486.
        var six = Weighing(70).UrineHourly("00:00", 36, 36, 36, 36, 36, 36);
        Assert.Equal(0.486, Math.Round(EveryHour(six, 1, "06:00").Probability!.Value, 3));
        Assert.Equal(Mean(six, 1, "06:00").Probability, EveryHour(six, 1, "06:00").Probability);
    }

    [Fact]
    public void An_hour_that_nobody_knows_leaves_none_unless_another_hour_decides()
    {
        var unknown = EveryHour(Weighing(70).UrineHourly("00:00", 20, 20, 20, 20, 20), 1, "06:00", Exact);
        Assert.Equal((Answer.NotEvaluable, null), (unknown.Answer, unknown.Probability));
        var decided = EveryHour(Weighing(70).UrineHourly("00:00", 20, 50, 20, 20, 20), 1, "06:00", Exact);
        Assert.Equal((Answer.NotMet, 0), (decided.Answer, decided.Probability));
    }

    [Theory]
    [InlineData("1950-05-01", null, Obstacle.WeightUnknown)]
    [InlineData("1950-05-01", 700, Obstacle.WeightImplausible)]
    [InlineData("2018-05-01", 25, Obstacle.AgeDoesNotFit)]
    [InlineData(null, 70, Obstacle.AgeUnknown)]
    public void Without_an_age_and_a_weight_there_is_no_threshold_and_no_probability(string? born, int? kilograms, Obstacle obstacle)
    {
        var ward = Opens("00:00").UrineHourly("00:00", 20, 20, 20, 20, 20, 20);
        if (kilograms is { } weight)
            ward.Weighs("00:00", weight);
        var patient = new Patient(born is null ? null : NodaTime.Text.LocalDatePattern.Iso.Parse(born).Value, DateTimeZone.Utc);
        Assert.All(
            UrineOutputCriteria.Evaluate(Stage1, ward.Balance(Exact), patient, ward.At("06:00"), CriteriaSettings.Default),
            result => Assert.Equal((obstacle, null), (Assert.Single(result.Obstacles), result.Probability))
        );
    }

    [Fact]
    public void A_window_that_lies_below_zero_is_missing_something_and_meets_nothing()
    {
        // 1200 in and 1088 out in 12 h: −112 mL, −0.133 mL/kg/h. Measured exactly, a term is missing: a leak, or what the bladder
        // holds.
        var ward = Weighing(70).PumpTotal("00:00", 0).Level("00:00", 0).PumpTotal("12:00", 1200).Level("12:00", 1088);
        var half = Duration.FromHours(12);
        Assert.All(
            At(ward.Balance(Exact), ward.At("12:00")).Where(r => r.Window.Duration <= half),
            result =>
            {
                Assert.Equal((Answer.NotEvaluable, null), (result.Answer, result.Probability));
                Assert.Contains(Obstacle.BelowZero, result.Obstacles);
            }
        );

        // 1180 out: the doubts of pump and marks reach above −20 mL, so that it may well be true, and then there was little.
        var nearly = Weighing(70).PumpTotal("00:00", 0).Level("00:00", 0).PumpTotal("12:00", 1200).Level("12:00", 1180);
        var stage2 = Mean(nearly, 2, "12:00");
        Assert.Equal((Answer.Met, -0.024m), (stage2.Answer, Math.Round(stage2.Value!.Value, 3)));
        Assert.True(stage2.Probability > 0.999);
    }

    [Fact]
    public void A_window_that_lies_on_zero_is_a_measured_nothing()
    {
        var ward = Weighing(70).PumpTotal("00:00", 0).PumpTotal("06:00", 600).Emptied("06:00", 600);
        Assert.Equal((Answer.Met, false), Said(Mean(ward, 1, "06:00", Exact)));
    }

    [Fact]
    public void A_doubted_reading_answers_nothing_until_somebody_confirms_it()
    {
        var ward = Weighing(70).UrineHourly("00:00", 20, 20, 20, 20, 20, 20);
        var window = ward.Window("00:00", "06:00", Exact);
        var asked = new CriterionQuestion("kdigo", 1, Reading.MeanOverWindow, 0.5m, "<", "mL/kg/h");
        var doubted = WindowDecision.Of(asked, window with { Caveats = [Caveat.Doubted] }, 70 * 6, [], 1, null);
        Assert.Equal((Answer.NotEvaluable, null), (doubted.Answer, doubted.Probability));
        Assert.Equal([Obstacle.Doubted], doubted.Obstacles.ToArray());
        var confirmed = WindowDecision.Of(asked, window, 70 * 6, [], 1, null);
        Assert.Equal((Answer.Met, 1), (confirmed.Answer, confirmed.Probability));
    }

    [Theory] // a nephrostomy was read at 05:00 and not since: what it holds can only be more
    [InlineData(20, Answer.NotEvaluable)] // 6 · 20 + 5 · 5 = 145 mL and more: 0.345 mL/kg/h, and nobody knows how much more
    [InlineData(40, Answer.NotMet)] // 6 · 40 + 5 · 5 = 265 mL are 0.63 whatever else there is
    public void Another_route_that_was_not_read_yet_can_only_add(decimal hourly, Answer answer)
    {
        var ward = Weighing(70).UrineHourly("00:00", [.. Enumerable.Repeat(hourly, 6)]);
        for (var hour = 1; hour <= 5; hour++)
            ward.Urine($"0{hour}:00", 5, UrineRoute.LeftNephrostomy);
        var mean = Mean(ward, 1, "06:00", Exact);
        Assert.Equal((answer, true), Said(mean));
        Assert.Equal(answer == Answer.NotEvaluable ? [Obstacle.StillOpen] : [], mean.Obstacles.ToArray());
        Assert.Equal(answer == Answer.NotEvaluable ? null : 0, mean.Probability);
    }

    [Theory]
    [InlineData(100, Answer.NotEvaluable)] // 2400 mL and more
    [InlineData(130, Answer.Met)] // 3120 mL and more
    public void Nor_can_it_make_much_less(decimal hourly, Answer answer)
    {
        var ward = Weighing(70).UrineHourly("00:00", [.. Enumerable.Repeat(hourly, 24)]).Urine("23:00", 5, UrineRoute.LeftNephrostomy);
        Assert.Equal((answer, true), Said(Single(ward.Balance(Exact), ward.At("+1 00:00"), "polyuria")));
    }

    [Fact]
    public void What_is_answered_and_how_probable_it_is_agree()
    {
        var seen = new int[4];
        var nights = Gen.Select(Gen.Int[20, 110].Array[4, 14], Gen.Int[-20, 80].Array[14], Gen.Int[0, 400], Gen.Bool);
        nights.Sample(
            (gaps, urine, flow, read) =>
            {
                var ward = Opens("00:00").Weighs("00:00", 70).BagHung("00:00", 20000).Flow("00:00", flow);
                var at = ward.At("00:00");
                foreach (var (i, gap) in gaps.Index())
                {
                    at += Duration.FromMinutes(gap);
                    var drained = Mass.FromGrams(Math.Max(0, (flow + urine[i]) * gap / 60));
                    var header = ward.Header("00:00", MeasuringWay.Weighed) with { At = at };
                    ward.Chart(new DrainageWeighed(header, "1", drained, null, null, true));
                }

                if (read)
                    ward.Chart(new BagRead(ward.Header("00:00") with { At = at }, "1", Ml(20000 - (flow * gaps.Sum() / 60))));
                var results = At(ward.Balance(), at).ToList();
                foreach (var result in results)
                {
                    Interlocked.Increment(ref seen[(int)result.Answer]);
                    if (result.Probability is not { } probability)
                    {
                        Assert.Equal(Answer.NotEvaluable, result.Answer);
                        continue;
                    }

                    Assert.InRange(probability, 0, 1);
                    if (result.Answer == Answer.Met)
                        Assert.True(probability >= 0.95, $"met, {probability}");
                    if (result.Answer == Answer.NotMet)
                        Assert.True(probability <= 0.025, $"not met, {probability}");
                    if (result.Answer == Answer.NotEvaluable)
                        Assert.Equal(Obstacle.TooUncertain, Assert.Single(result.Obstacles));
                }

                foreach (var stage in results.Where(r => r is { Stage: > 0, Unit: "mL/kg/h" }).GroupBy(r => r.Stage))
                {
                    double? By(Reading reading) => stage.Single(r => r.Reading == reading).Probability;
                    Assert.False(By(Reading.EveryHour) > By(Reading.MeanOverWindow), "what is met by every hour is met by the mean");
                }
            },
            iter: Ward.Times(200)
        );
        Assert.All(seen, times => Assert.True(times >= Ward.Times(200) / 10, $"{string.Join(", ", seen)}: the nights drawn prove little"));
    }

    private static RateCriterion Stage1 => UrineOutputCriteria.All.Single(c => (c.Name, c.Stage) == ("kdigo", 1));

    private static Ward Weighing(decimal kilograms) => Opens("00:00").Weighs("00:00", kilograms);

    private static (Answer, bool Provisional) Said(CriterionResult result) => (result.Answer, result.Provisional);

    private static IEnumerable<CriterionResult> At(FluidBalance balance, Instant at) =>
        [
            .. UrineOutputCriteria.At(balance, Adult, at, CriteriaSettings.Default),
            .. UrineOutputCriteria.Volumes(balance, Adult, at, CriteriaSettings.Default),
        ];

    private static CriterionResult Single(FluidBalance balance, Instant at, string slug) => At(balance, at).Single(r => r.Slug == slug);

    private static CriterionResult Mean(Ward ward, int stage, string clock, MeasuringCharacters? measures = null) =>
        Of(ward, stage, clock, measures, Reading.MeanOverWindow);

    private static CriterionResult EveryHour(Ward ward, int stage, string clock, MeasuringCharacters? measures = null) =>
        Of(ward, stage, clock, measures, Reading.EveryHour);

    private static CriterionResult Of(Ward ward, int stage, string clock, MeasuringCharacters? measures, Reading reading) =>
        At(ward.Balance(measures), ward.At(clock)).Single(r => (r.Stage, r.Reading, r.Unit) == (stage, reading, "mL/kg/h"));
}
