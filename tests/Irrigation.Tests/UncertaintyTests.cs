using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using MathNet.Numerics.Distributions;
using MathNet.Numerics.Statistics;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// The worked example of the clinical reference, 3.3 and 3.4 (own derivation after JCGM 100:2008), and a simulation that knows nothing of
/// it.
/// </summary>
public class UncertaintyTests
{
    private static readonly MeasuringCharacters Defaults = MeasuringCharacters.Default;

    [Fact] // clinical reference 3.3
    public void A_labelled_bag_and_a_drainage_bag_read_twice()
    {
        var output = WorkedExample().Output!;
        Assert.Equal(Ml(450), output.Headline); // 3450 − 3000
        Assert.Equal(Ml(367.5m), output.BestEstimate!.Value.Value); // 3450 − (3000 × 1.0375 − 30)
        Assert.Equal(115.8m, Round(output.BestEstimate.Value.StandardUncertainty, 1)); // √(39.0² + 17.3² + 99.6² + 40.8²)
        Assert.Equal((136m, 599m), (Round(output.Interval95!.Value.Low), Round(output.Interval95.Value.High)));
    }

    [Fact] // clinical reference 3.3, last but one line
    public void The_same_calibrated_and_weighed_is_six_times_better()
    {
        var ward = Opens("08:00");
        ward.Chart(new BagHung(ward.Header("08:00"), "1", Ml(3000), null, "lot 7", null, Ml(0))).BagTakenDown("14:00", 0);
        foreach (var (clock, ml) in new[] { ("11:00", 2000m), ("14:00", 1450m) })
        {
            ward.Chart(new DrainageWeighed(ward.Header(clock, MeasuringWay.Weighed), "1", Mass.FromGrams(ml * 1.006m), null, 1.006m, true));
        }

        var calibrated = Defaults with
        {
            CalibratedBagTypes = ImmutableSortedDictionary<string, Calibration>.Empty.Add("lot 7", new(3115.3m / 3000, 9.5m / 3000)),
        };
        Assert.Equal(19.0m, Round(Six(ward, calibrated).Output!.BestEstimate!.Value.StandardUncertainty, 1));
    }

    [Theory] // clinical reference 3.4: 6 h, 35 mL/h of urine, overfill u 1.3 %, drainage scale ±5 %, nothing else
    [InlineData(50, 30)]
    [InlineData(100, 49)]
    [InlineData(200, 87)]
    [InlineData(300, 125)]
    [InlineData(500, 201)]
    [InlineData(1000, 391)]
    [InlineData(2000, 771)]
    public void The_faster_the_irrigation_the_less_can_be_said(int flow, int u95)
    {
        var only = Defaults with
        {
            BagLabel = Defaults.BagLabel with { Correction = 0 },
            DrainageGraduation = Defaults.DrainageGraduation with { Random = 0 },
            EmptyBagResidue = new(0, 0),
        };
        var ward = Opens("08:00").BagHung("08:00", 6 * flow).BagTakenDown("14:00", 0).Emptied("14:00", (6 * flow) + 210);
        Assert.Equal(u95, Round(Six(ward, only).Output!.BestEstimate!.Value.StandardUncertainty * 2));
    }

    [Fact] // check-value W7: Gynecol Surg 2015, 10397-015-0922-4
    public void W7_a_calibrated_bag_and_canister_show_the_deficit_that_the_marks_hide()
    {
        var ward = Opens("08:00");
        ward.Chart(new BagHung(ward.Header("08:00"), "1", Ml(3000), null, "3 L", null, Ml(0)))
            .BagTakenDown("14:00", 0)
            .Emptied("14:00", 3000);
        var calibrated = Defaults with
        {
            EmptyBagResidue = new(0, 0),
            CalibratedBagTypes = ImmutableSortedDictionary<string, Calibration>.Empty.Add("3 L", new(3115.3m / 3000, 0)),
            CalibratedContainers = ImmutableSortedDictionary<string, Calibration>.Empty.Add("1", new(2750m / 3000, 0)),
        };
        var output = Six(ward, calibrated).Output!;
        Assert.Equal(Ml(0), output.Headline);
        Assert.Equal(-365.3m, Round(output.BestEstimate!.Value.Value, 1)); // 2750 − 3115.3
    }

    [Fact]
    public void A_simulation_of_the_same_case_agrees_within_two_per_cent()
    {
        var chance = new Random(20260314);
        var draws = Enumerable
            .Range(0, 200_000)
            .Select(_ =>
            {
                double Within(double low, double high) => ContinuousUniform.Sample(chance, low, high);
                var instilled = (3000 * (1 + Within(0.015, 0.060))) - Within(0, 60);
                var scale = 1 + Within(-0.05, 0.05);
                return (2000 * scale) + Within(-50, 50) + (1450 * scale) + Within(-50, 50) - instilled;
            })
            .ToArray();

        var estimate = WorkedExample().Output!.BestEstimate!.Value;
        Assert.InRange(draws.Mean() / (double)estimate.Value.Millilitres, 0.98, 1.02);
        Assert.InRange(draws.StandardDeviation() / (double)estimate.StandardUncertainty.Millilitres, 0.98, 1.02);
    }

    [Fact]
    public void The_overfill_of_one_bag_type_adds_up_and_reading_errors_average_out()
    {
        var ward = Opens("00:00");
        for (var bag = 0; bag < 8; bag++)
        {
            ward.BagHung($"{3 * bag:00}:00", 3000)
                .BagTakenDown(bag == 7 ? "+1 00:00" : $"{3 * (bag + 1):00}:00", 0)
                .Emptied(bag == 7 ? "+1 00:00" : $"{3 * (bag + 1):00}:00", 3100);
        }

        var balance = FluidBalance.Of(EpisodeLog.Empty(ward.Frame).Append(ward.Entries, ward.At("00:00")).Log, BalanceSettings.Default);
        var day = balance.Over(WindowKind.Trailing, new(ward.At("00:00"), ward.At("+1 00:00")));
        // 8 × 39.0 of overfill and 5 % / √3 of 24,800 on one scale, linearly; 8 residues of 17.3 and 8 readings of 28.9, in quadrature.
        Assert.Equal(
            Math.Round(Math.Sqrt(Math.Pow(8 * 38.971, 2) + Math.Pow(24800 * 0.05 / Math.Sqrt(3), 2) + (8 * 300) + (8 * 2500.0 / 3)), 0),
            (double)Round(day.Output!.BestEstimate!.Value.StandardUncertainty)
        );
        Assert.Equal(Ml(800 - (8 * 82.5m)), day.Output.BestEstimate.Value.Value);
    }

    [Fact]
    public void A_reading_between_two_readings_of_the_irrigant_is_doubted_and_the_sum_is_not()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Emptied("11:00", 2000).BagTakenDown("14:00", 0).Emptied("14:00", 1450);
        var half = ward.Interval("11:00").Output!.BestEstimate!.Value.StandardUncertainty;
        // 1500 of 3000 mL instilled, ± 40 % / √3 of 3000 × ½ × ½: 173 mL for the shape alone.
        Assert.InRange(half.Millilitres, 173, 260);
        Assert.Equal(115.8m, Round(Six(ward, Defaults).Output!.BestEstimate!.Value.StandardUncertainty, 1));
    }

    [Fact]
    public void A_level_read_twice_cancels_over_both_intervals()
    {
        var ward = Opens("08:00").Flow("08:00", 0).Level("08:00", 0).Level("10:00", 500).Level("12:00", 900);
        var balance = ward.Balance();
        var both = balance.Over(WindowKind.Trailing, new(ward.At("08:00"), ward.At("12:00"))).Output!.BestEstimate!.Value;
        // One scale of 900 and the two outer readings, that of the empty bag off by no more than its first mark of 5 mL: the reading of
        // 500 counted once up and once down.
        Assert.Equal(
            Math.Round(Math.Sqrt(Math.Pow(900 * 0.05 / Math.Sqrt(3), 2) + (2500.0 / 3) + (25.0 / 3)), 1),
            (double)Round(both.StandardUncertainty, 1)
        );
    }

    [Fact]
    public void What_nobody_charted_has_no_interval()
    {
        var output = Opens("13:00").Urine("14:00", 10).Urine("15:00", 15).Instilled("15:00", 3000).Interval("15:00").Output!;
        Assert.Equal(Ml(-2985), output.Headline);
        Assert.Null(output.BestEstimate);
        Assert.Null(output.Interval95);
    }

    [Fact]
    public void A_site_that_has_calibrated_may_make_the_best_estimate_the_headline()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).BagTakenDown("14:00", 0).Emptied("14:00", 3450);
        var balance = FluidBalance.Of(
            EpisodeLog.Empty(ward.Frame).Append(ward.Entries, ward.At("14:00")).Log,
            BalanceSettings.Default with
            {
                BestEstimateIsHeadline = true,
            }
        );
        Assert.Equal(Ml(367.5m), balance[FluidBalance.Bladder].Single().Output!.Headline);
    }

    private static OutputWindow WorkedExample() =>
        Six(Opens("08:00").BagHung("08:00", 3000).Emptied("11:00", 2000).BagTakenDown("14:00", 0).Emptied("14:00", 1450), Defaults);

    private static OutputWindow Six(Ward ward, MeasuringCharacters characters) =>
        FluidBalance
            .Of(
                EpisodeLog.Empty(ward.Frame).Append(ward.Entries, ward.At("14:00")).Log,
                BalanceSettings.Default with
                {
                    Characters = characters,
                }
            )
            .Over(WindowKind.Trailing, new(ward.At("08:00"), ward.At("14:00")));

    private static decimal Round(Volume volume, int digits = 0) => Math.Round(volume.Millilitres, digits, MidpointRounding.AwayFromZero);
}
