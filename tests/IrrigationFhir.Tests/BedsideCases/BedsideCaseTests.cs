using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using NodaTime;

namespace IrrigationFhir.Tests.BedsideCases;

/// <summary>Stories that have to come out as a nurse concludes (common practice, no source); each file tells its own.</summary>
public class BedsideCaseTests
{
    private static readonly string[] Outflow = ["no-drainage", "outflow-deficit"];

    [Fact]
    public void No_urine_for_two_days_is_said_by_the_twelfth_hour_though_the_bag_hangs()
    {
        var day = BedsideCase.Read("no-urine-for-two-days");
        var hour = day.Entries.OfType<DrainageWeighed>().Last();
        var more = Enumerable
            .Range(1, 31)
            .Select(n => hour with { Header = hour.Header with { Key = new("w", $"more {n}"), At = hour.At + Duration.FromHours(n) } });
        var story = day.With(entries => entries.Concat(more));

        Assert.All(story.Intervals, i => Assert.Equal(OutputStatus.Preliminary, i.Status));
        // Stage 1 after 6 h, anuria after 12 h.
        Assert.Equal(BedsideCase.At("2026-03-10T12:00:00Z"), story.Raised("urine-output-criterion", "2026-03-12T06:00:00Z"));
        Assert.Equal(BedsideCase.At("2026-03-10T18:00:00Z"), story.Raised("anuria", "2026-03-12T06:00:00Z"));
        var stands = story.Flags("2026-03-11T06:00:00Z").Standing.Single(f => f.Slug == "urine-output-criterion").Latest;
        Assert.Contains("stage 3", stands.Says, StringComparison.Ordinal);
        Assert.Contains("provisional", stands.Says, StringComparison.Ordinal);
        Assert.DoesNotContain(story.Flags("2026-03-12T06:00:00Z").Standing, f => Outflow.Contains(f.Slug));
    }

    [Fact]
    public void Hourly_marks_beside_a_charted_flow_make_no_answer_worse()
    {
        var story = BedsideCase.Read("bag-read-hourly");
        var without = story.With(entries => entries.Where(e => e is not BagRead));
        foreach (var (marked, bare) in story.Intervals.Zip(without.Intervals))
        {
            Assert.True(
                marked.Output!.BestEstimate!.Value.StandardUncertainty
                    <= bare.Output!.BestEstimate!.Value.StandardUncertainty + Volume.FromMillilitres(0.001m)
            );
            Assert.True(
                (marked.Worked!.Value.Best - bare.Worked!.Value.Best).Millilitres
                    < bare.Output.BestEstimate.Value.StandardUncertainty.Millilitres
            );
        }

        // 112.5 mL of overfill belong to the 50 hours of the bag: the hour of the first mark has less than 3 mL of them.
        Assert.InRange(story.Until("2026-03-10T07:00:00Z").Worked!.Value.Best.Millilitres, -3, 3);
        Assert.All(story.Intervals, i => Assert.Equal(0, i.Output!.Headline.Millilitres, 1)); // 60.4 g are 60.04 mL
    }

    [Fact]
    public void Read_a_minute_after_the_change_of_bag_it_is_the_same_answer()
    {
        var after = BedsideCase.Read("read-one-minute-after-the-bag-change");
        var same = after.With(entries =>
            entries.Select(e => e is DrainageEmptied ? e with { Header = e.Header with { At = e.At - Duration.FromMinutes(1) } } : e)
        );
        var patient = new Patient(new(1950, 1, 1), DateTimeZone.Utc);
        IEnumerable<(string, Reading, Answer, double)> Answers(BedsideCase story) =>
            UrineOutputCriteria
                .At(story.Balance, patient, story.Balance.LastClosing, CriteriaSettings.Default)
                .Select(r => (r.Slug, r.Reading, r.Answer, r.Probability is { } p ? Math.Round(p, 1) : -1));
        Assert.Equal(Answers(same), Answers(after));

        // The flags that stand then, too. (When one was first possible may differ: a minute of irrigant is 8 mL of 6 h.)
        IEnumerable<(string, FlagPriority)> Flags(FlagRecord record) =>
            record.Standing.Where(f => f.Latest.Criterion is not null).Select(f => (f.Slug, f.Latest.Priority));
        Assert.Equal(Flags(same.Flags("2026-03-10T18:00:00Z")), Flags(after.Flags("2026-03-10T18:01:00Z")));
    }

    [Fact]
    public void A_container_that_was_swapped_and_read_later_belongs_to_the_hour_in_which_it_filled()
    {
        var story = BedsideCase.Read("container-swapped-and-read-later");
        Assert.Equal([60m, 60, 60, 60], story.Intervals.Select(i => i.Output!.Headline.Millilitres));
        Assert.Equal((360m, "2026-03-10T10:00:00Z"), (story.Intervals[1].Drained!.Value.Millilitres, story.Intervals[1].End.ToString()));
        Assert.All(Outflow, slug => Assert.Null(story.Raised(slug, "2026-03-10T12:00:00Z")));
    }

    [Fact]
    public void Until_a_container_that_was_taken_away_is_read_its_hour_waits()
    {
        var story = BedsideCase
            .Read("container-swapped-and-read-later")
            .With(entries =>
                entries
                    .Where(e => e.At <= BedsideCase.At("2026-03-10T10:00:00Z"))
                    .Append(new ContainerTakenAway(new(new("w", "away"), BedsideCase.At("2026-03-10T10:00:00Z")), "1", "the sluice"))
            );
        Assert.Equal((AbsentReason.DrainageNotReadYet, null), (story.Intervals[1].Absent, story.Intervals[1].Output));
        Assert.All(Outflow, slug => Assert.Null(story.Raised(slug, "2026-03-10T10:20:00Z")));

        var read = story.With(entries =>
            entries.Append(
                new DrainageEmptied(new(new("w", "read"), BedsideCase.At("2026-03-10T10:40:00Z")), "1", Volume.FromMillilitres(360))
            )
        );
        Assert.Equal(60m, read.Intervals[1].Output!.Headline.Millilitres);
    }

    [Fact]
    public void A_reserve_on_line_two_ran_from_its_first_flow_on()
    {
        var story = BedsideCase.Read("standby-bag-on-line-two");
        Assert.Equal([1000m, 1000, 1000, 1000, 1000, 1000], story.Intervals.Select(i => i.Instilled!.Value.Millilitres));
        Assert.Equal([80m, 80, 80, 80, 80, 80], story.Intervals.Select(i => i.Output!.Headline.Millilitres));

        // And while it hangs, it says so and is no obstacle: at noon nobody knows yet when it will run.
        var noon = story.With(entries => entries.Where(e => e.At <= BedsideCase.At("2026-03-10T12:00:00Z")));
        Assert.Equal([80m, 80], noon.Intervals.Select(i => i.Output!.Headline.Millilitres));
        Assert.All(noon.Intervals, i => Assert.Contains(Caveat.FlowStartUnknown, i.Caveats));
    }

    [Fact]
    public void Ten_times_too_much_is_doubted_and_decides_nothing_until_somebody_confirms_or_corrects_it()
    {
        var story = BedsideCase.Read("ten-times-too-much");
        var doubted = story.Until("2026-03-10T10:00:00Z");
        Assert.Equal((OutputStatus.Preliminary, 7800m), (doubted.Status, doubted.Output!.Headline.Millilitres));
        Assert.Equal(
            (DoubtKind.MoreThanContainerHolds, new EntryKey("w", "4")),
            (Assert.Single(doubted.Doubts).Kind, doubted.Doubts[0].Reading)
        );
        Assert.Empty(story.Until("2026-03-10T12:00:00Z").Doubts);

        var flags = story.Flags("2026-03-10T12:00:00Z");
        Assert.Contains(flags.Standing, f => f.Slug == "reading-doubted");
        Assert.DoesNotContain(flags.Standing, f => f.Slug is "polyuria" or "post-obstructive-diuresis");

        var corrected = story.With(entries =>
            entries.Select(e => e.Key.Id == "4" ? ((DrainageEmptied)e) with { Drained = Volume.FromMillilitres(850) } : e)
        );
        Assert.Empty(corrected.Until("2026-03-10T10:00:00Z").Doubts);
        Assert.Equal(150m, corrected.Until("2026-03-10T10:00:00Z").Output!.Headline.Millilitres);

        var confirmed = story.With(entries =>
            entries.Append(new ReadingConfirmed(new(new("w", "yes"), BedsideCase.At("2026-03-10T10:05:00Z")), new("w", "4")))
        );
        Assert.Equal(
            (OutputStatus.Final, 0),
            (confirmed.Until("2026-03-10T10:00:00Z").Status, confirmed.Until("2026-03-10T10:00:00Z").Doubts.Length)
        );
    }

    [Fact]
    public void A_washout_within_the_hour_is_one_account_with_the_bag()
    {
        var story = BedsideCase.Read("washout-during-continuous-irrigation");
        Assert.Equal(
            [(300m, 360m, 60m), (480m, 540m, 60m)],
            story.Intervals.Select(i => (i.Instilled!.Value.Millilitres, i.Drained!.Value.Millilitres, i.Output!.Headline.Millilitres))
        );
        Assert.All(Outflow, slug => Assert.Null(story.Raised(slug, "2026-03-10T10:00:00Z")));
    }

    [Fact]
    public void The_returns_of_a_child_are_missed_before_noon()
    {
        var story = BedsideCase.Read("child-whose-returns-fail");
        var raised = Outflow.Select(slug => story.Raised(slug, "2026-03-10T13:00:00Z")).Min();
        Assert.True(raised <= BedsideCase.At("2026-03-10T12:00:00Z"), $"{raised}");

        // 38 mL an hour stay behind: 76 by noon, 114 by 13:00, which is more than 0.8 of 120 mL.
        var stands = story.Flags("2026-03-10T13:00:00Z").Standing.Single(f => f.Slug == "outflow-deficit").Latest;
        Assert.Equal(FlagPriority.Urgent, stands.Priority);
    }
}
