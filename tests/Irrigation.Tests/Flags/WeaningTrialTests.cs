using Irrigation.Episodes;
using Irrigation.Flags;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// Trials to do without irrigation: stop time, observation interval, recurrence, void volume and residual (clinical reference 7; the limit
/// of an hour is our judgement).
/// </summary>
public class WeaningTrialTests
{
    /// <summary>Irrigation at 300 mL/h from 06:00, drained and stopped at 10:00: 1200 mL in, 1500 mL out.</summary>
    private static Ward Stopped() =>
        Opens("06:00")
            .BagHung("06:00", 3000)
            .Flow("06:00", 300)
            .Level("06:00", 0)
            .Looks("09:50", grade: 2)
            .Flow("10:00", 0)
            .Emptied("10:00", 1500);

    private static Ward Removes(Ward ward, string clock) => ward.Chart(new CatheterRemoved(ward.Header(clock)));

    private static List<WeaningTrial> Trials(Ward ward, string asOf) =>
        [.. WeaningTrial.Of(ward.Flags(asOf), ward.At("06:00") - Duration.FromDays(31))];

    [Fact]
    public void Weaned_the_catheter_out_a_void_and_its_residual()
    {
        var ward = Removes(Stopped().Looks("11:00", grade: 2).Looks("13:00", grade: 1), "14:00")
            .Urine("16:00", 220, UrineRoute.Void)
            .Scan("16:10", 60);
        var trial = Assert.Single(Trials(ward, "17:00"));
        Assert.Equal(
            (TrialKind.IrrigationStopped, ward.At("10:00"), ward.At("14:00"), TrialEnd.CatheterRemoved),
            (trial.Kind, trial.Stopped, trial.Until, trial.EndedBy)
        );
        Assert.Null(trial.Recurrence);
        Assert.Equal((Ml(220), Ml(60)), (trial.FirstVoid!.Amount, trial.Residual!.Held));
        Assert.Equal(
            "Irrigation stopped at 10:00, observed until 14:00 (the catheter was removed). "
                + "No recurrence known: looked 2 times. Last at 13:00: grade 1 on 'five grades'. "
                + "First void 220 mL at 16:00. Residual 60 mL at 16:10.",
            trial.Says(ward.Flags("17:00").Now)
        );
    }

    [Fact]
    public void Clots_come_back_before_the_irrigation_is_resumed()
    {
        var ward = Stopped()
            .Looks("11:00", grade: 2, clots: "none")
            .Looks("12:00", grade: 2, clots: "few")
            .Flow("12:10", 500)
            .Looks("12:30", grade: 5);
        var trial = Assert.Single(Trials(ward, "13:00"));
        Assert.Equal((ward.At("12:10"), TrialEnd.IrrigationResumed), (trial.Until, trial.EndedBy));
        Assert.Equal(
            new Recurrence(ward.At("12:00"), "grade 2 on 'five grades', few clots. Before, at 09:50: grade 2 on 'five grades'"),
            trial.Recurrence
        );
        Assert.Equal(("no void is charted since", "without a void there is no residual after it"), (trial.NoVoid, trial.NoResidual));
    }

    [Theory]
    [InlineData(3, "five grades", "11:30")] // bloodier on the same scale
    [InlineData(2, "five grades", "12:10")] // as before: only that it was resumed
    [InlineData(3, "ten grades", "12:10")] // grades of two scales are not compared
    public void A_grade_counts_on_its_own_scale_only(int grade, string scale, string recurred)
    {
        var ward = Stopped().Looks("11:30", grade: grade, scale: scale).Flow("12:10", 500);
        Assert.Equal(ward.At(recurred), Assert.Single(Trials(ward, "13:00")).Recurrence!.At);
    }

    [Fact]
    public void An_outflow_flag_after_the_stop_is_a_recurrence()
    {
        // 2400 mL ran in by 10:00, and 500 mL are all that is there at 12:00.
        var ward = Opens("06:00").BagHung("06:00", 3000).Flow("06:00", 600).Level("06:00", 0).Flow("10:00", 0).Emptied("12:00", 500);
        Assert.Equal(new Recurrence(ward.At("12:00"), "outflow deficit was raised"), Assert.Single(Trials(ward, "12:30")).Recurrence);
    }

    [Fact]
    public void While_it_goes_on_and_nobody_looked_it_says_so()
    {
        var trial = Assert.Single(Trials(Stopped(), "12:00"));
        Assert.Equal(
            (Stopped().At("12:00"), null, "nobody charted what the drainage looked like since"),
            (trial.Until, trial.EndedBy, trial.NoRecurrence)
        );
        Assert.Equal(TrialEnd.EpisodeEnded, Assert.Single(Trials(Stopped().Ends("11:30"), "12:00")).EndedBy);
    }

    [Theory]
    [InlineData("10:59", 0)]
    [InlineData("11:00", 1)]
    public void A_stop_of_less_than_an_hour_is_a_change_of_bag(string resumed, int trials) =>
        Assert.Equal(trials, Trials(Stopped().Flow(resumed, 300), "13:00").Count);

    [Fact]
    public void The_last_bag_taken_down_is_a_stop_and_a_line_that_runs_on_is_none()
    {
        var ward = Opens("06:00").BagHung("06:00", 3000).Flow("06:00", 300).BagTakenDown("10:00", 1800);
        Assert.Equal(ward.At("10:00"), Assert.Single(Trials(ward, "12:00")).Stopped);
        Assert.Empty(
            Trials(
                Opens("06:00")
                    .BagHung("06:00", 3000)
                    .Flow("06:00", 300)
                    .BagHung("06:00", 3000, line: "2")
                    .Flow("06:00", 200, line: "2")
                    .BagTakenDown("10:00", 1800),
                "12:00"
            )
        );
    }

    [Fact]
    public void A_washout_ends_it_and_so_does_a_syringe()
    {
        Assert.Equal(TrialEnd.WashoutPerformed, Assert.Single(Trials(Stopped().Washout("12:00", cleared: true), "13:00")).EndedBy);
        Assert.Equal(TrialEnd.IrrigationResumed, Assert.Single(Trials(Stopped().Syringe("12:00", 50), "13:00")).EndedBy);
    }

    [Fact]
    public void A_clamp_is_a_trial_unless_a_dwell_is_ordered()
    {
        var ward = Opens("06:00")
            .BagHung("06:00", 3000)
            .Flow("06:00", 300)
            .Level("06:00", 0)
            .Looks("09:00", grade: 1)
            .Flow("09:30", 0)
            .Clamp("10:00")
            .Release("13:00");
        var clamped = Trials(ward, "14:00").Single(t => t.Kind == TrialKind.DrainClamped);
        Assert.Equal((ward.At("10:00"), ward.At("13:00"), TrialEnd.DrainReleased), (clamped.Stopped, clamped.Until, clamped.EndedBy));
        Assert.DoesNotContain(
            Trials(ward.Ordered("06:00", o => o with { Dwell = Duration.FromMinutes(60) }), "14:00"),
            t => t.Kind == TrialKind.DrainClamped
        );
    }

    [Theory]
    [InlineData("16:30", null, "the bladder was not scanned before the next void")]
    [InlineData("16:00", null, "scanned at the very time of the void: whether before or after it is not told")]
    [InlineData("15:50", null, "the bladder was not scanned before the next void")]
    [InlineData("16:10", 60, null)]
    public void A_residual_is_what_a_scan_finds_after_the_void_and_before_the_next(string scanned, int? residual, string? why)
    {
        var ward = Removes(Stopped(), "14:00").Urine("16:00", 220, UrineRoute.Void).Urine("16:20", 100, UrineRoute.Void).Scan(scanned, 60);
        var trial = Assert.Single(Trials(ward, "17:00"));
        Assert.Equal((residual, why), ((int?)trial.Residual?.Held.Millilitres, trial.NoResidual));
    }

    [Fact]
    public void After_the_catheter_is_back_what_is_voided_belongs_to_no_trial()
    {
        var ward = Removes(Stopped(), "14:00");
        ward.Chart(new CatheterInserted(ward.Header("15:00"), null, null, null)).Urine("16:00", 220, UrineRoute.Void);
        Assert.Null(Assert.Single(Trials(ward, "17:00")).FirstVoid);
    }
}
