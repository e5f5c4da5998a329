using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Tests.Flags;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>A closed interval beside the urine that was really made in it, in mL.</summary>
/// <param name="Final">Final when the episode was over; else preliminary, as it stood when it had just been closed.</param>
/// <param name="Truth">The kidneys' own.</param>
/// <param name="Headline">The trade's number; null where there is none.</param>
/// <param name="Best">The best estimate; null where there is none, and then there is no interval either.</param>
/// <param name="Low">Lower end of the 95 % interval.</param>
/// <param name="High">Upper end.</param>
/// <param name="FlowTimesTime">Drainage − charted flow × time.</param>
internal sealed record IntervalFigure(
    bool Final,
    double Truth,
    double? Headline,
    double? Best,
    double? Low,
    double? High,
    double? FlowTimesTime
)
{
    /// <summary>Whether the interval holds the truth.</summary>
    public bool Covers => Low <= Truth && Truth <= High;

    /// <summary>How far the best estimate is off, in its own standard uncertainty; null where it has none.</summary>
    public double? InUncertainties => (Best - Truth) * 4 / Math.Max(1e-9, High - Low ?? 0);
}

/// <summary>A question for a criterion at a closing of the bladder, with what was charted by then.</summary>
/// <param name="Stage">Of KDIGO, by the mean over the window.</param>
/// <param name="Answer">What the service said.</param>
/// <param name="Met">What was so.</param>
/// <param name="Probability">That it is met, if the service told.</param>
/// <param name="Why">Why nothing could be said.</param>
internal sealed record QuestionFigure(int Stage, Answer Answer, bool Met, double? Probability, IReadOnlyList<Obstacle> Why)
{
    /// <summary>Whether it was decided.</summary>
    public bool Decided => Answer is Answer.Met or Answer.NotMet;

    /// <summary>Whether it was decided wrongly.</summary>
    public bool Wrong => Decided && Answer == Answer.Met != Met;
}

/// <summary>What came of a bed: every interval and every question, beside the truth.</summary>
internal sealed class BedFigures
{
    private static readonly IReadOnlyList<RateCriterion> Asked =
    [
        .. UrineOutputCriteria.All.Where(c => c is { Name: "kdigo", Threshold: 0.5m }),
    ];

    private readonly ChartedBed chart;

    public BedFigures(ChartedBed chart)
    {
        this.chart = chart;
        var last = BedReplay.Nothing;
        foreach (var arrival in BedReplay.Arrivals(chart.Entries))
        {
            last = arrival.Balance;
            foreach (var reading in arrival.Entries.Where(BedReplay.ReadsDrainage))
                Closed(arrival.Balance, reading.At);
        }

        var closed = last[FluidBalance.Bladder].Where(interval => interval.Status != OutputStatus.Preliminary);
        Intervals.AddRange(closed.Select(interval => Figure(interval, final: true)));
    }

    public FlowBand Band => chart.Bed.Plan.Band;

    public ChartingWay Way => chart.Way;

    public List<IntervalFigure> Intervals { get; } = [];

    public List<QuestionFigure> Questions { get; } = [];

    private void Closed(FluidBalance balance, Instant at)
    {
        var closing = balance.Reaching(FluidBalance.Bladder, at - Duration.Epsilon, at).FirstOrDefault();
        if (closing is { Status: OutputStatus.Preliminary } closed)
        {
            Intervals.Add(Figure(closed, final: false));
        }

        foreach (var criterion in Asked.Where(criterion => at - VirtualBed.Start >= criterion.Window))
        {
            var result = UrineOutputCriteria.Evaluate(criterion, balance, Story.Adult.Patient, at, CriteriaSettings.Default).First();
            var to = ChartedBed.MinuteOf(at);
            var rate = chart.Bed.UrineRate(to - criterion.Window.TotalMinutes, to);
            var met = rate < (double)criterion.Threshold!.Value;
            Questions.Add(new(criterion.Stage, result.Answer, met, result.Probability, result.Obstacles));
        }
    }

    private IntervalFigure Figure(ClosedInterval interval, bool final)
    {
        var (from, to) = (ChartedBed.MinuteOf(interval.Start), ChartedBed.MinuteOf(interval.End));
        var range = interval.Output?.Interval95;
        return new(
            final,
            chart.Bed.Urine(to) - chart.Bed.Urine(from),
            (double?)interval.Output?.Headline.Millilitres,
            (double?)interval.Output?.BestEstimate?.Value.Millilitres,
            (double?)range?.Low.Millilitres,
            (double?)range?.High.Millilitres,
            (double?)interval.Drained?.Millilitres - chart.FlowTimesTime(from, to)
        );
    }
}
