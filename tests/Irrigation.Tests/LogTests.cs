using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>The log: what becomes of an entry that arrives, which version stands, and where entries are filed.</summary>
public class LogTests
{
    private static readonly Ward Bedside = Opens("07:00");

    [Fact]
    public void What_is_new_is_recorded_and_what_comes_again_is_a_repetition()
    {
        var twice = Empty.Append([Leak(50), Leak(50)], Bedside.At("09:00"));
        Assert.Equal([Disposition.Recorded, Disposition.Repeated], twice.Outcomes.Select(o => o.Disposition));
        Assert.Equal(twice.Outcomes[0].Logged, twice.Outcomes[1].Logged); // the one already there
        Assert.Equal(new Change(null, Leak(50)), Assert.Single(twice.Changes));
        Assert.Equal((1L, 1), (twice.Log.LastSequence, twice.Outcomes[0].Logged.Revision));
    }

    [Fact]
    public void Other_content_under_the_same_id_amends_and_the_old_version_stays()
    {
        var amended = Empty.Append([Leak(50), Leak(60)], Bedside.At("09:00"));
        Assert.Equal((Disposition.Amended, 2), (amended.Outcomes[1].Disposition, amended.Outcomes[1].Logged.Revision));
        Assert.Equal(new Change(Leak(50), Leak(60)), amended.Changes[1]);
        Assert.Equal(Leak(60), amended.Log.Current(Key)!.Entry);
        Assert.Equal([Leak(50), Leak(60)], amended.Log.Versions(Key).Select(v => v.Entry));
        Assert.Equal([Leak(60)], InForce(amended.Log));
        Assert.True(amended.Log.IsCorrected(Key));
    }

    [Fact]
    public void An_old_value_that_comes_again_is_a_device_that_resends_and_not_an_amendment_back()
    {
        var resent = Empty.Append([Leak(50), Leak(60), Leak(50)], Bedside.At("09:00"));
        Assert.Equal(Disposition.Repeated, resent.Outcomes[2].Disposition);
        Assert.Equal(Leak(60), resent.Log.Current(Key)!.Entry);
    }

    [Fact]
    public void What_says_it_was_charted_later_amends_back_or_confirms()
    {
        var log = Empty.Append([Leak(50, "08:01"), Leak(60, "08:02"), Leak(50, "08:03"), Leak(50, "08:04")], Bedside.At("09:00"));
        Assert.Equal(
            [Disposition.Recorded, Disposition.Amended, Disposition.Amended, Disposition.Confirmed],
            log.Outcomes.Select(o => o.Disposition)
        );
        Assert.Equal(Leak(50, "08:04"), log.Log.Current(Key)!.Entry);
        Assert.True(log.Log.IsCorrected(Key)); // 60 was sent under it once
    }

    [Fact]
    public void A_fact_that_was_only_confirmed_is_not_corrected() =>
        Assert.False(Empty.Append([Leak(50, "08:01"), Leak(50, "08:04")], Bedside.At("09:00")).Log.IsCorrected(Key));

    [Fact]
    public void What_says_it_was_charted_earlier_than_the_version_that_stands_is_outdated()
    {
        var late = Empty.Append([Leak(60, "08:02"), Leak(50, "08:01")], Bedside.At("09:00"));
        Assert.Equal(Disposition.Outdated, late.Outcomes[1].Disposition);
        Assert.Equal(Leak(60, "08:02"), late.Log.Current(Key)!.Entry);
        Assert.Equal([Leak(60, "08:02")], InForce(late.Log));
        Assert.Equal(new Change(Leak(50, "08:01"), Leak(60, "08:02")), late.Changes[1]);
        // It stands among what was withdrawn, as it would had it come first.
        Assert.Equal([Leak(50, "08:01")], late.Log[Channel.Withdrawn].Before(Instant.MaxValue));
    }

    [Fact]
    public void Charted_at_the_same_moment_the_one_that_stands_goes_on_standing() =>
        Assert.Equal(
            Disposition.Outdated,
            Empty.Append([Leak(60, "08:02"), Leak(50, "08:02")], Bedside.At("09:00")).Outcomes[1].Disposition
        );

    [Fact]
    public void What_was_entered_in_error_leaves_every_channel_and_stays_in_the_log()
    {
        var gone = Empty.Append([Leak(50), Error()], Bedside.At("09:00"));
        Assert.Equal(Disposition.Retracted, gone.Outcomes[1].Disposition);
        Assert.Equal(new Change(Leak(50), null), gone.Changes[1]);
        Assert.Empty(InForce(gone.Log));
        Assert.Equal([Channel.Withdrawn], gone.Log.Channels);
        Assert.Equal(2, gone.Log.Arrivals.Count());
    }

    [Fact]
    public void A_retraction_stands_until_a_version_says_it_was_charted_later()
    {
        var undated = Empty.Append([Leak(50), Error(), Leak(60)], Bedside.At("09:00"));
        Assert.Equal(Disposition.Outdated, undated.Outcomes[2].Disposition);
        Assert.Empty(InForce(undated.Log));
        Assert.Equal(new Change(Leak(60), null), undated.Changes[2]);

        var later = Empty.Append([Leak(50, "08:01"), Error("08:02"), Leak(60, "08:03")], Bedside.At("09:00"));
        Assert.Equal(Disposition.Amended, later.Outcomes[2].Disposition);
        Assert.Equal([Leak(60, "08:03")], InForce(later.Log));
        Assert.Equal(new Change(null, Leak(60, "08:03")), later.Changes[2]);
    }

    [Fact]
    public void An_error_that_comes_before_its_entry_takes_it_back_all_the_same()
    {
        var log = Empty.Append([Error("08:02"), Leak(50, "08:01")], Bedside.At("09:00"));
        Assert.Equal([Disposition.Retracted, Disposition.Outdated], log.Outcomes.Select(o => o.Disposition));
        Assert.Empty(InForce(log.Log));
        Assert.Equal(new Change(Leak(50, "08:01"), null), Assert.Single(log.Changes)); // the error alone changed nothing
    }

    [Fact]
    public void A_second_error_of_the_same_entry_is_no_second_retraction()
    {
        var log = Empty.Append([Leak(50), Error(), new EnteredInError(Header(), "twice the same")], Bedside.At("09:00"));
        Assert.Equal(Disposition.Outdated, log.Outcomes[2].Disposition);
        var dated = Empty.Append(
            [Leak(50, "08:01"), Error("08:02"), new EnteredInError(Header("08:03"), "twice the same")],
            Bedside.At("09:00")
        );
        Assert.Equal(Disposition.Amended, dated.Outcomes[2].Disposition);
        Assert.Equal(2, dated.Changes.Length);
    }

    [Fact]
    public void Arrivals_are_told_in_the_order_in_which_they_came()
    {
        var ward = Opens("07:00").Leak("10:00", 1).Leak("09:00", 2).Leak("08:00", 3).Leak("11:00", 4);
        Assert.Equal(ward.Entries, ward.Balance().Log.Arrivals.Select(a => a.Entry));
        Assert.Equal([1L, 2, 3, 4], ward.Balance().Log.Arrivals.Select(a => a.Sequence));
    }

    [Fact]
    public void A_log_as_it_was_known_holds_what_had_happened_and_was_charted_by_then()
    {
        var log = Opens("07:00")
            .Urine("08:00", 10)
            .Urine("09:00", 20, recordedAt: "10:00")
            .Urine("10:00", 30, recordedAt: "11:00")
            .Balance()
            .Log;
        int Known(string clock) => log.KnownAt(Bedside.At(clock)).Arrivals.Count();
        Assert.Equal([0, 1, 1, 2, 3], new[] { "07:59", "08:00", "09:59", "10:00", "11:00" }.Select(Known));
    }

    [Fact]
    public void Each_line_and_each_container_is_filed_for_itself()
    {
        // Two lines, everything on the second a tenth of the first; two containers. Together: 1010 + 440 in, 1700 out.
        var ward = Opens("08:00")
            .BagHung("08:00", 1000)
            .BagTakenDown("10:00", 0)
            .BagHung("08:00", 100, line: "2")
            .BagTakenDown("10:00", 90, line: "2")
            .PumpTotal("10:00", 400, line: "3")
            .PumpTotal("11:00", 800, line: "3")
            .PumpTotal("10:00", 4, line: "4")
            .PumpTotal("11:00", 44, line: "4")
            .Level("08:00", 0)
            .Level("08:00", 0, container: "b")
            .Level("11:00", 1500)
            .Level("11:00", 200, container: "b");
        Assert.Equal(
            (Ml(1450), Ml(1700), Ml(250)),
            (ward.Interval("11:00").Instilled, ward.Interval("11:00").Drained, ward.Interval("11:00").Simple)
        );
        Assert.Equal(["1", "2", "3", "4"], Channel.Lines(ward.Balance().Log));
        Assert.Equal(["1", "b"], Channel.Containers(ward.Balance().Log));
    }

    [Fact]
    public void Flows_totals_and_syringes_of_two_lines_are_not_mixed()
    {
        var flows = Opens("08:00").Flow("08:00", 100).Flow("08:00", 30, line: "2").Emptied("10:00", 300);
        Assert.Equal(Ml(260), flows.Interval("10:00").Instilled);
        // 600 mL since the start, and on the other line 300 mL since its own last total: 200 mL + 100 mL by 09:00.
        var totals = Opens("07:00")
            .Instilled("08:00", 0, line: "2")
            .Instilled("10:00", 600)
            .Instilled("11:00", 300, line: "2")
            .Emptied("09:00", 600)
            .Emptied("11:00", 600);
        Assert.Equal([Ml(500), Ml(400)], totals.Balance()[FluidBalance.Bladder].Select(i => i.Instilled!.Value));
        var syringes = Opens("08:00").Syringe("08:30", 50).Syringe("08:40", 60, line: "2").Emptied("09:00", 150);
        Assert.Equal(
            (Ml(110), 2),
            (syringes.Interval("09:00").Instilled, syringes.Interval("09:00").Parts.Count(p => p.Kind == PartKind.Irrigant))
        );
    }

    [Fact]
    public void Only_what_runs_through_a_line_is_irrigant()
    {
        var ward = Opens("08:00")
            .BagHung("08:00", 3000)
            .BagRead("08:00", 1)
            .BagTakenDown("08:00", 1)
            .PumpTotal("08:00", 1)
            .Flow("08:00", 1)
            .Instilled("08:00", 1)
            .Syringe("08:00", 1);
        Assert.All(ward.Entries, entry => Assert.True(Channel.IsIrrigant(entry)));
        var other = Opens("08:00")
            .Emptied("08:00", 1)
            .Level("08:00", 1)
            .Weighed("08:00", 1)
            .Urine("08:00", 1)
            .Leak("08:00", 1)
            .Scan("08:00", 1)
            .Clamp("08:00")
            .Release("08:00");
        Assert.All(other.Entries, entry => Assert.False(Channel.IsIrrigant(entry)));
    }

    [Fact]
    public void At_one_instant_a_bag_is_read_then_taken_down_and_then_the_next_is_hung()
    {
        var ward = Opens("08:00").BagHung("09:00", 3000).BagTakenDown("09:00", 100).BagRead("09:00", 200).BagHung("08:00", 1000);
        Assert.Equal(
            [typeof(BagHung), typeof(BagRead), typeof(BagTakenDown), typeof(BagHung)],
            ward.Balance().Log[Channel.Bag("1")].Before(Instant.MaxValue).Reverse().Select(e => e.GetType())
        );
        var drain = Opens("08:00").Emptied("09:00", 500).Weighed("09:00", 500, emptied: false).Level("09:00", 490);
        Assert.Equal(
            [typeof(DrainageLevelRead), typeof(DrainageWeighed), typeof(DrainageEmptied)],
            drain.Balance().Log[Channel.Container("1")].Before(Instant.MaxValue).Reverse().Select(e => e.GetType())
        );
        var clamp = Opens("08:00").Clamp("09:00").Release("09:00");
        Assert.IsType<DrainClamped>(clamp.Balance().Log[Channel.Clamp].LastAtOrBefore(clamp.At("09:00")));
    }

    [Fact]
    public void Otherwise_the_sender_and_its_id_tell_the_order_and_then_what_is_said()
    {
        Entry Of(string source, string id, decimal ml) => new LeakEstimated(new(new(source, id), Bedside.At("08:00")), Ml(ml));
        Entry[] expected = [Of("a", "2", 1), Of("b", "1", 1), Of("b", "1", 2), Of("b", "3", 1)];
        Assert.Equal(
            expected,
            expected.Reverse().Aggregate(Timeline.Empty, (all, entry) => all.With(entry)).Before(Instant.MaxValue).Reverse()
        );
        Assert.True(EntryKey.Compare(new("a", "2"), new("b", "1")) < 0);
        Assert.Equal("a/2", new EntryKey("a", "2").ToString());
        Assert.True(EntryKey.Compare(new("a", "2"), new("a", "1")) > 0);
    }

    [Fact]
    public void An_entry_stands_in_a_timeline_once_and_leaves_it_whole()
    {
        var (one, other) = (new LeakEstimated(Header(), Ml(50)), new LeakEstimated(Header(), Ml(60)));
        var timeline = Timeline.Empty.With(one).With(one);
        Assert.Equal(1, timeline.Count);
        Assert.Same(timeline, timeline.Without(other));
        Assert.Equal(2, timeline.With(other).Count);
        Assert.Equal([other], timeline.With(other).Without(one).Before(Instant.MaxValue));
        Assert.Equal(0, timeline.Without(one).Count);
    }

    [Fact]
    public void What_lies_before_is_told_from_the_latest_back()
    {
        var ward = Opens("07:00").Leak("08:00", 1).Leak("09:00", 2).Leak("10:00", 3);
        var timeline = ward.Balance().Log[Channel.Leak];
        Assert.Equal([Ml(2), Ml(1)], timeline.Before(ward.At("10:00")).Select(e => ((LeakEstimated)e).Amount));
        Assert.Empty(timeline.Before(ward.At("08:00")));
    }

    private static EpisodeLog Empty => EpisodeLog.Empty(Bedside.Frame);

    private static EntryKey Key => new("ward", "leak");

    private static EntryHeader Header(string? recordedAt = null) => Bedside.Header("08:00", recordedAt: recordedAt, id: "leak");

    private static LeakEstimated Leak(decimal ml, string? recordedAt = null) => new(Header(recordedAt), Ml(ml));

    private static EnteredInError Error(string? recordedAt = null) => new(Header(recordedAt), null);

    private static IEnumerable<Entry> InForce(EpisodeLog log) => log[Channel.Leak].Before(Instant.MaxValue);
}
