using Irrigation.Balance;
using Irrigation.Criteria;
using NodaTime;
using Xunit.Abstractions;

namespace Irrigation.Tests.VirtualWard;

/// <summary>
/// Thousands of simulated hours in which the true urine is known: do the numbers, the intervals and the decisions keep their word?
/// </summary>
/// <remarks>
/// The chart's errors are drawn from the same characters that the product works with. So this proves the arithmetic from characters
/// to interval, in every way of charting, and not that a ward's containers are as good as their characters.
/// </remarks>
public class VirtualWardTests(ITestOutputHelper output)
{
    private static readonly Lazy<VirtualBed[]> Beds = new(() =>
    {
        var chance = new Random(20260314);
        return [.. Enum.GetValues<Chart>().SelectMany(chart => Enumerable.Range(0, 300).Select(_ => new VirtualBed(chart, chance)))];
    });

    private static readonly Lazy<(Chart Chart, double Truth, ClosedInterval Interval)[]> Intervals = new(() =>
        [.. Beds.Value.SelectMany(bed => bed.Balance[FluidBalance.Bladder].Select(i => (bed.Chart, bed.TrueUrine(i.Start, i.End), i)))]
    );

    [Fact]
    public void The_95_per_cent_interval_holds_the_truth_in_95_of_100()
    {
        Assert.True(Beds.Value.Where(b => b.Chart != Chart.UrineMeter).Sum(b => b.Hours) > 10_000);
        foreach (var way in Intervals.Value.GroupBy(i => i.Chart))
            Say(way.Key.ToString(), [.. way]);
        Say("all", Intervals.Value);
        // These errors are rectangular, and k = 2 covers a little more of one that prevails; with normal ones see PublishedErrorsTests.
        Assert.InRange(Coverage(Intervals.Value), 0.93, 0.975);

        // An hour of a urine meter is one rectangular error, and k = 2 reaches beyond its ends: covered always but for readings near
        // 0. Beware that it raises the figure of all; the irrigated ones have to hold by themselves.
        Assert.InRange(Coverage([.. Intervals.Value.Where(i => i.Chart != Chart.UrineMeter)]), 0.93, 0.97);
        Assert.InRange(Coverage([.. Intervals.Value.Where(i => i.Chart == Chart.UrineMeter)]), 0.95, 1);
    }

    [Fact]
    public void The_best_estimate_is_nearer_to_the_truth_than_the_simple_number()
    {
        // A pump has no known bias to take out.
        foreach (var way in Intervals.Value.Where(i => i.Chart is not Chart.PumpByMarks).GroupBy(i => i.Chart))
        {
            Assert.True(
                Rmse([.. way], i => i.Output!.BestEstimate!.Value.Value) < Rmse([.. way], i => i.Simple!.Value),
                way.Key.ToString()
            );
        }
    }

    [Fact]
    public void A_decision_is_wrong_at_most_once_in_forty()
    {
        var adult = new Patient(new(1950, 5, 1), DateTimeZone.Utc);
        var rules = UrineOutputCriteria.All.Where(c => c is { Name: "kdigo", Threshold: 0.5m }).ToList();
        var decided = (
            from bed in Beds.Value
            from rule in rules
            let at = VirtualBed.Start + rule.Window
            let result = UrineOutputCriteria.Evaluate(rule, bed.Balance, adult, at, CriteriaSettings.Default).First()
            let truth = bed.TrueUrine(VirtualBed.Start, at) / bed.Kilograms / rule.Window.TotalHours
            select (
                bed.Chart,
                result.Answer,
                Wrong: (result.Answer == Answer.Met && truth >= 0.5) || (result.Answer == Answer.NotMet && truth < 0.5)
            )
        ).ToList();
        foreach (var way in decided.GroupBy(d => d.Chart))
        {
            var answers = Enum.GetValues<Answer>().Select(a => $"{a} {way.Count(d => d.Answer == a)}");
            output.WriteLine($"{way.Key, -18} {string.Join(", ", answers)}; wrong {way.Count(d => d.Wrong)}");
        }

        var said = decided.Where(d => d.Answer is Answer.Met or Answer.NotMet).ToList();
        output.WriteLine($"wrong: {said.Count(d => d.Wrong)} of {said.Count} decisions, {decided.Count} asked");
        Assert.InRange(said.Count, 500, decided.Count);
        Assert.True(said.Count(d => d.Wrong) <= 0.025 * said.Count);
    }

    private static double Coverage((Chart, double Truth, ClosedInterval Interval)[] intervals) =>
        intervals.Average(i => Holds(i.Interval.Output!.Interval95!.Value, i.Truth) ? 1.0 : 0.0);

    private static bool Holds(Measures.VolumeRange range, double truth) =>
        (double)range.Low.Millilitres <= truth && truth <= (double)range.High.Millilitres;

    private static double Rmse((Chart, double Truth, ClosedInterval Interval)[] intervals, Func<ClosedInterval, Measures.Volume> number) =>
        Math.Sqrt(intervals.Average(i => Math.Pow((double)number(i.Interval).Millilitres - i.Truth, 2)));

    private void Say(string name, (Chart, double Truth, ClosedInterval Interval)[] intervals)
    {
        var (best, simple) = (Rmse(intervals, i => i.Output!.BestEstimate!.Value.Value), Rmse(intervals, i => i.Simple!.Value));
        var covered = $"{intervals.Length, 6} intervals, covered {Coverage(intervals):P1}";
        output.WriteLine($"{name, -18} {covered}; RMSE best {best:0} mL, simple {simple:0} mL");
    }
}
