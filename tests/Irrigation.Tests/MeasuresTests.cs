using Irrigation.Criteria;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Tests;

/// <summary>The measures at their edges, and the rules of adding doubts (JCGM 100:2008, 5.1.2 and 5.2.2).</summary>
public class MeasuresTests
{
    [Theory]
    [InlineData(1, 2)]
    [InlineData(2, 2)]
    [InlineData(3, 2)]
    public void Volumes_and_flows_compare_as_their_numbers_do(int one, int other)
    {
        var expected = new[] { one < other, one > other, one <= other, one >= other };
        var (v, w) = (Volume.FromMillilitres(one), Volume.FromMillilitres(other));
        Assert.Equal(expected, new[] { v < w, v > w, v <= w, v >= w });
        Assert.Equal(one.CompareTo(other), v.CompareTo(w));
        var (f, g) = (FlowRate.FromMillilitresPerHour(one), FlowRate.FromMillilitresPerHour(other));
        Assert.Equal(expected, new[] { f < g, f > g, f <= g, f >= g });
        Assert.Equal(one.CompareTo(other), f.CompareTo(g));
    }

    [Fact]
    public void The_share_of_the_whole_is_the_whole_however_it_would_be_divided() =>
        Assert.Equal(Volume.FromMillilitres(100), Volume.FromMillilitres(100).Share(decimal.MaxValue, decimal.MaxValue));

    [Theory]
    [InlineData(0)]
    [InlineData(-1)]
    public void What_divides_is_more_than_0(int none)
    {
        Assert.Throws<ArgumentOutOfRangeException>(() => new BodyWeight(none, WeightKind.Actual));
        Assert.Throws<ArgumentOutOfRangeException>(() => new DropFactor(none));
        Assert.Throws<ArgumentOutOfRangeException>(() => Mass.FromGrams(100).At(none));
        Assert.Throws<ArgumentOutOfRangeException>(() => FlowRate.Of(Volume.FromMillilitres(100), Duration.FromHours(none)));
        Assert.Throws<ArgumentOutOfRangeException>(() => UrineRate.Of(Volume.FromMillilitres(100), Duration.FromHours(none), null));
    }

    [Fact]
    public void A_rate_without_a_weight_has_no_rate_per_kilogram()
    {
        var rate = UrineRate.Of(Volume.FromMillilitres(-90), Duration.FromMinutes(90), null);
        Assert.Equal((-60m, null), (rate.PerHour, rate.PerKilogramHour));
    }

    [Fact]
    public void Different_sources_add_in_quadrature_and_the_same_source_linearly_with_its_sign()
    {
        var (three, four) = (ErrorBudget.Of("one", 3), ErrorBudget.Of("other", 4));
        Assert.Equal(5, Size(three + four));
        Assert.Equal(5, Size(three - four));
        Assert.Equal(6, Size(three + three));
        Assert.Equal(0, Size(three - three));
        Assert.Equal(3, Size(three + ErrorBudget.None));
        Assert.Equal(3, Size(ErrorBudget.None + three));
        Assert.Equal(3, Size(ErrorBudget.None - three));
        Assert.Equal(6, Size(three * 2));
        Assert.Equal(-3, (ErrorBudget.None - three).Contributions["one"]);
    }

    [Fact]
    public void Several_budgets_add_up_each_times_its_factor()
    {
        var sum = ErrorBudget.Sum([
            (ErrorBudget.Of("scale", 3), 2),
            (ErrorBudget.Of("scale", 4), -1),
            (ErrorBudget.Of("reading", 5), 0),
            (ErrorBudget.None, 1),
        ]);
        Assert.Equal(("scale", 2), (Assert.Single(sum.Contributions).Key, sum.Contributions["scale"]));
        Assert.Empty(ErrorBudget.Of("nothing", 0).Contributions);
    }

    [Theory]
    [InlineData(1)]
    [InlineData(16)] // looked for one by one
    [InlineData(17)] // looked up
    [InlineData(40)]
    public void However_many_sources_there_are_each_is_found_again(int count)
    {
        var budget = ErrorBudget.Sum([
            .. Enumerable.Range(0, count).Select(i => (ErrorBudget.Of(new ErrorSource("reading", "ward", $"e{i}"), i + 1), 1.0)),
        ]);
        var doubled = budget + budget;
        Assert.Equal(Enumerable.Range(1, count).Select(i => 2.0 * i), doubled.Contributions.OrderBy(c => c.Value).Select(c => c.Value));
        Assert.Equal(0, Size(budget - budget));
        Assert.Equal(Size(budget) * 2, Size(doubled), 5);
    }

    [Fact]
    public void A_source_is_told_by_what_it_is_and_of_what()
    {
        Assert.Equal("residue", new ErrorSource("residue").ToString());
        Assert.Equal("scale of container bag 1", new ErrorSource("scale of container", "bag 1").ToString());
        Assert.Equal("reading ward-7/4711", new ErrorSource("reading", "ward-7", "4711").ToString());
        Assert.Equal(
            "time of the reading at 2026-03-14T06:00:00Z",
            new ErrorSource("time of the reading at", At: NodaTime.Instant.FromUtc(2026, 3, 14, 6, 0)).ToString()
        );
        Assert.Equal(
            "apportioning of bladder 2026-03-14T06:00:00Z",
            new ErrorSource("apportioning of", "bladder", At: NodaTime.Instant.FromUtc(2026, 3, 14, 6, 0)).ToString()
        );
    }

    [Fact]
    public void Measured_volumes_carry_what_they_share()
    {
        Measured Read(decimal charted, decimal best, decimal doubt) =>
            new(Volume.FromMillilitres(charted), Volume.FromMillilitres(best), ErrorBudget.Of("scale", doubt));
        var (sum, difference) = (Read(100, 95, 5) + Read(50, 47, 2), Read(100, 95, 5) - Read(50, 47, 2));
        Assert.Equal((150m, 142m, 7m), (sum.Charted.Millilitres, sum.Best.Millilitres, sum.Errors.StandardUncertainty.Millilitres));
        Assert.Equal(
            (50m, 48m, 3m),
            (difference.Charted.Millilitres, difference.Best.Millilitres, difference.Errors.StandardUncertainty.Millilitres)
        );
        Assert.Equal(7m, Read(100, 95, 5).Doubting("scale", 2).Errors.StandardUncertainty.Millilitres);
        Assert.Equal(new Estimate(Volume.FromMillilitres(95), Volume.FromMillilitres(5)), Read(100, 95, 5).Estimate);
    }

    private static double Size(ErrorBudget budget) => (double)budget.StandardUncertainty.Millilitres;
}
