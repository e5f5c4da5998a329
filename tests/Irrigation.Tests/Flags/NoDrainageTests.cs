using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F2: inflow, drain open, observed drainage 0 for min(30 min, the time in which 200 mL run in) (exam item; clinical reference 2.4 and 9;
/// our judgement).
/// </summary>
public class NoDrainageTests
{
    private const string Slug = "no-drainage";

    private static Ward Runs(decimal flow = 600) =>
        Opens("18:00").BagHung("18:00", 3000).Flow("18:00", flow).Level("18:00", 0).Level("19:00", flow + 50);

    [Theory]
    [InlineData(600, "19:19", "")] // 200 / 600 h = 20 min
    [InlineData(600, "19:20", "19:20-")]
    [InlineData(300, "19:29", "")] // 200 / 300 h = 40 min: the 30 min are shorter
    [InlineData(300, "19:30", "19:30-")]
    public void The_time_shrinks_with_the_flow(decimal flow, string read, string stood) =>
        Assert.Equal(stood, Runs(flow).Level(read, flow + 50).Flags("20:00").Stood(Slug));

    [Fact]
    public void Readings_in_a_row_that_show_nothing_add_up() =>
        Assert.Equal("19:30-", Runs(300).Level("19:10", 350).Level("19:20", 350).Level("19:30", 350).Flags("19:40").Stood(Slug));

    [Fact]
    public void Not_read_is_not_nothing_drained_and_the_reading_that_ends_it_tells()
    {
        var unread = Runs().Flags("20:30");
        Assert.Equal("", unread.Stood(Slug));
        Assert.Equal("20:00-", unread.Stood("drainage-reading-stale"));

        // Read at 20:31, late, and nothing had drained: said at that reading and not at the next.
        var read = Runs().Level("20:31", 650).Flags("20:31");
        Assert.Equal("20:00-20:31", read.Stood("drainage-reading-stale"));
        Assert.Equal("20:31-", read.Stood(Slug));
    }

    [Fact]
    public void Who_stops_the_flow_with_the_reading_is_told_all_the_same_and_only_drainage_clears_it()
    {
        var ward = Runs().Level("20:00", 650).Flow("20:00", 0);
        Assert.Equal("20:00-", ward.Flags("21:00").Stood(Slug));
        Assert.Equal("20:00-21:00", ward.Level("21:00", 700).Flags("21:30").Stood(Slug));
    }

    [Fact]
    public void Where_nothing_ran_nothing_is_missing()
    {
        Assert.Equal("", Runs().Flow("19:00", 0).Level("20:00", 650).Flags("20:30").Stood(Slug));
        Assert.Equal("", Opens("18:00").UrineHourly("18:00", 0, 0).Flags("20:30").Stood(Slug));
    }

    [Fact]
    public void Behind_a_clamp_nothing_drains_and_that_is_as_it_should_be() =>
        Assert.Equal("", Runs().Clamp("19:00").Level("19:40", 650).Flags("19:50").Stood(Slug));

    [Theory]
    [InlineData(300, 100, "20:00-")] // within the error of a bag read twice, 100 mL
    [InlineData(300, 101, "")]
    // Half of 180; 90 missing, and two readings may be wrong by 2 · √(2 · (28.9² + (180 · 2.5 / 60)²)) = 84 mL.
    [InlineData(180, 90, "20:00-")]
    [InlineData(180, 91, "")]
    [InlineData(140, 56, "20:00-")] // 84 missing, and 2 · √(2 · (28.9² + 5.8²)) = 83.3: just not explained by the readings
    [InlineData(140, 57, "")]
    public void Next_to_nothing_is_nothing_where_marks_cannot_tell_it(decimal flow, decimal drained, string stood) =>
        Assert.Equal(stood, Runs(flow).Level("20:00", flow + 50 + drained).Flags("20:00").Stood(Slug));

    [Fact]
    public void A_trickle_is_no_relief_and_drainage_is()
    {
        var blocked = Runs().Level("20:00", 650);
        var trickles = blocked.Level("20:30", 700).Flags("20:45"); // 50 mL while 300 ran in
        Assert.Equal("20:00-", trickles.Stood(Slug));
        Assert.Equal("20:00-21:00", blocked.Level("21:00", 1700).Flags("21:15").Stood(Slug));
        Assert.Equal("20:00-21:00, 22:00-", blocked.Level("22:00", 1700).Flags("22:15").Stood(Slug));
    }

    [Fact]
    public void A_little_in_a_short_time_after_it_is_undecided_and_keeps_the_flag()
    {
        // 60 of 100 mL in 10 min, twice: more than a reading may be wrong by since 19:00, and each no more than that.
        var trickles = Runs().Level("20:00", 650).Level("20:10", 710).Level("20:20", 770);
        Assert.Equal("20:00-", trickles.Flags("20:25").Stood(Slug));
        Assert.Equal(
            "60 mL drained from 20:10 to 20:20 while 100 mL ran in: no more than a reading may be wrong by",
            trickles.Flags("20:25").Undecided(Slug).Why
        );

        // All that ran in comes back: that is relief, however short the time.
        Assert.Equal("20:00-20:20", Runs().Level("20:00", 650).Level("20:10", 710).Level("20:20", 810).Flags("20:25").Stood(Slug));
        Assert.Equal("20:00-20:22", Runs().Level("20:00", 650).Level("20:12", 710).Level("20:22", 811).Flags("20:25").Stood(Slug)); // 101
        Assert.Equal("", Runs().Level("19:30", 950).Level("19:40", 990).Flags("19:45").Stood(Slug)); // none stood before
    }

    [Fact]
    public void A_clamp_does_not_take_it_down() =>
        Assert.Equal("20:00-", Runs().Level("20:00", 650).Clamp("20:05").Level("20:30", 650).Flags("20:40").Stood(Slug));

    [Fact]
    public void Where_nothing_runs_and_nothing_was_read_there_is_nothing_to_tell() =>
        Assert.IsType<Finding.NotRaised>(Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 0).Flags("19:00").Said(Slug));

    [Theory] // 44 mL/h. Each emptied jug of 22 mL may be wrong by 27 mL: after 2 h 44 are missing and 45 may be, after 3 h 66 and 55
    [InlineData(2, "")]
    [InlineData(3, "22:00-")]
    public void Emptied_each_time_every_reading_has_its_own_doubt(int hours, string stood)
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 44).Emptied("19:00", 100);
        foreach (var hour in Enumerable.Range(1, hours))
            ward.Emptied($"{19 + hour}:00", 22);
        Assert.Equal(stood, ward.Flags("22:10").Stood(Slug));
    }

    [Theory] // the same by levels of one bag, ±50 mL at the first and the last alone: 82 mL, so after 4 h
    [InlineData(3, "")]
    [InlineData(4, "23:00-")]
    public void Levels_of_one_bag_have_the_doubt_of_the_first_and_the_last(int hours, string stood)
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 44).Level("18:00", 0).Level("19:00", 100);
        foreach (var hour in Enumerable.Range(1, hours))
            ward.Level($"{19 + hour}:00", 100 + (22 * hour));
        Assert.Equal(stood, ward.Flags("23:10").Stood(Slug));
    }

    [Theory] // 180 mL in 3 h without a reading
    [InlineData(40, "20:00-")]
    [InlineData(90, "20:00-")] // 90 missing, and 82 may be
    [InlineData(91, "20:00-22:00")] // more than half of it came back
    public void Over_a_hole_next_to_nothing_is_nothing_too(decimal drained, string stale) =>
        Assert.Equal(stale, Runs(60).Level("22:00", 110 + drained).Flags("22:10").Stood("drainage-reading-stale"));

    [Fact] // 30 mL in 3 h, and marks may be wrong by 82
    public void Over_a_hole_in_which_hardly_anything_ran_nobody_is_told() =>
        Assert.Equal("20:00-22:00", Runs(10).Level("22:00", 60).Flags("22:10").Stood("drainage-reading-stale"));

    [Fact]
    public void Before_the_first_reading_and_where_a_reading_says_nothing_it_is_undecided()
    {
        Assert.Equal(
            ("irrigant runs and no drainage was read", "a reading of the drainage"),
            Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Flags("18:30").Undecided(Slug)
        );

        // The bag holds much less than before and nobody charted an emptying: what drained is not known, and the reading in doubt.
        Assert.Equal(
            ("a reading is doubted: the level fell to 100 mL and no emptying was charted", "the reading confirmed, or corrected"),
            Runs().Level("20:00", 100).Flags("20:00").Undecided(Slug)
        );

        // It fell, as somebody confirms: then nothing more is known of it.
        var confirmed = Runs().Level("20:00", 100);
        confirmed.Chart(new ReadingConfirmed(confirmed.Header("20:05"), confirmed.Entries[^1].Key));
        Assert.Equal("what drained from 19:00 to 20:00 is not known", confirmed.Flags("20:10").Undecided(Slug).Why);
    }

    [Fact]
    public void A_second_bag_charted_late_retracts_it()
    {
        var ward = Runs().Level("20:00", 650);
        var before = ward.Flags("20:10");
        Assert.Equal("20:00-", before.Stood(Slug));
        var (after, changes) = ward.Later(
            before,
            w => new DrainageEmptied(w.Header("20:00", recordedAt: "20:10", id: "late"), "2", Ml(640))
        );
        Assert.Equal("", after.Stood(Slug));
        Assert.Null(Assert.Single(changes, change => change.Before?.Slug == Slug).After);
    }

    [Fact]
    public void A_child_is_warned_of_sooner()
    {
        // 8 years: warning at 200 · 216 / 500 = 86.4 mL; at 300 mL/h 17.28 min.
        Assert.Equal("", Runs(300).Level("19:17", 350).Flags("19:20", Story.Child).Stood(Slug));
        Assert.Equal("19:18-", Runs(300).Level("19:18", 350).Flags("19:20", Story.Child).Stood(Slug));
    }

    [Theory] // 3 years, 120 of 500 mL: next to nothing is 24 mL of 100, and a reading is wrong by 12 mL of 50
    [InlineData(24, "20:00-")]
    [InlineData(25, "")]
    public void For_a_child_next_to_nothing_is_less(decimal drained, string stood) =>
        Assert.Equal(stood, Runs(60).Level("20:00", 110 + drained).Flags("20:00", Story.Aged(new(2023, 2, 1))).Stood(Slug));

    [Fact]
    public void For_an_adult_with_a_small_bladder_too() => // 150 of 500 mL: 30 mL
        Assert.Equal("20:00-", Runs(80).Level("20:00", 160).Flags("20:00", Story.Adult with { BladderCapacity = Ml(150) }).Stood(Slug));

    [Fact]
    public void A_nurse_reads_since_when_and_how_much()
    {
        var record = Runs().Level("19:30", 650).Level("20:00", 650).Flags("20:10");
        Assert.Equal("nothing drained from 19:00 to 20:00 while 600 mL ran in with the drain open (limit 20 min).", record.Says(Slug));
        Assert.Equal(FlagPriority.Urgent, record.Priority(Slug));
        Assert.StartsWith(
            "no more than 40 mL drained from 19:00 to 20:00 while 600 mL ran in with the drain open (limit 20 min).",
            Runs().Level("20:00", 690).Flags("20:10").Says(Slug),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public void Where_it_rests_on_one_reading_that_departs_from_the_one_before_it_says_which()
    {
        var record = Runs().Level("20:00", 650).Flags("20:10");
        Assert.EndsWith(
            " It rests on one entry: drainage level read of 650 mL at 20:00. "
                + "It is 0 mL since the one before, far less than the 650 mL from 18:00 to 19:00. "
                + "Look at the patient, and check the entry.",
            record.Says(Slug),
            StringComparison.Ordinal
        );
        Assert.Contains(record.Standing(Slug).Latest.Evidence, e => e.Entry == new EntryKey("ward", "e5"));

        // A second reading says the same: it rests on no single one any more.
        var again = Runs().Level("20:00", 650).Level("20:30", 650).Flags("20:40");
        Assert.EndsWith("(limit 20 min).", again.Says(Slug), StringComparison.Ordinal);
        Assert.Single(again.Standing(Slug).Latest.Evidence);
    }

    [Fact]
    public void A_reading_that_only_an_eye_judged_is_named() =>
        Assert.Contains(
            "It rests on one entry: drainage level read of 0 mL at 18:40, judged by eye.",
            Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0) is var w
                ? w.Chart(new DrainageLevelRead(w.Header("18:40", MeasuringWay.Estimate), "1", Ml(0))).Flags("18:50").Says(Slug)
                : "",
            StringComparison.Ordinal
        );

    [Theory] // nothing drained since 19:00 by the two readings, and nobody looked for so long in between
    [InlineData("21:00", "21:00-", "20:00-21:00")] // 2 h, twice the hourly check
    [InlineData("21:01", "", "20:00-")]
    [InlineData("02:00", "", "20:00-")]
    public void Over_a_hole_in_the_charting_it_is_stale_and_not_urgent(string read, string stood, string stale)
    {
        var clock = read.StartsWith('0') ? $"+1 {read}" : read;
        var record = Runs(60).Level(clock, 110).Flags(clock);
        Assert.Equal(stood, record.Stood(Slug));
        Assert.Equal(stale, record.Stood("drainage-reading-stale"));
    }

    [Fact]
    public void Over_a_hole_a_nurse_reads_what_may_have_been_and_the_next_reading_tells()
    {
        var ward = Runs(60).Level("22:00", 110);
        var record = ward.Flags("22:10");
        Assert.Equal(
            "the drainage was not read from 19:00 to 22:00 while 180 mL ran in, and what was then read shows 0 mL. "
                + "It may have been emptied and not charted, or nothing drains. Look at the patient, and read it again.",
            record.Says("drainage-reading-stale")
        );
        Assert.Equal(FlagPriority.Medium, record.Priority("drainage-reading-stale"));
        Assert.StartsWith("drainage not read stands since 20:00", record.Undecided(Slug).Why, StringComparison.Ordinal);

        // It drains after all: both end. It does not: said at that reading, from the reading after the hole on.
        var drains = Runs(60).Level("22:00", 110).Level("22:30", 160).Flags("22:40");
        Assert.Equal(("20:00-22:30", ""), (drains.Stood("drainage-reading-stale"), drains.Stood(Slug)));
        var blocked = ward.Level("23:30", 110).Flags("23:40");
        Assert.Equal(("20:00-23:30", "23:30-"), (blocked.Stood("drainage-reading-stale"), blocked.Stood(Slug)));
        Assert.StartsWith("nothing drained from 22:00 to 23:30 while 90 mL ran in", blocked.Says(Slug), StringComparison.Ordinal);
    }

    [Fact]
    public void A_hole_over_which_something_drained_is_none_that_anybody_need_be_told_of()
    {
        var record = Runs(60).Level("22:00", 310).Flags("22:10");
        Assert.Equal(("20:00-22:00", ""), (record.Stood("drainage-reading-stale"), record.Stood(Slug)));
    }

    [Fact]
    public void A_hole_does_not_take_down_a_flag_that_stands_and_drainage_does()
    {
        var blocked = Runs(300).Level("20:00", 350);
        Assert.Equal("20:00-", blocked.Level("23:00", 350).Flags("23:10").Stood(Slug));
        Assert.Equal("20:00-23:10", blocked.Level("23:10", 1200).Flags("23:20").Stood(Slug));
    }

    [Fact]
    public void Who_stops_the_flow_with_the_reading_after_a_hole_is_told_all_the_same()
    {
        var record = Runs(60).Level("22:00", 110).Flow("22:00", 0).Flags("23:30");
        Assert.Equal(("20:00-", ""), (record.Stood("drainage-reading-stale"), record.Stood(Slug)));
    }

    [Fact] // by marks two readings may be wrong by 2 · √(2 · 28.9²) = 81.6 mL: what ran in has to be more
    public void A_level_that_did_not_rise_is_no_empty_bag()
    {
        Assert.Equal("", Runs(80).Level("20:00", 130).Flags("20:00").Stood(Slug));
        Assert.Equal("20:00-", Runs(82).Level("20:00", 132).Flags("20:00").Stood(Slug));

        var emptied = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 80).Emptied("19:00", 100).Emptied("19:40", 0);
        Assert.Equal("19:40-", emptied.Flags("20:00").Stood(Slug));
    }

    [Fact]
    public void A_scale_tells_what_marks_cannot()
    {
        // 60 in, 25 out of 4 L: by marks 2 · √(2 · (28.9² + 2.5²)) = 82 mL may be wrong, by a scale
        // 2 · √(2 · (2.9² + 2.5²)) = 11.
        Ward Weighed(decimal grams) =>
            Opens("18:00")
                .BagHung("18:00", 3000)
                .Flow("18:00", 60)
                .Weighed("18:00", 100, 100, emptied: false)
                .Weighed("19:00", 200, 100, emptied: false)
                .Weighed("20:00", 200 + grams, 100, emptied: false);
        Assert.Equal("20:00-", Weighed(25).Flags("20:00").Stood(Slug));
        Assert.Equal("", Weighed(31).Flags("20:00").Stood(Slug)); // more than half of what ran in
        Assert.Equal("", Runs(60).Level("20:00", 135).Flags("20:00").Stood(Slug));
    }
}
