using Irrigation.Balance;
using MathNet.Numerics;
using MathNet.Numerics.LinearAlgebra;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// What ran out of a bag, against what is known of normal quantities: the lesser of one and a bound by numerical integration, and what
/// readings tell of shared errors by the conditional expectation and covariance of a normal vector (JCGM 102:2011, 6.2 and JCGM 101:2008,
/// 6.4.8), both by Math.NET. What the errors of a flow are is the clinical reference's, section 2; the drainage is exact here, so that an
/// interval's doubt is that of its irrigant.
/// </summary>
public class BagFlowTests
{
    private static readonly double Root3 = Math.Sqrt(3);

    private static MeasuringCharacter Of(decimal shared = 0, decimal random = 0, decimal own = 0) =>
        new(0, shared, random, own, "for these tests");

    /// <summary>What ran by the end of an interval, and its standard uncertainty, in mL.</summary>
    private static (double Ran, double Doubt) Ran(Ward ward, MeasuringCharacters characters, string by)
    {
        var interval = ward.Balance(characters)[FluidBalance.Bladder].Single(i => i.End == ward.At(by));
        var (worked, drained) = (interval.Worked!.Value, interval.Drained!.Value);
        return ((double)(drained - worked.Best).Millilitres, (double)worked.Estimate.StandardUncertainty.Millilitres);
    }

    /// <summary>
    /// A quantity whose errors have standard deviation 1 each, given that others are as read: the mean and standard deviation of
    /// value + row · e, where e ~ N(0, 1) and for each reading value + row · e = 0.
    /// </summary>
    private static (double Mean, double Doubt) Given((double Value, double[] Row) asked, params (double Value, double[] Row)[] readings)
    {
        var q = Vector<double>.Build.Dense(asked.Row);
        if (readings.Length == 0)
            return (asked.Value, q.L2Norm());
        var rows = Matrix<double>.Build.DenseOfRowArrays(readings.Select(reading => reading.Row));
        var gain = (rows * rows.Transpose()).Solve(rows * q);
        var mean = asked.Value - gain.DotProduct(Vector<double>.Build.Dense([.. readings.Select(reading => reading.Value)]));
        return (mean, Math.Sqrt(Math.Max(0, q.DotProduct(q) - (rows * q).DotProduct(gain))));
    }

    private static void Near((double, double) expected, (double, double) actual)
    {
        Assert.Equal(expected.Item1, actual.Item1, 0.02);
        Assert.Equal(expected.Item2, actual.Item2, 0.02);
    }

    /// <summary>Expectation and standard deviation of the lesser of a normal quantity and a bound, by integration.</summary>
    private static (double Mean, double Doubt) Lesser(double mean, double sd, double bound)
    {
        double Density(double x) => Math.Exp(-(x - mean) * (x - mean) / (2 * sd * sd)) / (sd * Math.Sqrt(2 * Math.PI));
        double Moment(int n) =>
            Integrate.GaussLegendre(x => Math.Pow(x, n) * Density(x), mean - (12 * sd), Math.Min(bound, mean + (12 * sd)), 512)
            + (
                bound >= mean + (12 * sd)
                    ? 0
                    : Math.Pow(bound, n) * Integrate.GaussLegendre(Density, Math.Max(bound, mean - (12 * sd)), mean + (12 * sd), 512)
            );
        var expected = Moment(1);
        return (expected, Math.Sqrt(Moment(2) - (expected * expected)));
    }

    [Theory]
    [InlineData("10:00")] // a third has run: nothing bounds it
    [InlineData("13:00")]
    [InlineData("14:00")] // dry just now by what was charted
    [InlineData("15:00")]
    [InlineData("20:00")]
    public void What_is_not_read_ran_as_charted_and_never_more_than_the_bag_held(string by)
    {
        var characters = Exact with { ChartedFlow = Of(own: 0.3m) };
        var ward = Opens("08:00").Emptied("08:00", 0).BagHung("08:00", 3000).Flow("08:00", 500).Emptied(by, 4000);
        var charted = 500 * (ward.At(by) - ward.At("08:00")).TotalHours;
        Near(Lesser(charted, 0.3 / Root3 * charted, 3000), Ran(ward, characters, by));
    }

    [Fact]
    public void Of_two_settings_the_shared_errors_add_and_each_ones_own_in_quadrature()
    {
        var characters = Exact with { ChartedFlow = Of(shared: 0.2m, own: 0.3m) };
        var ward = Opens("08:00").Emptied("08:00", 0).BagHung("08:00", 1000).Flow("08:00", 200).Flow("10:00", 300).Emptied("12:00", 1500);
        var sd = Math.Sqrt(Math.Pow(0.2 / Root3 * 1000, 2) + Math.Pow(0.3 / Root3 * 400, 2) + Math.Pow(0.3 / Root3 * 600, 2));
        var (mean, lesser) = Lesser(1000, sd, 1000);
        Near((mean, lesser), Ran(ward, characters, "12:00"));
    }

    [Fact]
    public void An_exact_flow_runs_until_the_bag_is_dry_and_then_not()
    {
        var ward = Opens("08:00").Emptied("08:00", 0).BagHung("08:00", 1000).Flow("08:00", 400);
        Near((800, 0), Ran(ward.Emptied("10:00", 1500), Exact, "10:00"));
        Near((200, 0), Ran(ward.Emptied("12:00", 1500), Exact, "12:00"));
    }

    [Theory]
    [InlineData(300)]
    [InlineData(200)]
    [InlineData(80)]
    public void A_mark_the_label_and_the_charted_flow_are_weighted_by_their_uncertainties(int left)
    {
        var characters = Exact with { ChartedFlow = Of(own: 0.2m), BagLabel = Of(shared: 0.0225m), BagGraduation = Of(random: 100) };
        var ward = Opens("08:00")
            .Emptied("08:00", 0)
            .BagHung("08:00", 1000)
            .Flow("08:00", 400)
            .BagRead("10:00", left)
            .Emptied("10:00", 1500);
        var (label, mark, flow) = (22.5 / Root3, 100 / Root3, 0.2 / Root3 * 800);
        var other = 1000.0 - left;
        var (ofMarks, ofFlow) = (1 / ((label * label) + (mark * mark)), 1 / (flow * flow));
        // The weighted mean of two independent values (any textbook of statistics), and the same by conditioning.
        Near((((other * ofMarks) + (800 * ofFlow)) / (ofMarks + ofFlow), 1 / Math.Sqrt(ofMarks + ofFlow)), Ran(ward, characters, "10:00"));
        Near(Given((800, [flow, 0, 0]), (1000 - left - 800, [-flow, label, mark])), Ran(ward, characters, "10:00"));
    }

    [Theory]
    [InlineData(765, false)] // 35 mL of 15 mL: 2.3 standard deviations
    [InlineData(700, true)] // 6.7
    public void A_charted_flow_that_the_marks_contradict_gives_the_shape_alone(int ran, bool contradicted)
    {
        var characters = Exact with { ChartedFlow = Of(own: 0.03m), BagGraduation = Of(random: 10) };
        var ward = Opens("08:00")
            .Emptied("08:00", 0)
            .BagHung("08:00", 1000)
            .Flow("08:00", 400)
            .Emptied("09:00", 900)
            .BagRead("10:00", 1000 - ran)
            .Emptied("10:00", 900);
        var (flow, mark) = (0.03 / Root3 * 800, 10 / Root3);
        var half = Given((400, [flow / 2, 0]), (ran - 800, [-flow, mark]));
        Near(contradicted ? (ran / 2.0, mark / 2) : half, Ran(ward, characters, "09:00"));
    }

    [Fact]
    public void A_charted_flow_bends_between_the_readings_of_its_bag()
    {
        // Off by x · p · (1 − p) of the bag at the fraction p that has run.
        var characters = Exact with
        {
            ChartedFlow = Of(own: 0.2m),
            ChartedFlowDrift = 0.1m,
            BagGraduation = Of(random: 60),
        };
        var ward = Opens("08:00")
            .Emptied("08:00", 0)
            .BagHung("08:00", 1000)
            .Flow("08:00", 400)
            .Emptied("09:00", 900)
            .BagRead("10:00", 250)
            .Emptied("10:00", 900);
        var (flow, bow, mark) = (0.2 / Root3, 0.1 / Root3 * 1000, 60 / Root3);
        Near(
            Given((400, [flow * 400, bow * 0.4 * 0.6, 0]), (750 - 800, [-flow * 800, -bow * 0.8 * 0.2, mark])),
            Ran(ward, characters, "09:00")
        );
    }

    [Theory]
    [InlineData("09:00", 400, null, null)]
    [InlineData("08:30", 200, null, null)]
    [InlineData("09:45", 600, "08:30", "09:30")] // 45 of the 60 minutes in which the drain was open
    public void A_flow_that_nobody_charted_is_even_while_the_drain_is_open_and_bends_in_several_ways(
        string by,
        int even,
        string? clamped,
        string? unclamped
    )
    {
        var characters = Exact with { UnchartedFlowDrift = 0.4m, BagGraduation = Of(random: 60) };
        var ward = Opens("08:00").Emptied("08:00", 0).BagHung("08:00", 1000);
        if (clamped is not null)
            ward.Clamp(clamped).Release(unclamped!);
        ward.Emptied(by, 900).BagRead("10:00", 200).Emptied("10:00", 900);
        var mark = 60 / Root3;
        const double anything = 1e7;
        double[] Row(double ran) =>
            [
                anything * ran / 800,
                0.4 / Root3 * 1000 * (ran / 1000) * (1 - (ran / 1000)),
                .. Enumerable.Range(2, 3).Select(half => 0.4 / Root3 * 1000 * Math.Sin(half * Math.PI * ran / 1000) / (8 * half)),
                0,
            ];
        var read = Row(800).Select(error => -error).ToArray();
        read[^1] = mark;
        var (mean, doubt) = Given((even, Row(even)), (0, read));
        var (ran, actual) = Ran(ward, characters, by);
        Assert.Equal((mean, doubt), (ran, actual), Within(0.1));
    }

    private static IEqualityComparer<(double, double)> Within(double mL) =>
        EqualityComparer<(double, double)>.Create((a, b) => Math.Abs(a.Item1 - b.Item1) < mL && Math.Abs(a.Item2 - b.Item2) < mL);

    [Theory]
    [InlineData("09:00", 2.5)]
    [InlineData("08:01", 1)] // a minute after the hanging: no more than that minute
    [InlineData("08:02", 2)]
    public void The_minute_of_a_reading_is_worth_what_flows_in_it(string by, double minutes)
    {
        // 400 mL/h of irrigant and, our judgement, 60 mL/h of urine.
        var characters = Exact with
        {
            ReadingTime = 2.5m,
        };
        var ward = Opens("08:00").Emptied("08:00", 0).BagHung("08:00", 1000).Flow("08:00", 400).Emptied(by, 900);
        Assert.Equal(minutes * (400 + 60) / 60, Ran(ward, characters, by).Doubt, 0.02);
    }

    [Fact]
    public void The_minute_of_a_reading_is_that_of_the_flow_before_it()
    {
        var characters = Exact with { ReadingTime = 2.5m };
        Ward Ward() => Opens("08:00").Emptied("08:00", 0).BagHung("08:00", 1000).Flow("08:00", 400);
        Assert.Equal(2.5 * 460 / 60, Ran(Ward().Flow("09:00", 0).Emptied("09:00", 900), characters, "09:00").Doubt, 0.02);
        Assert.Equal(0, Ran(Ward().Flow("08:30", 0).Emptied("09:00", 900), characters, "09:00").Doubt, 0.02);
        // Dry since 10:30: nothing flows any more.
        Assert.Equal(0, Ran(Ward().Emptied("11:00", 1900), characters, "11:00").Doubt, 0.02);
    }

    [Theory]
    [InlineData(700, 0, true)]
    [InlineData(700, 0.5, true)] // half of the squared error is of the bag's marks, and so the same for both
    [InlineData(450, 0.5, true)]
    [InlineData(980, 0, false)] // 380 mL more than an hour before, of marks that are 58 mL in doubt each: another bag, or a slip
    [InlineData(980, 0.5, false)]
    public void A_mark_that_shows_more_than_one_before_it_counts_unless_both_cannot_be(int second, double marksShare, bool counts)
    {
        var characters = Exact with { ChartedFlow = Of(own: 0.5m), BagGraduation = Of(random: 100), BagMarksShared = (decimal)marksShare };
        var ward = Opens("08:00")
            .Emptied("08:00", 0)
            .BagHung("08:00", 1000)
            .Flow("08:00", 200)
            .BagRead("09:00", 600)
            .BagRead("10:00", second)
            .Emptied("10:00", 900);
        var (flow, mark, bag) = (0.5 / Root3, 100 / Root3 * Math.Sqrt(1 - marksShare), 100 / Root3 * Math.Sqrt(marksShare));
        (double, double[])[] readings =
        [
            (1000 - 600 - 200, [-flow * 200, mark, 0, bag]),
            (1000 - second - 400, [-flow * 400, 0, mark, bag]),
        ];
        Near(Given((400, [flow * 400, 0, 0, 0]), counts ? readings : readings[..1]), Ran(ward, characters, "10:00"));
    }

    [Fact]
    public void What_was_poured_away_left_the_bag_and_did_not_reach_the_bladder()
    {
        var ward = Opens("08:00").Emptied("08:00", 0).BagHung("08:00", 1000);
        ward.Discarded("08:30", 150);
        ward.BagRead("10:00", 250).Emptied("10:00", 900);
        Near((600, 0), Ran(ward, Exact, "10:00"));
    }

    [Fact]
    public void A_counter_counts_what_it_drove_less_what_was_poured_away()
    {
        var ward = Opens("08:00").Emptied("08:00", 0).PumpTotal("08:00", 100);
        ward.Discarded("08:30", 50);
        ward.PumpTotal("09:00", 400).Emptied("09:00", 900);
        Near((250, 0), Ran(ward, Exact, "09:00"));
        ward.Discarded("09:30", 30);
        ward.PumpTotal("10:00", 200, restarted: true).Emptied("10:00", 900);
        Near((170, 0), Ran(ward, Exact, "10:00"));
        var parts = ward.Balance(Exact)[FluidBalance.Bladder].Single(i => i.End == ward.At("10:00"));
        Assert.Equal(Ml(170), parts.Instilled);
    }
}
