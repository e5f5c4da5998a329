using CsCheck;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>Everything that is known of a flow is weighed together: label, marks, taking down, charted flow, counter.</summary>
public class EvidenceTests
{
    /// <summary>
    /// A bag of 3 L under a charted flow, its drainage weighed each hour; marks read at some of the hours, each wrong by something.
    /// </summary>
    private static readonly Gen<(int Flow, int[] Wrong, bool[] Read)> Beds = Gen.Select(
        Gen.Int[40, 400],
        Gen.Int[-150, 150].Array[6],
        Gen.Bool.Array[6]
    );

    [Fact]
    public void A_mark_that_is_read_as_well_widens_no_interval_and_moves_none_by_more_than_its_doubt() =>
        Beds.Sample(
            (flow, wrong, read) =>
            {
                var (bare, marked) = (Bed(flow, wrong, []).Balance(), Bed(flow, wrong, read).Balance());
                foreach (var (without, with) in bare[FluidBalance.Bladder].Zip(marked[FluidBalance.Bladder]))
                    NoWorse(without.Worked!.Value, with.Worked!.Value);
                var whole = new Interval(bare.Log.Frame.Start, bare.LastClosing);
                NoWorse(Sum(bare, whole), Sum(marked, whole));
            },
            iter: Times(300)
        );

    private static void NoWorse(Measured without, Measured with)
    {
        Assert.True(with.Estimate.StandardUncertainty <= without.Estimate.StandardUncertainty + Ml(0.001m));

        // A mark is wrong by up to 150 mL, 1.3 of its own standard uncertainties: the estimate follows it as far as its own doubt goes.
        var moved = Math.Abs((with.Best - without.Best).Millilitres);
        Assert.True(
            moved <= 2 * without.Estimate.StandardUncertainty.Millilitres + 0.001m,
            $"{moved} of {without.Estimate.StandardUncertainty}"
        );
    }

    private static Measured Sum(FluidBalance balance, Interval whole)
    {
        var best = balance.Over(WindowKind.Trailing, whole).Output!.BestEstimate!.Value;
        return new(best.Value, best.Value, ErrorBudget.Of("all", best.StandardUncertainty.Millilitres));
    }

    private static Ward Bed(int flow, int[] wrong, bool[] read)
    {
        var ward = Opens("08:00").Weighed("08:00", 0, 0).BagHung("08:00", 3000).Flow("08:00", flow);
        for (var hour = 1; hour <= 6; hour++)
        {
            var clock = FormattableString.Invariant($"{8 + hour:00}:00");
            if (read.ElementAtOrDefault(hour - 1))
                ward.BagRead(clock, Math.Max(0, 3000 - (flow * hour) + wrong[hour - 1]));
            ward.Weighed(clock, flow + 40, 0);
        }

        return ward;
    }

    [Fact]
    public void A_counter_and_the_label_of_the_bag_that_it_emptied_are_weighed_by_their_doubts()
    {
        // The label: 1000 · 1.0375 − 30 = 1007.5 mL, u = √(13.0² + 17.3²) = 21.7; the counter: 950 mL, u = 5 % / √3 = 27.4.
        // By their squares (950 / 27.4² + 1007.5 / 21.7²) / (1 / 27.4² + 1 / 21.7²) = 985.3 mL, u = 17.0.
        var counter = Opens("08:00")
            .BagHung("08:00", 1000)
            .PumpTotal("08:00", 0)
            .PumpTotal("10:00", 950)
            .BagTakenDown("10:00", 0)
            .Weighed("10:00", 1106.6m, 0);
        var best = counter.Interval("10:00").Worked!.Value;
        Assert.Equal((Ml(950), Ml(150)), (counter.Interval("10:00").Instilled, Ml(Math.Round(best.Charted.Millilitres))));
        Assert.Equal(1100 - 985.3m, best.Best.Millilitres, 0);
        var alone = Opens("08:00")
            .PumpTotal("08:00", 0)
            .PumpTotal("10:00", 950)
            .Weighed("10:00", 1106.6m, 0)
            .Interval("10:00")
            .Worked!.Value;
        Assert.True(best.Estimate.StandardUncertainty < alone.Estimate.StandardUncertainty);
    }

    [Fact]
    public void A_bag_that_is_dry_by_its_charted_flow_and_was_not_taken_down_may_still_run()
    {
        // 3000 mL at 500 mL/h are through after 6 h, and the flow may be a fifth slower: what drains in the seventh hour may be irrigant.
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500).Weighed("14:00", 3100, 0).Weighed("15:00", 300, 0);
        var last = ward.Interval("15:00");
        Assert.Equal(Ml(0), last.Instilled);
        Assert.True(last.Output!.BestEstimate!.Value.Value < Ml(280));
        Assert.True(last.Output.BestEstimate.Value.StandardUncertainty > Ml(50));
    }

    [Fact]
    public void A_short_unknown_widens_the_interval_and_does_not_erase_it()
    {
        // Hung at 10:02, its flow charted at 10:05: 0 to 25 mL may have run in those three minutes.
        var late = Opens("10:00")
            .Weighed("10:00", 0, 0)
            .BagHung("10:02", 3000)
            .Flow("10:05", 500)
            .Weighed("11:05", 570, 0)
            .Interval("11:05");
        var told = Opens("10:00")
            .Weighed("10:00", 0, 0)
            .BagHung("10:05", 3000)
            .Flow("10:05", 500)
            .Weighed("11:05", 570, 0)
            .Interval("11:05");
        Assert.Equal((Ml(500), Ml(500)), (late.Instilled, told.Instilled));
        Assert.Equal(12.5m, (told.Worked!.Value.Best - late.Worked!.Value.Best).Millilitres, 1);
        Assert.True(late.Output!.BestEstimate!.Value.StandardUncertainty > told.Output!.BestEstimate!.Value.StandardUncertainty);
        Assert.Equal((true, false), (late.Caveats.Contains(Caveat.FlowStartUnknown), told.Caveats.Contains(Caveat.FlowStartUnknown)));
    }

    [Fact]
    public void A_bag_hung_after_a_stop_runs_or_does_not_and_nobody_knows()
    {
        var ward = Opens("08:00")
            .BagHung("08:00", 3000)
            .Flow("08:00", 500)
            .BagTakenDown("10:00", 2000)
            .Flow("10:00", 0)
            .Emptied("10:00", 1100)
            .BagHung("10:02", 3000)
            .Emptied("11:05", 900);
        Assert.Equal((AbsentReason.IrrigantNotReadYet, null), (ward.Interval("11:05").Absent, ward.Interval("11:05").Output));
        Assert.Null(ward.Balance().FlowAt("1", ward.At("11:00")));

        // A flow that is charted then says that it stood still until then.
        var charted = ward.Flow("10:35", 500);
        Assert.Equal(Ml(250), charted.Interval("11:05").Instilled);
    }

    [Fact]
    public void An_hour_whose_irrigant_row_is_absent_is_not_an_hour_without_irrigant()
    {
        var ward = Opens("08:00")
            .Emptied("09:00", 360)
            .Instilled("10:00", 300, from: "09:00")
            .Emptied("10:00", 360)
            .Emptied("11:00", 360)
            .Instilled("12:00", 300, from: "11:00")
            .Emptied("12:00", 360);
        Assert.Equal(
            [true, false, true, false],
            ward.Balance()[FluidBalance.Bladder].Select(i => i.Caveats.Contains(Caveat.IrrigantNotCharted))
        );
        Assert.All(
            ward.Balance()[FluidBalance.Bladder],
            i => Assert.Equal(i.Caveats.Contains(Caveat.IrrigantNotCharted), i.Status == OutputStatus.Preliminary)
        );
        Assert.All(
            ward.Balance()[FluidBalance.Bladder],
            i => Assert.Equal(i.Caveats.Contains(Caveat.IrrigantNotCharted), i.Output!.Interval95 is null)
        );
    }

    [Fact]
    public void Of_two_bags_of_a_y_set_one_runs_and_the_other_waits_its_turn()
    {
        Ward Hangs(string? second) =>
            Opens("08:00")
                .Level("08:00", 0)
                .Chart(Bag("08:00", "A"))
                .Chart(Bag("08:00", second, "second"))
                .Flow("08:00", 500)
                .BagTakenDown("14:00", 0)
                .Emptied("14:00", 3100)
                .BagTakenDown("20:00", 0)
                .Emptied("20:00", 3100);

        var set = Hangs("B");
        Assert.Equal([Ml(3000), Ml(3000)], set.Balance()[FluidBalance.Bladder].Select(i => i.Instilled!.Value));
        Assert.All(set.Entries, e => Assert.Null(Contradictions.Of(e, set.Balance().Log, "entries[0]")));

        // Without names, or with one name twice, a bag over a bag is a slip, as ever.
        foreach (var slip in new[] { Hangs(null), Hangs("A") })
        {
            Assert.Contains(slip.Entries, e => Contradictions.Of(e, slip.Balance().Log, "entries[0]")?.Code == "overlapping-bags");
        }

        // The one that waited is taken down unused.
        var unused = Opens("08:00")
            .Level("08:00", 0)
            .Chart(Bag("08:00", "A"))
            .Chart(Bag("08:00", "B"))
            .Flow("08:00", 500)
            .Chart(new BagTakenDown(set.Header("10:00", id: "unused"), "1", Ml(3000)) { Bag = "B" })
            .Emptied("10:00", 1080);
        Assert.Equal(Ml(1000), unused.Interval("10:00").Instilled);
    }

    private static BagHung Bag(string clock, string? name, string? id = null) =>
        new(Opens("08:00").Header(clock, id: id ?? $"bag {name}"), "1", Ml(3000), name, null, null, Ml(0));

    [Fact]
    public void A_container_that_is_partly_emptied_keeps_the_rest()
    {
        // 1500 in it, 1000 poured off, and then 900: 500 were left, 400 came.
        var ward = Opens("08:00")
            .Flow("08:00", 0)
            .Level("08:00", 0)
            .Level("10:00", 1500)
            .Emptied("10:30", 1000)
            .Level("11:00", 900)
            .Emptied("12:00", 1000);
        Assert.Equal([Ml(1500), Ml(400), Ml(100)], ward.Balance()[FluidBalance.Bladder].Select(i => i.Drained!.Value));

        // An emptying that took all of it, as read within the tolerance of its marks, leaves nothing.
        var all = Opens("08:00").Flow("08:00", 0).Level("08:00", 0).Level("10:00", 1500).Emptied("10:30", 1450).Level("11:00", 200);
        Assert.Equal([Ml(1500), Ml(0), Ml(200)], all.Balance()[FluidBalance.Bladder].Select(i => i.Drained!.Value));
    }

    [Fact]
    public void What_was_spilt_before_the_bladder_was_not_instilled_and_blood_is_no_urine()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).BagTakenDown("14:00", 0).Emptied("14:00", 3000);
        ward.Chart(new IrrigantDiscarded(ward.Header("09:00"), "1", Ml(200))).Chart(new BloodRemoved(ward.Header("10:00"), Ml(50), null));
        var interval = ward.Interval("14:00");
        Assert.Equal((Ml(2800), Ml(50), Ml(150)), (interval.Instilled, interval.Blood, interval.Output!.Headline)); // 3000 − 2800 − 50
        Assert.Equal([BalanceTerm.Absorbed, BalanceTerm.Leaked, BalanceTerm.RetainedChange], interval.AssumedZero.AsEnumerable());

        // Of a pump what was discarded was counted, and is taken off; a flow that drips into the bladder has not spilt.
        var pump = Opens("08:00").PumpTotal("08:00", 0).PumpTotal("09:00", 500).Emptied("09:00", 400);
        Assert.Equal(Ml(380), pump.Chart(new IrrigantDiscarded(pump.Header("08:30"), "1", Ml(120))).Interval("09:00").Instilled);
    }

    [Fact]
    public void A_device_reads_to_the_minute()
    {
        Ward By(string? device)
        {
            var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500).Weighed("08:00", 0, 0);
            return ward.Chart(
                new DrainageWeighed(
                    ward.Header("10:00", MeasuringWay.Weighed) with
                    {
                        Device = device,
                    },
                    "1",
                    Mass.FromGrams(1106.6m),
                    null,
                    null,
                    true
                )
            );
        }

        var minute = new ErrorSource("time of the reading at", At: By(null).At("10:00"));
        Assert.Equal(-(500m + 60) / 60 * 2.5m, (decimal)By(null).Interval("10:00").Worked!.Value.Errors.Contributions[minute], 6);
        Assert.DoesNotContain(minute, By("scale 1").Interval("10:00").Worked!.Value.Errors.Contributions.Keys);
    }
}
