using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>The life of a flag, whatever its rule.</summary>
public class FlagRecordTests
{
    /// <summary>600 mL/h all evening, read each hour; from 20:00 on nothing drains, until a washout at 21:30.</summary>
    private static Ward Blocked() =>
        Opens("18:00")
            .BagHung("18:00", 3000)
            .Flow("18:00", 600)
            .Level("18:00", 0)
            .Level("19:00", 650)
            .Level("20:00", 1300)
            .Level("20:40", 1300);

    [Fact]
    public void A_flag_is_raised_when_its_pattern_is_read_and_cleared_when_it_ends()
    {
        Assert.Equal("", Blocked().Flags("20:39").Stood("no-drainage"));
        Assert.Equal("20:40-", Blocked().Flags("21:00").Stood("no-drainage"));
        Assert.Equal("20:40-21:30", Blocked().Emptied("21:30", 2400).Flags("22:00").Stood("no-drainage"));
    }

    [Fact]
    public void Time_alone_raises_a_flag_to_the_minute()
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 650);
        var record = ward.Flags("19:30");
        Assert.Equal(ward.At("20:00"), record.Next);
        Assert.Equal("", ward.Flags("19:59").Stood("drainage-reading-stale"));
        Assert.Equal("20:00-", ward.Flags("20:00").Stood("drainage-reading-stale"));
    }

    [Fact] // the flow stands charted though the bag is dry by its label at 23:00: what fills the container is then urine alone
    public void Silence_is_looked_at_a_few_times_only()
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 650);
        var (record, looks) = (ward.Flags("19:00"), 0);
        for (; record.Next is { } next && looks < 100; looks++)
            record = record.After(ward.Balance(), [], next).Record;
        Assert.InRange(looks, 5, 15);
        Assert.Equal(record.Ended.Concat(record.Standing), ward.Flags("+9 18:00").Ended.Concat(ward.Flags("+9 18:00").Standing));
    }

    [Fact]
    public void A_late_entry_retracts_a_flag_that_was_never_so()
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 650);
        var before = ward.Flags("20:10");
        Assert.Equal("20:00-", before.Stood("drainage-reading-stale"));
        var log = ward.Balance().Log;
        var late = new DrainageLevelRead(ward.Header("19:45", id: "late") with { RecordedAt = ward.At("20:10") }, "1", Ml(1100));
        var appended = log.Append([late], ward.At("20:10"));
        var (after, changes) = before.After(ward.Balance().After(appended).Balance, appended.Changes, ward.At("20:11"));
        Assert.Equal("", after.Stood("drainage-reading-stale"));
        var retracted = Assert.Single(changes, c => c.Before?.Slug == "drainage-reading-stale");
        Assert.Null(retracted.After);
    }

    [Fact]
    public void With_the_episode_every_flag_ends()
    {
        var record = Blocked().Ends("22:00").Flags("23:00");
        Assert.Equal("20:40-22:00", record.Stood("no-drainage"));
        Assert.Empty(record.Standing);
        Assert.Null(record.Next);
    }

    [Fact]
    public void In_whatever_order_the_entries_arrive_the_flags_are_the_same()
    {
        var ward = Blocked().Flow("21:00", 0).Emptied("21:30", 2400).Flow("21:35", 300).Level("22:00", 200).Level("23:00", 500);
        var whole = ward.Flags("23:30");
        foreach (var seed in Enumerable.Range(1, 20))
        {
            var random = new Random(seed);
            var balance = FluidBalance.Of(EpisodeLog.Empty(ward.Frame), BalanceSettings.Default);
            var record = FlagRecord.Of(balance, Story.Adult, FlagLimits.Default, ward.At("20:00"));
            foreach (var entry in ward.Entries.OrderBy(_ => random.Next()))
            {
                var appended = balance.Log.Append([entry], ward.At("23:30"));
                balance = balance.After(appended).Balance;
                record = record.After(balance, appended.Changes, ward.At(random.Next(2) == 0 ? "22:10" : "23:30")).Record;
            }

            record = record.After(balance, [], ward.At("23:30")).Record;
            Assert.Empty(FlagRecord.Compare(whole, record));
            Assert.Equal(whole.Findings.Select(f => f.Latest), record.Findings.Select(f => f.Latest));
        }
    }

    [Fact]
    public void Every_rule_has_one_slug_and_what_goes_before_it_looks_before_it()
    {
        Assert.Equal(FlagRules.All.Length, FlagRules.All.Select(r => r.Slug).Distinct().Count());
        foreach (var (flag, whileStands, _) in FlagRules.Precedence)
        {
            Assert.All(
                whileStands,
                first => Assert.True(FlagRules.IndexOf(first) < FlagRules.IndexOf(flag), $"{first} looks after {flag}")
            );
        }

        foreach (var trigger in DysreflexiaRisk.Triggers)
            Assert.True(FlagRules.IndexOf(trigger) < FlagRules.IndexOf("dysreflexia-risk"), trigger);
    }
}
