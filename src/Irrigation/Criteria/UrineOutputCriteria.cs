using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Criteria;

/// <summary>The urine-output criteria over trailing windows, each in both customary readings.</summary>
/// <remarks>
/// Sources: KDIGO 2012 (as reprinted in CJASN, PMC4943672, table 1); pRIFLE (Ann Intensive Care 2016); neonatal KDIGO (BMC Nephrol
/// 2020); the two readings: Sci Rep 2025, s41598-025-95535-4, and BMC Nephrol 2019 20:293. Reprints differ at the edges, so the
/// convention is fixed: rate strict (&lt;), duration inclusive (≥).
/// </remarks>
public static class UrineOutputCriteria
{
    private const string Kdigo = "KDIGO 2012";
    private static readonly Duration Hour = Duration.FromHours(1);

    /// <summary>Every criterion, in the order in which it is evaluated.</summary>
    public static ImmutableArray<RateCriterion> All { get; } =
    [
        new("kdigo", 1, Duration.FromHours(6), 0.5m, false, AgeGroup.Adult, Kdigo),
        new("kdigo", 2, Duration.FromHours(12), 0.5m, false, AgeGroup.Adult, Kdigo),
        new("kdigo", 3, Duration.FromHours(24), 0.3m, false, AgeGroup.Adult, Kdigo),
        new("kdigo", 3, Duration.FromHours(12), null, true, AgeGroup.Adult, Kdigo + " (anuria)"),
        new("prifle", 1, Duration.FromHours(8), 0.5m, false, AgeGroup.Child, "Ann Intensive Care 2016"),
        new("prifle", 2, Duration.FromHours(16), 0.5m, false, AgeGroup.Child, "Ann Intensive Care 2016"),
        new("prifle", 3, Duration.FromHours(24), 0.3m, false, AgeGroup.Child, "Ann Intensive Care 2016"),
        new("prifle", 3, Duration.FromHours(12), null, true, AgeGroup.Child, "Ann Intensive Care 2016 (anuria)"),
        new("neonatal-kdigo", 1, Duration.FromHours(24), 1.0m, true, AgeGroup.Neonate, "BMC Nephrol 2020"),
        new("neonatal-kdigo", 2, Duration.FromHours(24), 0.5m, true, AgeGroup.Neonate, "BMC Nephrol 2020"),
        new("neonatal-kdigo", 3, Duration.FromHours(24), 0.3m, true, AgeGroup.Neonate, "BMC Nephrol 2020"),
    ];

    /// <summary>When trailing windows end: at each clock hour and each closing of the bladder, after one instant up to another.</summary>
    public static IEnumerable<Instant> Moments(FluidBalance balance, Instant after, Instant upTo)
    {
        var hours = Calendar.Windows(WindowKind.ClockHour, balance.Log.Frame, after, upTo).Select(hour => hour.End);
        var closings = balance.Reaching(FluidBalance.Bladder, after, upTo).Select(interval => interval.End);
        return hours.Concat(closings).Where(at => at > after && at <= upTo).Distinct().Order();
    }

    /// <summary>
    /// Every criterion that fits the patient's age at a moment, in both readings. For an unknown age the adult ones, not evaluable.
    /// </summary>
    public static ImmutableArray<CriterionResult> At(FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings)
    {
        var group = patient.GroupAt(at);
        var wanted = group == AgeGroup.Unknown ? AgeGroup.Adult : group;
        var outputs = new OutputsSeen(balance);
        return [.. All.Where(c => c.Group == wanted).SelectMany(c => Evaluate(c, outputs, patient, at, settings))];
    }

    /// <summary>One criterion at a moment, in the readings that it has: the neonatal one only as a mean.</summary>
    public static IEnumerable<CriterionResult> Evaluate(
        RateCriterion criterion,
        FluidBalance balance,
        Patient patient,
        Instant at,
        CriteriaSettings settings
    ) => Evaluate(criterion, new OutputsSeen(balance), patient, at, settings);

    /// <summary>The same, of outputs that others have asked for.</summary>
    public static IEnumerable<CriterionResult> Evaluate(
        RateCriterion criterion,
        OutputsSeen outputs,
        Patient patient,
        Instant at,
        CriteriaSettings settings
    )
    {
        var asking = new Asking(outputs, patient, at, settings);
        var mean = asking.Mean(criterion);
        yield return mean;
        if (criterion.Group == AgeGroup.Neonate || criterion.Threshold is not { } threshold)
            yield break;
        yield return asking.EveryHour(criterion, threshold, mean);
    }

    /// <summary>
    /// Every criterion at a moment, both readings together: those for the patient's age then and at the episode's start, so that one that
    /// no longer fits is said to end.
    /// </summary>
    public static ImmutableArray<CriterionJudgement> Judge(FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings)
    {
        var asking = new Asking(new(balance), patient, at, settings);
        var groups = new[] { balance.Log.Frame.Start, at }
            .Select(patient.GroupAt)
            .Select(group => group == AgeGroup.Unknown ? AgeGroup.Adult : group)
            .ToHashSet();
        var rates = All.Where(criterion => groups.Contains(criterion.Group)).Select(asking.Judge);
        var volumes = new[]
        {
            asking.Day("oliguria", "<", settings.Oliguria),
            asking.Day("polyuria", ">", settings.Polyuria),
            asking.LowHourly(),
        };
        return [.. rates, .. groups.Contains(AgeGroup.Adult) ? volumes.Select(result => asking.Judged(result, null)) : []];
    }

    /// <summary>Oliguria, polyuria and low hourly output of an adult, at a moment.</summary>
    public static ImmutableArray<CriterionResult> Volumes(FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings) =>
        Volumes(new OutputsSeen(balance), patient, at, settings);

    private static ImmutableArray<CriterionResult> Volumes(OutputsSeen outputs, Patient patient, Instant at, CriteriaSettings settings) =>
        [Oliguria(outputs, patient, at, settings), Polyuria(outputs, patient, at, settings), LowHourly(outputs, patient, at, settings)];

    /// <summary>Too little in the 24 elapsed hours before a moment; of an adult.</summary>
    public static CriterionResult Oliguria(OutputsSeen outputs, Patient patient, Instant at, CriteriaSettings settings) =>
        new Asking(outputs, patient, at, settings).Day("oliguria", "<", settings.Oliguria);

    /// <summary>Too much in the 24 elapsed hours before a moment; of an adult.</summary>
    public static CriterionResult Polyuria(OutputsSeen outputs, Patient patient, Instant at, CriteriaSettings settings) =>
        new Asking(outputs, patient, at, settings).Day("polyuria", ">", settings.Polyuria);

    /// <summary>Too little in each of the two hours before a moment; of an adult.</summary>
    public static CriterionResult LowHourly(OutputsSeen outputs, Patient patient, Instant at, CriteriaSettings settings) =>
        new Asking(outputs, patient, at, settings).LowHourly();

    /// <summary>Who is asked about, when, and by which settings.</summary>
    private sealed record Asking(OutputsSeen Outputs, Patient Patient, Instant At, CriteriaSettings Settings)
    {
        private FluidBalance Balance => Outputs.Balance;

        /// <remarks>What stands in the way of the window does so of its hours; but for the doubt, which may be of some of them.</remarks>
        public CriterionJudgement Judge(RateCriterion criterion)
        {
            var mean = Judged(Mean(criterion), null);
            var obstructed = mean.Result.Obstacles.Any(obstacle => obstacle != Obstacle.TooUncertain);
            return obstructed || criterion.Group == AgeGroup.Neonate || criterion.Threshold is not { } threshold
                ? mean
                : mean with
                {
                    ByTheHour = EveryHour(criterion, threshold, mean.Result),
                };
        }

        public CriterionJudgement Judged(CriterionResult result, CriterionResult? byTheHour) =>
            new(At, result, byTheHour, Over(result.Window).Status, SaysNothing(result));

        /// <remarks>
        /// An unknown output covers nothing. Where readings reach over the whole window all the same, what is missing is a volume that
        /// somebody may know, and not time.
        /// </remarks>
        private bool SaysNothing(CriterionResult result)
        {
            var read = Balance[FluidBalance.Bladder] is { IsEmpty: false } intervals && intervals[0].Start <= result.Window.Start;
            var missing = read && result.Obstacles.Any(o => o is Obstacle.OutputUnknown or Obstacle.StillOpen);
            return result.Obstacles.Any(o => !CriterionJudgement.CanBeRemoved(o) && !(o == Obstacle.NotCovered && missing));
        }

        // Hours are asked for by one criterion after another, and a window costs its intervals each time.
        private OutputWindow Over(Interval window) => Outputs.Over(window);

        public CriterionResult Mean(RateCriterion criterion)
        {
            var window = Trailing(criterion.Window);
            if (criterion.Threshold is { } threshold)
                return Rate(criterion, threshold, window, Reading.MeanOverWindow);
            return criterion.Group == AgeGroup.Child ? AnuriaOfChild(criterion, window) : Anuria(criterion, window);
        }

        private CriterionResult Anuria(RateCriterion criterion, Interval window) =>
            Volume(UpTo(criterion, Settings.Anuria.Millilitres), window, criterion.Group);

        /// <remarks>What is next to nothing for an adult is a day's work of an infant's kidneys: it goes by weight.</remarks>
        private CriterionResult AnuriaOfChild(RateCriterion criterion, Interval window)
        {
            var weight = WeightInForce.Of(Balance.Log, At, Patient, Settings);
            var upTo = Math.Min(Settings.Anuria.Millilitres, Settings.ChildAnuria * weight?.Weight.Kilograms ?? decimal.MaxValue);
            var obstacles = OfAge(criterion.Group).Concat(OfWeight(weight));
            return Decide(UpTo(criterion, upTo), Over(window), 1, obstacles) with { Weight = weight };
        }

        private static CriterionQuestion UpTo(RateCriterion criterion, decimal millilitres) =>
            new(criterion.Name, criterion.Stage, Reading.MeanOverWindow, millilitres, "<=", "mL");

        /// <remarks>Whatever is met by every hour is met by the mean: so it is no more probable than that.</remarks>
        public CriterionResult EveryHour(RateCriterion criterion, decimal threshold, CriterionResult mean)
        {
            var hours = Hours((int)criterion.Window.TotalHours).Select(hour => Rate(criterion, threshold, hour, Reading.EveryHour));
            var result = Together([.. hours]);
            return result.Probability > mean.Probability ? result with { Probability = mean.Probability } : result;
        }

        public CriterionResult LowHourly()
        {
            var asked = new CriterionQuestion("low-hourly-output", 0, Reading.EveryHour, Settings.LowHourly.Millilitres, "<", "mL");
            return Together([.. Hours(2).Select(hour => Volume(asked, hour, AgeGroup.Adult))]);
        }

        public CriterionResult Day(string name, string comparison, Volume threshold) =>
            Volume(new(name, 0, Reading.MeanOverWindow, threshold.Millilitres, comparison, "mL"), Trailing(24 * Hour), AgeGroup.Adult);

        private Interval Trailing(Duration length) => new(At - length, At);

        private IEnumerable<Interval> Hours(int count) =>
            Enumerable.Range(0, count).Select(i => At - ((count - i) * Hour)).Select(start => new Interval(start, start + Hour));

        /// <remarks>
        /// Age and weight are those at the moment of asking, for an hour as for the whole window: a patient who is weighed anew on the
        /// way would otherwise be met by the hour and not by the mean.
        /// </remarks>
        private CriterionResult Rate(RateCriterion criterion, decimal threshold, Interval window, Reading reading)
        {
            var weight = WeightInForce.Of(Balance.Log, At, Patient, Settings);
            var output = Over(window);
            var hours = Elapsed.Of(output.Covered == Duration.Zero ? output.Length : output.Covered) / Elapsed.PerHour;
            var comparison = criterion.Inclusive ? "<=" : "<";
            var asked = new CriterionQuestion(criterion.Name, criterion.Stage, reading, threshold, comparison, "mL/kg/h");
            var obstacles = OfAge(criterion.Group).Concat(OfWeight(weight));
            return Decide(asked, output, weight?.Weight.Kilograms * hours, obstacles) with { Weight = weight };
        }

        private CriterionResult Volume(CriterionQuestion asked, Interval window, AgeGroup group) =>
            Decide(asked, Over(window), 1, OfAge(group));

        private CriterionResult Decide(CriterionQuestion asked, OutputWindow output, decimal? per, IEnumerable<Obstacle> ofPatient)
        {
            var longestGap = asked.Reading == Reading.EveryHour ? Balance.Settings.LongestGap : (Duration?)null;
            return WindowDecision.Of(asked, output, per, ofPatient, Settings.RequiredCoverage, longestGap);
        }

        private IEnumerable<Obstacle> OfAge(AgeGroup wanted)
        {
            var group = Patient.GroupAt(At);
            if (group == AgeGroup.Unknown)
                yield return Obstacle.AgeUnknown;
            else if (group != wanted)
                yield return Obstacle.AgeDoesNotFit;
        }

        private static IEnumerable<Obstacle> OfWeight(WeightInForce? weight)
        {
            if (weight is null)
                yield return Obstacle.WeightUnknown;
            if (weight?.Doubt is not null)
                yield return Obstacle.WeightImplausible;
        }
    }

    /// <summary>Hours of one window together: all of them have to meet the criterion.</summary>
    /// <remarks>
    /// That all do is no more probable than that the least probable one does; exactly as probable where the hours share their errors
    /// (the scale of one container, the overfill of one bag), and less where each has its own. An upper bound, therefore; and none where
    /// an hour has none, unless another one decides that it is not met.
    /// </remarks>
    private static CriterionResult Together(CriterionResult[] hours)
    {
        var answer = Decision.All(hours.Select(h => h.Answer));
        var highest = hours.MaxBy(h => h.Value ?? decimal.MinValue)!;
        return highest with
        {
            Window = new(hours[0].Window.Start, hours[^1].Window.End),
            Answer = answer,
            Coverage = hours.Average(h => h.Coverage),
            Probability = answer == Answer.NotMet || hours.All(h => h.Probability is not null) ? hours.Min(h => h.Probability) : null,
            Provisional = hours.Any(h => h.Provisional),
            Obstacles = answer == Answer.NotEvaluable ? [.. hours.SelectMany(h => h.Obstacles).Distinct().Order()] : [],
        };
    }
}
