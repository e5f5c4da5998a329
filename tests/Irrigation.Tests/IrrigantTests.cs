using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>How much ran in, and when: bags, pumps, totals, syringes and flows, alone and beside one another.</summary>
public class IrrigantTests
{
    [Fact]
    public void The_simple_number_counts_a_bag_where_it_was_charted()
    {
        var ward = Opens("22:00")
            .BagHung("22:00", 3000)
            .Flow("22:00", 1000)
            .Emptied("23:00", 1060)
            .BagTakenDown("+1 01:00", 0)
            .Emptied("+1 01:00", 2120);
        Assert.Equal([Ml(1060), Ml(2120 - 3000)], Intervals(ward).Select(i => i.Simple!.Value));
        // While the bag hangs nothing of it is charted.
        Assert.Equal(Ml(1060), Opens("22:00").BagHung("22:00", 3000).Flow("22:00", 1000).Emptied("23:00", 1060).Interval("23:00").Simple);
    }

    [Fact]
    public void A_reading_within_a_bag_makes_both_its_intervals_interpolated_and_one_at_its_ends_none()
    {
        var ward = Opens("22:00")
            .BagHung("22:00", 3000)
            .Emptied("23:00", 1060)
            .Emptied("+1 00:00", 1060)
            .BagTakenDown("+1 01:00", 0)
            .Emptied("+1 01:00", 1060)
            .BagHung("+1 01:00", 1000)
            .BagTakenDown("+1 02:00", 0)
            .Emptied("+1 02:00", 1060);
        Assert.Equal([true, true, true, false], Intervals(ward).Select(i => i.Caveats.Contains(Caveat.IrrigantInterpolated)));
        Assert.Equal([Ml(1000), Ml(1000), Ml(1000), Ml(1000)], Instilled(ward));
        Assert.All(Intervals(ward), i => Assert.Single(i.Parts, p => p.Kind == PartKind.Irrigant));
    }

    [Fact]
    public void What_was_spilt_between_reading_and_taking_down_is_of_that_moment()
    {
        var ward = Opens("08:00")
            .BagHung("08:00", 3000)
            .BagRead("10:00", 1000)
            .BagTakenDown("10:00", 950)
            .Emptied("10:00", 2100)
            .Urine("11:00", 5);
        Assert.Equal([Ml(2050), Ml(0)], Instilled(ward));
        Assert.Equal([2, 0], Intervals(ward).Select(i => i.Parts.Count(p => p.Kind == PartKind.Irrigant)));
        Assert.Equal(Ml(50), Intervals(ward)[0].Simple); // 2100 − 2050
        Assert.DoesNotContain(Caveat.ImplausibleFlow, Intervals(ward)[0].Caveats);
    }

    [Theory] // our limits: 10 L in one amount, 6.5 L/h by gravity (clinical reference 2.7)
    [InlineData(10_000, false)]
    [InlineData(10_001, true)]
    public void An_amount_that_no_bag_holds_is_marked(int ml, bool marked) =>
        Assert.Equal(
            marked,
            Opens("08:00")
                .Instilled("12:00", ml, from: "08:00")
                .Emptied("12:00", 9000)
                .Interval("12:00")
                .Caveats.Contains(Caveat.ImplausibleVolume)
        );

    [Theory]
    [InlineData(6500, false)]
    [InlineData(6501, true)]
    public void A_flow_that_no_gravity_gives_is_marked_whether_it_was_measured_or_charted(int ml, bool marked)
    {
        Assert.Equal(
            marked,
            Opens("08:00")
                .Instilled("09:00", ml, from: "08:00")
                .Emptied("09:00", 6500)
                .Interval("09:00")
                .Caveats.Contains(Caveat.ImplausibleFlow)
        );
        Assert.Equal(
            marked,
            Opens("08:00").Flow("08:00", ml).Emptied("09:00", 6500).Interval("09:00").Caveats.Contains(Caveat.ImplausibleFlow)
        );
    }

    [Fact]
    public void A_syringe_given_at_a_reading_is_of_the_time_before_it()
    {
        var ward = Opens("08:00").Syringe("09:00", 50).Emptied("09:00", 80).Emptied("10:00", 30);
        Assert.Equal([Ml(50), Ml(0)], Instilled(ward));
        Assert.Equal([Ml(30), Ml(30)], Intervals(ward).Select(i => i.Simple!.Value));
    }

    [Theory] // 60 mL had drained before the clamp, 250 mL after it (clinical reference 1.3)
    [InlineData("13:30", 60, 50)] // a quarter of an hour before the clamp: left to dwell
    [InlineData("13:29", -140, 250)]
    public void What_is_given_within_a_quarter_of_an_hour_before_a_clamp_dwells(string given, int before, int after)
    {
        var ward = Opens("13:00").Syringe(given, 200).Clamp("13:45").Level("14:00", 60).Release("14:45").Emptied("15:00", 310);
        Assert.Equal([Ml(before), Ml(after)], Intervals(ward).Select(i => i.Output!.Headline));
    }

    [Fact]
    public void What_could_drain_before_the_clamp_was_put_on_does_not_dwell()
    {
        var drained = Opens("13:00").Syringe("13:35", 200).Level("13:40", 210).Clamp("13:45").Release("14:45").Emptied("15:00", 300);
        Assert.Equal([Ml(10), Ml(90)], Intervals(drained).Select(i => i.Output!.Headline));
        // Read at the very moment of clamping: what was given is still inside.
        var dwells = Opens("13:00").Syringe("13:40", 200).Level("13:45", 60).Clamp("13:45").Release("14:45").Emptied("15:00", 310);
        Assert.Equal([Ml(60), Ml(50)], Intervals(dwells).Select(i => i.Output!.Headline));
    }

    [Fact]
    public void A_flow_that_was_changed_makes_two_parts_of_a_hanging_bag()
    {
        var ward = Opens("22:00").BagHung("22:00", 3000).Flow("22:00", 1000).Flow("23:00", 500).Emptied("+1 00:00", 1600);
        var interval = ward.Interval("+1 00:00");
        Assert.Equal([Ml(1000), Ml(500)], interval.Parts.Where(p => p.Kind == PartKind.IrrigantFromRate).Select(p => p.Amount!.Value));
        Assert.Equal((Ml(1500), Ml(100), Ml(1600)), (interval.Instilled, interval.Output!.Headline, interval.Simple));
    }

    [Fact]
    public void Where_the_bag_was_taken_down_nothing_runs_whatever_the_last_flow_said()
    {
        var ward = Opens("08:00")
            .BagHung("08:00", 1000)
            .Flow("08:00", 500)
            .BagTakenDown("10:00", 0)
            .Emptied("10:00", 1050)
            .Emptied("12:00", 80);
        Assert.Equal([Ml(1000), Ml(0)], Instilled(ward));
        Assert.Equal((OutputStatus.Final, 0), (Intervals(ward)[1].Status, Intervals(ward)[1].Caveats.Length));
        Assert.Equal(FlowRate.Stopped, ward.Balance().FlowAt("1", ward.At("11:00")));
    }

    [Fact]
    public void A_counter_or_a_total_read_after_the_bag_was_taken_down_shows_that_something_runs()
    {
        Ward TakenDown() => Opens("08:00").BagHung("08:00", 1000).Flow("08:00", 500).BagTakenDown("10:00", 0).Emptied("10:00", 1050);
        var pump = TakenDown().PumpTotal("10:30", 0).Flow("10:30", 100).Emptied("12:30", 300).Interval("12:30");
        // Two hours at 100, to be read yet.
        Assert.Equal((Ml(200), OutputStatus.Preliminary, Ml(300)), (pump.Instilled, pump.Status, pump.Simple));
        Assert.Equal([Caveat.IrrigantNotReadYet], pump.Caveats.AsEnumerable());

        var total = TakenDown().Instilled("10:30", 50, from: "10:00").Flow("10:30", 100).Emptied("12:30", 300).Interval("12:30");
        Assert.Equal((Ml(250), OutputStatus.Preliminary, Ml(250)), (total.Instilled, total.Status, total.Simple));

        // Read when the bag was taken down, both are of the time before.
        var ended = TakenDown().PumpTotal("08:00", 0).PumpTotal("10:00", 990).Emptied("12:00", 80);
        Assert.Equal((Ml(0), OutputStatus.Final), (ended.Interval("12:00").Instilled, ended.Interval("12:00").Status));
        var both = TakenDown().Instilled("10:00", 40, from: "09:50").Emptied("12:00", 80);
        Assert.Equal((Ml(0), OutputStatus.Final), (both.Interval("12:00").Instilled, both.Interval("12:00").Status));
    }

    [Fact]
    public void A_stopped_flow_is_nothing_and_a_running_one_is_an_amount_from_a_rate()
    {
        var stopped = Opens("08:00").Flow("08:00", 0).Emptied("09:00", 40).Interval("09:00");
        Assert.DoesNotContain(Caveat.IrrigantFromRate, stopped.Caveats);
        Assert.DoesNotContain(PartKind.IrrigantFromRate, stopped.Parts.Select(p => p.Kind));
        var runs = Opens("08:00").Flow("08:00", 100).Emptied("09:00", 140).Interval("09:00");
        Assert.Contains(Caveat.IrrigantFromRate, runs.Caveats);
        Assert.Equal((Ml(100), Ml(40), OutputStatus.Final), (runs.Instilled, runs.Simple, runs.Status));
    }

    [Fact]
    public void A_flow_on_a_line_that_is_measured_waits_for_the_measurement()
    {
        var pump = Opens("08:00").PumpTotal("08:00", 0).Flow("08:00", 100).Emptied("10:00", 250).Interval("10:00");
        var total = Opens("08:00").Instilled("09:00", 100, from: "08:00").Flow("09:00", 100).Emptied("10:00", 250).Interval("10:00");
        Assert.All(
            new[] { pump, total },
            i =>
            {
                Assert.Equal(
                    (Ml(200), OutputStatus.Preliminary, true, false),
                    (i.Instilled, i.Status, i.Caveats.Contains(Caveat.IrrigantNotReadYet), i.Caveats.Contains(Caveat.IrrigantFromRate))
                );
            }
        );
        Assert.Equal((Ml(250), Ml(150)), (pump.Simple, total.Simple));
    }

    [Fact]
    public void A_counter_that_was_not_read_since_leaves_the_irrigant_open_until_urine_shows_that_nothing_runs()
    {
        var open = Opens("08:00").PumpTotal("09:00", 0).Emptied("09:00", 40).Emptied("10:00", 250).Interval("10:00");
        Assert.Equal(
            (null, AbsentReason.IrrigantNotReadYet, OutputStatus.Preliminary, true),
            (open.Output, open.Absent!.Value, open.Status, open.Caveats.Contains(Caveat.IrrigantNotReadYet))
        );
        var urine = Opens("08:00").PumpTotal("09:00", 0).Emptied("09:00", 40).Urine("10:00", 30).Interval("10:00");
        Assert.Equal((Ml(30), OutputStatus.Final), (urine.Output!.Headline, urine.Status));
        // Urine of the very moment of the reading says nothing of the time after it.
        Assert.Null(Opens("08:00").PumpTotal("09:00", 0).Urine("09:00", 40).Emptied("10:00", 250).Interval("10:00").Output);
    }

    [Fact]
    public void So_does_a_total_that_was_not_followed_by_another()
    {
        Ward Given() => Opens("08:00").Instilled("09:00", 100, from: "08:00").Urine("09:00", 10);
        Assert.Equal(
            (OutputStatus.Preliminary, true),
            (
                Given().Emptied("10:00", 50).Interval("10:00").Status,
                Given().Emptied("10:00", 50).Interval("10:00").Caveats.Contains(Caveat.IrrigantNotCharted)
            )
        );
        Assert.Equal(
            (OutputStatus.Final, false),
            (
                Given().Urine("10:00", 50).Interval("10:00").Status,
                Given().Urine("10:00", 50).Interval("10:00").Caveats.Contains(Caveat.IrrigantNotCharted)
            )
        );
    }

    [Fact]
    public void Before_between_and_after_what_was_measured_the_flow_counts()
    {
        // 100 mL by the flow until the counter is first read, and 150 by the counter.
        Assert.Equal(
            [Ml(250)],
            Instilled(Opens("08:00").Flow("08:00", 100).PumpTotal("09:00", 0).PumpTotal("10:00", 150).Emptied("10:00", 300))
        );
        // 60 mL between two totals, 30 after them.
        Assert.Equal(
            [Ml(290)],
            Instilled(
                Opens("08:00")
                    .Flow("08:00", 60)
                    .Instilled("09:00", 100, from: "08:00")
                    .Instilled("11:00", 100, from: "10:00")
                    .Emptied("11:30", 300)
            )
        );
        // A total within the time of another covers nothing more, and the time after both is the flow's.
        Assert.Equal(
            [Ml(500)],
            Instilled(
                Opens("08:00")
                    .Flow("08:00", 100)
                    .Instilled("11:00", 300, from: "08:00")
                    .Instilled("10:00", 100, from: "09:00")
                    .Emptied("12:00", 600)
            )
        );
    }

    [Fact]
    public void More_in_the_bag_than_before_is_nothing_run_in_and_the_lower_reading_stands()
    {
        var ward = Opens("22:00")
            .BagHung("22:00", 3000)
            .BagRead("23:00", 2000)
            .Emptied("23:00", 1100)
            .BagRead("+1 00:00", 2500)
            .Emptied("+1 00:00", 100)
            .BagTakenDown("+1 01:00", 500)
            .Emptied("+1 01:00", 1600);
        Assert.Equal([Ml(1000), Ml(0), Ml(1500)], Instilled(ward));
        Assert.Equal([false, true, false], Intervals(ward).Select(i => i.Caveats.Contains(Caveat.BagLevelRose)));
        Assert.Equal(
            [(Ml(3000), Ml(0), Ml(2000)), null, (Ml(2000), null, Ml(500))],
            Intervals(ward).Select(i => i.Parts[0].Readings is { } r ? (r.Before, r.Tubing, r.After) : ((Volume, Volume?, Volume)?)null)
        );
        // Read again as before: nothing ran, and nothing is odd about it.
        var same = Opens("22:00")
            .BagHung("22:00", 3000)
            .BagRead("23:00", 2000)
            .Emptied("23:00", 1100)
            .BagRead("+1 00:00", 2000)
            .Emptied("+1 00:00", 100);
        Assert.Equal(
            (Ml(0), false),
            (same.Interval("+1 00:00").Instilled, same.Interval("+1 00:00").Caveats.Contains(Caveat.BagLevelRose))
        );
    }

    [Fact]
    public void A_bag_that_was_never_hung_leaves_unknown_only_the_time_before_its_first_reading()
    {
        var ward = Opens("08:00")
            .Urine("09:00", 10)
            .BagRead("10:00", 500)
            .Emptied("10:00", 300)
            .BagTakenDown("11:00", 0)
            .Emptied("11:00", 520);
        Assert.Equal([Ml(10), null, Ml(20)], Intervals(ward).Select(i => i.Output?.Headline));
        Assert.Equal([false, true, false], Intervals(ward).Select(i => i.Caveats.Contains(Caveat.BagStartUnknown)));
        Assert.Equal(AbsentReason.IrrigantUnknown, Intervals(ward)[1].Absent);
    }

    [Fact]
    public void A_bag_hung_over_another_leaves_unknown_what_ran_from_the_first()
    {
        var ward = Opens("08:00")
            .BagHung("08:00", 1000)
            .BagHung("10:00", 1000)
            .Emptied("10:00", 1050)
            .BagTakenDown("12:00", 0)
            .Emptied("12:00", 1050);
        Assert.Equal([null, Ml(50)], Intervals(ward).Select(i => i.Output?.Headline));
        Assert.Equal([true, false], Intervals(ward).Select(i => i.Caveats.Contains(Caveat.BagEndUnknown)));
        Assert.Equal((null, null), (Intervals(ward)[0].Parts[0].Whole, Intervals(ward)[0].Parts[0].Amount)); // and not 0
    }

    [Fact]
    public void Of_two_bags_hung_at_one_moment_the_first_never_ran()
    {
        var ward = Opens("08:00")
            .BagHung("09:00", 1000)
            .BagHung("09:00", 3000)
            .Emptied("09:00", 50)
            .BagTakenDown("11:00", 0)
            .Emptied("11:00", 3060);
        Assert.Equal([Ml(0), Ml(3000)], Instilled(ward));
    }

    [Fact]
    public void Between_a_bag_taken_down_and_the_next_one_nothing_runs()
    {
        var ward = Opens("08:00")
            .BagHung("08:00", 1000)
            .BagTakenDown("09:00", 0)
            .Emptied("09:00", 1050)
            .Emptied("10:00", 40)
            .BagHung("10:00", 1000)
            .BagTakenDown("11:00", 0)
            .Emptied("11:00", 1050);
        Assert.Equal([Ml(1000), Ml(0), Ml(1000)], Instilled(ward));
        Assert.All(Intervals(ward), i => Assert.DoesNotContain(Caveat.BagEndUnknown, i.Caveats));
    }

    [Fact]
    public void A_counter_read_twice_at_one_moment_counts_to_the_higher_reading()
    {
        var ward = Opens("08:00")
            .PumpTotal("08:00", 0)
            .PumpTotal("10:00", 400)
            .PumpTotal("10:00", 430)
            .Emptied("10:00", 500)
            .PumpTotal("11:00", 500)
            .Emptied("11:00", 100);
        Assert.Equal([Ml(430), Ml(70)], Instilled(ward));
    }

    [Fact]
    public void A_counter_is_not_subtracted_from_that_of_another_pump()
    {
        var ward = Opens("08:00");
        PumpTotalRead Read(string clock, decimal ml, string? pump) =>
            new(ward.Header(clock, MeasuringWay.Pump) with { Device = pump }, "1", Ml(ml), false);
        ward.Chart(Read("08:00", 0, "pump 1"))
            .Chart(Read("09:00", 300, "pump 1"))
            .Emptied("09:00", 350)
            .Chart(Read("10:00", 800, "pump 2"))
            .Emptied("10:00", 350)
            .Chart(Read("11:00", 1000, "pump 2"))
            .Emptied("11:00", 350)
            .Chart(Read("12:00", 1100, null))
            .Emptied("12:00", 350);
        Assert.Equal([Ml(300), null, Ml(200), Ml(100)], Intervals(ward).Select(i => i.Instilled));
        Assert.Equal([false, true, false, false], Intervals(ward).Select(i => i.Caveats.Contains(Caveat.DeviceChanged)));
    }

    [Fact]
    public void A_bag_measures_on_while_other_things_are_charted()
    {
        // Urine at 09:00 is no reading of the bag: half of it ran before 10:00, not two thirds of an hour's.
        var ward = Opens("08:00").BagHung("08:00", 1200).Urine("09:00", 30).BagTakenDown("12:00", 0).Emptied("12:00", 1300);
        Assert.Equal([Ml(300), Ml(900)], Instilled(ward));
    }

    [Fact] // prime 20 to 100 mL where nobody charted it: 60 ± 40 (clinical reference 1.4)
    public void Only_the_first_bag_fills_the_tubing()
    {
        var ward = Opens("08:00")
            .BagHung("08:00", 3000, prime: null)
            .BagTakenDown("10:00", 0)
            .Emptied("10:00", 3100)
            .BagHung("10:00", 3000, prime: null)
            .BagTakenDown("12:00", 0)
            .Emptied("12:00", 3100)
            .BagHung("12:00", 3000, prime: 50)
            .BagTakenDown("14:00", 0)
            .Emptied("14:00", 3100);
        Assert.Equal([true, false, false], Intervals(ward).Select(i => i.Caveats.Contains(Caveat.TubingPrimeNotCharted)));
        Assert.Equal([Ml(100), Ml(100), Ml(150)], Intervals(ward).Select(i => i.Output!.Headline));
        // 3100 − (3112.5 − 60 − 30); 3100 − (3112.5 − 30); a new set: 3100 − (3112.5 − 50 − 30)
        Assert.Equal([Ml(77.5m), Ml(17.5m), Ml(67.5m)], Intervals(ward).Select(i => i.Output!.BestEstimate!.Value.Value));
        Assert.Equal(
            [40.0, 0, 0],
            Intervals(ward)
                .Select(i =>
                    Math.Round(i.Worked!.Value.Errors.Contributions.GetValueOrDefault(new("tubing of", "ward", "e1")) * Math.Sqrt(3), 9)
                )
        );
        Assert.Equal(
            (Ml(3000), Ml(50), Ml(0)),
            (
                Intervals(ward)[2].Parts[0].Readings!.Before,
                Intervals(ward)[2].Parts[0].Readings!.Tubing!.Value,
                Intervals(ward)[2].Parts[0].Readings!.After
            )
        );
    }

    [Fact]
    public void A_flow_delivers_no_more_than_what_is_left()
    {
        Assert.Equal([Ml(960)], Instilled(Opens("22:00").BagHung("22:00", 1000, prime: 40).Flow("22:00", 2000).Emptied("23:00", 1050)));
        Assert.Equal(
            [Ml(1000)],
            Instilled(Opens("22:00").BagHung("22:00", 1000).BagRead("22:15", 300).Flow("22:00", 2000).Emptied("23:00", 1050))
        );
        Assert.Equal(
            [Ml(500)],
            Instilled(Opens("21:00").Urine("22:00", 1).BagRead("22:00", 500).Flow("22:00", 1000).Emptied("23:00", 520)).Skip(1)
        );
        // Of two readings the lower stands, and never more than the bag held.
        Volume? Left(Ward ward, string clock) => ward.Balance().LeftInBag("1", ward.At(clock));
        Assert.Equal(Ml(300), Left(Opens("22:00").BagHung("22:00", 1000).BagRead("22:15", 300).BagRead("22:20", 400), "22:20"));
        Assert.Equal(Ml(1000), Left(Opens("22:00").BagHung("22:00", 1000).BagRead("22:15", 1200), "22:20"));
        Assert.Equal(Ml(400), Left(Opens("22:00").BagRead("22:15", 400), "22:20"));
    }

    [Fact]
    public void What_is_left_in_a_bag_is_told_while_it_hangs_and_is_never_less_than_nothing()
    {
        var ward = Opens("22:00").BagHung("22:30", 1000).Flow("22:30", 2000).BagTakenDown("23:30", 0);
        Volume? Left(string clock) => ward.Balance().LeftInBag("1", ward.At(clock));
        Assert.Equal(
            [null, Ml(1000), Ml(500), Ml(0), Ml(0), null],
            new[] { "22:29", "22:30", "22:45", "23:00", "23:15", "23:30" }.Select(Left)
        );
        Assert.Null(
            Opens("22:00").BagHung("22:00", 1000).PumpTotal("22:00", 0).PumpTotal("23:00", 100).Balance().LeftInBag("1", ward.At("23:00"))
        );
        Assert.Null(ward.Balance().LeftInBag("elsewhere", ward.At("23:00")));
    }

    [Fact]
    public void A_bag_on_a_pump_counts_by_the_counter()
    {
        var ward = Opens("08:00")
            .Level("08:00", 0)
            .BagHung("08:00", 1000)
            .PumpTotal("08:00", 0)
            .PumpTotal("09:00", 900)
            .BagHung("10:00", 1000)
            .BagRead("11:00", 500)
            .PumpTotal("12:00", 1800)
            .BagTakenDown("12:00", null)
            .Emptied("12:00", 1900);
        Assert.Equal((Ml(1800), Ml(100)), (ward.Interval("12:00").Instilled, ward.Interval("12:00").Output!.Headline));
        Assert.Empty(ward.Interval("12:00").Caveats);
        Assert.Equal(["e4", "e7"], ward.Interval("12:00").Parts.Where(p => p.Kind == PartKind.Irrigant).Select(p => p.Entry.Id));
    }

    [Fact]
    public void What_is_poured_away_from_a_bag_on_a_pump_is_not_instilled()
    {
        // The pump was stopped at 09:30, as the urine shows; of the bag 600 mL went after that.
        var ward = Opens("08:00")
            .BagHung("08:00", 3000)
            .PumpTotal("08:30", 0)
            .PumpTotal("09:30", 400)
            .Emptied("09:30", 430)
            .Urine("09:45", 30)
            .BagRead("10:00", 2500)
            .BagTakenDown("12:00", 1900)
            .Urine("12:00", 40);
        Assert.Equal([Ml(400), Ml(0), Ml(0)], Instilled(ward));
    }

    [Fact]
    public void A_pump_that_came_after_the_bag_was_taken_down_did_not_deliver_it()
    {
        Assert.Equal(
            [Ml(1100)],
            Instilled(
                Opens("08:00")
                    .BagHung("08:00", 1000)
                    .BagTakenDown("10:00", 0)
                    .PumpTotal("10:30", 0)
                    .PumpTotal("11:30", 100)
                    .Emptied("11:30", 1150)
            )
        );
        // Nor did one that the bag before hung on.
        Assert.Equal(
            [Ml(300), Ml(1000)],
            Instilled(
                Opens("08:00")
                    .BagHung("08:00", 1000)
                    .PumpTotal("08:00", 0)
                    .PumpTotal("08:30", 300)
                    .BagHung("09:00", 1000)
                    .Urine("08:45", 20)
                    .BagTakenDown("11:00", 0)
                    .Emptied("11:00", 1100)
            )
        );
        // A counter read as the bag is taken down is that bag's.
        Assert.Equal(
            [Ml(0)],
            Instilled(Opens("08:00").BagHung("08:00", 1000).PumpTotal("10:00", 0).BagTakenDown("10:00", 0).Emptied("10:00", 50))
        );
        Assert.Equal(
            [Ml(1000)],
            Instilled(Opens("08:00").BagHung("08:00", 1000).BagTakenDown("10:00", 0).PumpTotal("10:01", 0).Emptied("10:01", 1050))
        );
    }

    [Fact]
    public void What_a_pump_delivered_before_its_counter_was_first_read_is_unknown_and_not_nothing()
    {
        var first = Opens("08:00")
            .BagHung("08:00", 3000)
            .PumpTotal("10:00", 900)
            .Emptied("10:00", 1000)
            .PumpTotal("11:00", 1300)
            .Emptied("11:00", 450);
        Assert.Equal([null, Ml(50)], Intervals(first).Select(i => i.Output?.Headline));
        Assert.Equal(
            (AbsentReason.IrrigantUnknown, true),
            (Intervals(first)[0].Absent!.Value, Intervals(first)[0].Caveats.Contains(Caveat.IrrigantUnknown))
        );
        // A counter that shows nothing says that nothing ran, and a charted flow says what did.
        Assert.Equal(
            [Ml(0), Ml(400)],
            Instilled(
                Opens("08:00")
                    .BagHung("08:00", 3000)
                    .PumpTotal("10:00", 0)
                    .Emptied("10:00", 90)
                    .PumpTotal("11:00", 400)
                    .Emptied("11:00", 450)
            )
        );
        Assert.Equal(
            [Ml(800), Ml(400)],
            Instilled(
                Opens("08:00")
                    .BagHung("08:00", 3000)
                    .Flow("08:00", 400)
                    .PumpTotal("10:00", 900)
                    .Emptied("10:00", 900)
                    .PumpTotal("11:00", 1300)
                    .Emptied("11:00", 450)
            )
        );
    }

    [Fact]
    public void A_counter_that_stood_still_counted_nothing_and_was_not_reset()
    {
        var ward = Opens("08:00")
            .PumpTotal("08:00", 400)
            .PumpTotal("09:00", 400)
            .Emptied("09:00", 30)
            .PumpTotal("10:00", 700)
            .Emptied("10:00", 350);
        Assert.Equal([Ml(0), Ml(300)], Instilled(ward));
        Assert.All(Intervals(ward), i => Assert.Empty(i.Caveats.Where(c => c is Caveat.PumpCounterReset)));
        Assert.Equal(
            [(Ml(400), Ml(400)), (Ml(400), Ml(700))],
            Intervals(ward).Select(i => (i.Parts[0].Readings!.Before, i.Parts[0].Readings!.After))
        );
        var restarted = Opens("08:00")
            .PumpTotal("08:00", 400)
            .PumpTotal("09:00", 150, restarted: true)
            .Emptied("09:00", 180)
            .Interval("09:00");
        Assert.Equal((Ml(0), Ml(150)), (restarted.Parts[0].Readings!.Before, restarted.Parts[0].Readings!.After));
    }

    [Fact]
    public void Only_the_first_total_of_an_episode_has_no_known_start()
    {
        bool[] Unknown(Ward ward) => [.. Intervals(ward).Select(i => i.Caveats.Contains(Caveat.IrrigantStartUnknown))];
        Assert.Equal(
            [true, false],
            Unknown(Opens("08:00").Instilled("10:00", 100).Emptied("10:00", 130).Instilled("11:00", 100).Emptied("11:00", 130))
        );
        Assert.Equal([false], Unknown(Opens("08:00").Instilled("10:00", 100, from: "09:00").Emptied("10:00", 130)));
        Assert.Equal([false, false], Unknown(Opens("08:00").Urine("09:00", 1).Instilled("10:00", 100).Emptied("10:00", 130)));
    }

    [Fact]
    public void A_total_beside_a_hanging_bag_is_two_measures_of_one_line()
    {
        Ward Bag(string hung) => Opens("08:00").BagHung(hung, 1000).Instilled("10:00", 100, from: "09:00").Emptied("10:00", 130);
        Assert.Contains(Caveat.TwoMeasuresOnOneLine, Bag("08:00").Interval("10:00").Caveats);
        Assert.DoesNotContain(Caveat.TwoMeasuresOnOneLine, Bag("10:00").Interval("10:00").Caveats);
        Assert.DoesNotContain(
            Caveat.TwoMeasuresOnOneLine,
            Opens("08:00")
                .BagHung("08:00", 1000)
                .BagTakenDown("09:00", 0)
                .Instilled("10:00", 100, from: "09:00")
                .Emptied("10:00", 1130)
                .Interval("10:00")
                .Caveats
        );
    }

    // A flow off by x in the middle is right again at both ends: x · p · (1 − p); 4000 mL in 4 h are 50 mL in 3 min, and 3 mL of urine.
    [Theory]
    [InlineData(true, 0.2)]
    [InlineData(false, 0.4)]
    public void A_reading_within_a_bag_is_doubted_for_the_shape_of_the_flow_and_for_its_time(bool charted, double drift)
    {
        var ward = Opens("22:00")
            .BagHung("22:00", 4000)
            .Emptied("23:00", 1050)
            .Emptied("+1 01:00", 2050)
            .BagTakenDown("+1 02:00", 0)
            .Emptied("+1 02:00", 1050);
        if (charted)
            ward.Flow("22:00", 1000);
        var only = Exact with { ChartedFlowDrift = 0.2m, UnchartedFlowDrift = 0.4m, ReadingTime = 3 };
        var budgets = ward.Balance(only)[FluidBalance.Bladder].Select(i => i.Worked!.Value.Errors.Contributions).ToList();
        IEnumerable<double> Of(ErrorSource source) => budgets.Select(b => Math.Round(b.GetValueOrDefault(source), 6));
        var bow = Math.Round(drift / Math.Sqrt(3) * 4000 * 0.1875, 6); // ¼ · ¾
        // What ran in too much counts as too little urine.
        Assert.Equal([-bow, 0, bow], Of(new("shape of", "ward", "e1")));
        Assert.Equal([-53, 53, 0], Of(new("time of the reading at", At: ward.At("23:00"))));
        Assert.Equal([0, -53, 53], Of(new("time of the reading at", At: ward.At("+1 01:00"))));
    }

    [Fact]
    public void The_flow_gives_the_shape_and_the_bag_the_amount()
    {
        (SpreadBy, decimal, decimal)? By(Ward ward) => ward.Interval("23:00").Parts[0].Spread is { } s ? (s.By, s.Share, s.Whole) : null;
        Ward Bag(params (string Clock, decimal Rate)[] flows) =>
            flows
                .Aggregate(
                    Opens("21:00").Urine("22:00", 1).BagHung("22:00", 1800).Emptied("23:00", 1000),
                    (ward, f) => ward.Flow(f.Clock, f.Rate)
                )
                .BagTakenDown("+1 00:00", 0)
                .Emptied("+1 00:00", 1900);

        var halves = Bag(("21:00", 500), ("23:00", 1000)).Balance()[FluidBalance.Bladder].Skip(1).Select(i => i.Parts[0]).ToList();
        Assert.Equal(
            [(Ml(1800), Ml(600), 500m), (Ml(1800), Ml(1200), 1000m)],
            halves.Select(p => (p.Whole!.Value, p.Amount!.Value, p.Spread!.Share))
        );

        // Set before the bag was hung, and faster from 23:00: 500 of 1500 mL by the flow, so a third of the 1800 that ran.
        Assert.Equal(
            (Ml(600), (SpreadBy.ChartedFlow, 500, 1500)),
            (Bag(("21:00", 500), ("23:00", 1000)).Interval("23:00").Instilled, By(Bag(("21:00", 500), ("23:00", 1000))))
        );
        // First charted on the way: it runs from then on, and not from its hanging: 250 of 1250 mL by the flow.
        Assert.Equal(
            (Ml(360), (SpreadBy.ChartedFlow, 250, 1250)),
            (Bag(("22:30", 500), ("23:00", 1000)).Interval("23:00").Instilled, By(Bag(("22:30", 500), ("23:00", 1000))))
        );
        Assert.Equal((Ml(0), (SpreadBy.ChartedFlow, 0, 400)), (Bag(("23:00", 400)).Interval("23:00").Instilled, By(Bag(("23:00", 400)))));
        // Several before it: the last of them holds.
        Assert.Equal(Ml(600), Bag(("21:00", 7), ("21:30", 500), ("23:00", 1000)).Interval("23:00").Instilled);
        // Stopped all the time, or charted only when the bag was down: by time.
        Assert.Equal((Ml(900), (SpreadBy.ElapsedTime, 1, 2)), (Bag(("22:00", 0)).Interval("23:00").Instilled, By(Bag(("22:00", 0)))));
        Assert.Equal(
            (Ml(900), (SpreadBy.ElapsedTime, 1, 2)),
            (Bag(("+1 00:00", 400)).Interval("23:00").Instilled, By(Bag(("+1 00:00", 400))))
        );
        // Stopped from 23:00 on: all of it ran before.
        Assert.Equal(Ml(1800), Bag(("22:00", 100), ("23:00", 0)).Interval("23:00").Instilled);
    }

    [Fact]
    public void What_ran_into_a_bladder_ran_while_the_drain_was_open()
    {
        Volume?[] Hours(Ward ward) =>
            [.. new[] { ("10:00", "11:00"), ("11:00", "12:00"), ("12:00", "13:00") }.Select(h => ward.Window(h.Item1, h.Item2).Instilled)];
        Ward Total(params (string On, string? Off)[] clamps) =>
            clamps
                .Aggregate(
                    Opens("09:00").Instilled("13:00", 600, from: "10:00"),
                    (ward, c) => c.Off is { } off ? ward.Clamp(c.On).Release(off) : ward.Clamp(c.On)
                )
                .Emptied("15:00", 700);

        Assert.Equal([Ml(200), Ml(200), Ml(200)], Hours(Total()));
        Assert.Equal([Ml(300), Ml(0), Ml(300)], Hours(Total(("11:00", "12:00"))));
        Assert.Equal([Ml(0), Ml(300), Ml(300)], Hours(Total(("09:30", "11:00")))); // shut before it began
        Assert.Equal([Ml(300), Ml(300), Ml(0)], Hours(Total(("12:00", "14:00")))); // and after it ended
        Assert.Equal([Ml(200), Ml(0), Ml(400)], Hours(Total(("10:30", null), ("11:00", "12:00")))); // clamped twice, released once
        Assert.Equal([Ml(240), Ml(120), Ml(240)], Hours(Total(("11:00", "11:15"), ("11:30", "11:45")))); // two quarters of an hour
        // Shut all the time: then the charting is wrong, and the total is spread over the time.
        Assert.Equal([Ml(200), Ml(200), Ml(200)], Hours(Total(("09:30", "14:00"))));
    }

    [Fact]
    public void The_share_by_unclamped_time_says_of_how_much()
    {
        var ward = Opens("09:00")
            .Instilled("13:00", 600, from: "10:00")
            .Emptied("11:00", 400)
            .Clamp("11:00")
            .Release("12:00")
            .Emptied("13:00", 400);
        var spread = ward.Interval("11:00").Parts[0].Spread!;
        Assert.Equal((SpreadBy.UnclampedTime, 1m, 2m), (spread.By, spread.Share, spread.Whole));
        Assert.Null(Opens("09:00").Instilled("10:00", 600, from: "09:00").Emptied("10:00", 700).Interval("10:00").Parts[0].Spread);
    }

    [Fact]
    public void How_fast_a_line_runs_is_what_was_charted_of_it_last()
    {
        var ward = Opens("08:00");
        decimal? Flow(Ward w, string clock) => w.Balance().FlowAt("1", ward.At(clock))?.MillilitresPerHour;
        Assert.Equal(0, Flow(ward, "09:00")); // no word of a line
        Assert.Null(Flow(Opens("08:00").BagHung("08:00", 1000), "09:00"));
        Assert.Equal(120, Flow(Opens("08:00").BagHung("08:00", 1000).Flow("08:30", 120), "09:00"));
        Assert.Null(Flow(Opens("08:00").BagHung("08:00", 1000).Flow("09:30", 120), "09:00")); // not yet
        Assert.Equal(0, Flow(Opens("08:00").BagHung("08:00", 1000).Flow("08:30", 120).BagTakenDown("09:00", 0), "09:00"));
        Assert.Equal(120, Flow(Opens("08:00").BagTakenDown("08:10", 0).Flow("08:30", 120).PumpTotal("08:40", 5), "09:00"));
        Assert.Equal(120, Flow(Opens("08:00").BagTakenDown("08:10", 0).Flow("08:30", 120).Instilled("08:40", 5), "09:00"));
        Assert.Equal(
            0,
            Flow(Opens("08:00").BagTakenDown("08:40", 0).Flow("08:30", 120).PumpTotal("08:40", 5).Instilled("08:40", 5), "09:00")
        );
        Assert.Null(Flow(Opens("08:00").PumpTotal("08:40", 5), "09:00"));
        Assert.Null(Flow(Opens("08:00").Instilled("08:40", 5), "09:00"));
        Assert.Equal(0, Flow(Opens("08:00").PumpTotal("08:40", 5).Urine("08:50", 5), "09:00"));
        Assert.Equal(0, Flow(Opens("08:00").Instilled("08:40", 5).Urine("08:50", 5), "09:00"));
        Assert.Null(Flow(Opens("08:00").PumpTotal("08:40", 5).Urine("08:40", 5), "09:00"));
        Assert.Null(Flow(Opens("08:00").PumpTotal("08:30", 5).Urine("08:40", 5).Instilled("08:50", 5), "09:00"));
        Assert.Null(Flow(Opens("08:00").Instilled("08:30", 5).Urine("08:40", 5).PumpTotal("08:50", 5), "09:00"));
        Assert.Equal(
            (true, false, false),
            (Hangs(Opens("08:00").BagRead("08:10", 5)), Hangs(Opens("08:00").BagRead("08:10", 5).BagTakenDown("08:20", 0)), Hangs(ward))
        );

        bool Hangs(Ward w) => w.Balance().BagHangs("1", ward.At("09:00"));
    }

    private static IReadOnlyList<ClosedInterval> Intervals(Ward ward) => ward.Balance()[FluidBalance.Bladder];

    private static IEnumerable<Volume> Instilled(Ward ward) => Intervals(ward).Select(i => i.Instilled!.Value);
}
