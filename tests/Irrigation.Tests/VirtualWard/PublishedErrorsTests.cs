using Irrigation.Criteria;
using Xunit.Abstractions;

namespace Irrigation.Tests.VirtualWard;

/// <summary>Beds charted with published errors: do intervals, decisions and probabilities keep their word, also while the bag still hangs?</summary>
/// <remarks>
/// Nothing of the chart is drawn from the product's own characters (<see cref="PublishedErrors"/>). Every number is asked for as the ward
/// would have had it, with what was charted by then.
/// </remarks>
public class PublishedErrorsTests(ITestOutputHelper output)
{
    private static readonly Lazy<BedFigures[]> Main = new(() =>
        VirtualWards.Of(ChartingWay.Main, VirtualWards.PerBand, (band, titrated) => new(band, titrated), (chart, _) => new BedFigures(chart)));

    private static readonly Lazy<BedFigures[]> Others = new(() =>
        VirtualWards.Of(ChartingWay.Others, VirtualWards.PerBand / 4, (band, titrated) => new(band, titrated), (chart, _) => new BedFigures(chart)));

    /// <summary>Way of charting × whether the intervals are final.</summary>
    public static TheoryData<string, bool> WaysAndStatus
    {
        get
        {
            var data = new TheoryData<string, bool>();
            foreach (var way in ChartingWay.Main)
            {
                data.Add(way.Name, true);
                data.Add(way.Name, false);
            }

            return data;
        }
    }

    [Fact]
    public void Intervals_and_best_estimates_are_written_out()
    {
        Report.Write(
            output,
            1,
            "Intervals",
            "Way | Flow, mL/h | Status | Intervals | With an interval, % | Covered, % | Half width, mL | RMSE best | RMSE headline | RMSE drainage − flow × time",
            Rows(bed => bed.Intervals).SelectMany(row => new[] { true, false }.Select(final => Row(row.Way, row.Band, final, [.. row.Of.Where(i => i.Final == final)]))));
        Assert.NotEmpty(Main.Value);

        static string Row(string way, string band, bool final, IntervalFigure[] all)
        {
            var known = all.Where(i => i.Low is not null).ToArray();
            return FormattableString.Invariant(
                $"{way} | {band} | {(final ? "final" : "preliminary")} | {all.Length} | {Report.Share(known.Length, all.Length)} | {Report.Share(known.Count(i => i.Covers), known.Length)}")
                + FormattableString.Invariant($" | {Mean(known, i => (i.High - i.Low) / 2):0} | {Rmse(known, i => i.Best):0} | {Rmse(known, i => i.Headline):0} | {Rmse(known, i => i.FlowTimesTime):0}");
        }
    }

    [Fact]
    public void Decisions_are_written_out()
    {
        Report.Write(
            output,
            2,
            "Questions for KDIGO stages 1 and 2, at each closing, with what was charted by then",
            "Way | Flow, mL/h | Stage | Asked | Really met, % | Decided, % | Wrong of decided, % | Met, wrongly | Not met, wrongly | Why not",
            Rows(bed => bed.Questions).SelectMany(row => new[] { 1, 2 }.Select(stage => Row(row.Way, row.Band, stage, [.. row.Of.Where(q => q.Stage == stage)]))));
        Assert.NotEmpty(Main.Value);

        static string Row(string way, string band, int stage, QuestionFigure[] all)
        {
            var decided = all.Count(q => q.Decided);
            var why = all.SelectMany(q => q.Answer == Answer.Indeterminate ? ["indeterminate"] : q.Why.Select(w => Slug.Of(w))).GroupBy(w => w);
            return $"{way} | {band} | {stage} | {all.Length} | {Report.Share(all.Count(q => q.Met), all.Length)} | {Report.Share(decided, all.Length)} | {Report.Share(all.Count(q => q.Wrong), decided)}"
                + $" | {all.Count(q => q.Wrong && !q.Met)} of {all.Count(q => q.Answer == Answer.Met)} | {all.Count(q => q.Wrong && q.Met)} of {all.Count(q => q.Answer == Answer.NotMet)}"
                + $" | {string.Join(", ", why.OrderByDescending(w => w.Count()).Select(w => $"{w.Key} {w.Count()}"))}";
        }
    }

    [Theory]
    [MemberData(nameof(WaysAndStatus))]
    public void The_95_per_cent_interval_holds_the_truth_in_95_of_100(string way, bool final)
    {
        var intervals = Main.Value.Where(bed => bed.Way.Name == way).SelectMany(bed => bed.Intervals).Where(i => i.Final == final && i.Low is not null).ToList();
        Assert.True(intervals.Count > 500, $"{intervals.Count}");
        Assert.InRange(intervals.Average(i => i.Covers ? 1.0 : 0.0), 0.93, 0.97);
    }

    [Fact]
    public void The_best_estimate_is_nearer_to_the_truth_than_charted_flow_times_time()
    {
        foreach (var way in Main.Value.GroupBy(bed => bed.Way.Name))
        {
            var known = way.SelectMany(bed => bed.Intervals).Where(i => i.Best is not null && i.FlowTimesTime is not null).ToArray();
            Assert.True(Rmse(known, i => i.Best) < Rmse(known, i => i.FlowTimesTime), way.Key);
        }
    }

    [Fact]
    public void Half_of_the_questions_for_stage_1_are_decided_and_a_decision_is_wrong_at_most_once_in_forty()
    {
        var asked = Main.Value.SelectMany(bed => bed.Questions).Where(q => q.Stage == 1).ToList();
        var decided = asked.Where(q => q.Decided).ToList();
        Assert.True(decided.Count >= 0.5 * asked.Count, $"decided {decided.Count} of {asked.Count}");
        Assert.True(decided.Count(q => q.Wrong) <= 0.025 * decided.Count, $"wrong {decided.Count(q => q.Wrong)} of {decided.Count}");
    }

    /// <summary>Way by way and band by band, and each way together.</summary>
    private static IEnumerable<(string Way, string Band, T[] Of)> Rows<T>(Func<BedFigures, IEnumerable<T>> of) =>
        from way in Main.Value.Concat(Others.Value).GroupBy(bed => bed.Way.Name)
        from band in way.GroupBy(bed => bed.Band.ToString()).Select(beds => (beds.Key, Beds: beds.ToArray())).Append(("all", way.ToArray()))
        select (way.Key, band.Item1, band.Item2.SelectMany(of).ToArray());

    private static double Mean(IntervalFigure[] intervals, Func<IntervalFigure, double?> number) => intervals.Average(number) ?? double.NaN;

    private static double Rmse(IntervalFigure[] intervals, Func<IntervalFigure, double?> number) =>
        Math.Sqrt(intervals.Average(i => number(i) is { } n ? Math.Pow(n - i.Truth, 2) : null) ?? double.NaN);
}
