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
        var record = Ward.Opens("18:00").BagHung("18:00", 3000).Flags("19:10");
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

    [Theory] // 300 mL/h, last read at 18:00: due at 19:00, and from 19:15 on it grows
    [InlineData("19:00", FlagPriority.Medium)] // a well-kept bed that is read on the hour
    [InlineData("19:14", FlagPriority.Medium)]
    [InlineData("19:15", FlagPriority.High)] // 375 mL, above 200
    [InlineData("19:39", FlagPriority.High)] // 495 mL
    [InlineData("19:40", FlagPriority.Urgent)] // 500 mL, as much as an adult's bladder is to hold
    [InlineData("23:00", FlagPriority.Urgent)] // five hours, 1500 mL
    public void It_grows_with_what_ran_in_unseen(string asOf, FlagPriority priority) =>
        Assert.Equal(priority, Runs(300).Flags(asOf).Priority(Slug));

    [Theory] // 100 mL/h
    [InlineData("19:59", FlagPriority.Medium)]
    [InlineData("20:00", FlagPriority.High)] // 200 mL
    [InlineData("22:59", FlagPriority.High)]
    [InlineData("23:00", FlagPriority.Urgent)] // 500 mL
    public void Slowly_where_it_drips(string asOf, FlagPriority priority) => Assert.Equal(priority, Runs(100).Flags(asOf).Priority(Slug));

    [Theory] // 8 years: 270 mL to hold; it warns at 200 x 216 / 500 = 86.4 mL, by 0.8 of 270
    [InlineData("19:14", FlagPriority.Medium)]
    [InlineData("19:15", FlagPriority.High)] // 125 mL at 100 mL/h
    [InlineData("20:41", FlagPriority.High)]
    [InlineData("20:42", FlagPriority.Urgent)] // 270 mL
    public void And_sooner_for_a_child(string asOf, FlagPriority priority) =>
        Assert.Equal(priority, Runs(100).Flags(asOf, Story.Child).Priority(Slug));

    [Fact]
    public void How_much_ran_in_that_nobody_charted_is_not_nothing()
    {
        var record = Ward.Opens("18:00").BagHung("18:00", 3000).Flags("19:15");
        Assert.Equal(FlagPriority.High, record.Priority(Slug));
        Assert.EndsWith(
            "How much ran in meanwhile nobody can tell: look at the patient first.",
            record.Says(Slug),
            StringComparison.Ordinal
        );
    }

    [Fact] // 499.99 mL are in at 19:40, and the last hundredth before the limit never comes
    public void A_bag_that_ran_dry_just_below_a_limit_is_not_looked_at_second_by_second()
    {
        var ward = Ward.Opens("18:00").BagHung("18:00", 499.99m).Flow("18:00", 300).Level("18:00", 0);
        var record = ward.Flags("21:00");
        Assert.Equal(FlagPriority.High, record.Priority(Slug));
        Assert.True(record.Next >= ward.At("21:01"), $"{record.Next}");
    }

    [Fact]
    public void It_says_the_same_until_it_grows_again()
    {
        var (high, urgent) = (Runs(300).Flags("19:15"), Runs(300).Flags("19:40"));
        Assert.Equal(
            "irrigant runs at 300 mL/h and the drainage was not read since 18:00 (limit 60 min). "
                + "200 mL and more ran in meanwhile, which a blocked bladder would hold.",
            high.Says(Slug)
        );
        Assert.Equal(high.Says(Slug), Runs(300).Flags("19:39").Says(Slug));
        Assert.Equal(
            "irrigant runs at 300 mL/h and the drainage was not read since 18:00 (limit 60 min). "
                + "500 mL and more ran in meanwhile. That is all the bladder is to hold (the limit for an adult). "
                + "Look at the patient first.",
            urgent.Says(Slug)
        );
        Assert.Equal(urgent.Says(Slug), Runs(300).Flags("23:00").Says(Slug));
    }

    [Fact]
    public void A_nurse_reads_since_when()
    {
        var record = Runs(500).Level("18:30", 250).Flags("19:40");
        Assert.Equal("irrigant runs at 500 mL/h and the drainage was not read since 18:30 (limit 60 min).", record.Says(Slug));
        Assert.Equal(FlagPriority.Medium, record.Priority(Slug));
    }
}
