using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>What left the bladder: levels, emptyings, weighings and clamps; and what a scan says was still inside.</summary>
public class DrainageTests
{
    [Fact]
    public void A_reading_tells_of_the_time_since_the_one_before_of_its_own_kind()
    {
        var ward = Opens("08:00").Flow("08:00", 0).Level("09:00", 300).Urine("10:00", 40).Level("11:00", 500).Urine("12:00", 30);
        var parts = ward.Balance()[FluidBalance.Bladder].Select(i => Assert.Single(i.Parts)).ToList();
        // The container since its own last reading; urine since anything was last read.
        Assert.Equal([ward.At("08:00"), ward.At("09:00"), ward.At("09:00"), ward.At("11:00")], parts.Select(p => p.Start));
        Assert.Equal(
            [(Ml(300), Ml(300)), (Ml(40), Ml(40)), (Ml(500), Ml(200)), (Ml(30), Ml(30))],
            parts.Select(p => (p.Whole!.Value, p.Amount!.Value))
        );
        Assert.Equal((null, Ml(300), Ml(500)), (parts[0].Readings, parts[2].Readings!.Before, parts[2].Readings!.After));
        Assert.Equal([Ml(0), Ml(40), Ml(0), Ml(30)], ward.Balance()[FluidBalance.Bladder].Select(i => i.Urine));
    }

    [Fact]
    public void Two_collections_of_urine_at_one_time_add_up() =>
        Assert.Equal(Ml(65), Opens("08:00").Urine("09:00", 40).Urine("09:00", 25, UrineRoute.Void).Interval("09:00").Urine);

    [Fact]
    public void A_container_read_and_emptied_at_one_time_is_counted_once()
    {
        var ward = Opens("08:00").Level("08:00", 0).Level("09:00", 300).Level("10:00", 480).Emptied("10:00", 500).Level("11:00", 70);
        Assert.Equal([Ml(300), Ml(200), Ml(70)], Drained(ward));
        Assert.Equal([Ml(180), Ml(20)], ward.Interval("10:00").Parts.Select(p => p.Amount!.Value));
    }

    [Fact]
    public void Only_the_first_reading_of_a_container_wants_a_level_to_compare_with()
    {
        bool[] Unknown(Ward ward) => [.. ward.Balance()[FluidBalance.Bladder].Select(i => i.Caveats.Contains(Caveat.DrainageStartUnknown))];
        Assert.Equal(
            [true, false, false, false],
            Unknown(Opens("08:00").Level("09:00", 300).Level("10:00", 400).Emptied("11:00", 500).Level("12:00", 50))
        );
        Assert.Equal([false, false], Unknown(Opens("08:00").Level("08:00", 100).Level("09:00", 300).Level("10:00", 400)));
        Assert.Equal([true, false], Unknown(Opens("08:00").Emptied("09:00", 300).Emptied("10:00", 400)));
        Assert.Equal([true, false], Unknown(Opens("08:00").Weighed("09:00", 300).Weighed("10:00", 400)));
    }

    [Fact]
    public void A_level_at_the_very_start_or_before_it_is_what_to_compare_with_and_counts_for_nothing()
    {
        var ward = Opens("08:00").Level("07:30", 80).Level("08:00", 100).Level("09:00", 300);
        Assert.Equal([(ward.At("08:00"), Ml(200))], ward.Balance()[FluidBalance.Bladder].Select(i => (i.Start, i.Drained!.Value)));
        Assert.Equal(Ml(200), ward.Window("07:00", "09:00").DrainageCharted);
    }

    [Theory] // a drainage bag is read to within ± 50 mL, twice: 100 mL
    [InlineData(300, Caveat.LevelBelowPrevious, false, 0)]
    [InlineData(200, Caveat.LevelBelowPrevious, true, 0)]
    [InlineData(199, Caveat.ContainerReset, true, null)]
    public void A_level_a_little_lower_is_a_reading_error_and_much_lower_another_container(
        int level,
        Caveat caveat,
        bool says,
        int? drained
    )
    {
        var interval = Opens("08:00").Level("09:00", 300).Level("10:00", level).Interval("10:00");
        Assert.Equal((says, drained), (interval.Caveats.Contains(caveat), (int?)interval.Drained?.Millilitres));
    }

    [Fact]
    public void After_a_fall_the_level_counts_from_where_it_fell_to()
    {
        Assert.Equal(
            [Ml(900), null, Ml(50), Ml(350)],
            Opens("08:00")
                .Level("08:00", 0)
                .Level("09:00", 900)
                .Level("10:00", 200)
                .Level("11:00", 250)
                .Level("12:00", 600)
                .Balance()[FluidBalance.Bladder]
                .Select(i => i.Drained)
        );
    }

    [Fact]
    public void However_levels_waver_they_add_up_to_the_highest()
    {
        Assert.Equal(
            [Ml(600), Ml(0), Ml(0), Ml(0), Ml(100)],
            Drained(
                Opens("08:00")
                    .Level("08:00", 0)
                    .Level("09:00", 600)
                    .Level("10:00", 550)
                    .Level("11:00", 510)
                    .Level("12:00", 580)
                    .Level("13:00", 700)
            )
        );
        Assert.Equal(
            [Ml(500), Ml(0), Ml(100)],
            Drained(Opens("08:00").Level("08:00", 0).Level("09:00", 500).Level("10:00", 400).Level("11:00", 600))
        );
    }

    [Fact]
    public void Of_two_levels_as_high_the_later_is_compared_with()
    {
        var ward = Opens("08:00").Level("08:00", 0).Level("09:00", 500).Level("10:00", 500).Level("11:00", 600);
        var readings = ward.Interval("11:00").Worked!.Value.Errors.Contributions.Keys.Where(k => k.What == "reading").Select(k => k.Id);
        Assert.Equal(["e3", "e4"], readings.Order(StringComparer.Ordinal));
    }

    [Fact]
    public void A_scale_is_not_subtracted_from_another()
    {
        var ward = Opens("08:00");
        DrainageLevelRead Read(string clock, decimal ml, string? scale) => new(ward.Header(clock) with { Device = scale }, "1", Ml(ml));
        ward.Chart(Read("08:00", 0, "scale 1"))
            .Chart(Read("09:00", 820, "scale 1"))
            .Chart(Read("10:00", 800, "scale 2"))
            .Chart(Read("11:00", 750, "scale 2"))
            .Chart(Read("12:00", 850, "scale 2"))
            .Chart(Read("13:00", 900, null));
        Assert.Equal([Ml(820), null, Ml(0), Ml(50), Ml(50)], ward.Balance()[FluidBalance.Bladder].Select(i => i.Drained));
        Assert.Equal(
            [false, true, false, false, false],
            ward.Balance()[FluidBalance.Bladder].Select(i => i.Caveats.Contains(Caveat.DeviceChanged))
        );
        // What was emptied is all that the container held, whatever measured it before.
        Assert.Equal(
            [Ml(300), Ml(200)],
            Drained(
                Opens("08:00")
                    .Chart(Read("08:00", 0, "scale 1"))
                    .Chart(Read("09:00", 300, "scale 1"))
                    .Chart(new DrainageEmptied(ward.Header("10:00", id: "emptied") with { Device = "scale 2" }, "1", Ml(500)))
            )
        );
    }

    [Fact] // clinical reference 1.11
    public void A_weighed_container_goes_by_its_own_density_and_its_tare()
    {
        Assert.Equal(Ml(1000), Opens("08:00").Weighed("09:00", 1010, density: 1.01m).Interval("09:00").Drained);
        Assert.Equal(Ml(1000), Opens("08:00").Weighed("09:00", 1076, tare: 70).Interval("09:00").Drained);
        Assert.Equal(
            [Ml(500), Ml(200), Ml(100)],
            Drained(
                Opens("08:00")
                    .Weighed("09:00", 503, emptied: false)
                    .Weighed("10:00", 704.2m, emptied: true)
                    .Weighed("11:00", 100.6m, emptied: false)
            )
        );
    }

    [Theory]
    [InlineData(10_000, false)]
    [InlineData(10_001, true)]
    public void More_than_a_wards_containers_hold_is_marked(int ml, bool marked)
    {
        Assert.Equal(marked, Opens("08:00").Urine("09:00", ml).Interval("09:00").Caveats.Contains(Caveat.ImplausibleVolume));
        Assert.Equal(marked, Opens("08:00").Emptied("09:00", ml).Interval("09:00").Caveats.Contains(Caveat.ImplausibleVolume));
    }

    [Fact]
    public void What_a_second_reading_behind_a_clamp_adds_drained_through_it()
    {
        bool Through(Ward ward) => ward.Interval("08:30").Caveats.Contains(Caveat.DrainageWhileClamped);
        Ward Clamped() => Opens("08:00").Level("08:10", 100).Clamp("08:30").Level("09:00", 300);
        Assert.False(Through(Clamped()));
        Assert.False(Through(Clamped().Level("09:30", 300)));
        Assert.True(Through(Clamped().Level("09:30", 310)));
        Assert.False(Through(Clamped().Level("09:30", 10, container: "meter")));
        Assert.True(Through(Opens("08:00").Clamp("08:30").Level("08:30", 300).Level("09:00", 310)));
        Assert.Equal(
            Ml(310),
            Clamped().Level("09:30", 310).Balance()[FluidBalance.Bladder].Select(i => i.Drained!.Value).Aggregate((a, b) => a + b)
        );
    }

    [Fact]
    public void Readings_behind_a_clamp_close_one_interval_at_the_moment_of_clamping()
    {
        var ward = Opens("08:00")
            .Level("08:10", 100)
            .Clamp("08:30")
            .Level("09:00", 300)
            .Urine("09:30", 20)
            .Release("10:00")
            .Level("11:00", 380);
        Assert.Equal(
            [(ward.At("08:10"), Ml(100)), (ward.At("08:30"), Ml(220)), (ward.At("11:00"), Ml(80))],
            ward.Balance()[FluidBalance.Bladder].Select(i => (i.End, i.Drained!.Value))
        );
        Assert.Equal(ward.At("08:30"), ward.Balance()[FluidBalance.Bladder][^1].Start);
    }

    [Fact]
    public void A_drain_that_was_shut_from_the_start_has_let_nothing_out()
    {
        foreach (var clamped in new[] { "07:30", "08:00" })
        {
            var ward = Opens("08:00").Clamp(clamped).Urine("09:00", 50).Release("10:00").Urine("11:00", 200);
            Assert.Equal(
                [(ward.At("08:00"), ward.At("11:00"), Ml(200))],
                ward.Balance()[FluidBalance.Bladder].Select(i => (i.Start, i.End, i.Drained!.Value))
            );
        }
    }

    [Theory] // a scan within a quarter of an hour of a reading speaks of the bladder at that reading
    [InlineData("09:45", true)]
    [InlineData("09:44", false)]
    [InlineData("10:00", true)]
    [InlineData("10:15", true)]
    [InlineData("10:16", false)]
    public void A_scan_anchors_the_reading_that_it_is_near(string scanned, bool anchors)
    {
        var interval = Opens("08:00")
            .Scan("08:00", 20)
            .Urine("08:00", 0)
            .Urine("09:00", 10)
            .Scan("09:00", 30)
            .Urine("10:00", 100)
            .Scan(scanned, 130)
            .Interval("10:00");
        Assert.Equal(
            (anchors ? Ml(100) : null, !anchors),
            (interval.RetainedChange, interval.AssumedZero.Contains(BalanceTerm.RetainedChange))
        );
        Assert.Equal(Ml(anchors ? 200 : 100), interval.Output!.Headline); // 100 + (130 − 30)
    }

    [Fact]
    public void Of_two_scans_the_nearer_counts_and_of_two_as_near_the_earlier()
    {
        Volume? Change(params (string Clock, int Ml)[] scans) =>
            scans
                .Aggregate(Opens("08:00").Urine("09:00", 10).Scan("09:00", 0).Urine("10:00", 100), (ward, s) => ward.Scan(s.Clock, s.Ml))
                .Interval("10:00")
                .RetainedChange;
        Assert.Equal(Ml(70), Change(("09:50", 50), ("10:05", 70)));
        Assert.Equal(Ml(50), Change(("09:58", 50), ("10:05", 70)));
        Assert.Equal(Ml(50), Change(("09:55", 50), ("10:05", 70)));
    }

    [Fact]
    public void Of_two_readings_a_scan_speaks_of_the_nearer_and_of_two_as_near_of_the_earlier()
    {
        IEnumerable<Volume?> Changes(string scanned) =>
            Opens("08:00")
                .Urine("08:30", 5)
                .Scan("08:30", 0)
                .Urine("10:00", 100)
                .Urine("10:10", 20)
                .Scan(scanned, 40)
                .Balance()[FluidBalance.Bladder]
                .Select(i => i.RetainedChange);
        Assert.Equal([null, Ml(40), null], Changes("10:04"));
        Assert.Equal([null, Ml(40), null], Changes("10:05"));
        Assert.Equal([null, null, Ml(40)], Changes("10:06"));
        Assert.Equal([null, null, Ml(40)], Changes("10:10"));
        Assert.Equal([null, Ml(40), null], Changes("09:50"));
    }

    [Fact]
    public void What_the_bladder_held_is_compared_with_the_last_reading_that_was_scanned()
    {
        // Ten minutes apart, each with its scan; and one with none between.
        var close = Opens("08:00").Urine("10:00", 100).Scan("10:03", 30).Urine("10:10", 20).Scan("10:12", 50);
        Assert.Equal([null, Ml(20)], close.Balance()[FluidBalance.Bladder].Select(i => i.RetainedChange));
        var skipped = Opens("08:00").Urine("09:00", 100).Scan("09:00", 30).Urine("10:00", 20).Urine("11:00", 40).Scan("11:00", 80);
        Assert.Equal([null, null, Ml(50)], skipped.Balance()[FluidBalance.Bladder].Select(i => i.RetainedChange));
        Assert.Equal([1, 0, 2], skipped.Balance()[FluidBalance.Bladder].Select(i => i.Parts.Count(p => p.Kind == PartKind.Retained)));
        Assert.Equal(
            [true, false, false],
            skipped.Balance()[FluidBalance.Bladder].Select(i => i.Caveats.Contains(Caveat.RetainedStartUnknown))
        );
    }

    [Fact]
    public void A_scan_far_from_any_reading_is_passed_over()
    {
        var ward = Opens("08:00")
            .Urine("09:00", 100)
            .Scan("09:00", 20)
            .Urine("10:00", 30)
            .Scan("12:00", 99)
            .Urine("14:00", 40)
            .Scan("14:00", 50);
        Assert.Equal([null, null, Ml(30)], ward.Balance()[FluidBalance.Bladder].Select(i => i.RetainedChange)); // 50 − 20
    }

    private static IEnumerable<Volume> Drained(Ward ward) => ward.Balance()[FluidBalance.Bladder].Select(i => i.Drained!.Value);
}
