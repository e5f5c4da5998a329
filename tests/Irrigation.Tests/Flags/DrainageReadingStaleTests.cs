using Irrigation.Episodes;
using Irrigation.Flags;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F3: irrigation runs and the drainage was not read for 60 min, for 15 min above 1 L/h (hourly check, teaching texts; clinical reference
/// 9; our judgement).
/// </summary>
public class DrainageReadingStaleTests
{
    private const string Slug = "drainage-reading-stale";

    private static Ward Runs(decimal flow) => Ward.Opens("18:00").BagHung("18:00", 3000).Flow("18:00", flow);

    [Theory]
    [InlineData(1000, "19:00-")] // 1 L/h is not above 1 L/h
    [InlineData(1001, "18:15-")]
    [InlineData(1940, "18:15-")] // 500 / (1940 + 60) h = 15 min
    [InlineData(2940, "18:10-")] // 500 / (2940 + 60) h = 10 min: the bladder would be full sooner
    [InlineData(5760, "18:05:10-")] // wide open, 1.6 mL/s: 500 / 5820 h = 5.15 min (clinical reference 1.10)
    public void The_faster_it_runs_the_sooner_it_is_due(decimal flow, string stood) =>
        Assert.Equal(stood, Runs(flow).Flags("19:00").Stood(Slug));

    [Fact]
    public void A_reading_clears_it_and_the_next_omission_is_a_new_flag() =>
        Assert.Equal("19:00-19:30, 20:30-", Runs(500).Level("19:30", 800).Flags("21:00").Stood(Slug));

    [Fact]
    public void Read_on_the_minute_it_is_not_raised() =>
        Assert.Equal("", Runs(500).Level("19:00", 550).Level("20:00", 1100).Flags("20:59").Stood(Slug));

    [Fact]
    public void A_reading_that_was_charted_late_retracts_it()
    {
        var ward = Runs(500);
        var before = ward.Flags("19:20");
        Assert.Equal("19:00-", before.Stood(Slug));
        var (after, changes) = ward.Later(
            before,
            w => new DrainageLevelRead(w.Header("18:50", recordedAt: "19:20", id: "late"), "1", Ward.Ml(450))
        );
        Assert.Equal("", after.Stood(Slug));
        Assert.Null(Assert.Single(changes, change => change.Before?.Slug == Slug).After);
        Assert.Equal(ward.At("19:50"), after.Next);
    }

    [Fact]
    public void Stopped_or_clamped_nothing_is_due_and_the_time_begins_anew()
    {
        Assert.Equal("", Runs(500).Flow("18:50", 0).Flags("23:00").Stood(Slug));
        Assert.Equal("21:00-", Runs(500).Flow("18:50", 0).Flow("20:00", 500).Flags("21:30").Stood(Slug));
        Assert.Equal("20:30-", Runs(500).Clamp("18:30").Release("19:30").Flags("21:00").Stood(Slug));
    }

    [Fact]
    public void A_change_of_bag_is_no_new_beginning()
    {
        // Taken down at 18:40, the next one hung 5 min later: still due an hour after 18:00.
        var changed = Runs(500).BagTakenDown("18:40", 0).BagHung("18:45", 3000);
        Assert.Equal("19:00-", changed.Flags("19:30").Stood(Slug));
        Assert.Equal("20:00-", Runs(500).BagTakenDown("18:40", 0).BagHung("19:00", 3000).Flags("20:30").Stood(Slug)); // after 20 min it is
    }

    [Fact]
    public void A_flow_that_nobody_charted_may_run_and_is_due_too()
    {
        var record = Ward.Opens("18:00").BagHung("18:00", 3000).Flags("19:30");
        Assert.Equal("19:00-", record.Stood(Slug));
        Assert.Equal(
            "irrigant runs at a flow that nobody charted and the drainage was not read since 18:00 (limit 60 min).",
            record.Says(Slug)
        );
    }

    [Fact]
    public void For_a_small_bladder_a_smaller_flow_is_fast()
    {
        // 8 years: 270 of 500 mL, so fast above 540 mL/h; 270 / (541 + 60) h = 27 min, and 15 are shorter.
        Assert.Equal("19:00-", Runs(540).Flags("19:00", Story.Child).Stood(Slug));
        Assert.Equal("18:15-", Runs(541).Flags("19:00", Story.Child).Stood(Slug));
        Assert.Equal("19:00-", Runs(541).Flags("19:00", Story.OfUnknownAge).Stood(Slug));
    }

    [Fact]
    public void A_nurse_reads_since_when()
    {
        var record = Runs(500).Level("18:30", 250).Flags("19:45");
        Assert.Equal("irrigant runs at 500 mL/h and the drainage was not read since 18:30 (limit 60 min).", record.Says(Slug));
        Assert.Equal(FlagPriority.Medium, record.Priority(Slug));
    }
}
