using CsCheck;
using Irrigation.Criteria;
using Irrigation.Measures;

namespace Irrigation.Tests.Criteria;

/// <summary>The conformance probability against the worked examples of JCGM 106:2012, against chance, and at its edges.</summary>
/// <remarks>
/// The guide's text was not at hand: its clauses 7.3 (table 1) and 9.5.4 are known from public programs that reproduce its examples; where
/// an example is told from memory it says so.
/// </remarks>
public class ConformanceTests
{
    [Theory] // JCGM 106:2012, 7.3, table 1: one limit, normal distribution; z = (T − y) / u and the probability (its figures from memory)
    [InlineData(0.84, 0.80)]
    [InlineData(1.28, 0.90)]
    [InlineData(1.64, 0.95)]
    [InlineData(2.33, 0.99)]
    [InlineData(3.09, 0.999)]
    public void So_many_standard_uncertainties_below_one_limit(double z, double probability)
    {
        Assert.Equal(probability, Conformance.Below(1000, 10, 1000 + (10 * z)), 0.0006); // z has two decimals
        Assert.Equal(probability, Conformance.Above(1000, 10, 1000 - (10 * z)), 0.0006); // 100 u above 0 the cut takes nothing away
    }

    // JCGM 106:2012, 7.3, a lower limit, from memory: burst strength 509.7 kPa, u = 8.6 kPa, at least 490 kPa: 1 − Φ(−2.3) = 0.99
    [Fact]
    public void A_container_that_has_to_withstand_490_kPa() => Assert.Equal(0.99, Conformance.Above(509.7, 8.6, 490), 2);

    [Fact] // JCGM 106:2012, 7.3, an upper limit, from memory: −5.47 V, u = 0.05 V, no more than −5.40 V: Φ(1.40) = 0.92
    public void A_diode_that_has_to_break_down_below_minus_5_40_V()
    {
        Assert.Equal(0.92, StandardNormal.Cumulative((-5.40 + 5.47) / 0.05), 2); // may well be negative: nothing is cut off
        Assert.Equal(0.92, Conformance.Below(10 - 5.47, 0.05, 10 - 5.40), 2);
    }

    [Fact] // JCGM 106:2012, 7.4, two limits, from memory: viscosity 13.6 mm²/s, u = 1.8, 12.5 to 16.3: Φ(1.5) − Φ(−0.6) = 0.66
    public void An_oil_between_two_limits() =>
        Assert.Equal(0.66, Conformance.Below(13.6, 1.8, 16.3) - Conformance.Below(13.6, 1.8, 12.5), 2);

    [Fact] // JCGM 106:2012, 9.5.3 (clause from memory): resistors of 1500 Ω, standard deviation 0.12 Ω, ±0.2 Ω: 90 %
    public void Resistors_between_two_limits() =>
        Assert.Equal(0.90, Conformance.Below(1500, 0.12, 1500.2) - Conformance.Below(1500, 0.12, 1499.8), 2);

    [Theory] // worked to 40 digits with another program: 1 − Q((T − y) / u) / Q(−y / u)
    [InlineData(0, 100, 210, 0.964271158874366886)] // 2 · Φ(2.1) − 1: a measured nothing
    [InlineData(100, 30, 50, 0.0473816215139320445)] // (Φ(−1.67) − Φ(−3.33)) / Φ(3.33)
    [InlineData(-100, 60, 210, 0.999997506759258857)]
    [InlineData(-500, 50, 30, 0.998044711462842661)] // 10 u below 0: what is left hugs 0
    [InlineData(-5000, 50, 1, 0.864718831939118795)] // 100 u below 0, where both tails are less than any double
    [InlineData(-100000, 50, 0.0001, 0.00399201165400803397)]
    [InlineData(0, 100, 0.001, 7.9788456078956728e-6)]
    public void What_cannot_be_is_cut_off_and_the_rest_made_whole(double estimate, double uncertainty, double threshold, double below)
    {
        Assert.InRange(Conformance.Below(estimate, uncertainty, threshold) / below, 1 - 1e-9, 1 + 1e-9);
        Assert.Equal(1 - below, Conformance.Above(estimate, uncertainty, threshold), 12);
    }

    [Theory]
    [InlineData(0, 100, 210)]
    [InlineData(150, 100, 210)]
    [InlineData(-100, 100, 50)]
    [InlineData(230, 60, 210)]
    public void Chance_agrees(double estimate, double uncertainty, double threshold)
    {
        var chance = new Random(106);
        double Normal() => Math.Sqrt(-2 * Math.Log(1 - chance.NextDouble())) * Math.Cos(2 * Math.PI * chance.NextDouble());
        var possible = Enumerable.Range(0, 1_000_000).Select(_ => estimate + (uncertainty * Normal())).Where(value => value >= 0).ToList();

        // Four standard errors of a share among some 160,000 to a million.
        var below = Conformance.Below(estimate, uncertainty, threshold);
        var error = 4 * Math.Sqrt(below * (1 - below) / possible.Count);
        Assert.InRange(possible.Count(value => value < threshold) / (double)possible.Count, below - error, below + error);
    }

    [Theory]
    [InlineData(49, 50, false, 1)]
    [InlineData(50, 50, false, 0)] // strict
    [InlineData(50, 50, true, 1)]
    [InlineData(51, 50, true, 0)]
    [InlineData(-7, 50, false, 1)] // no doubt at all, and impossible: as little as there can be
    [InlineData(-7, 0, true, 1)]
    [InlineData(-7, 0, false, 0)]
    public void Without_doubt_the_value_decides(double value, double threshold, bool inclusive, double below)
    {
        Assert.Equal(below, Conformance.Below(value, 0, threshold, inclusive));
        Assert.Equal(below, Conformance.Below(value, double.Epsilon, threshold, inclusive));
        if (inclusive)
            Assert.Equal(1 - below, Conformance.Above(value, 0, threshold));
    }

    [Fact]
    public void Nothing_is_below_nothing()
    {
        Assert.Equal(0, Conformance.Below(-50, 100, 0));
        Assert.Equal(0, Conformance.Below(-50, 100, -10));
        Assert.Equal(1, Conformance.Above(-50, 100, -10));
    }

    [Fact]
    public void A_threshold_next_to_nothing_is_not_rounded_to_less_than_nothing() =>
        Assert.InRange(Conformance.Below(-16.4, 444, 9426e-17), 0, 1e-12);

    [Theory]
    [InlineData(1, -1, 1)]
    [InlineData(double.NaN, 1, 1)]
    [InlineData(1, double.PositiveInfinity, 1)]
    [InlineData(1, 1, double.NegativeInfinity)]
    public void What_is_no_measurement_is_refused(double estimate, double uncertainty, double threshold) =>
        Assert.Throws<ArgumentOutOfRangeException>(() => Conformance.Below(estimate, uncertainty, threshold));

    [Fact]
    public void It_is_a_probability_and_rises_with_the_threshold_and_falls_with_the_estimate()
    {
        var measurements = Gen.Select(Gen.Double[-1e5, 1e5], Gen.Double[0, 1e4], Gen.Double[-10, 1e5], Gen.Double[0, 1e3]);
        measurements.Sample(
            (estimate, uncertainty, threshold, more) =>
            {
                var below = Conformance.Below(estimate, uncertainty, threshold);
                Assert.InRange(below, 0, 1);
                Assert.True(Conformance.Below(estimate, uncertainty, threshold + more) >= below - 1e-12);
                Assert.True(Conformance.Below(estimate + more, uncertainty, threshold) <= below + 1e-12);
            },
            iter: Ward.Times(10_000)
        );
    }
}
