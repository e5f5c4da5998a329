using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// Ward stories with the sum worked by hand. Sources stand beside each; "own derivation" is arithmetic of the clinical reference.
/// </summary>
public class BalanceTests
{
    [Fact] // check-value W1: nursing forum thread 460728
    public void W1_what_drained_beyond_the_bag_is_urine()
    {
        var interval = Opens("08:00").BagHung("08:00", 3000).BagTakenDown("14:00", 0).Emptied("14:00", 3800).Interval("14:00");
        Assert.Equal(Ml(800), interval.Output!.Headline); // 3800 − 3000
        Assert.Equal(Ml(800), interval.Simple);
        Assert.Equal(OutputStatus.Final, interval.Status);
    }

    [Fact] // check-value W2: the same thread; open continuous-irrigation lesson file
    public void W2_a_deficit_stays_negative_and_says_so()
    {
        var interval = Opens("08:00").BagHung("08:00", 3000).BagTakenDown("14:00", 0).Emptied("14:00", 2800).Interval("14:00");
        Assert.Equal(Ml(-200), interval.Output!.Headline); // 2800 − 3000
        Assert.Contains(Caveat.NegativeOutput, interval.Caveats);
    }

    [Fact] // check-value W3: open science-education page on irrigation and output
    public void W3_a_total_and_its_drainage_charted_together()
    {
        var interval = Opens("08:00").Instilled("10:00", 1000).Emptied("10:00", 1500).Interval("10:00");
        Assert.Equal(Ml(500), interval.Output!.Headline);
        Assert.Contains(Caveat.IrrigantStartUnknown, interval.Caveats);
    }

    [Fact] // check-value W4: I&O practice packet, textbook worksheet (answer computed from the published inputs)
    public void W4_a_charted_flow_gives_the_irrigant()
    {
        var interval = Opens("07:00").Flow("07:00", 50).Flow("12:00", 0).Emptied("15:00", 925).Interval("15:00");
        Assert.Equal(Ml(675), interval.Output!.Headline); // 925 − 5 h × 50
        Assert.Equal(Ml(675), interval.Simple);
        Assert.Equal(OutputStatus.Final, interval.Status);
        Assert.Contains(Caveat.IrrigantFromRate, interval.Caveats);
    }

    [Fact] // check-value W6: open-source fixture on open ICU data
    public void W6_what_is_charted_later_is_not_visible_before()
    {
        var ward = Opens("10:00").Instilled("11:00", 50).Emptied("11:00", 150).Urine("11:30", 40, recordedAt: "13:00");
        var log = EpisodeLog.Empty(ward.Frame).Append(ward.Entries, ward.At("13:00")).Log;
        var atNoon = FluidBalance.Of(log.KnownAt(ward.At("12:00")), BalanceSettings.Default);
        Assert.Equal(Ml(100), atNoon[FluidBalance.Bladder].Sum()); // 150 − 50
        var later = FluidBalance.Of(log.KnownAt(ward.At("13:00")), BalanceSettings.Default);
        Assert.Equal(Ml(140), later[FluidBalance.Bladder].Sum());
    }

    [Fact] // own derivation, clinical reference 1.3
    public void An_irrigant_left_to_dwell_is_not_subtracted_before_it_can_drain()
    {
        var ward = Opens("13:00").Syringe("13:45", 200).Clamp("13:45").Level("14:00", 60).Release("14:45").Emptied("15:00", 310);
        var (before, after) = (ward.Interval("13:45"), ward.Interval("15:00"));
        Assert.Equal(Ml(60), before.Output!.Headline); // 60 had drained before the clamp; the 200 are still inside
        Assert.Equal(Ml(50), after.Output!.Headline); // 250 more − 200
        Assert.Equal(Ml(-140), before.Simple); // the naive sum: 60 − 200 …
        Assert.Equal(Ml(250), after.Simple); // … and 250
        Assert.Equal(Ml(110), new[] { before, after }.Sum());
    }

    [Fact] // own derivation, clinical reference 1.3
    public void An_hour_that_a_dwell_crosses_is_preliminary_until_the_clamp_is_released_and_drained()
    {
        var ward = Opens("13:00").Syringe("13:45", 200).Clamp("13:45").Level("14:00", 60);
        var hour = ward.Hour("13:00");
        Assert.Equal((Ml(60), OutputStatus.Preliminary), (hour.Output!.Headline, hour.Status));
        Assert.Equal(Duration.FromMinutes(45), hour.Covered);

        ward.Release("14:45").Emptied("15:00", 310);
        Assert.Equal(Ml(110), ward.Hour("13:00").Output!.Headline + ward.Hour("14:00").Output!.Headline);
        Assert.Equal(OutputStatus.Final, ward.Hour("13:00").Status);
    }

    [Fact] // own derivation, clinical reference 4
    public void Urine_is_apportioned_by_time_and_never_the_drainage()
    {
        var ward = Opens("10:00")
            .BagHung("10:00", 3000)
            .Flow("10:00", 500)
            .Flow("12:00", 2000)
            .BagTakenDown("13:00", 0)
            .Emptied("13:00", 3300);
        foreach (var hour in new[] { "10:00", "11:00", "12:00" })
        {
            Assert.Equal(Ml(100), ward.Hour(hour).Output!.Headline); // 300 over 3 h; spreading 3300 would give 600, 600, −900
        }
    }

    [Fact] // check-value W36: open ICU code repository, issue 1754
    public void W36_a_gap_of_three_hours_is_shared_evenly()
    {
        var ward = Opens("09:00").Urine("12:00", 300);
        Assert.All(new[] { "09:00", "10:00", "11:00" }, hour => Assert.Equal(Ml(100), ward.Hour(hour).Output!.Headline));
    }

    [Fact] // check-value W26: calculator page
    public void W26_what_the_bag_held_at_the_start_belongs_to_the_shift_before()
    {
        var interval = Opens("07:00").Level("07:00", 150).Emptied("15:00", 780).Interval("15:00");
        Assert.Equal(Ml(630), interval.Output!.Headline);
    }

    [Fact] // own derivation: design, closing points
    public void Drainage_emptied_mid_bag_makes_no_negative_spike_and_waits_for_the_bag()
    {
        var ward = Opens("22:00").BagHung("22:00", 3000).Flow("22:00", 1000).Emptied("23:00", 1060);
        var open = ward.Interval("23:00");
        Assert.Equal((Ml(60), OutputStatus.Preliminary), (open.Output!.Headline, open.Status)); // 1060 − 1 h × 1000
        Assert.Contains(Caveat.IrrigantNotReadYet, open.Caveats);

        ward.BagTakenDown("+1 01:00", 0).Emptied("+1 01:00", 2120);
        var (closed, next) = (ward.Interval("23:00"), ward.Interval("+1 01:00"));
        Assert.Equal((Ml(60), OutputStatus.Final), (closed.Output!.Headline, closed.Status));
        Assert.Equal(Ml(120), next.Output!.Headline);
        Assert.Contains(Caveat.IrrigantInterpolated, closed.Caveats);
    }

    [Fact]
    public void Without_a_flow_a_hanging_bag_leaves_the_output_open_not_zero()
    {
        var interval = Opens("22:00").BagHung("22:00", 3000).Emptied("23:00", 1060).Interval("23:00");
        Assert.Null(interval.Output);
        Assert.Equal(AbsentReason.IrrigantNotReadYet, interval.Absent);
    }

    [Fact]
    public void A_flow_never_delivers_more_than_the_bag_holds()
    {
        var interval = Opens("22:00").BagHung("22:00", 1000).Flow("22:00", 2000).Emptied("23:00", 1050).Interval("23:00");
        Assert.Equal(Ml(1000), interval.Instilled); // dry after half an hour
        Assert.Equal(Ml(50), interval.Output!.Headline);
    }

    [Fact]
    public void A_bag_read_on_the_way_is_the_measure_of_both_parts()
    {
        var ward = Opens("22:00")
            .BagHung("22:00", 3000)
            .BagRead("23:00", 2200)
            .Emptied("23:00", 900)
            .BagTakenDown("+1 00:00", 0)
            .Emptied("+1 00:00", 2260);
        Assert.Equal(Ml(100), ward.Interval("23:00").Output!.Headline); // 900 − 800
        Assert.Equal(Ml(60), ward.Interval("+1 00:00").Output!.Headline); // 2260 − 2200
    }

    [Fact]
    public void Tubing_prime_leaves_the_first_bag_without_reaching_the_bladder()
    {
        var interval = Opens("22:00")
            .BagHung("22:00", 3000, prime: 40)
            .BagTakenDown("+1 00:00", 0)
            .Emptied("+1 00:00", 3060)
            .Interval("+1 00:00");
        Assert.Equal(Ml(100), interval.Output!.Headline); // 3060 − (3000 − 40)
    }

    [Fact]
    public void A_first_bag_without_a_charted_prime_says_so()
    {
        var interval = Opens("22:00")
            .BagHung("22:00", 3000, prime: null)
            .BagTakenDown("+1 00:00", 0)
            .Emptied("+1 00:00", 3060)
            .Interval("+1 00:00");
        Assert.Contains(Caveat.TubingPrimeNotCharted, interval.Caveats);
    }

    [Fact]
    public void A_bag_whose_rest_nobody_charted_is_unknown_not_empty()
    {
        var interval = Opens("22:00").BagHung("22:00", 3000).BagTakenDown("+1 00:00", null).Emptied("+1 00:00", 3060).Interval("+1 00:00");
        Assert.Null(interval.Output);
        Assert.Equal(AbsentReason.IrrigantUnknown, interval.Absent);
        Assert.Contains(Caveat.BagEndUnknown, interval.Caveats);
    }

    [Fact]
    public void Irrigant_that_stays_behind_is_not_mistaken_for_missing_urine()
    {
        var interval = Opens("08:00").Scan("08:00", 0).Syringe("08:05", 500).Emptied("08:50", 420).Scan("09:00", 130).Interval("08:50");
        Assert.Equal(Ml(50), interval.Output!.Headline); // 420 out − 500 in + 130 still inside
        Assert.DoesNotContain(BalanceTerm.RetainedChange, interval.AssumedZero);
    }

    [Fact]
    public void A_scan_without_one_before_is_only_a_level_to_compare_with()
    {
        var ward = Opens("08:00").Urine("10:00", 100).Scan("10:05", 300).Urine("12:00", 150).Scan("12:05", 100);
        Assert.Equal(Ml(100), ward.Interval("10:00").Output!.Headline);
        Assert.Contains(Caveat.RetainedStartUnknown, ward.Interval("10:00").Caveats);
        Assert.Equal(Ml(-50), ward.Interval("12:00").Output!.Headline); // 150 + (100 − 300)
    }

    [Fact]
    public void A_leak_counts_as_output_that_was_not_collected()
    {
        var interval = Opens("08:00").Instilled("10:00", 500, from: "08:00").Leak("09:30", 80).Emptied("10:00", 480).Interval("10:00");
        Assert.Equal(Ml(60), interval.Output!.Headline); // 480 − 500 + 80
        Assert.Equal(Ml(-20), interval.Simple);
    }

    [Fact]
    public void A_pump_counter_gives_differences_and_its_first_reading_only_a_baseline()
    {
        var ward = Opens("08:00").PumpTotal("08:00", 4000).PumpTotal("10:00", 4400).Emptied("10:00", 520);
        Assert.Equal(Ml(120), ward.Interval("10:00").Output!.Headline); // 520 − 400
    }

    [Fact]
    public void A_pump_counter_that_fell_back_leaves_the_amount_unknown_and_never_negative()
    {
        var fell = Opens("08:00").PumpTotal("08:00", 4000).PumpTotal("10:00", 150).Emptied("10:00", 520).Interval("10:00");
        Assert.Null(fell.Output);
        Assert.Contains(Caveat.PumpCounterReset, fell.Caveats);

        var restarted = Opens("08:00")
            .PumpTotal("08:00", 4000)
            .PumpTotal("10:00", 150, restarted: true)
            .Emptied("10:00", 520)
            .Interval("10:00");
        Assert.Equal(Ml(370), restarted.Output!.Headline); // 520 − 150
    }

    [Fact]
    public void A_level_is_not_an_emptying()
    {
        var ward = Opens("08:00").Level("08:00", 0).Level("09:00", 300).Level("10:00", 700).Emptied("11:00", 900).Level("12:00", 50);
        Assert.Equal([Ml(300), Ml(400), Ml(200), Ml(50)], ward.Balance()[FluidBalance.Bladder].Select(i => i.Drained!.Value));
    }

    [Fact]
    public void Rereading_a_level_a_little_lower_adds_up_to_the_truth()
    {
        var ward = Opens("08:00").Level("08:00", 0).Level("09:00", 500).Level("09:10", 490).Level("10:00", 600);
        Assert.Equal([Ml(500), Ml(0), Ml(100)], ward.Balance()[FluidBalance.Bladder].Select(i => i.Drained!.Value));
        Assert.Contains(Caveat.LevelBelowPrevious, ward.Interval("09:10").Caveats);
    }

    [Fact]
    public void A_level_that_fell_without_an_emptying_leaves_the_drainage_unknown()
    {
        var interval = Opens("08:00").Level("08:00", 0).Level("09:00", 900).Level("10:00", 200).Interval("10:00");
        Assert.Null(interval.Output);
        Assert.Equal((AbsentReason.DrainageUnknown, true), (interval.Absent!.Value, interval.Caveats.Contains(Caveat.ContainerReset)));
    }

    [Fact]
    public void A_bag_whose_drainage_was_never_charted_says_so()
    {
        var interval = Opens("13:00").Urine("14:00", 10).Urine("15:00", 15).Instilled("15:00", 3000).Interval("15:00");
        Assert.Equal(Ml(-2985), interval.Output!.Headline); // 15 − 3000, as charted
        Assert.Contains(Caveat.DrainageNotCharted, interval.Caveats);
    }

    [Fact]
    public void Drainage_charted_before_the_irrigant_of_the_same_bag_waits_for_it()
    {
        var ward = Opens("07:00").Instilled("08:00", 100, from: "07:00").Emptied("08:00", 120).Emptied("10:00", 400);
        Assert.Equal(OutputStatus.Preliminary, ward.Interval("10:00").Status);
        Assert.Contains(Caveat.IrrigantNotCharted, ward.Interval("10:00").Caveats);

        ward.Instilled("11:00", 480).Emptied("11:00", 200);
        Assert.Equal(Ml(80), ward.Interval("10:00").Output!.Headline); // 480 over 3 h: 320 by then
        Assert.Equal(Ml(40), ward.Interval("11:00").Output!.Headline); // 200 − 160
        Assert.Equal(OutputStatus.Final, ward.Interval("10:00").Status);
    }

    [Fact]
    public void Of_two_totals_charted_at_one_time_each_counts_for_its_own_time()
    {
        // 600 mL from 10:00 to 11:00, and 900 mL of which only the end was charted: since the start, 300 mL an hour.
        var ward = Opens("08:00");
        ward.Chart(new IrrigantInstilled(ward.Header("11:00", from: "10:00", id: "a"), "1", Ml(600)))
            .Chart(new IrrigantInstilled(ward.Header("11:00", id: "b"), "1", Ml(900)));
        ward.Emptied("09:00", 350).Emptied("11:00", 1250);
        Assert.Equal([Ml(300), Ml(1200)], ward.Balance()[FluidBalance.Bladder].Select(i => i.Instilled!.Value));
        Assert.Equal([Ml(50), Ml(50)], ward.Balance()[FluidBalance.Bladder].Select(i => i.Output!.Headline));
    }

    [Fact]
    public void Urine_free_of_irrigant_shows_that_nothing_ran_and_the_next_total_begins_after_it()
    {
        var ward = Opens("07:00")
            .Instilled("08:00", 100)
            .Emptied("08:00", 120)
            .Urine("09:00", 40)
            .Urine("10:00", 30)
            .Instilled("11:00", 600)
            .Emptied("11:00", 650);
        Assert.Equal([Ml(20), Ml(40), Ml(30), Ml(50)], ward.Balance()[FluidBalance.Bladder].Select(i => i.Output!.Headline));
    }

    [Fact]
    public void Urine_that_never_reached_the_bladder_is_a_stream_of_its_own()
    {
        var ward = Opens("08:00")
            .Urine("09:00", 30, UrineRoute.LeftNephrostomy)
            .Urine("10:00", 40, UrineRoute.LeftNephrostomy)
            .Instilled("12:00", 2000, from: "08:00")
            .Emptied("12:00", 2100);
        Assert.Equal(Ml(100), ward.Interval("12:00").Output!.Headline);
        Assert.Equal(Ml(25 + 40), ward.Hour("09:00").Output!.Headline);
    }

    [Fact]
    public void A_route_read_after_the_bladder_waits_for_it()
    {
        var ward = Opens("08:00")
            .Urine("10:00", 100)
            .Urine("10:00", 60, UrineRoute.LeftNephrostomy)
            .Urine("12:00", 90, UrineRoute.LeftNephrostomy);
        var window = ward.Balance().Over(WindowKind.Trailing, new(ward.At("08:00"), ward.At("12:00")));
        // Two hours are covered, and the output is theirs: 100 + 60. With the 90 of the open time it would be a rate over the wrong hours.
        Assert.Equal((Ml(160), Duration.FromHours(2), OutputStatus.Preliminary), (window.Output!.Headline, window.Covered, window.Status));

        ward.Urine("12:00", 80);
        Assert.Equal(Ml(330), ward.Balance().Over(WindowKind.Trailing, new(ward.At("08:00"), ward.At("12:00"))).Output!.Headline);
    }

    [Fact]
    public void A_window_that_nothing_covers_is_absent_with_a_reason()
    {
        var hour = Opens("08:00").Urine("09:00", 30).Hour("11:00");
        Assert.Null(hour.Output);
        Assert.Equal(AbsentReason.NotCovered, hour.Absent);
    }

    [Fact]
    public void Zero_is_a_measurement()
    {
        var interval = Opens("08:00").Urine("09:00", 0).Interval("09:00");
        Assert.Equal((Ml(0), OutputStatus.Final), (interval.Output!.Headline, interval.Status));
    }

    [Fact] // a calendar fact: clocks in Vienna go forward on 29 March 2026 and back on 25 October 2026
    public void A_spring_day_has_23_hours_and_an_autumn_day_25()
    {
        var vienna = DateTimeZoneProviders.Tzdb["Europe/Vienna"];
        Duration Day(int month, int day)
        {
            var noon = vienna.AtLeniently(new LocalDateTime(2026, month, day, 12, 0)).ToInstant();
            return Calendar
                .Windows(WindowKind.LocalDay, new(noon, null, vienna, []), noon, noon + Duration.FromMinutes(1))
                .Single()
                .Duration;
        }

        Assert.Equal([Duration.FromHours(23), Duration.FromHours(25), Duration.FromHours(24)], [Day(3, 29), Day(10, 25), Day(10, 26)]);
    }

    [Fact]
    public void Shifts_cross_midnight_and_follow_one_another()
    {
        var ward = Opens("22:00");
        var shifts = Calendar.Windows(WindowKind.Shift, ward.Frame, ward.At("22:00"), ward.At("+1 08:00")).ToList();
        Assert.Equal([ward.At("15:00"), ward.At("23:00"), ward.At("+1 07:00")], shifts.Select(s => s.Start));
        Assert.Equal(ward.At("+1 15:00"), shifts[^1].End);
    }

    [Fact]
    public void A_withdrawn_entry_leaves_every_sum_and_shows_as_a_correction()
    {
        var ward = Opens("08:00").Urine("09:00", 50).Emptied("10:00", 500, id: "wrong").Urine("10:00", 60).Withdraw("wrong", "10:30");
        var interval = ward.Interval("10:00");
        Assert.Equal((Ml(60), OutputStatus.Corrected), (interval.Output!.Headline, interval.Status));
    }

    [Fact]
    public void What_is_charted_after_an_interval_was_complete_amends_it()
    {
        var ward = Opens("08:00").Urine("09:00", 50, recordedAt: "09:05").Urine("11:00", 70, recordedAt: "11:05");
        Assert.Equal(OutputStatus.Final, ward.Interval("11:00").Status);
        ward.Urine("10:00", 30, recordedAt: "12:00");
        Assert.Equal(OutputStatus.Amended, ward.Interval("11:00").Status); // it had counted from 09:00
    }

    [Fact]
    public void Test_and_calibration_data_never_alter_a_total()
    {
        var ward = Opens("08:00").Urine("09:00", 50);
        ward.Chart(new DrainageEmptied(ward.Header("08:30") with { Purpose = Purpose.Calibration }, "1", Ml(1000)));
        Assert.Equal([Ml(50)], ward.Balance()[FluidBalance.Bladder].Select(i => i.Output!.Headline));
    }
}

internal static class Sums
{
    /// <summary>The outputs added up.</summary>
    public static Irrigation.Measures.Volume Sum(this IEnumerable<ClosedInterval> intervals) =>
        intervals.Aggregate(Irrigation.Measures.Volume.Zero, (sum, i) => sum + i.Output!.Headline);
}
