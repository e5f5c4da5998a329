using Irrigation.Balance;
using Irrigation.Episodes;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// What a body, a container or a clock cannot do is doubted, at the very edge of each limit (clinical reference; the limits are our
/// judgement and settings): what is doubted, of which reading, and in what words.
/// </summary>
public class DoubtsTests
{
    private static Doubt? Of(Ward ward, string by) =>
        ward.Balance(Exact)[FluidBalance.Bladder].Single(i => i.End == ward.At(by)).Doubts.SingleOrDefault();

    private static Ward Emptying(int first, int second, string at, int flow = 0)
    {
        var ward = Opens("08:00").Weighs("08:00", 70).BagHung("08:00", 3000).Flow("08:00", 100).Flow("10:00", flow);
        return ward.Emptied("10:00", first).Emptied(at, second, id: "second");
    }

    [Theory]
    [InlineData(400, 400, "10:10", true)]
    [InlineData(400, 400, "10:11", false)] // later than 10 min
    [InlineData(400, 420, "10:05", true)] // 5 % of 420 is 21
    [InlineData(400, 422, "10:05", false)]
    [InlineData(399, 420, "10:05", true)] // 21 of 420, exactly 5 %
    [InlineData(420, 399, "10:05", false)] // 21 of 399
    [InlineData(421, 402, "10:05", true)]
    public void Two_nearly_equal_emptyings_within_ten_minutes_are_one_charted_twice(int first, int second, string at, bool doubted)
    {
        var ward = Emptying(first, second, at);
        var doubt = Of(ward, at);
        Assert.Equal(doubted, doubt?.Kind == DoubtKind.ChartedTwice);
        if (doubted)
        {
            Assert.Equal(new EntryKey("ward", "second"), doubt!.Reading);
            var minutes = (ward.At(at) - ward.At("10:00")).TotalMinutes;
            Assert.Equal($"as much as {first} mL {minutes} min before, and only 0 mL ran in between, as if charted twice", doubt.Says);
        }
    }

    [Theory]
    [InlineData(60, 1000, true)] // in 5 min 5 mL of irrigant and at most 70 mL of urine (12 mL/kg/h at 70 kg): not half of the container
    [InlineData(60, 149, false)] // 75 mL are half of it
    [InlineData(60, 151, true)]
    [InlineData(5400, 1000, false)] // 450 mL of irrigant and 70 mL of urine may have filled the half
    [InlineData(5150, 1000, true)] // 429 and 70
    public void What_may_have_filled_the_container_again_is_no_repetition(int flow, int ml, bool doubted) =>
        Assert.Equal(doubted, Of(Emptying(ml, ml, "10:05", flow), "10:05")?.Kind == DoubtKind.ChartedTwice);

    [Fact]
    public void A_level_between_two_emptyings_or_another_container_is_no_repetition()
    {
        var read = Opens("08:00").Weighs("08:00", 70).Emptied("10:00", 400).Level("10:02", 5).Emptied("10:05", 400);
        Assert.NotEqual(DoubtKind.ChartedTwice, Of(read, "10:05")?.Kind);
        var levels = Opens("08:00").Weighs("08:00", 70).Level("10:00", 400).Level("10:05", 400);
        Assert.Null(Of(levels, "10:05"));
    }

    [Theory]
    [InlineData(4400, false)]
    [InlineData(4401, true)]
    [InlineData(5200, true)]
    public void A_container_holds_no_more_than_it_can(int ml, bool doubted)
    {
        var ward = Opens("08:00").Weighs("08:00", 70).BagHung("08:00", 5000).Flow("08:00", 440).Emptied("18:00", ml, id: "full");
        Assert.Equal(doubted ? DoubtKind.MoreThanContainerHolds : null, Of(ward, "18:00")?.Kind);
        if (ml == 5200)
            Assert.Equal($"{Ml(5200)} in one container, which holds at most {Ml(4400)}", Of(ward, "18:00")!.Says);
    }

    [Fact]
    public void Weighed_less_than_empty_is_a_wrong_tare_and_without_one_it_was_forgotten()
    {
        var less = Opens("08:00").Weighed("08:00", 60, 60).Weighed("09:00", 55, 60);
        Assert.Equal(DoubtKind.BelowTare, Of(less, "09:00")?.Kind);
        Assert.StartsWith("weighed less than empty: ", Of(less, "09:00")!.Says, StringComparison.Ordinal);
        var equal = Opens("08:00").Weighed("08:00", 60, 60).Weighed("09:00", 60, 60);
        Assert.Null(Of(equal, "09:00"));

        Ward Bare(decimal grams) => Opens("08:00").Weighs("08:00", 70).Weighed("08:00", 60, 60).Weighed("09:00", grams, null);
        Assert.Equal(DoubtKind.TareForgotten, Of(Bare(160), "09:00")?.Kind);
        Assert.Equal("weighed without a tare, and with one of 60 g before, as if forgotten", Of(Bare(160), "09:00")!.Says);
        Assert.Equal(DoubtKind.TareForgotten, Of(Bare(60), "09:00")?.Kind); // just the container
        Assert.Null(Of(Bare(59), "09:00")); // the container is not on the scale
        Assert.Null(Of(Opens("08:00").Weighs("08:00", 70).Weighed("08:00", 0, 0).Weighed("09:00", 160, null), "09:00"));
    }

    [Fact]
    public void A_level_that_fell_was_emptied_and_nobody_charted_it()
    {
        var ward = Opens("08:00").Level("08:00", 0).Level("10:00", 500).Level("11:00", 120);
        Assert.Equal(DoubtKind.LevelFell, Of(ward, "11:00")?.Kind);
        Assert.Equal("the level fell to 120 mL and no emptying was charted", Of(ward, "11:00")!.Says);
    }

    /// <summary>An hour after an hour of 100 mL/h of irrigant in and 160 mL out; 70 kg, so that 840 mL/h is the most.</summary>
    private static Ward Hour(int drained, decimal kilograms = 70) =>
        Opens("08:00")
            .Weighs("08:00", kilograms)
            .Emptied("08:00", 0)
            .BagHung("08:00", 3000)
            .Flow("08:00", 100)
            .Emptied("09:00", 160)
            .Emptied("10:00", drained, id: "much");

    [Theory]
    [InlineData(940, 70, false)] // 840 mL of urine: a body at its very most; and below six times the 160 mL that were to be expected
    [InlineData(941, 70, true)]
    [InlineData(700, 50, false)] // 600 mL at 50 kg
    [InlineData(701, 50, true)]
    public void More_urine_than_a_body_makes_is_doubted(int drained, int kilograms, bool doubted)
    {
        var doubt = Of(Hour(drained, kilograms), "10:00");
        Assert.Equal(doubted ? DoubtKind.OutputAboveCeiling : null, doubt?.Kind);
        if (doubted)
        {
            Assert.Equal(new EntryKey("ward", "much"), doubt!.Reading);
            Assert.Equal($"{drained - 100} mL of urine in 1 h, more than a body makes ({kilograms * 12} mL at 12 mL/kg/h)", doubt.Says);
        }
    }

    [Theory]
    [InlineData(959, false)] // five times and a bit
    [InlineData(960, true)] // six times the 100 mL that ran in and 60 mL of urine as in the hour before
    public void Far_above_what_was_to_be_expected_is_doubted_though_a_body_could_make_it(int drained, bool doubted)
    {
        var doubt = Of(Hour(drained, 100), "10:00");
        Assert.Equal(doubted ? DoubtKind.OutputAboveCeiling : null, doubt?.Kind);
        if (doubted)
            Assert.Equal("960 mL drained where 100 mL ran in, 6 times what was to be expected", doubt!.Says);
    }

    [Theory]
    [InlineData(300, false)] // no more than 300 mL beyond: a small number is soon six times a smaller one
    [InlineData(301, true)]
    public void A_small_surplus_is_never_far_above(int drained, bool doubted)
    {
        var ward = Opens("08:00").Weighs("08:00", 100).Emptied("08:00", 0).Flow("08:00", 0).Emptied("08:20", drained);
        Assert.Equal(doubted, Of(ward, "08:20")?.Kind == DoubtKind.OutputAboveCeiling);
    }

    [Fact]
    public void Without_a_weight_a_heavy_body_is_taken()
    {
        Ward Bare(int drained) => Opens("08:00").Emptied("08:00", 0).BagHung("08:00", 3000).Flow("08:00", 1000).Emptied("09:00", drained);
        Assert.Null(Of(Bare(2200), "09:00")); // 12 mL/kg/h at 100 kg
        Assert.Equal(DoubtKind.OutputAboveCeiling, Of(Bare(2201), "09:00")?.Kind);
    }

    [Fact]
    public void What_had_stayed_behind_and_comes_out_is_no_urine_of_now()
    {
        // 2 L ran in and 400 mL came out in two hours; then 2,500 mL: 900 more than is behind and ran in.
        Ward Freed(int drained) =>
            Opens("08:00")
                .Weighs("08:00", 70)
                .Emptied("08:00", 0)
                .BagHung("08:00", 5000)
                .Flow("08:00", 1000)
                .Emptied("09:00", 200)
                .Emptied("10:00", 200)
                .Emptied("11:00", drained);
        Assert.Null(Of(Freed(1000 + 1600 + 840), "11:00"));
        Assert.Equal(DoubtKind.OutputAboveCeiling, Of(Freed(1000 + 1600 + 841), "11:00")?.Kind);
    }

    [Fact]
    public void A_confirmed_reading_is_doubted_no_more_until_it_is_corrected_again()
    {
        var ward = Hour(2000).Chart(new ReadingConfirmed(Hour(0).Header("10:30"), new("ward", "much")));
        Assert.Null(Of(ward, "10:00"));
        var slip = ward.Entries.OfType<DrainageEmptied>().Single(entry => entry.Drained == Ml(2000));
        var again = ward.Chart(slip with { Drained = Ml(2500), Header = slip.Header with { RecordedAt = ward.At("11:00") } });
        Assert.Equal(DoubtKind.OutputAboveCeiling, Of(again, "10:00")?.Kind);
    }
}
