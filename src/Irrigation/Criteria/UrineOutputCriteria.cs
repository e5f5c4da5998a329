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

    /// <summary>The moments at which trailing windows end: each clock hour and each closing of the bladder, after one instant, up to another.</summary>
    public static IEnumerable<Instant> Moments(FluidBalance balance, Instant after, Instant upTo)
    {
        var hours = Calendar.Windows(WindowKind.ClockHour, balance.Log.Frame, after, upTo).Select(hour => hour.End);
        var closings = balance.Reaching(FluidBalance.Bladder, after, upTo).Select(interval => interval.End);
        return hours.Concat(closings).Where(at => at > after && at <= upTo).Distinct().Order();
    }

    /// <summary>Every criterion that fits the patient's age at a moment, in both readings. For an unknown age the adult ones, not evaluable.</summary>
    public static ImmutableArray<CriterionResult> At(FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings)
    {
        var group = patient.GroupAt(at);
        var wanted = group == AgeGroup.Unknown ? AgeGroup.Adult : group;
        return [.. All.Where(c => c.Group == wanted).SelectMany(c => Evaluate(c, balance, patient, at, settings))];
    }

    /// <summary>One criterion at a moment, in the readings that it has: the neonatal one only as a mean.</summary>
    public static IEnumerable<CriterionResult> Evaluate(RateCriterion criterion, FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings)
    {
        yield return Mean(criterion, balance, patient, at, settings);
        if (criterion.Group != AgeGroup.Neonate && criterion.Threshold is not null) yield return EveryHour(criterion, balance, patient, at, settings);
    }

    /// <summary>Oliguria, polyuria and low hourly output of an adult, at a moment.</summary>
    public static ImmutableArray<CriterionResult> Volumes(FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings) =>
        [Oliguria(balance, patient, at, settings), Polyuria(balance, patient, at, settings), LowHourly(balance, patient, at, settings)];

    /// <summary>Too little in the 24 elapsed hours before a moment; of an adult.</summary>
    public static CriterionResult Oliguria(FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings) =>
        Volume("oliguria", balance, patient, Day(at), at, settings.Oliguria, settings, below: true, Reading.MeanOverWindow);

    /// <summary>Too much in the 24 elapsed hours before a moment; of an adult.</summary>
    public static CriterionResult Polyuria(FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings) =>
        Volume("polyuria", balance, patient, Day(at), at, settings.Polyuria, settings, below: false, Reading.MeanOverWindow);

    /// <summary>Too little in each of the two hours before a moment; of an adult.</summary>
    public static CriterionResult LowHourly(FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings)
    {
        var hours = new[] { new Interval(at - Duration.FromHours(2), at - Duration.FromHours(1)), new Interval(at - Duration.FromHours(1), at) };
        CriterionResult[] byHour = [.. hours.Select(hour => Volume("low-hourly-output", balance, patient, hour, at, settings.LowHourly, settings, below: true, Reading.EveryHour))];
        return Together(byHour, new(hours[0].Start, at));
    }

    private static Interval Day(Instant at) => new(at - Duration.FromHours(24), at);

    private static CriterionResult Mean(RateCriterion criterion, FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings)
    {
        var window = new Interval(at - criterion.Window, at);
        var result = criterion.Threshold is { } threshold
            ? Rate(criterion, threshold, balance, patient, window, at, settings)
            : Volume(criterion.Name, balance, patient, window, at, settings.Anuria, settings, below: true, Reading.MeanOverWindow, criterion.Group, inclusive: true);
        return result with { Name = criterion.Name, Stage = criterion.Stage };
    }

    private static CriterionResult EveryHour(RateCriterion criterion, FluidBalance balance, Patient patient, Instant at, CriteriaSettings settings)
    {
        var count = (int)criterion.Window.TotalHours;
        var hours = Enumerable.Range(1, count).Select(i => new Interval(at - Duration.FromHours(count - i + 1), at - Duration.FromHours(count - i)));
        return Together([.. hours.Select(hour => Rate(criterion, criterion.Threshold!.Value, balance, patient, hour, at, settings, byHour: true))], new(at - criterion.Window, at));
    }

    private static CriterionResult Together(CriterionResult[] hours, Interval window)
    {
        var answer = Decision.All(hours.Select(h => h.Answer));
        var highest = hours.MaxBy(h => h.Value ?? decimal.MinValue)!;
        return highest with
        {
            Reading = Reading.EveryHour,
            Window = window,
            Answer = answer,
            Coverage = hours.Average(h => h.Coverage),
            Obstacles = answer == Answer.NotEvaluable ? [.. hours.SelectMany(h => h.Obstacles).Distinct().Order()] : [],
        };
    }

    /// <remarks>
    /// Age and weight are those at the moment of asking, for an hour as for the whole window: a patient who is weighed anew on the
    /// way would otherwise be met by the hour and not by the mean.
    /// </remarks>
    private static CriterionResult Rate(RateCriterion criterion, decimal threshold, FluidBalance balance, Patient patient, Interval window, Instant at, CriteriaSettings settings, bool byHour = false)
    {
        var weight = WeightInForce.Of(balance.Log, at, patient, settings);
        var output = balance.Over(WindowKind.Trailing, window);
        var obstacles = Obstacles(output, patient.GroupAt(at), criterion.Group, settings, byHour ? balance.Settings.LongestGap : null).ToList();
        if (weight is null) obstacles.Add(Obstacle.WeightUnknown);
        if (weight?.Doubt is not null) obstacles.Add(Obstacle.WeightImplausible);
        var kilogramHours = weight?.Weight.Kilograms * Elapsed.Of(output.Covered == Duration.Zero ? output.Length : output.Covered) / Elapsed.PerHour;
        return Decide(output, obstacles, threshold, criterion.Inclusive, below: true, kilogramHours, "mL/kg/h") with
        {
            Name = criterion.Name,
            Stage = criterion.Stage,
            Reading = byHour ? Reading.EveryHour : Reading.MeanOverWindow,
            Weight = weight,
        };
    }

    private static CriterionResult Volume(
        string name, FluidBalance balance, Patient patient, Interval window, Instant at, Volume threshold, CriteriaSettings settings, bool below, Reading reading, AgeGroup group = AgeGroup.Adult, bool inclusive = false)
    {
        var output = balance.Over(WindowKind.Trailing, window);
        var obstacles = Obstacles(output, patient.GroupAt(at), group, settings, reading == Reading.EveryHour ? balance.Settings.LongestGap : null).ToList();
        return Decide(output, obstacles, threshold.Millilitres, inclusive, below, 1, "mL") with { Name = name, Stage = 0, Reading = reading };
    }

    private static IEnumerable<Obstacle> Obstacles(OutputWindow output, AgeGroup group, AgeGroup wanted, CriteriaSettings settings, Duration? longestGap)
    {
        if (group == AgeGroup.Unknown) yield return Obstacle.AgeUnknown;
        else if (group != wanted) yield return Obstacle.AgeDoesNotFit;
        if (output.Absent is not (null or AbsentReason.NotCovered)) yield return Obstacle.OutputUnknown;
        if (Coverage(output) < settings.RequiredCoverage) yield return Obstacle.NotCovered;
        if (output.Output is not null && output.Output.BestEstimate is null) yield return Obstacle.DoubtsUnknown;
        if (output.Status == OutputStatus.Preliminary && output.FullyCovered) yield return Obstacle.StillOpen;
        if (output.Intervals.Any(i => i.Length > longestGap)) yield return Obstacle.Gap;
    }

    private static CriterionResult Decide(OutputWindow output, List<Obstacle> obstacles, decimal threshold, bool inclusive, bool below, decimal? per, string unit)
    {
        var best = In(output.Output?.BestEstimate?.Value, per);
        (decimal Low, decimal High)? interval = output.Output?.Interval95 is { } range && per is not null ? (In(range.Low, per)!.Value, In(range.High, per)!.Value) : null;

        // An interval wider than the threshold cannot tell that there was so little; that there was more it can, where all of it lies above.
        var plainlyMore = below && interval?.Low > threshold;
        if (interval is { } wide && (wide.High - wide.Low) / 2 > threshold && !plainlyMore) obstacles.Add(Obstacle.TooUncertain);
        return new()
        {
            Name = "",
            Stage = 0,
            Reading = Reading.MeanOverWindow,
            Window = new(output.Start, output.End),
            Answer = obstacles.Count > 0 || interval is not { } known ? Answer.NotEvaluable
                : below ? Decision.Below(known.Low, known.High, threshold, inclusive)
                : Decision.Above(known.Low, known.High, threshold),
            Threshold = threshold,
            Comparison = !below ? ">" : inclusive ? "<=" : "<",
            Unit = unit,
            Value = best,
            Interval95 = interval,
            Coverage = Coverage(output),
            Obstacles = [.. obstacles.Distinct().Order()],
        };
    }

    /// <summary>A volume per so many kilogram-hours, to a billionth: what is exactly on a threshold stays there, however it was divided.</summary>
    private static decimal? In(Volume? volume, decimal? per) => volume?.Millilitres / per is { } value ? Math.Round(value, 9) : null;

    private static decimal Coverage(OutputWindow output) => Elapsed.Of(output.Covered) / Elapsed.Of(output.Length);
}
