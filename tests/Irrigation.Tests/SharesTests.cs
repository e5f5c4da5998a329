using Irrigation.Balance;
using Irrigation.Episodes;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// The part of a counter's difference that ran by a reading in between: by the charted flow, else by the time in which the drain was open,
/// else by time; off by x · p · (1 − p) of it at the fraction p and by what flows in the minutes of the reading (clinical reference,
/// section 2, whose figures are our judgement). Counter and drainage are exact here, so that the doubt is that of the share.
/// </summary>
public class SharesTests
{
    private static readonly MeasuringCharacters Drifts = Exact with { UnchartedFlowDrift = 0.4m, ChartedFlowDrift = 0.1m };
    private static readonly double Root3 = Math.Sqrt(3);

    private static (double Ran, double Doubt) Ran(Ward ward, MeasuringCharacters characters, string by)
    {
        var interval = ward.Balance(characters)[FluidBalance.Bladder].Single(i => i.End == ward.At(by));
        var (worked, drained) = (interval.Worked!.Value, interval.Drained!.Value);
        return ((double)(drained - worked.Best).Millilitres, (double)worked.Estimate.StandardUncertainty.Millilitres);
    }

    private static Ward Counted() => Opens("08:00").Emptied("08:00", 0).PumpTotal("08:00", 0);

    private static Ward Read(Ward ward, params string[] clocks)
    {
        foreach (var clock in clocks)
            ward.Emptied(clock, 900);
        return ward.PumpTotal("10:00", 400);
    }

    private static void Near(double ran, double doubt, (double Ran, double Doubt) actual)
    {
        Assert.Equal(ran, actual.Ran, 0.01);
        Assert.Equal(doubt, actual.Doubt, 0.01);
    }

    [Fact]
    public void Without_a_charted_flow_it_is_even_and_may_have_bent_much()
    {
        Near(200, 0.4 / Root3 * 400 * 0.25, Ran(Read(Counted(), "09:00"), Drifts, "09:00"));
        Near(100, 0.4 / Root3 * 400 * 0.1875, Ran(Read(Counted(), "08:30"), Drifts, "08:30"));
        // From a quarter to a half: what both ends have in common goes out.
        Near(100, 0.4 / Root3 * 400 * (0.25 - 0.1875), Ran(Read(Counted(), "08:30", "09:00"), Drifts, "09:00"));
        // From a quarter to three quarters all of it.
        Near(200, 0, Ran(Read(Counted(), "08:30", "09:30"), Drifts, "09:30"));
        // The whole is the counter's.
        Near(400, 0, Ran(Read(Counted()).Emptied("10:00", 900), Drifts, "10:00"));
    }

    [Fact]
    public void By_the_charted_flow_it_is_bent_little()
    {
        // 100 mL in the first hour, 300 in the second, as the counter has it too.
        var ward = Counted().Flow("08:00", 100).Flow("09:00", 300);
        Near(100, 0.1 / Root3 * 400 * 0.1875, Ran(Read(ward, "09:00"), Drifts, "09:00"));
    }

    [Fact]
    public void The_first_flow_that_is_charted_counts_backwards_if_it_was_charted_before_the_end()
    {
        // 200 mL/h until 09:00, then 100: 200 of 300 parts in the first hour.
        var late = Counted().Flow("08:30", 200).Flow("09:00", 100);
        Near(400 * 200 / 300.0, 0.1 / Root3 * 400 * (2 / 9.0), Ran(Read(late, "09:00"), Drifts, "09:00"));
        // Charted when the counter was read: it is of the time after it.
        Near(200, 0.4 / Root3 * 400 * 0.25, Ran(Read(Counted().Flow("10:00", 100), "09:00"), Drifts, "09:00"));
    }

    [Fact]
    public void Several_flows_within_make_each_its_part()
    {
        // 60 mL in 20 min, 20 in 20 min, 120 in 80 min: 200 parts of 400 mL.
        var ward = Counted().Flow("08:00", 180).Flow("08:20", 60).Flow("08:40", 90);
        Near(2 * (60 + 20 + 30), 0.1 / Root3 * 400 * (0.55 * 0.45), Ran(Read(ward, "09:00"), Drifts, "09:00"));
    }

    [Fact]
    public void While_the_drain_was_clamped_none_of_it_is_taken_to_have_run()
    {
        // Open for 60 of 120 minutes, 45 of them by 09:45.
        var ward = Counted().Clamp("08:30").Release("09:30");
        Near(300, 0.4 / Root3 * 400 * 0.1875, Ran(Read(ward, "09:45"), Drifts, "09:45"));
    }

    [Fact]
    public void The_minutes_of_a_reading_are_worth_what_runs_in_them_and_a_device_has_none()
    {
        // 400 mL in 2 h are 3.33 mL a minute; 2.5 minutes of them at each end that is not the counter's own.
        var characters = Exact with
        {
            ReadingTime = 2.5m,
        };
        const double minutes = 2.5 * 400 / 120;
        Near(200, minutes, Ran(Read(Counted(), "09:00"), characters, "09:00"));
        Near(200, minutes, Ran(Read(Counted(), "09:00").Emptied("10:00", 900), characters, "10:00"));
        Near(100, minutes * Math.Sqrt(2), Ran(Read(Counted(), "08:30", "09:00"), characters, "09:00"));

        var scale = Counted();
        scale.Chart(new DrainageEmptied(scale.Header("08:30") with { Device = "scale-4" }, "1", Ml(900)));
        scale.Chart(new DrainageEmptied(scale.Header("09:00") with { Device = "scale-4" }, "1", Ml(900)));
        scale.PumpTotal("10:00", 400);
        Near(100, 0, Ran(scale, characters, "08:30"));
        Near(100, 0, Ran(scale, characters, "09:00"));
    }
}
