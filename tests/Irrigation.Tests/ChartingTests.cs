using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// How wards really chart: each pattern of an openly published intake and output record, told again with invented numbers.
/// </summary>
/// <remarks>
/// What patterns there are was seen in the MIMIC-IV Clinical Database Demo 2.2 (PhysioNet, doi 10.13026/dp1f-ex47); the last four
/// are slips that the data set does not have and senders make.
/// </remarks>
public class ChartingTests
{
    private static readonly Patient Adult = new(new(1950, 5, 1), DateTimeZone.Utc);

    [Fact]
    public void Irrigant_in_and_out_charted_at_one_time()
    {
        var ward = Opens("07:00")
            .Urine("08:00", 60)
            .Instilled("10:00", 2000)
            .Emptied("10:00", 2130)
            .Instilled("12:00", 1900)
            .Emptied("12:00", 1990);
        Assert.Equal([Ml(60), Ml(130), Ml(90)], Outputs(ward));
        Assert.All(ward.Balance()[FluidBalance.Bladder], interval => Assert.Equal(OutputStatus.Final, interval.Status));
    }

    [Fact]
    public void A_bag_whose_drainage_was_never_charted_stays_negative_and_is_never_judged()
    {
        var ward = Opens("07:00")
            .Weighs("07:00", 70)
            .UrineHourly("07:00", 55, 55)
            .Instilled("10:00", 3000)
            .Urine("10:00", 55)
            .UrineHourly("10:00", [.. Enumerable.Repeat(55m, 21)]);
        var balance = ward.Balance();
        var day = balance.Over(WindowKind.Trailing, new(ward.At("07:00"), ward.At("+1 07:00")));
        Assert.Equal(Ml((24 * 55) - 3000), day.Output!.Headline); // as charted, not clipped
        Assert.Equal(
            (null, true, true),
            (day.Output.Interval95, day.Caveats.Contains(Caveat.DrainageNotCharted), day.Caveats.Contains(Caveat.NegativeOutput))
        );
        var results = UrineOutputCriteria.At(balance, Adult, ward.At("+1 07:00"), CriteriaSettings.Default);
        Assert.DoesNotContain(results, r => r is { Answer: Answer.Met, Stage: 3 });
        Assert.All(
            results.Where(r => r is { Stage: 3, Reading: Reading.MeanOverWindow, Unit: "mL/kg/h" }),
            r => Assert.Equal(Answer.NotEvaluable, r.Answer)
        );
        // Any one good hour answers the reading by the hour.
        Assert.All(results.Where(r => r is { Stage: 3, Reading: Reading.EveryHour }), r => Assert.Equal(Answer.NotMet, r.Answer));
    }

    [Fact]
    public void Drainage_charted_before_the_irrigant_of_the_same_bag()
    {
        var ward = Opens("07:00").Instilled("08:00", 900, from: "07:00").Emptied("08:00", 950).Emptied("10:20", 2100);
        var early = ward.Interval("10:20");
        Assert.Equal((OutputStatus.Preliminary, true), (early.Status, early.Caveats.Contains(Caveat.IrrigantNotCharted)));
        Assert.Null(early.Output!.Interval95);

        ward.Instilled("11:00", 2700).Emptied("11:00", 700); // 2700 mL ran over 180 min: 2100 of them by 10:20
        Assert.Equal([Ml(50), Ml(0), Ml(100)], Outputs(ward));
        Assert.Contains(Caveat.IrrigantInterpolated, ward.Interval("10:20").Caveats);
        Assert.Equal(OutputStatus.Final, ward.Interval("10:20").Status);
    }

    [Fact]
    public void Several_bags_in_one_row()
    {
        var interval = Opens("07:00").Urine("08:00", 50).Instilled("20:00", 9000).Emptied("20:00", 9700).Interval("20:00");
        Assert.Equal(Ml(700), interval.Output!.Headline);
        Assert.Contains(Caveat.Gap, interval.Caveats); // twelve hours between two readings
    }

    [Fact]
    public void Part_of_a_bag()
    {
        var ward = Opens("07:00")
            .BagHung("07:00", 3000)
            .BagRead("11:00", 1750)
            .Emptied("11:00", 1400)
            .BagTakenDown("12:00", 1200)
            .Emptied("12:00", 610);
        Assert.Equal([Ml(150), Ml(60)], Outputs(ward)); // 1400 − 1250; 610 − 550
    }

    [Fact]
    public void Irrigation_paused_for_days_and_resumed()
    {
        var ward = Opens("07:00").Instilled("09:00", 1500).Emptied("09:00", 1600);
        ward.UrineHourly("09:00", [.. Enumerable.Repeat(40m, 60)]); // to 21:00 two days on
        ward.Instilled("+2 22:00", 500).Emptied("+2 22:00", 545);
        Assert.Equal(Ml(45), ward.Interval("+2 22:00").Output!.Headline); // nothing of the 500 is spread over the pause
        Assert.All(
            ward.Balance()[FluidBalance.Bladder].Skip(1).Take(60),
            interval => Assert.Equal((Ml(40), Ml(0)), (interval.Output!.Headline, interval.Instilled!.Value))
        );
    }

    [Fact]
    public void The_first_irrigation_of_a_stay_has_no_known_start()
    {
        var interval = Opens("07:00").Instilled("10:00", 3000).Emptied("10:00", 3180).Interval("10:00");
        Assert.Equal((Ml(180), OutputStatus.Final), (interval.Output!.Headline, interval.Status));
        Assert.Contains(Caveat.IrrigantStartUnknown, interval.Caveats);
    }

    [Fact]
    public void A_negative_hour_is_kept_and_makes_the_total_right()
    {
        // 300 mL of the first bag come with the next emptying. Clipped at 0 the sum would be 400 mL; without irrigant, 4120.
        var ward = Opens("07:00")
            .Instilled("08:00", 2000, from: "07:00")
            .Emptied("08:00", 1720)
            .Instilled("09:00", 2000, from: "08:00")
            .Emptied("09:00", 2400);
        Assert.Equal([Ml(-280), Ml(400)], Outputs(ward));
        Assert.Equal(Ml(120), ward.Balance().Over(WindowKind.Trailing, new(ward.At("07:00"), ward.At("09:00"))).Output!.Headline);
        Assert.Contains(Caveat.NegativeOutput, ward.Interval("08:00").Caveats);
    }

    [Fact]
    public void Errors_that_cancel_to_nothing_are_not_the_zero_of_an_empty_meter()
    {
        var cancelled = Opens("07:00").BagHung("07:00", 3000).BagTakenDown("13:00", 0).Emptied("13:00", 3000).Interval("13:00").Output!;
        var empty = Opens("07:00").Urine("13:00", 0).Interval("13:00").Output!;
        Assert.Equal((Ml(0), Ml(0)), (cancelled.Headline, empty.Headline));
        Assert.True(cancelled.Interval95!.Value.High - cancelled.Interval95.Value.Low > Ml(300));
        Assert.True(empty.Interval95!.Value.High - empty.Interval95.Value.Low < Ml(40));
    }

    [Fact]
    public void While_irrigation_runs_the_missing_catheter_urine_is_not_a_zero()
    {
        var ward = Opens("07:00").Urine("08:00", 70).Urine("09:00", 65).BagHung("09:00", 3000).Flow("09:00", 800);
        var hour = ward.Hour("10:00");
        Assert.Equal((null, AbsentReason.NotCovered, OutputStatus.Preliminary), (hour.Output, hour.Absent!.Value, hour.Status));
    }

    [Fact]
    public void Rows_saved_before_they_happened()
    {
        var ward = Opens("07:00").Urine("08:00", 50, recordedAt: "07:41").Urine("09:00", 45, recordedAt: "07:42");
        Assert.Equal([Ml(50), Ml(45)], Outputs(ward));
        Assert.All(ward.Balance()[FluidBalance.Bladder], i => Assert.DoesNotContain(Caveat.LateEntry, i.Caveats));
        // Nobody can know at 08:30 what will have happened by 09:00.
        Assert.Single(FluidBalance.Of(ward.Balance().Log.KnownAt(ward.At("08:30")), BalanceSettings.Default)[FluidBalance.Bladder]);
    }

    [Fact]
    public void Rows_saved_long_after_they_happened()
    {
        var ward = Opens("07:00").Urine("08:00", 50, recordedAt: "09:00").Urine("09:00", 45, recordedAt: "16:20");
        Assert.DoesNotContain(Caveat.LateEntry, ward.Interval("08:00").Caveats); // 60 min are not yet late
        Assert.Contains(Caveat.LateEntry, ward.Interval("09:00").Caveats);
    }

    [Fact]
    public void Rows_out_of_order_and_a_night_caught_up_in_one_save()
    {
        var night = Opens("22:00")
            .Urine("23:00", 40, recordedAt: "+1 06:30")
            .Instilled("+1 02:00", 1000, recordedAt: "+1 06:30")
            .Emptied("+1 02:00", 1110, recordedAt: "+1 06:30")
            .Urine("+1 03:00", 35, recordedAt: "+1 06:30");
        var backwards = FluidBalance.Of(
            EpisodeLog.Empty(night.Frame).Append(night.Entries.Reverse(), night.At("+1 06:30")).Log,
            BalanceSettings.Default
        );
        Assert.Equal([Ml(40), Ml(110), Ml(35)], backwards[FluidBalance.Bladder].Select(i => i.Output!.Headline));
        Assert.Equal(night.Balance()[FluidBalance.Bladder], backwards[FluidBalance.Bladder]);
        Assert.All(
            backwards[FluidBalance.Bladder],
            i => Assert.Equal((OutputStatus.Final, true), (i.Status, i.Caveats.Contains(Caveat.LateEntry)))
        );
    }

    [Fact] // levels count from the highest before them, so an earlier level that is put right moves a later interval
    public void A_level_put_right_reaches_every_reading_that_is_compared_with_it()
    {
        var ward = Opens("08:00")
            .Flow("08:00", 0)
            .Level("08:00", 0)
            .Level("09:00", 500)
            .Level("10:00", 450)
            .Level("11:00", 440)
            .Level("12:00", 430)
            .Level("13:00", 520);
        var amended = ward.Balance().Log.Append([new DrainageLevelRead(ward.Header("09:00", id: "e3"), "1", Ml(480))], ward.At("14:00"));
        var (after, _) = ward.Balance().After(amended);
        Assert.Equal(FluidBalance.Of(amended.Log, BalanceSettings.Default)[FluidBalance.Bladder], after[FluidBalance.Bladder]);
        Assert.Equal(Ml(40), after[FluidBalance.Bladder][^1].Output!.Headline);
    }

    [Fact] // a container of mixed drainage and no word of any irrigant: what it held is not known to be urine
    public void Drainage_before_any_irrigant_was_charted()
    {
        var ward = Opens("07:00").Emptied("08:00", 90).Emptied("09:00", 95); // of 900 mL in an hour without irrigant something is doubted
        Assert.All(
            ward.Balance()[FluidBalance.Bladder],
            i =>
                Assert.Equal(
                    (true, null, OutputStatus.Preliminary),
                    (i.Caveats.Contains(Caveat.IrrigantNotCharted), i.Output!.Interval95, i.Status)
                )
        );

        // The first bag, even one hung afterwards, says that nothing ran before it.
        var (after, changes) = ward.Balance()
            .After(ward.Balance().Log.Append([new BagHung(ward.Header("09:05"), "1", Ml(3000), null, null, null, null)], ward.At("09:06")));
        Assert.Equal(2, changes.Length);
        Assert.All(
            after[FluidBalance.Bladder],
            i => Assert.Equal((false, OutputStatus.Final), (i.Caveats.Contains(Caveat.IrrigantNotCharted), i.Status))
        );
        Assert.NotNull(after[FluidBalance.Bladder][0].Output!.Interval95);
    }

    [Fact]
    public void The_two_halves_of_a_pair_saved_hours_apart()
    {
        var ward = Opens("07:00")
            .Instilled("08:00", 900, recordedAt: "08:05")
            .Emptied("08:00", 950, recordedAt: "08:05")
            .Emptied("10:00", 2100, recordedAt: "10:05")
            .Instilled("10:00", 2000, recordedAt: "14:30");
        var half = FluidBalance.Of(ward.Balance().Log.KnownAt(ward.At("11:00")), BalanceSettings.Default)[FluidBalance.Bladder][1];
        Assert.Equal(
            (OutputStatus.Preliminary, true, null),
            (half.Status, half.Caveats.Contains(Caveat.IrrigantNotCharted), half.Output!.Interval95)
        );

        var whole = ward.Interval("10:00");
        Assert.Equal((Ml(100), OutputStatus.Final, true), (whole.Output!.Headline, whole.Status, whole.Caveats.Contains(Caveat.LateEntry)));
    }

    [Fact]
    public void A_weight_of_1_kg_stages_nobody()
    {
        var ward = Opens("07:00").Weighs("07:00", 1.0m).UrineHourly("07:00", 20, 20, 20, 20, 20, 20);
        var results = UrineOutputCriteria
            .At(ward.Balance(), Adult, ward.At("13:00"), CriteriaSettings.Default)
            .Where(r => r.Unit == "mL/kg/h");
        Assert.All(results, r => Assert.Contains(Obstacle.WeightImplausible, r.Obstacles));
    }

    [Fact]
    public void Two_weights_used_in_turn()
    {
        var ward = Opens("07:00")
            .Weighs("07:00", 70)
            .Weighs("08:00", 84)
            .Weighs("09:00", 70)
            .Weighs("10:00", 84)
            .UrineHourly("07:00", 36, 36, 36, 36, 36, 36);
        decimal? Rate(string at) =>
            UrineOutputCriteria.At(ward.Balance(), Adult, ward.At(at), CriteriaSettings.Default).First().Weight?.Weight.Kilograms;
        Assert.Equal((70, 84), (Rate("09:30"), Rate("13:00")));
        Assert.Null(WeightInForce.Of(ward.Balance().Log, ward.At("13:00"), Adult, CriteriaSettings.Default)!.Doubt); // 20 % apart
    }

    [Fact]
    public void A_stay_without_a_weight()
    {
        var ward = Opens("07:00").UrineHourly("07:00", 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0);
        var results = UrineOutputCriteria.At(ward.Balance(Exact), Adult, ward.At("19:00"), CriteriaSettings.Default);
        Assert.All(results.Where(r => r.Unit == "mL/kg/h"), r => Assert.Contains(Obstacle.WeightUnknown, r.Obstacles));
        Assert.Equal(Answer.Met, results.Single(r => r.Unit == "mL").Answer); // anuria needs no weight
    }

    [Fact]
    public void Rows_before_admission_and_after_discharge_are_turned_back()
    {
        var ward = Opens("07:00").Urine("06:00", 300).Urine("08:00", 50).Urine("12:00", 90);
        var log = EpisodeLog.Empty(ward.Frame with { End = ward.At("11:00") }).Append(ward.Entries, ward.At("12:00")).Log;
        Assert.Equal(
            ["before-episode-start", null, "after-episode-end"],
            ward.Entries.Select(e => Contradictions.Of(e, log, "entries[0]")?.Code)
        );
    }

    [Fact]
    public void What_was_charted_before_the_start_all_the_same_is_in_no_sum()
    {
        var ward = Opens("07:00").Urine("06:00", 300).Urine("08:00", 50);
        Assert.Equal([Ml(50)], Outputs(ward));
        Assert.Equal(ward.At("07:00"), ward.Interval("08:00").Start);
    }

    [Fact]
    public void A_gap_of_42_hours()
    {
        var ward = Opens("07:00").Weighs("07:00", 70).Urine("08:00", 50).Urine("+2 02:00", 1260);
        var interval = ward.Interval("+2 02:00");
        Assert.Equal((Duration.FromHours(42), true), (interval.Length, interval.Caveats.Contains(Caveat.Gap)));
        Assert.Equal(Ml(30), ward.Hour("+1 00:00").Output!.Headline); // 1260 / 42, and it says that it is a share
        Assert.Contains(Caveat.Apportioned, ward.Hour("+1 00:00").Caveats);
        var hourly = UrineOutputCriteria
            .At(ward.Balance(), Adult, ward.At("+2 02:00"), CriteriaSettings.Default)
            .Where(r => r.Reading == Reading.EveryHour);
        Assert.All(hourly, r => Assert.Equal((Answer.NotEvaluable, true), (r.Answer, r.Obstacles.Contains(Obstacle.Gap))));
    }

    [Fact]
    public void The_same_value_twice_within_a_quarter_of_an_hour_counts_twice()
    {
        // Under two ids: it may be a slip or a small second void, and the record cannot tell. Nothing is dropped in silence.
        Assert.Equal([Ml(150), Ml(150)], Outputs(Opens("07:00").Urine("08:00", 150).Urine("08:12", 150)));
    }

    [Fact]
    public void Two_collection_routes_at_one_time()
    {
        var ward = Opens("07:00").Urine("08:00", 40).Urine("08:00", 25, UrineRoute.Void);
        Assert.Equal([Ml(65)], Outputs(ward)); // one closing point of the bladder, two readings

        ward.Urine("09:00", 30).Urine("09:00", 80, UrineRoute.RightNephrostomy);
        Assert.Equal(Ml(30), ward.Interval("09:00").Output!.Headline);
        Assert.Equal(Ml(80), ward.Balance()[Slug.Of(UrineRoute.RightNephrostomy)].Single().Output!.Headline);
    }

    [Fact]
    public void A_row_repeated_exactly_counts_once()
    {
        var ward = Opens("07:00")
            .Flow("07:00", 0)
            .Emptied("08:00", 90, id: "row 7")
            .Emptied("08:00", 90, id: "row 7")
            .Emptied("08:00", 90, id: "row 7");
        Assert.Equal([Ml(90)], Outputs(ward));
        Assert.Equal(OutputStatus.Final, ward.Interval("08:00").Status);
        Assert.Equal(2, ward.Balance().Log.LastSequence);
    }

    [Fact]
    public void A_value_changed_under_the_same_key_supersedes()
    {
        var ward = Opens("07:00").Flow("07:00", 0).Emptied("08:00", 90, id: "row 7").Emptied("08:00", 190, id: "row 7");
        Assert.Equal([Ml(190)], Outputs(ward));
        Assert.Equal(OutputStatus.Corrected, ward.Interval("08:00").Status);
        Assert.Equal(2, ward.Balance().Log.Versions(new("ward", "row 7")).Count);
    }

    [Fact]
    public void A_volume_mistyped_tenfold_is_marked_and_not_mended()
    {
        var interval = Opens("07:00").Instilled("10:00", 3000, from: "07:00").Emptied("10:00", 31_500).Interval("10:00");
        Assert.Equal(Ml(28_500), interval.Output!.Headline);
        Assert.Contains(Caveat.ImplausibleVolume, interval.Caveats);

        var fast = Opens("07:00").Instilled("08:00", 9000, from: "07:00").Emptied("08:00", 9100).Interval("08:00");
        Assert.Contains(Caveat.ImplausibleFlow, fast.Caveats); // 9 L/h by gravity
    }

    [Fact]
    public void A_unit_taken_for_another_is_a_thousandfold_and_shows()
    {
        // Litres read as millilitres: 3 mL in, 3150 out. A missing unit is refused at the door; a wrong one only shows here.
        var interval = Opens("07:00").Instilled("10:00", 3, from: "07:00").Emptied("10:00", 3150).Interval("10:00");
        Assert.Equal(Ml(3147), interval.Output!.Headline);
        Assert.Equal(Volume.FromLitres(3.15m), interval.Drained);
    }

    private static IEnumerable<Volume> Outputs(Ward ward) => ward.Balance()[FluidBalance.Bladder].Select(i => i.Output!.Headline);
}
