using CsCheck;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// The sum of the gravity line, there and back (clinical reference 1.7). The published examples W10 to W17 are worked by
/// <see cref="PublishedTests"/>; the doubts are worked by hand from the defaults: a drop ± 10 %, a count ± 1 (rectangular).
/// </summary>
public class DripTests
{
    private static readonly int[] Listed = [10, 12, 15, 20, 60];
    private static readonly decimal[] Factors = [10, 12, 15, 20, 60, 7, 13.5m];

    private static readonly Gen<(int Drops, int Factor)> Counts = Gen.Select(Gen.Int[0, 600], Gen.Int[0, 4].Select(i => Listed[i]));
    private static readonly Gen<(int Volume, int Minutes, decimal Factor)> Orders = Gen.Select(
        Gen.Int[0, 5000],
        Gen.Int[1, 2880],
        Gen.Int[0, 6].Select(i => Factors[i])
    );

    [Fact] // found by random entries: a count has a doubt of one drop, which is boundless where a drop is
    public void A_drop_factor_that_none_can_be_is_as_good_as_none()
    {
        var drip = Drip.Of(null, new DropFactor(1e-28m), 1e-22m, Ml(3000), MeasuringCharacters.Default);
        Assert.Equal((null, null), (drip.Set, drip.Counted));
        Assert.NotNull(Drip.Of(null, new DropFactor(0.01m), 1, Ml(3000), MeasuringCharacters.Default).Counted);
    }

    [Fact]
    public void There_and_back_is_within_half_a_drop() =>
        Orders.Sample(
            (volume, minutes, factor) =>
            {
                var (set, rate) = (new DropFactor(factor), FlowRate.Of(Ml(volume), Duration.FromMinutes(minutes)));
                var count = Worked(rate, set).ToCount.Single();
                Assert.InRange(Math.Abs(count.Drops!.Value - count.Exact!.Value), 0, 0.5m);
                Assert.InRange(Math.Abs((count.Gives!.Value - rate).MillilitresPerHour), 0, (0.5m * 60 / factor) + 0.000001m);
            },
            iter: Times(3000)
        );

    [Fact]
    public void What_was_counted_is_what_to_count_for_the_flow_that_it_makes() =>
        Counts.Sample(
            (drops, factor) =>
                Assert.Equal(drops, Worked(FlowRate.FromDropsPerMinute(drops, new(factor)), new(factor)).ToCount.Single().Drops),
            iter: Times(3000)
        );

    [Fact]
    public void Twice_the_volume_in_twice_the_time_changes_nothing() =>
        Orders.Sample(
            (volume, minutes, factor) =>
                Assert.Equal(
                    Worked(FlowRate.Of(Ml(volume), Duration.FromMinutes(minutes)), new(factor)).ToCount.Single(),
                    Worked(FlowRate.Of(Ml(2 * volume), Duration.FromMinutes(2 * minutes)), new(factor)).ToCount.Single()
                ),
            iter: Times(3000)
        );

    [Fact] // mL × factor / min = n + ½, as thirds and sevenths of a millilitre an hour too
    public void A_half_is_rounded_up_whatever_the_division_left_behind()
    {
        foreach (var factor in new[] { 7m, 9m, 11m, 13m, 17m, 19m, 21m })
        {
            for (var whole = 0; whole < 40; whole++)
            {
                var rate = FlowRate.FromMillilitresPerHour(30m * ((2 * whole) + 1) / factor);
                Assert.Equal((factor, whole + 1), (factor, rate.ToDropsPerMinute(new(factor))));
            }
        }
    }

    [Fact] // 83.3 mL/h × 10 / 60 = 13.9; 14 × 6 = 84
    public void Whole_drops_make_a_flow_of_their_own()
    {
        var count = Worked(FlowRate.Of(Ml(1000), Duration.FromHours(12)), new(10)).ToCount.Single();
        Assert.Equal((WantedEnd.One, 14m, 84m), (count.End, count.Drops, count.Gives!.Value.MillilitresPerHour));
        Assert.Equal(13.889m, Math.Round(count.Exact!.Value, 3));
    }

    [Theory] // 15 drops/mL: flow 4 × drops; u = √((0.1 × flow)² + 4²) / √3
    [InlineData(31, 124, 7.52, -1, DripAnswer.Indeterminate)] // 108.96 to 139.04
    [InlineData(28, 112, 6.87, -13, DripAnswer.Indeterminate)] // to 125.73
    [InlineData(27, 108, 6.65, -17, DripAnswer.Slower)] // to 121.30
    [InlineData(36, 144, 8.63, 19, DripAnswer.Faster)] // from 126.74
    [InlineData(35, 140, 8.41, 15, DripAnswer.Indeterminate)] // from 123.19
    public void A_count_is_held_against_the_order_with_the_doubt_of_drops(int drops, decimal flow, decimal u, decimal by, DripAnswer answer)
    {
        var drip = Drip.Of(Exactly(125), new(15), drops, null, MeasuringCharacters.Default);
        Assert.Equal(flow, drip.Counted!.Rate.MillilitresPerHour);
        Assert.Equal(u, Math.Round(drip.Counted.StandardUncertainty.MillilitresPerHour, 2));
        Assert.Equal((by, answer), (drip.Deviation!.By.MillilitresPerHour, drip.Deviation.Answer));
        Assert.Equal(by * 100 / 125, drip.Deviation.Percent);
    }

    [Theory] // 20 drops/mL: flow 3 × drops
    [InlineData(167, 0, DripAnswer.AsWanted)] // 501 ± 2 × 28.98: 443 to 559
    [InlineData(225, 0, DripAnswer.Indeterminate)] // 675 ± 2 × 39.01: to 753
    [InlineData(240, 20, DripAnswer.Indeterminate)] // 720, from 636.8
    [InlineData(80, -60, DripAnswer.Slower)] // 240 ± 2 × 13.96: to 267.9
    public void A_count_may_lie_within_an_ordered_range(int drops, decimal by, DripAnswer answer)
    {
        var drip = Drip.Of(new(Rate(300), Rate(700)), new(20), drops, null, MeasuringCharacters.Default);
        Assert.Equal([(WantedEnd.AtLeast, 100m), (WantedEnd.AtMost, 233m)], drip.ToCount.Select(count => (count.End, count.Drops!.Value)));
        Assert.Equal((by, answer), (drip.Deviation!.By.MillilitresPerHour, drip.Deviation.Answer));
    }

    [Fact]
    public void A_drip_that_measures_without_doubt_is_as_wanted_or_not()
    {
        Assert.Equal(DripAnswer.AsWanted, Of(31).Answer);
        Assert.Equal(DripAnswer.Faster, Of(32).Answer);
        Assert.Equal(DripAnswer.Slower, Of(30).Answer);
        static DripDeviation Of(int drops) => Drip.Of(Exactly(124), new(15), drops, null, Exact with { DropCount = 0 }).Deviation!;
    }

    [Fact] // 1000 / 124 = 8.06 h; 1000 / 139.04 = 7.19 h; 1000 / 108.96 = 9.18 h
    public void A_bag_lasts_by_what_was_counted()
    {
        var lasts = Drip.Of(Exactly(125), new(15), 31, Ml(1000), MeasuringCharacters.Default).Lasts!;
        Assert.Equal((8.06, 7.19, 9.18), (Hours(lasts.Time), Hours(lasts.Shortest!.Value), Hours(lasts.Longest!.Value)));
    }

    [Fact] // 14 × 6 = 84 mL/h: 11.90 h and not the 12 h of the order
    public void Uncounted_it_lasts_by_the_whole_drops_and_of_a_range_nobody_knows()
    {
        var rate = FlowRate.Of(Ml(1000), Duration.FromHours(12));
        var lasts = Drip.Of(WantedFlow.Exactly(rate), new(10), null, Ml(1000), MeasuringCharacters.Default).Lasts!;
        Assert.Equal((11.90, null, null), (Hours(lasts.Time), lasts.Shortest, lasts.Longest));
        Assert.Null(Drip.Of(new(Rate(300), Rate(700)), new(20), null, Ml(1000), MeasuringCharacters.Default).Lasts);
    }

    [Fact]
    public void Nothing_that_drips_empties_nothing()
    {
        var drip = Drip.Of(Exactly(125), new(15), 0, Ml(1000), MeasuringCharacters.Default);
        Assert.Null(drip.Lasts);
        Assert.Equal((DripAnswer.Slower, -100m), (drip.Deviation!.Answer, drip.Deviation.Percent));
    }

    [Theory] // 10 drops/mL: 3 mL/h are half a drop a minute
    [InlineData(3, 10, 1)]
    [InlineData(2.9, 10, 0, DripCaveat.LessThanADrop)]
    [InlineData(0, 10, 0)]
    [InlineData(120, 13, 26, DripCaveat.DropFactorNotListed)]
    public void What_to_know_beside_it_is_said(decimal rate, decimal factor, decimal drops, params DripCaveat[] caveats)
    {
        var drip = Worked(Rate(rate), new(factor));
        Assert.Equal(drops, drip.ToCount.Single().Drops);
        Assert.Equal(caveats, drip.Caveats);
    }

    [Fact]
    public void Without_a_drop_factor_the_flow_is_told_and_the_drops_are_not()
    {
        var drip = Drip.Of(WantedFlow.Exactly(FlowRate.Of(Ml(3000), Duration.FromHours(6))), null, null, null, MeasuringCharacters.Default);
        Assert.Equal(new(WantedEnd.One, Rate(500), null, null, null), drip.ToCount.Single());
        Assert.Equal(DripCaveat.DropFactorUnknown, Assert.Single(drip.Caveats));
    }

    [Fact]
    public void An_order_of_a_volume_in_a_time_is_counted_by_the_set_that_hangs()
    {
        // 3000 mL in 6 h are 500 mL/h; 15 drops/mL make 125 drops/min, and 110 counted are 440 mL/h.
        var ward = Ordered(Opens("20:00"), 3000, Duration.FromHours(6)).BagHung("20:05", 3000);
        Assert.Equal(DripCaveat.DropFactorUnknown, Assert.Single(Single(ward, "20:10").Drip.Caveats));
        ward = Counted(ward, "20:15", 110, 15);
        var line = Single(ward, "21:15");
        Assert.Equal(("1", true, ward.At("20:15")), (line.Line, line.IsOrdered, line.CountedAt));
        Assert.Equal(125, line.Drip.ToCount.Single().Drops);
        Assert.Equal((-60m, DripAnswer.Slower), (line.Drip.Deviation!.By.MillilitresPerHour, line.Drip.Deviation.Answer));

        // An hour at 440 leaves 2560 mL of the label: 5.82 h.
        Assert.Equal(5.82, Hours(line.Drip.Lasts!.Time));
        Assert.Equal(
            [
                "Ordered 500 mL/h: 125 drops/min by a set of 15 drops/mL.",
                "Counted 110 drops/min at 20:15 by a set of 15 drops/mL: 440 mL/h, with 95 % certainty 389 to 491 mL/h.",
                "That is 60 mL/h less than wanted, 12 % (with 95 % certainty −111 to −9 mL/h): slower, beyond the doubt of drops.",
                "2,560 mL last 5 h 49 min, with 95 % certainty 5 h 13 min to 6 h 35 min.",
            ],
            DripWords.Of(line.Drip, "Ordered", " at 20:15")
        );
    }

    [Fact]
    public void A_flow_that_was_set_in_mL_an_hour_is_what_to_count_from_then_on()
    {
        var ward = Ordered(Opens("20:00"), null, null, 300, 700).BagHung("20:05", 3000);
        ward.Chart(new FlowSet(ward.Header("20:15"), "1", Rate(600), null, new DropFactor(20)));
        var line = Single(ward, "20:15");
        Assert.False(line.IsOrdered);
        Assert.Equal([(WantedEnd.One, 200m)], line.Drip.ToCount.Select(count => (count.End, count.Drops!.Value)));

        // A new order takes its place; the set is still there.
        Ordered(ward, null, null, 900, 900, at: "21:00");
        Assert.Equal([(WantedEnd.One, 300m)], Single(ward, "21:00").Drip.ToCount.Select(count => (count.End, count.Drops!.Value)));
    }

    [Fact]
    public void What_expired_orders_nothing_and_what_a_pump_runs_drips_not()
    {
        var ward = Counted(Ordered(Opens("20:00"), 3000, Duration.FromHours(6), until: "21:00"), "20:15", 125, 15);
        Assert.NotNull(Single(ward, "20:59").Drip.Deviation);
        Assert.Null(Single(ward, "21:00").Drip.Deviation);
        Assert.Null(Single(ward, "21:00").Drip.Wanted);

        var pumped = Ordered(Opens("20:00"), 3000, Duration.FromHours(6)).PumpTotal("20:15", 0);
        Assert.Empty(LineDrip.Of(pumped.Balance(), pumped.At("20:30")));
        Assert.Empty(LineDrip.Of(ward.Ends("22:00").Balance(), ward.At("22:00")));
    }

    [Fact]
    public void A_flow_of_which_nobody_said_that_it_drips_asks_for_no_drops() =>
        Assert.Empty(LineDrip.Of(Opens("20:00").BagHung("20:00", 3000).Flow("20:05", 500).Balance(), Opens("20:00").At("20:30")));

    private static Drip Worked(FlowRate rate, DropFactor set) =>
        Drip.Of(WantedFlow.Exactly(rate), set, null, null, MeasuringCharacters.Default);

    private static WantedFlow Exactly(decimal rate) => WantedFlow.Exactly(Rate(rate));

    private static FlowRate Rate(decimal rate) => FlowRate.FromMillilitresPerHour(rate);

    private static double Hours(Duration time) => Math.Round(time.TotalHours, 2);

    private static LineDrip Single(Ward ward, string clock) => LineDrip.Of(ward.Balance(), ward.At(clock)).Single();

    private static Ward Counted(Ward ward, string clock, decimal drops, decimal factor) =>
        ward.Chart(new FlowSet(ward.Header(clock), "1", FlowRate.FromDropsPerMinute(drops, new(factor)), drops, new DropFactor(factor)));

    private static Ward Ordered(
        Ward ward,
        decimal? volume,
        Duration? over,
        decimal? least = null,
        decimal? most = null,
        string at = "20:00",
        string? until = null
    ) =>
        ward.Chart(
            new OrderSet(ward.Header(at))
            {
                Amount = volume is { } ml ? Ml(ml) : null,
                Over = over,
                AtLeast = least is { } low ? Rate(low) : null,
                AtMost = most is { } high ? Rate(high) : null,
                Until = until is null ? null : ward.At(until),
            }
        );
}
