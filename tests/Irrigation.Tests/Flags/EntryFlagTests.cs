using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F17, F18 and what was seen: flags about a single entry, which stand a shift (in-vitro study of gravity flow; Sci Rep 2021; our
/// judgement; clinical reference 2.7, 4 and 9).
/// </summary>
public class EntryFlagTests
{
    [Theory]
    [InlineData(6500, "")]
    [InlineData(6501, "18:00-18:20")]
    public void A_flow_that_gravity_does_not_give_is_implausible_until_it_is_changed(decimal flow, string stood) =>
        Assert.Equal(
            stood,
            Opens("18:00").BagHung("18:00", 5000).Flow("18:00", flow).Flow("18:20", 600).Flags("19:00").Stood("implausible")
        );

    [Theory]
    [InlineData(100, "")]
    [InlineData(101, "18:00-06:00")]
    public void A_syringe_above_100_mL_is_implausible_for_a_shift(decimal given, string stood) =>
        Assert.Equal(stood, Opens("18:00").Syringe("18:00", given).Flags("+1 07:00").Stood("implausible"));

    [Theory] // 3 years: 120 of 500 mL, so 24 mL of 100
    [InlineData(24, "")]
    [InlineData(25, "18:00-")]
    public void Into_a_small_bladder_a_smaller_syringe_is_implausible(decimal given, string stood) =>
        Assert.Equal(stood, Opens("18:00").Syringe("18:00", given).Flags("19:00", Story.Aged(new(2023, 2, 1))).Stood("implausible"));

    [Fact]
    public void It_is_said_whose_bladder_it_is()
    {
        var small = Opens("18:00").Syringe("18:00", 60).Flags("19:00", Story.Adult with { BladderCapacity = Ml(150) });
        Assert.Equal("a syringe of 60 mL at 18:00: at most 30 mL into a bladder of 150 mL.", small.Says("implausible"));

        var adult = Opens("18:00").Syringe("18:00", 150).Flags("19:00");
        Assert.Equal("a syringe of 150 mL at 18:00: at most 100 mL.", adult.Says("implausible"));
    }

    [Fact] // check-value W25: a teaching page's six-year-old of 220.5 kg
    public void A_weight_that_no_child_has_is_named()
    {
        var six = Story.Aged(new(2020, 1, 10));
        var says = Opens("18:00").Weighs("18:00", 220.5m).Flags("18:30", six).Says("implausible");
        Assert.Contains("220.5 kg", says, StringComparison.Ordinal);
        Assert.Contains("plausible for a child of 6 years", says, StringComparison.Ordinal);
        Assert.Equal("", Opens("18:00").Weighs("18:00", 20.5m).Flags("18:30", six).Stood("implausible"));
    }

    [Fact]
    public void A_volume_and_a_weight_that_cannot_be()
    {
        Assert.Equal(
            "",
            Opens("18:00").PumpTotal("18:00", 0).Level("18:00", 0).Emptied("19:00", 10000).Flags("19:10").Stood("implausible")
        );
        Assert.Equal(
            "19:00-",
            Opens("18:00").PumpTotal("18:00", 0).Level("18:00", 0).Emptied("19:00", 10001).Flags("19:10").Stood("implausible")
        );
        Assert.Equal("18:00-19:00", Opens("18:00").Weighs("18:00", 700).Weighs("19:00", 70).Flags("19:10").Stood("implausible"));
        Assert.Equal("", Opens("18:00").Weighs("18:00", 70).Flags("19:10").Stood("implausible"));
    }

    [Fact]
    public void A_figure_that_is_withdrawn_was_never_flagged()
    {
        var ward = Opens("18:00").Syringe("18:00", 600);
        Assert.Equal("18:00-", ward.Flags("18:30").Stood("implausible"));
        var (after, changes) = ward.Later(
            ward.Flags("18:30"),
            w => new EnteredInError(new(new("ward", "e1"), w.At("18:30")) { RecordedAt = w.At("18:30") }, "meant 60")
        );
        Assert.Equal("", after.Stood("implausible"));
        Assert.Contains(changes, change => change.Before?.Slug == "implausible" && change.After is null);
    }

    [Theory]
    [InlineData("19:00", "")] // 60 min late is not later than 60 min
    [InlineData("19:01", "19:01-07:01")]
    public void What_was_charted_more_than_an_hour_late_is_told_from_then_for_a_shift(string charted, string stood) =>
        Assert.Equal(stood, Opens("18:00").Emptied("18:00", 300, recordedAt: charted).Flags("+1 08:00").Stood("late-entry"));

    [Fact]
    public void When_it_was_charted_is_not_known_before_and_two_late_entries_make_one_flag()
    {
        var ward = Opens("18:00").Emptied("18:05", 300, recordedAt: "20:00").Emptied("18:30", 300, recordedAt: "21:00");
        Assert.Equal("", ward.Flags("19:59").Stood("late-entry"));
        Assert.Equal("20:00-09:00", ward.Flags("+1 12:00").Stood("late-entry"));
        Assert.Equal(
            "drainage emptied of 18:30 was charted at 21:00 (late after 60 min). What was said in between was said without it.",
            ward.Flags("22:00").Says("late-entry")
        );
    }

    /// <summary>The balance of a ward's log, and its flags as they were told last.</summary>
    private static (FluidBalance Balance, FlagRecord Told) Told(Ward ward, string asOf)
    {
        var balance = ward.Balance();
        return (balance, FlagRecord.Of(balance, Story.Adult, FlagLimits.Default, ward.At(asOf)));
    }

    /// <summary>What an arrival turned out to change of what had been told, and the flags with it.</summary>
    private static (ImmutableArray<FlagRevised> Found, FluidBalance Balance, FlagRecord Flags) Arrives(
        Ward ward,
        FluidBalance balance,
        FlagRecord told,
        string clock,
        params Entry[] entries
    )
    {
        var appended = balance.Log.Append(entries, ward.At(clock));
        var arrived = balance.After(appended).Balance;
        var again = told.Reconsidered(arrived, appended.Changes);
        var found = Revisions.ByEntries(again, arrived, appended.Changes, ward.At(clock));
        var whole = balance.Log.Append([.. entries, .. found], ward.At(clock));
        var after = balance.After(whole).Balance;
        return (found, after, told.After(after, whole.Changes, ward.At(clock)).Record);
    }

    private static Entry Amended(Ward ward, string id, string clock, string charted, decimal level) =>
        new DrainageLevelRead(ward.Header(clock, recordedAt: charted, id: id), "1", Ml(level));

    [Fact]
    public void A_correction_that_takes_back_a_flag_already_told_is_told_for_a_shift_and_names_it()
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 0); // 600 in, nothing out
        var (balance, told) = Told(ward, "19:05");
        Assert.Equal("19:00-", told.Stood("outflow-deficit"));

        var (found, _, flags) = Arrives(ward, balance, told, "19:20", Amended(ward, "e4", "19:00", "19:20", 640));
        Assert.Equal("", flags.Stood("outflow-deficit"));
        Assert.Contains(found, f => (f.Flag, f.Since, f.Revision) == ("outflow-deficit", ward.At("19:00"), FlagRevision.NeverSo));
        Assert.Equal("19:20-", flags.Stood("late-entry"));
        Assert.Equal(FlagPriority.Low, flags.Priority("late-entry"));
        Assert.Contains(
            "outflow deficit since 19:00 was never so, as what arrived at 19:20 shows",
            flags.Says("late-entry"),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public void It_ends_after_the_shift_outlives_a_restart_and_is_not_told_twice()
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 0);
        var (balance, told) = Told(ward, "19:05");
        var correction = Amended(ward, "e4", "19:00", "19:20", 640);
        var (_, after, flags) = Arrives(ward, balance, told, "19:20", correction);

        Assert.Equal("19:20-07:20", flags.After(after, [], ward.At("+1 08:00")).Record.Stood("late-entry"));
        var fromTheLogAlone = FlagRecord.Of(after, Story.Adult, FlagLimits.Default, ward.At("+1 08:00"));
        Assert.Equal("19:20-07:20", fromTheLogAlone.Stood("late-entry"));
        var (again, _, _) = Arrives(ward, after, flags, "19:25", correction);
        Assert.Empty(again);
    }

    [Fact]
    public void A_correction_that_leaves_every_flag_as_told_says_nothing()
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 0);
        var (balance, told) = Told(ward, "19:05");
        // 580 mL are held back still: the same flag, as urgent.
        var (found, _, flags) = Arrives(ward, balance, told, "19:20", Amended(ward, "e4", "19:00", "19:20", 20));
        Assert.Empty(found);
        Assert.Equal("", flags.Stood("late-entry"));
    }

    [Fact]
    public void A_reading_charted_some_minutes_after_it_was_taken_is_no_correction_and_one_that_came_hours_late_is()
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 300).Level("18:00", 0).Level("19:00", 350);
        var (balance, told) = Told(ward, "20:05");
        Assert.Equal("20:00-", told.Stood("drainage-reading-stale"));
        Assert.Empty(Arrives(ward, balance, told, "20:05", new DrainageLevelRead(ward.Header("19:55", id: "new"), "1", Ml(700))).Found);

        var (later, much) = Told(ward, "22:05");
        var found = Arrives(ward, later, much, "22:05", new DrainageLevelRead(ward.Header("19:55", id: "new"), "1", Ml(700))).Found;
        Assert.Contains(found, f => (f.Flag, f.Revision) == ("drainage-reading-stale", FlagRevision.NeverSo));
    }

    [Fact]
    public void Another_priority_and_another_end_are_told_as_what_they_are()
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 0);
        var (balance, told) = Told(ward, "19:05");
        Assert.Equal(FlagPriority.Urgent, told.Priority("outflow-deficit"));
        // 300 mL held back: a warning.
        var (milder, _, flags) = Arrives(ward, balance, told, "19:20", Amended(ward, "e4", "19:00", "19:20", 300));
        Assert.Equal(FlagPriority.High, flags.Priority("outflow-deficit"));
        Assert.Contains(milder, f => (f.Flag, f.Revision) == ("outflow-deficit", FlagRevision.OtherPriority));

        var drained = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 0).Level("19:10", 720);
        var (cleared, ended) = Told(drained, "19:15");
        Assert.Equal("19:00-19:10", ended.Stood("outflow-deficit"));
        var (open, _, _) = Arrives(
            drained,
            cleared,
            ended,
            "19:20",
            new EnteredInError(drained.Header("19:20", recordedAt: "19:20", id: "e5"), "another bed's container")
        );
        Assert.Contains(open, f => (f.Flag, f.Revision) == ("outflow-deficit", FlagRevision.EndsOtherwise));
    }

    [Fact]
    public void As_seen_leaks_stand_a_shift_and_findings_until_the_next_look()
    {
        Assert.Equal("19:00-07:00", Opens("18:00").Leak("19:00", 50).Flags("+1 08:00").Stood("catheter-leakage"));
        Assert.Equal(
            "about 50 mL leaked beside the catheter or was spilt by 19:00.",
            Opens("18:00").Leak("19:00", 50).Flags("20:00").Says("catheter-leakage")
        );
        var felt = Opens("18:00")
            .Feels("19:00", distended: true, tender: true)
            .Feels("20:00", distended: null, tender: false)
            .Feels("21:00", distended: false)
            .Feels("22:00", distended: true);
        Assert.Equal("19:00-21:00, 22:00-", felt.Flags("22:30").Stood("bladder-distension"));
        Assert.Equal("19:00-20:00", felt.Flags("22:30").Stood("suprapubic-tenderness"));
        Assert.Equal("feeling or scanning the bladder", felt.Flags("20:30").Undecided("bladder-distension").Needs);
        Assert.Equal(FlagPriority.High, felt.Flags("22:30").Priority("bladder-distension"));
    }
}
