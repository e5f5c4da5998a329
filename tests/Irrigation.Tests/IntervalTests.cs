using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>A closed interval: what it says of itself, and what a part of it is worth.</summary>
public class IntervalTests
{
    private static readonly MeasuringCharacters OnlyDrift = Exact with { UrineDrift = 0.5m };

    [Theory] // production that drifts by ± 50 % is off by 50 % / √3 · p · (1 − p) at the fraction p: a bow that ends where it began
    [InlineData("08:00", "09:00", 100, 0.1875)] // ¼ · ¾
    [InlineData("09:00", "12:00", 300, -0.1875)] // the rest has it with the other sign
    [InlineData("08:00", "10:00", 200, 0.25)] // ½ · ½
    [InlineData("10:00", "11:00", 100, -0.0625)] // ¾ · ¼ − ½ · ½
    [InlineData("09:00", "11:00", 200, 0)] // as much at its end as at its start
    [InlineData("08:00", "12:00", 400, 0)]
    [InlineData("06:00", "14:00", 400, 0)]
    [InlineData("06:00", "09:00", 100, 0.1875)]
    [InlineData("11:00", "14:00", 100, -0.1875)]
    [InlineData("06:00", "07:00", 0, 0)]
    [InlineData("13:00", "14:00", 0, 0)]
    public void A_share_by_time_is_doubted_most_in_the_middle(string from, string to, decimal share, double bow)
    {
        var ward = Opens("08:00").Urine("12:00", 400);
        var interval = ward.Balance(OnlyDrift)[FluidBalance.Bladder].Single();
        var worked = interval.WorkedBetween(ward.At(from), ward.At(to), 0.5m)!.Value;
        Assert.Equal(
            (Ml(share), Ml(share), Ml(share)),
            (worked.Charted, worked.Best, interval.OutputBetween(ward.At(from), ward.At(to))!.Value)
        );
        Assert.Equal(
            bow * 400 * 0.5 / Math.Sqrt(3),
            worked.Errors.Contributions.GetValueOrDefault(new("apportioning of", "bladder", At: ward.At("12:00"))),
            9
        );
    }

    [Fact]
    public void The_doubt_of_a_share_is_the_same_share_of_the_doubt()
    {
        var ward = Opens("08:00").Urine("12:00", 400, UrineRoute.Void);
        var interval = ward.Balance(Exact with { Jug = new(0, 0, 40, 0, "± 40 mL, for the test") })[FluidBalance.Bladder].Single();
        double Doubt(string from, string to) =>
            interval.WorkedBetween(ward.At(from), ward.At(to), 0)!.Value.Errors.Contributions.Values.Sum() * Math.Sqrt(3);
        Assert.Equal(
            [40, 10, 30, 20],
            new[] { Doubt("08:00", "12:00"), Doubt("08:00", "09:00"), Doubt("09:00", "12:00"), Doubt("09:00", "11:00") }.Select(d =>
                Math.Round(d, 9)
            )
        );
    }

    [Fact]
    public void What_is_unknown_has_no_shares()
    {
        var ward = Opens("22:00").BagHung("22:00", 3000).Emptied("+1 00:00", 1060);
        var interval = ward.Interval("+1 00:00");
        Assert.Null(interval.OutputBetween(ward.At("22:00"), ward.At("23:00")));
        Assert.Null(interval.WorkedBetween(ward.At("22:00"), ward.At("23:00"), 0.5m));
    }

    [Fact]
    public void Two_intervals_are_the_same_where_all_that_they_say_is()
    {
        var ward = Opens("08:00").Flow("08:00", 100).Emptied("10:00", 260);
        var interval = ward.Interval("10:00");
        Assert.Equal(interval, ward.Interval("10:00"));
        Assert.Equal(interval.GetHashCode(), ward.Interval("10:00").GetHashCode());
        Assert.NotEqual(interval, interval with { Status = OutputStatus.Amended });
        Assert.NotEqual(interval, interval with { Caveats = [] });
        Assert.NotEqual(interval, interval with { AssumedZero = [] });
        Assert.NotEqual(interval, interval with { Parts = [] });
        Assert.NotEqual(interval, interval with { Parts = [], Caveats = [], AssumedZero = [] });
        Assert.False(interval.Equals(null));
    }

    [Fact]
    public void What_nobody_measured_is_named_as_taken_for_nothing()
    {
        BalanceTerm[] Taken(Ward ward) => [.. ward.Interval("10:00").AssumedZero];
        Ward Plain() => Opens("08:00").Urine("10:00", 100);
        Assert.Equal([BalanceTerm.Absorbed, BalanceTerm.Blood, BalanceTerm.Leaked, BalanceTerm.RetainedChange], Taken(Plain()));
        Assert.Equal([BalanceTerm.Absorbed, BalanceTerm.Blood, BalanceTerm.RetainedChange], Taken(Plain().Leak("09:00", 10)));
        Assert.Equal(
            [BalanceTerm.Absorbed, BalanceTerm.Blood, BalanceTerm.Leaked],
            Taken(Plain().Urine("09:00", 10).Scan("09:00", 0).Scan("10:00", 20))
        );
        Assert.Equal(
            [BalanceTerm.Absorbed, BalanceTerm.Blood],
            Taken(Plain().Urine("09:00", 10).Scan("09:00", 0).Scan("10:00", 20).Leak("09:30", 5))
        );
    }

    [Fact]
    public void An_interval_with_nothing_amiss_has_no_caveats()
    {
        var interval = Opens("08:00").Urine("14:00", 100).Interval("14:00"); // six hours are not yet a gap
        Assert.Empty(interval.Caveats);
        Assert.Equal(
            (OutputStatus.Final, null, Ml(0), Ml(100), Ml(100)),
            (interval.Status, interval.Absent, interval.Instilled, interval.Drained, interval.Urine)
        );
        Assert.Equal((null, null), (interval.RetainedChange, interval.Leaked));
        Assert.Contains(Caveat.Gap, Opens("08:00").Urine("14:01", 100).Interval("14:01").Caveats);
    }

    [Fact]
    public void Irrigant_that_is_unknown_for_good_is_told_from_what_is_still_to_be_read()
    {
        var unknown = Opens("22:00").BagHung("22:00", 3000).BagTakenDown("23:00", null).Emptied("23:00", 1060).Interval("23:00");
        Assert.Equal(
            (AbsentReason.IrrigantUnknown, OutputStatus.Final, true),
            (unknown.Absent!.Value, unknown.Status, unknown.Caveats.Contains(Caveat.IrrigantUnknown))
        );
        var unread = Opens("22:00").BagHung("22:00", 3000).Emptied("23:00", 1060).Interval("23:00");
        Assert.Equal(
            (AbsentReason.IrrigantNotReadYet, OutputStatus.Preliminary, false),
            (unread.Absent!.Value, unread.Status, unread.Caveats.Contains(Caveat.IrrigantUnknown))
        );
        var known = Opens("22:00").BagHung("22:00", 3000).Flow("22:00", 1000).Emptied("23:00", 1060).Interval("23:00");
        Assert.Equal((null, false), (known.Absent, known.Caveats.Contains(Caveat.IrrigantUnknown)));
    }

    [Fact]
    public void An_output_of_nothing_is_not_negative() =>
        Assert.DoesNotContain(
            Caveat.NegativeOutput,
            Opens("08:00").Instilled("10:00", 500, from: "08:00").Emptied("10:00", 500).Interval("10:00").Caveats
        );

    [Fact]
    public void Only_irrigant_without_any_drainage_wants_its_drainage()
    {
        var given = Opens("08:00").Instilled("09:00", 0, from: "08:00").Urine("09:00", 10);
        Assert.DoesNotContain(Caveat.DrainageNotCharted, given.Interval("09:00").Caveats);
        Assert.Contains(Caveat.DrainageNotCharted, given.Instilled("10:00", 1, from: "09:00").Urine("10:00", 10).Interval("10:00").Caveats);
    }

    [Fact]
    public void An_interval_says_when_the_drain_was_clamped_in_it()
    {
        bool Dwell(Ward ward, string clock) => ward.Interval(clock).Caveats.Contains(Caveat.DwellInProgress);
        var ward = Opens("08:00")
            .Urine("09:00", 10)
            .Clamp("09:30")
            .Release("09:40")
            .Urine("10:00", 10)
            .Clamp("10:00")
            .Release("11:00")
            .Urine("12:00", 10)
            .Urine("13:00", 10);
        Assert.Equal([false, true, true, false], new[] { "09:00", "10:00", "12:00", "13:00" }.Select(clock => Dwell(ward, clock)));
        // A clamp put on at the very end is of the next.
        Assert.False(Dwell(Opens("08:00").Urine("09:00", 10).Clamp("10:00").Urine("10:00", 10), "10:00"));
        Assert.False(Dwell(Opens("08:00").Release("08:30").Urine("09:00", 10), "09:00"));
    }

    [Fact]
    public void The_working_names_each_entry_with_its_time_and_its_amount()
    {
        var ward = Opens("08:00")
            .Flow("08:00", 100)
            .Emptied("09:00", 100)
            .Leak("09:30", 20)
            .Scan("09:00", 10)
            .Urine("10:00", 40)
            .Emptied("10:00", 130)
            .Scan("10:00", 5);
        Assert.Equal(
            [
                (PartKind.IrrigantFromRate, "e1", ward.At("09:00"), ward.At("10:00"), Ml(100), Ml(100)),
                (PartKind.Drainage, "e6", ward.At("09:00"), ward.At("10:00"), Ml(130), Ml(130)),
                (PartKind.Urine, "e5", ward.At("09:00"), ward.At("10:00"), Ml(40), Ml(40)),
                (PartKind.Leak, "e3", ward.At("09:30"), ward.At("09:30"), Ml(20), Ml(20)),
                (PartKind.Retained, "e4", ward.At("09:00"), ward.At("09:00"), Ml(10), Ml(10)),
                (PartKind.Retained, "e7", ward.At("10:00"), ward.At("10:00"), Ml(5), Ml(5)),
            ],
            ward.Interval("10:00").Parts.Select(p => (p.Kind, p.Entry.Id, p.Start, p.End, p.Whole!.Value, p.Amount!.Value))
        );
        // 130 + 40 − 100 + (5 − 10) + 20
        Assert.Equal(
            (Ml(85), Ml(-5), Ml(20), Ml(40)),
            (
                ward.Interval("10:00").Output!.Headline,
                ward.Interval("10:00").RetainedChange,
                ward.Interval("10:00").Leaked,
                ward.Interval("10:00").Urine
            )
        );
    }

    [Fact]
    public void Several_leaks_of_one_interval_add_up()
    {
        var interval = Opens("08:00")
            .Urine("09:00", 0)
            .Leak("09:00", 500)
            .Leak("09:10", 30)
            .Leak("10:00", 25)
            .Urine("10:00", 10)
            .Interval("10:00");
        Assert.Equal((Ml(55), Ml(65)), (interval.Leaked, interval.Output!.Headline)); // the 500 mL leaked before
    }

    [Fact]
    public void A_stream_outside_the_bladder_runs_from_reading_to_reading()
    {
        var ward = Opens("08:00")
            .Urine("08:00", 99, UrineRoute.RightNephrostomy)
            .Urine("10:00", 60, UrineRoute.RightNephrostomy)
            .Urine("10:00", 5, UrineRoute.RightNephrostomy)
            .Urine("16:30", 200, UrineRoute.RightNephrostomy);
        var intervals = ward.Balance()["right-nephrostomy"];
        Assert.Equal(
            [(ward.At("08:00"), ward.At("10:00"), Ml(65)), (ward.At("10:00"), ward.At("16:30"), Ml(200))],
            intervals.Select(i => (i.Start, i.End, i.Output!.Headline))
        );
        Assert.All(
            intervals,
            i =>
                Assert.Equal([i.Output!.Headline, i.Output.Headline, i.Output.Headline, Ml(0)], [i.Simple, i.Drained, i.Urine, i.Instilled])
        );
        Assert.Empty(intervals[0].Caveats);
        Assert.Equal([Caveat.Gap], intervals[1].Caveats.AsEnumerable());
        Assert.Equal([("e2", Ml(60)), ("e3", Ml(5))], intervals[0].Parts.Select(p => (p.Entry.Id, p.Amount!.Value)));
        Assert.All(intervals[0].Parts, p => Assert.Equal((PartKind.Urine, ward.At("08:00"), ward.At("10:00")), (p.Kind, p.Start, p.End)));
        Assert.Empty(ward.Balance()[FluidBalance.Bladder]);
    }

    [Fact]
    public void The_first_reading_of_a_route_tells_of_six_hours_at_most_and_not_of_the_time_before_the_episode()
    {
        var late = Opens("00:00").Urine("10:00", 60, UrineRoute.IlealConduit);
        var early = Opens("08:00").Urine("10:00", 60, UrineRoute.IlealConduit);
        Assert.Equal(
            (late.At("04:00"), early.At("08:00")),
            (late.Balance()["ileal-conduit"].Single().Start, early.Balance()["ileal-conduit"].Single().Start)
        );
        Assert.All(
            new[] { early, late },
            ward => Assert.Equal([Caveat.RouteStartUnknown], ward.Balance()["ileal-conduit"].Single().Caveats.AsEnumerable())
        ); // six hours are no gap
    }

    [Fact]
    public void A_route_says_so_when_a_reading_of_it_is_late_wrong_or_too_large_to_be_true()
    {
        Ward Route(decimal ml, string? recordedAt = null) =>
            Opens("08:00").Urine("08:00", 1, UrineRoute.LeftUreteralStent).Urine("10:00", ml, UrineRoute.LeftUreteralStent, recordedAt);
        ClosedInterval Of(Ward ward) => ward.Balance()["left-ureteral-stent"].Single();
        Assert.Equal((OutputStatus.Final, 0), (Of(Route(10_000)).Status, Of(Route(10_000)).Caveats.Length));
        Assert.Equal([Caveat.ImplausibleVolume], Of(Route(10_001)).Caveats.AsEnumerable());
        Assert.Equal([Caveat.LateEntry], Of(Route(50, "11:01")).Caveats.AsEnumerable());
        Assert.Empty(Of(Route(50, "11:00")).Caveats);

        var wrong = Route(500);
        wrong.Chart(new UrineCollected(wrong.Header("10:00", id: "e2"), UrineRoute.LeftUreteralStent, Ml(50)));
        Assert.Equal((OutputStatus.Corrected, Caveat.CorrectedEntry), (Of(wrong).Status, Of(wrong).Caveats.Single()));
        // What was wrong on one side is no correction of the other, nor of the bladder.
        wrong.Urine("10:00", 30, UrineRoute.RightUreteralStent).Urine("10:00", 20);
        Assert.Equal(
            (OutputStatus.Final, OutputStatus.Final),
            (wrong.Balance()["right-ureteral-stent"].Single().Status, wrong.Interval("10:00").Status)
        );
    }

    [Fact]
    public void The_best_estimate_of_a_route_may_be_the_headline_too()
    {
        var ward = Opens("08:00").Urine("10:00", 100, UrineRoute.LeftNephrostomy);
        var interval = ward.Balance()["left-nephrostomy"].Single();
        Assert.NotNull(interval.Output!.Interval95); // nothing about it is uncharted
    }

    [Fact]
    public void Streams_are_told_the_bladder_first()
    {
        var ward = Opens("08:00")
            .Urine("09:00", 1, UrineRoute.RightNephrostomy)
            .Urine("09:00", 1, UrineRoute.IlealConduit)
            .Urine("09:00", 1, UrineRoute.LeftNephrostomy)
            .Urine("09:00", 1);
        Assert.Equal(["bladder", "ileal-conduit", "left-nephrostomy", "right-nephrostomy"], ward.Balance().Streams);
        Assert.Empty(Opens("08:00").Balance().Streams);
    }

    [Fact]
    public void Of_a_time_there_are_the_intervals_that_reach_into_it()
    {
        var ward = Opens("08:00").Urine("09:00", 1).Urine("10:00", 2).Urine("11:00", 3);
        IEnumerable<Volume> Reaching(string from, string to) =>
            ward.Balance().Reaching(FluidBalance.Bladder, ward.At(from), ward.At(to)).Select(i => i.Output!.Headline);
        Assert.Equal([Ml(2)], Reaching("09:00", "10:00"));
        Assert.Equal([Ml(1), Ml(2), Ml(3)], Reaching("08:59", "10:01"));
        Assert.Equal([Ml(3)], Reaching("10:30", "14:00"));
        Assert.Empty(Reaching("11:00", "14:00"));
    }

    [Fact]
    public void A_correction_shows_where_the_number_rests_on_it()
    {
        // The bag's last reading covers both halves: put right, it makes the second a correction; of the first it is a later measure.
        var ward = Opens("22:00").BagHung("22:00", 3000).Emptied("23:00", 1060).BagTakenDown("+1 01:00", 100).Emptied("+1 01:00", 2120);
        ward.Chart(new BagTakenDown(ward.Header("+1 01:00", id: "e3"), "1", Ml(0)));
        Assert.Equal(
            [(OutputStatus.Final, false), (OutputStatus.Corrected, true)],
            ward.Balance()[FluidBalance.Bladder].Select(i => (i.Status, i.Caveats.Contains(Caveat.CorrectedEntry)))
        );
    }

    [Fact]
    public void What_was_withdrawn_is_a_correction_of_the_time_it_spoke_of()
    {
        var ward = Opens("08:00").Urine("09:00", 50).Urine("10:00", 60).Urine("11:00", 70).Leak("10:00", 500).Withdraw("e4", "11:30");
        Assert.Equal(
            [OutputStatus.Final, OutputStatus.Corrected, OutputStatus.Final],
            ward.Balance()[FluidBalance.Bladder].Select(i => i.Status)
        );
    }

    [Fact]
    public void Two_corrections_of_one_interval_do_not_undo_one_another()
    {
        var ward = Opens("08:00").Urine("10:00", 60).Leak("09:00", 500).Leak("09:30", 400).Withdraw("e2", "11:00").Withdraw("e3", "11:00");
        Assert.Equal(OutputStatus.Corrected, ward.Interval("10:00").Status);
        // Nor do two leaks that were both remembered late, nor two openings.
        var late = Opens("08:00").Urine("10:00", 60, recordedAt: "10:05");
        late.Chart(new LeakEstimated(late.Header("09:00", recordedAt: "10:30"), Ml(5)))
            .Chart(new LeakEstimated(late.Header("09:30", recordedAt: "10:30"), Ml(5)));
        Assert.Equal(OutputStatus.Amended, late.Interval("10:00").Status);
        var opened = Opens("08:00")
            .Urine("09:00", 60, recordedAt: "11:30")
            .Urine("09:00", 20, UrineRoute.Void, recordedAt: "11:30")
            .Urine("10:00", 60, recordedAt: "10:05");
        Assert.Equal(OutputStatus.Amended, opened.Interval("10:00").Status);
    }

    [Fact]
    public void A_reading_that_was_charted_for_another_time_corrects_the_time_it_is_of()
    {
        var ward = Opens("08:00")
            .Flow("08:00", 0)
            .Urine("09:00", 50)
            .Emptied("13:00", 60, id: "moved")
            .Emptied("10:00", 60, id: "moved")
            .Urine("12:00", 40);
        Assert.Equal(
            [OutputStatus.Final, OutputStatus.Corrected, OutputStatus.Final],
            ward.Balance()[FluidBalance.Bladder].Select(i => i.Status)
        );
    }

    [Fact]
    public void A_scan_that_was_charted_late_is_late_where_it_was_taken_and_not_where_it_is_compared_with()
    {
        var ward = Opens("08:00")
            .Urine("09:00", 50)
            .Chart(new BladderScanned(Opens("08:00").Header("09:00", recordedAt: "11:00", id: "scan"), Ml(20)))
            .Urine("10:00", 60)
            .Scan("10:00", 30);
        Assert.Equal([true, false], ward.Balance()[FluidBalance.Bladder].Select(i => i.Caveats.Contains(Caveat.LateEntry)));
    }

    [Fact]
    public void What_does_not_move_fluid_corrects_no_interval_when_it_is_withdrawn()
    {
        var ward = Opens("08:00").Urine("10:00", 60).Weighs("09:00", 70).Withdraw("e2", "09:30");
        Assert.Equal(OutputStatus.Final, ward.Interval("10:00").Status);

        Entry[] fluids =
        [
            new BagHung(ward.Header("09:00", id: "x"), "1", Ml(1000), null, null, null, null),
            new BagRead(ward.Header("09:00", id: "x"), "1", Ml(500)),
            new BagTakenDown(ward.Header("09:00", id: "x"), "1", Ml(0)),
            new IrrigantInstilled(ward.Header("09:00", id: "x"), "1", Ml(100)),
            new FlowSet(ward.Header("09:00", id: "x"), "1", FlowRate.Stopped, null, null),
            new PumpTotalRead(ward.Header("09:00", id: "x"), "1", Ml(5), false),
            new DrainageEmptied(ward.Header("09:00", id: "x"), "1", Ml(5)),
            new DrainageLevelRead(ward.Header("09:00", id: "x"), "1", Ml(5)),
            new DrainageWeighed(ward.Header("09:00", id: "x"), "1", Mass.FromGrams(5), null, null, true),
            new UrineCollected(ward.Header("09:00", id: "x"), UrineRoute.Void, Ml(5)),
            new LeakEstimated(ward.Header("09:00", id: "x"), Ml(5)),
            new DrainClamped(ward.Header("09:00", id: "x")),
            new DrainReleased(ward.Header("09:00", id: "x")),
            new BladderScanned(ward.Header("09:00", id: "x"), Ml(5)),
        ];
        Assert.All(
            fluids,
            fluid =>
                Assert.Equal(
                    OutputStatus.Corrected,
                    Opens("08:00").Urine("10:00", 60).Chart(fluid).Withdraw("x", "09:30").Interval("10:00").Status
                )
        );
        Assert.All(
            fluids,
            fluid =>
                Assert.Equal(
                    OutputStatus.Final,
                    Opens("08:00")
                        .Urine("10:00", 60)
                        .Chart(fluid with { Header = fluid.Header with { Purpose = Purpose.Test } })
                        .Withdraw("x", "09:30")
                        .Interval("10:00")
                        .Status
                )
        );
    }

    [Fact]
    public void Late_is_what_was_charted_more_than_an_hour_after_it_was()
    {
        // The bag's late hanging is of the first hour, not of those that go on measuring from it.
        var ward = Opens("08:00");
        ward.Chart(new BagHung(ward.Header("08:00", recordedAt: "09:30"), "1", Ml(3000), null, null, null, Ml(0)));
        ward.Chart(new BagRead(ward.Header("09:00", recordedAt: "11:00"), "1", Ml(2500)))
            .Emptied("09:00", 560, recordedAt: "09:10")
            .BagRead("10:00", 2000)
            .Emptied("10:00", 560, recordedAt: "11:00");
        Assert.Equal([true, false], ward.Balance()[FluidBalance.Bladder].Select(i => i.Caveats.Contains(Caveat.LateEntry)));
    }

    [Fact]
    public void A_number_is_amended_by_what_was_charted_after_its_closing_readings()
    {
        // A leak remembered at noon changes what had been complete at 10:05; one charted in time is part of it.
        Ward Leaked(string recordedAt)
        {
            var ward = Opens("08:00").Urine("10:00", 100, recordedAt: "10:05");
            return ward.Chart(new LeakEstimated(ward.Header("09:00", recordedAt: recordedAt), Ml(20)));
        }

        Assert.Equal(
            (OutputStatus.Final, OutputStatus.Final, OutputStatus.Amended),
            (Leaked("09:10").Interval("10:00").Status, Leaked("10:05").Interval("10:00").Status, Leaked("10:30").Interval("10:00").Status)
        );
    }

    [Fact]
    public void A_number_is_complete_when_the_last_of_its_closing_readings_is_known()
    {
        // The bag was read at the same time and charted at 11:00, with a leak at 10:30: nobody had the number before.
        var ward = Opens("08:00").BagHung("08:00", 3000);
        ward.Chart(new BagRead(ward.Header("10:00", recordedAt: "10:50"), "1", Ml(2000)))
            .Emptied("10:00", 1100, recordedAt: "10:05")
            .Chart(new LeakEstimated(ward.Header("09:00", recordedAt: "10:30"), Ml(20)));
        Assert.Equal(OutputStatus.Final, ward.Interval("10:00").Status);

        // A bag read before the closing reading completes nothing: charted later, it amends.
        var mid = Opens("08:00").BagHung("08:00", 3000);
        mid.Chart(new BagRead(mid.Header("09:00", recordedAt: "10:30"), "1", Ml(2500)))
            .Chart(new BagRead(mid.Header("10:00", recordedAt: "10:05"), "1", Ml(2000)))
            .Emptied("10:00", 1100, recordedAt: "10:05");
        Assert.Equal(OutputStatus.Amended, mid.Interval("10:00").Status);
    }

    [Fact]
    public void The_time_since_the_last_reading_is_open()
    {
        var ward = Opens("08:00").Flow("08:00", 100).Emptied("09:00", 130).Clamp("09:30");
        var balance = ward.Balance();
        Assert.Equal(
            (ward.At("09:00"), ward.At("09:15"), Ml(25), null),
            (Open("09:15").Start, Open("09:15").AsOf, Open("09:15").Instilled, Open("09:15").ClampedSince)
        );
        Assert.Equal([Caveat.IrrigantFromRate], Open("09:15").Caveats.AsEnumerable());
        Assert.Equal((Ml(100), ward.At("09:30")), (Open("10:00").Instilled, Open("10:00").ClampedSince));
        Assert.Equal([Caveat.IrrigantFromRate, Caveat.DwellInProgress], Open("10:00").Caveats.AsEnumerable());
        Assert.Equal((Ml(0), 0), (Open("09:00").Instilled, Open("09:00").Caveats.Length));
        Assert.Equal((ward.At("09:00"), Ml(0), 0), (Open("08:30").Start, Open("08:30").Instilled, Open("08:30").Caveats.Length));
        Assert.Null(Opens("08:00").BagHung("08:00", 3000).Balance().Open(ward.At("09:00")).Instilled);
        Assert.Equal(ward.At("08:00"), Opens("08:00").Balance().Open(ward.At("09:00")).Start);

        // At the very moment of the last closing point no time is open, not even of a dwell.
        var dwell = Opens("08:00").Clamp("09:00").Level("09:30", 40).Balance().Open(ward.At("09:00"));
        Assert.Equal((ward.At("09:00"), 0, ward.At("09:00")), (dwell.Start, dwell.Caveats.Length, dwell.ClampedSince));

        OpenInterval Open(string asOf) => balance.Open(ward.At(asOf));
    }

    [Fact]
    public void A_container_holds_what_was_last_read_in_it_and_nothing_once_it_was_emptied()
    {
        var ward = Opens("08:00")
            .Level("09:00", 300)
            .Emptied("10:00", 500)
            .Weighed("11:00", 201.2m, emptied: false)
            .Weighed("12:00", 503, emptied: true);
        (Volume, Instant)? In(string clock) => ward.Balance().InContainer("1", ward.At(clock));
        Assert.Null(In("08:59"));
        Assert.Equal((Ml(300), ward.At("09:00")), In("09:59"));
        Assert.Equal((Ml(0), ward.At("10:00")), In("10:00"));
        Assert.Equal((Ml(200), ward.At("11:00")), In("11:30")); // 201.2 g / 1.006
        Assert.Equal((Ml(0), ward.At("12:00")), In("13:00"));
    }

    [Fact]
    public void What_a_reading_says_ran_is_told_for_it_alone()
    {
        var ward = Opens("08:00")
            .BagHung("08:00", 3000, prime: 40)
            .BagRead("09:00", 2200)
            .BagTakenDown("11:00", 100)
            .PumpTotal("11:30", 1000, line: "2")
            .PumpTotal("12:30", 1450, line: "2")
            .Instilled("11:00", 50)
            .Emptied("12:30", 3400)
            .BagTakenDown("13:00", 0, line: "3");
        (Instant, Instant, Volume?)? Measured(int entry) =>
            ward.Balance().MeasuredBy(ward.Entries[entry]) is { } part ? (part.Start, part.End, part.Whole) : null;
        Assert.Null(Measured(0));
        Assert.Equal((ward.At("08:00"), ward.At("09:00"), Ml(760)), Measured(1)); // 3000 − 40 − 2200
        Assert.Equal((ward.At("09:00"), ward.At("11:00"), Ml(2100)), Measured(2));
        Assert.Null(Measured(3)); // a counter's first reading
        Assert.Equal((ward.At("11:30"), ward.At("12:30"), Ml(450)), Measured(4));
        Assert.Null(Measured(5));
        Assert.Null(Measured(6));
        Assert.Null(Measured(7)!.Value.Item3); // no telling what hung there
        Assert.Equal(PartKind.Irrigant, ward.Balance().MeasuredBy(ward.Entries[1])!.Kind);
        Assert.Null(ward.Balance().MeasuredBy(new BagRead(ward.Header("09:00", id: "elsewhere"), "9", Ml(5))));
    }
}
