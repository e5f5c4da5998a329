using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Runs;
using Irrigation.Tests.Flags;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Runs;

/// <summary>How runs and their cycles are found, and what is told of each.</summary>
public class RunsOfCyclesTests
{
    private static RunOfCycles Only(Ward ward, string asOf) => Assert.Single(All(ward, asOf));

    private static System.Collections.Immutable.ImmutableArray<RunOfCycles> All(Ward ward, string asOf) =>
        RunsOfCycles.Of(ward.Balance(), ward.At(asOf));

    private static IrrigantInstilled Given(Ward ward, string clock, decimal ml, string? run, int? cycle) =>
        new(ward.Header(clock, MeasuringWay.Syringe) with { Run = run, Cycle = cycle }, "1", Ml(ml));

    [Fact]
    public void Each_aliquot_is_a_cycle_with_what_was_read_before_the_next()
    {
        var run = Only(Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 12).Syringe("08:15", 30).Back("08:17", 35), "09:00");
        Assert.Equal([1, 2], run.Cycles.Select(cycle => cycle.Number));
        Assert.Equal([Ml(30), Ml(30)], run.Cycles.Select(cycle => cycle.In.Charted));
        Assert.Equal([Ml(12), Ml(35)], run.Cycles.Select(cycle => cycle.Back!.Value.Charted));
        Assert.Equal([Ml(18), Ml(-5)], run.Cycles.Select(cycle => cycle.Shortfall!.Value.Charted)); // 5 beyond: urine
        Assert.Equal([Duration.FromMinutes(3), Duration.FromMinutes(2)], run.Cycles.Select(cycle => cycle.Stayed!.Value));
        Assert.Equal((Ml(60), Ml(47), Ml(13)), (run.In.Charted, run.Back!.Value.Charted, run.Shortfall!.Value.Charted));
        Assert.Equal((FoundBy.Time, "intermittent-manual"), (run.Found, run.Method));
    }

    [Theory]
    [InlineData("08:42", 1)] // 29 min after the return of 08:13
    [InlineData("08:43", 2)]
    public void A_pause_of_half_an_hour_makes_another_run(string again, int runs) =>
        Assert.Equal(runs, All(Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 30).Syringe(again, 30), "09:00").Length);

    [Fact]
    public void A_dwell_however_long_is_no_pause()
    {
        var ward = Ward.Opens("08:00").Syringe("08:10", 50).Clamp("08:11").Release("09:11").Back("09:15", 60).Syringe("09:20", 50);
        var run = Only(ward, "09:30");
        Assert.Equal(2, run.Cycles.Length);
        Assert.Equal(("instillation-dwell", true), (run.Method, run.Cycles[0].Clamped));
        Assert.Equal(Duration.FromMinutes(61), run.Cycles[0].Stayed);
        Assert.Equal(Ml(-10), run.Cycles[0].Shortfall!.Value.Charted);
    }

    [Theory]
    [InlineData("09:10", true)]
    [InlineData("09:11", false)]
    public void What_is_read_later_than_an_hour_after_is_drainage_like_any_other(string read, bool isReturn) =>
        Assert.Equal(isReturn, Only(Ward.Opens("08:00").Syringe("08:10", 30).Emptied(read, 200), "10:00").Cycles[0].Back is not null);

    [Fact]
    public void What_the_sender_names_goes_before_the_time()
    {
        var ward = Ward.Opens("08:00");
        ward.Chart(Given(ward, "08:10", 30, "morning", 1)).Chart(Given(ward, "08:14", 30, "morning", 2));
        ward.Back("08:16", 28, run: "morning", cycle: 1).Back("08:18", 31, run: "morning", cycle: 2);
        ward.Chart(Given(ward, "08:20", 40, "evening", 1)).Back("08:21", 40, run: "evening", cycle: 1);
        var runs = All(ward, "09:00");
        Assert.Equal(["morning", "evening"], runs.Select(run => run.Name));
        Assert.Equal([Ml(28), Ml(31)], runs[0].Cycles.Select(cycle => cycle.Back!.Value.Charted));
        Assert.Equal(Ml(40), runs[1].Cycles[0].Back!.Value.Charted);
        Assert.All(runs, run => Assert.Equal((FoundBy.Name, FoundBy.Name), (run.Found, run.Cycles[0].Found)));
    }

    [Fact]
    public void An_aliquot_of_which_nobody_says_how_it_was_measured_is_taken_as_drawn_up_in_a_syringe()
    {
        var ward = Ward.Opens("08:00");
        ward.Chart(new IrrigantInstilled(ward.Header("08:10") with { Run = "a" }, "1", Ml(50)));
        var given = Only(ward, "09:00").In; // ±4 % of 50 over √3
        Assert.Equal((Ml(50), 1.1547m), (given.Best, Math.Round(given.Errors.StandardUncertainty.Millilitres, 4)));
    }

    [Fact]
    public void Two_syringes_of_one_named_cycle_are_one_cycle()
    {
        var ward = Ward.Opens("08:00");
        ward.Chart(Given(ward, "08:10", 30, "a", 1)).Chart(Given(ward, "08:11", 30, "a", 1)).Back("08:14", 55);
        Assert.Equal((Ml(60), Ml(5)), (Only(ward, "09:00").Cycles.Single().In.Charted, Only(ward, "09:00").Shortfall!.Value.Charted));
    }

    [Fact]
    public void A_return_read_only_after_two_aliquots_is_of_both()
    {
        var run = Only(Ward.Opens("08:00").Syringe("08:10", 30).Syringe("08:12", 30).Back("08:15", 50), "09:00");
        Assert.Null(run.Cycles[0].Back); // which is not 0
        Assert.Equal((1, Ml(10)), (run.Cycles[1].ReturnFrom, run.Cycles[1].Shortfall!.Value.Charted)); // 60 − 50
        Assert.Empty(run.Unreturned);
    }

    [Fact]
    public void A_washout_beside_continuous_irrigation_keeps_to_the_jug_and_leaves_the_account_as_it_is()
    {
        // 300 mL/h; three syringes of 60 mL, 50 mL drawn back twice into a jug.
        var ward = Ward.Opens("08:00")
            .Level("08:00", 0)
            .BagHung("08:00", 3000)
            .Flow("08:00", 300)
            .Emptied("09:00", 360)
            .Syringe("09:20", 60, line: "washout")
            .Emptied("09:21", 50, container: "jug")
            .Syringe("09:22", 60, line: "washout")
            .Emptied("09:23", 50, container: "jug")
            .Syringe("09:24", 60, line: "washout")
            .Washout("09:25", cleared: true)
            .Emptied("10:00", 440)
            .BagRead("10:00", 2400);
        var run = Only(ward, "10:00");
        Assert.True(run.BesideFlow);
        Assert.Equal([Ml(50), Ml(50), null], run.Cycles.Select(cycle => cycle.Back?.Charted));
        Assert.Equal((RunOutcome.TargetReached, "the washout cleared the catheter, as charted"), (run.Outcome, run.Why));
        Assert.Equal(AliquotMark.AboveUsual, Assert.Single(run.Cycles[0].Marks));
        var hour = ward.Balance()[FluidBalance.Bladder][^1];
        Assert.Equal((Ml(480), Ml(540)), (hour.Instilled, hour.Drained)); // one account: 300 + 180 in, 440 + 100 out
        Assert.Equal("", ward.Flags("10:00").Stood("return-short"));
    }

    [Fact]
    public void A_short_return_has_its_interval_by_the_vessel_it_was_measured_in()
    {
        (decimal, decimal) Interval(Vessel vessel)
        {
            var range = Only(Ward.Opens("08:00").Syringe("08:10", 50).Back("08:13", 40, vessel), "09:00").Cycles[0].Shortfall95!.Value;
            return (Math.Round(range.Low.Millilitres, 1), Math.Round(range.High.Millilitres, 1));
        }

        // Over √3 and doubled: the syringe that gave ±2; drawn back ±(1 + 1.6); jug ±10 and ±5 %; basin ±10 and ±10 %;
        // bag ±(40 + 5), ±5 %.
        Assert.Equal((6.2m, 13.8m), Interval(Vessel.Syringe));
        Assert.Equal((-2.0m, 22.0m), Interval(Vessel.Jug));
        Assert.Equal((-2.6m, 22.6m), Interval(Vessel.Basin));
        Assert.Equal((-42.1m, 62.1m), Interval(Vessel.DrainageBag));
    }

    [Fact]
    public void A_reading_is_never_doubted_by_more_than_itself_and_the_first_mark()
    {
        var range = Only(Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 0), "09:00").Cycles[0].Shortfall95!.Value;
        Assert.InRange(range.Low.Millilitres, 24, 25); // ±5 of the basin, ±1.2 of the syringe
    }

    [Theory]
    [InlineData("none", false, RunOutcome.TargetReached)]
    [InlineData("few", false, RunOutcome.TargetNotReached)]
    [InlineData("none", true, RunOutcome.TargetNotReached)]
    [InlineData(null, false, RunOutcome.NotSaid)]
    public void Free_of_clots_and_sediment_is_the_target_where_no_order_says_another(string? clots, bool? sediment, RunOutcome outcome)
    {
        var ward = Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 30);
        ward.Chart(new DrainageAppearance(ward.Header("08:14"), null, null, "pink", "clear", clots, null, sediment, null));
        Assert.Equal(RunOutcome.Going, Only(ward, "08:42").Outcome);
        Assert.Equal(outcome, Only(ward, "08:44").Outcome);
    }

    [Fact]
    public void Who_ends_it_says_why()
    {
        var ward = Ward.Opens("08:00").Syringe("08:10", 30).Back("08:13", 30);
        ward.Chart(new IrrigationStopped(ward.Header("08:15"), StopReason.Pain));
        Assert.Equal((RunOutcome.EndedOtherwise, "ended because of pain or spasm"), (Only(ward, "08:15").Outcome, Only(ward, "08:15").Why));
        Assert.Equal(2, All(ward.Syringe("08:20", 30), "08:20").Length); // what follows is another
    }

    [Fact]
    public void The_target_in_the_words_of_an_order_is_for_a_person_to_judge()
    {
        var ward = Ward.Opens("08:00").Ordered("08:00", order => order with { Method = "intermittent-manual", Target = "light pink" });
        ward.Syringe("08:10", 30).Back("08:13", 30).Looks("08:14", colour: "light pink", clots: "none");
        Assert.Equal(RunOutcome.NotSaid, Only(ward, "09:00").Outcome);
        ward.Chart(new IrrigationStopped(ward.Header("08:16"), StopReason.TargetReached));
        Assert.Equal(RunOutcome.TargetReached, Only(ward, "09:00").Outcome);
    }

    [Fact]
    public void What_came_of_it_does_not_depend_on_the_order_of_arrival()
    {
        var ward = Ward.Opens("08:00")
            .Syringe("08:10", 30)
            .Back("08:13", 12)
            .Syringe("08:15", 30)
            .Back("08:17", 5)
            .Looks("08:18", clots: "few");
        string Told(IEnumerable<Entry> entries)
        {
            var log = EpisodeLog.Empty(ward.Frame).Append(entries, ward.At("09:00")).Log;
            var run = Assert.Single(RunsOfCycles.Of(FluidBalance.Of(log, BalanceSettings.Default), ward.At("09:00")));
            var cycles = run.Cycles.Select(c => $"{c.Number} {c.In.Charted} {c.Back?.Charted} {c.Looked?.Clots}");
            return $"{run.Why} {string.Join(' ', cycles)}";
        }

        Assert.Equal(Told(ward.Entries), Told(ward.Entries.Reverse()));
        Assert.Contains("1 30 mL 12 mL", Told(ward.Entries), StringComparison.Ordinal);
    }
}
