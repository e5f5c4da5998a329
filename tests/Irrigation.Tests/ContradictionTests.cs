using Irrigation.Episodes;
using Irrigation.Measures;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// What is turned back at the door because it cannot be true beside the record (clinical reference 8: contradictions to reject or query).
/// </summary>
public class ContradictionTests
{
    [Fact]
    public void Fluid_before_the_start_or_after_the_end_is_turned_back()
    {
        var ward = Opens("07:00").Ends("11:00");
        Entry[] Fluids(string clock) =>
            [
                new BagHung(ward.Header(clock), "1", Ml(3000), null, null, null, null),
                new BagRead(ward.Header(clock), "1", Ml(500)),
                new BagTakenDown(ward.Header(clock), "1", null),
                new IrrigantInstilled(ward.Header(clock), "1", Ml(50)),
                new FlowSet(ward.Header(clock), "1", FlowRate.Stopped, null, null),
                new PumpTotalRead(ward.Header(clock), "1", Ml(50), false),
                new DrainageEmptied(ward.Header(clock), "1", Ml(50)),
                new DrainageLevelRead(ward.Header(clock), "1", Ml(50)),
                new DrainageWeighed(ward.Header(clock), "1", Mass.FromGrams(50), null, null, false),
                new LeakEstimated(ward.Header(clock), Ml(50)),
                new UrineCollected(ward.Header(clock), UrineRoute.Void, Ml(50)),
                new DrainClamped(ward.Header(clock)),
                new DrainReleased(ward.Header(clock)),
            ];

        Assert.All(
            Fluids("06:59"),
            fluid => Assert.Equal(("before-episode-start", "entries[0].at"), Told(Contradictions.OfFrame(fluid, ward.Frame, "entries[0]")))
        );
        Assert.All(
            Fluids("11:01"),
            fluid => Assert.Equal(("after-episode-end", "entries[0].at"), Told(Contradictions.OfFrame(fluid, ward.Frame, "entries[0]")))
        );
        Assert.All(Fluids("07:00").Concat(Fluids("11:00")), fluid => Assert.Null(Contradictions.OfFrame(fluid, ward.Frame, "entries[0]")));
    }

    [Fact]
    public void What_is_seen_or_weighed_may_well_lie_before()
    {
        var ward = Opens("07:00").Ends("11:00");
        Assert.All(
            new Entry[]
            {
                new BladderScanned(ward.Header("06:00"), Ml(300)),
                new WeightMeasured(ward.Header("06:00"), new(70, WeightKind.Actual)),
                new CatheterInserted(ward.Header("12:00"), null, 20, 3),
            },
            seen => Assert.Null(Contradictions.OfFrame(seen, ward.Frame, "entries[0]"))
        );
    }

    [Fact]
    public void A_period_is_judged_by_where_it_begins()
    {
        var ward = Opens("07:00").Instilled("08:00", 500, from: "06:30").Instilled("08:30", 100, from: "08:00");
        Assert.Equal(("before-episode-start", "e.from"), Told(Of(ward, 0)));
        Assert.Equal("06:30", Of(ward, 0)!.Saw[11..16]);
        Assert.Null(Of(ward, 1));
    }

    [Fact]
    public void What_is_not_about_the_patient_contradicts_nothing()
    {
        var ward = Opens("07:00");
        ward.Chart(new DrainageEmptied(ward.Header("06:00") with { Purpose = Purpose.Calibration }, "1", Ml(1000)));
        Assert.Null(Of(ward, 0));
    }

    [Fact]
    public void A_bag_is_not_hung_over_another()
    {
        var ward = Opens("07:00").BagHung("07:00", 3000).BagHung("09:00", 3000).BagHung("09:00", 1000, line: "2");
        Assert.Equal(["overlapping-bags", "overlapping-bags", null], Codes(ward)); // the first, charted later, would be as wrong
        Assert.Contains("since 2026-03-14T07:00:00Z", Of(ward, 1)!.Saw, StringComparison.Ordinal);
        Assert.Contains("since 2026-03-14T09:00:00Z", Of(ward, 0)!.Saw, StringComparison.Ordinal);
    }

    [Fact]
    public void A_bag_hangs_on_after_it_was_read_and_until_it_is_taken_down()
    {
        Assert.Equal(
            [null, null, "overlapping-bags"],
            Codes(Opens("07:00").BagTakenDown("07:00", 0).BagRead("08:00", 500).BagHung("09:00", 3000))
        );
        Assert.Equal([null, null, null], Codes(Opens("07:00").BagHung("07:00", 3000).BagTakenDown("09:00", 0).BagHung("09:00", 3000)));
        Assert.Equal([null, null, null], Codes(Opens("07:00").BagHung("07:00", 3000).BagTakenDown("09:00", 0).BagRead("09:30", 0)));
    }

    [Fact]
    public void Of_two_bags_hung_at_one_moment_each_says_so()
    {
        var ward = Opens("07:00").BagHung("08:00", 3000).BagHung("08:00", 1000);
        Assert.Equal(["overlapping-bags", "overlapping-bags"], Codes(ward));
    }

    [Theory]
    [InlineData("08:00", "10:00", "09:00", "11:00", true)]
    [InlineData("09:00", "11:00", "08:00", "10:00", true)]
    [InlineData("08:00", "11:00", "09:00", "10:00", true)] // within
    [InlineData("09:00", "10:00", "08:00", "11:00", true)]
    [InlineData("08:00", "10:00", "09:00", "10:00", true)] // the same end
    [InlineData("08:00", "10:00", "10:00", "11:00", false)] // one after the other
    [InlineData("10:00", "11:00", "08:00", "10:00", false)]
    [InlineData("08:00", "09:00", "10:00", "11:00", false)]
    [InlineData("10:00", "11:00", "08:00", "09:00", false)]
    public void Totals_of_one_line_follow_one_another(string from, string to, string otherFrom, string otherTo, bool overlap)
    {
        var ward = Opens("07:00").Instilled(otherTo, 500, from: otherFrom).Instilled(to, 600, from: from);
        Assert.Equal(overlap ? "overlapping-totals" : null, Of(ward, 1)?.Code);
        Assert.Null(Of(Opens("07:00").Instilled(otherTo, 500, from: otherFrom, line: "2").Instilled(to, 600, from: from), 1));
        if (overlap)
            Assert.Contains($"from 2026-03-14T{otherFrom}:00Z to 2026-03-14T{otherTo}:00Z", Of(ward, 1)!.Saw, StringComparison.Ordinal);
    }

    [Fact]
    public void A_total_without_a_start_lies_where_it_ends()
    {
        // At 09:00 in the time of another; at its end, or between two of its kind, there is nothing against it.
        Assert.Equal("overlapping-totals", Of(Opens("07:00").Instilled("10:00", 600, from: "08:00").Instilled("09:00", 300), 1)?.Code);
        Assert.Equal("overlapping-totals", Of(Opens("07:00").Instilled("09:00", 300).Instilled("10:00", 600, from: "08:00"), 1)?.Code);
        Assert.Equal([null, null], Codes(Opens("07:00").Instilled("10:00", 600, from: "08:00").Instilled("10:00", 300)));
        Assert.Equal([null, null], Codes(Opens("07:00").Instilled("08:00", 300).Instilled("10:00", 600, from: "08:00")));
        Assert.Equal([null, null, null], Codes(Opens("07:00").Instilled("08:00", 300).Instilled("10:00", 600).Instilled("10:00", 100)));
    }

    [Fact]
    public void A_syringe_is_no_total_and_overlaps_none() =>
        Assert.Equal([null, null], Codes(Opens("07:00").Instilled("10:00", 600, from: "08:00").Syringe("09:00", 50)));

    [Fact] // clinical reference 8: outflow > 0 while the drain is clamped
    public void One_reading_behind_a_clamp_tells_of_the_time_before_and_a_second_must_add_nothing()
    {
        Ward Clamped() => Opens("07:00").Level("08:00", 100).Clamp("08:30").Level("09:00", 300);
        Assert.Equal([null, null, null], Codes(Clamped()));
        Assert.Null(Of(Clamped().Level("09:30", 300), 3));
        Assert.Equal(("drainage-while-clamped", "e"), Told(Of(Clamped().Level("09:30", 310), 3)));
        Assert.Contains("since 2026-03-14T08:30:00Z", Of(Clamped().Level("09:30", 310), 3)!.Saw, StringComparison.Ordinal);
        Assert.Null(Of(Clamped().Release("09:20").Level("09:30", 310), 4));
        Assert.Null(Of(Clamped().Level("09:30", 40, container: "meter"), 3)); // the first of its container in this clamp
    }

    [Fact]
    public void A_reading_at_the_moment_of_clamping_is_the_one_that_tells_of_the_time_before()
    {
        var ward = Opens("07:00").Level("08:00", 100).Clamp("08:30").Level("08:30", 300).Level("09:00", 320);
        Assert.Equal([null, null, null, "drainage-while-clamped"], Codes(ward));
        Assert.Equal([null, null, null], Codes(Opens("07:00").Level("08:29", 100).Clamp("08:30").Level("09:00", 320)));
    }

    [Fact]
    public void What_a_container_held_at_the_very_start_did_not_drain_in_the_episode() =>
        Assert.Null(Of(Opens("08:00").Clamp("07:50").Level("07:55", 50).Level("08:00", 70), 2));

    [Theory]
    [InlineData("08:29", null)]
    [InlineData("08:30", "drainage-while-clamped")] // all of its time lies behind the clamp
    [InlineData("08:45", "drainage-while-clamped")]
    public void Drainage_over_a_period_behind_the_clamp_ran_through_it(string from, string? code) =>
        Assert.Equal(code, Of(Opens("07:00").Level("08:00", 100).Clamp("08:30").Level("09:00", 300, from: from), 2)?.Code);

    [Fact]
    public void A_level_that_fell_behind_a_clamp_adds_nothing() =>
        Assert.Null(Of(Opens("07:00").Level("08:00", 100).Clamp("08:30").Level("09:00", 300).Level("09:30", 20), 3));

    private static EntryProblem? Of(Ward ward, int entry) => Contradictions.Of(ward.Entries[entry], ward.Balance().Log, "e");

    private static IEnumerable<string?> Codes(Ward ward) => ward.Entries.Select(e => Contradictions.Of(e, ward.Balance().Log, "e")?.Code);

    private static (string?, string?) Told(EntryProblem? problem) => (problem?.Code, problem?.Where);
}
