using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Criteria;

/// <summary>Who the thresholds are for, by age. Unknown is not adult.</summary>
public enum AgeGroup
{
    /// <summary>No date of birth.</summary>
    Unknown,

    /// <summary>To the 28th day of life.</summary>
    Neonate,

    /// <summary>After the 28th day, under 18 years.</summary>
    Child,

    /// <summary>18 years and over.</summary>
    Adult,
}

/// <summary>What the criteria have to know of the patient besides the balance.</summary>
/// <param name="BirthDate">If known.</param>
/// <param name="Zone">The zone in which a birthday is a day.</param>
public sealed record Patient(LocalDate? BirthDate, DateTimeZone Zone)
{
    /// <summary>The age group at a moment.</summary>
    public AgeGroup GroupAt(Instant at)
    {
        if (BirthDate is not { } born)
            return AgeGroup.Unknown;
        var today = at.InZone(Zone).Date;
        if (Period.DaysBetween(born, today) <= 28)
            return AgeGroup.Neonate;
        return born.PlusYears(18) <= today ? AgeGroup.Adult : AgeGroup.Child;
    }

    /// <summary>Completed years at a moment; null where the date of birth is unknown.</summary>
    public int? YearsAt(Instant at) =>
        BirthDate is { } born ? (int)Period.Between(born, at.InZone(Zone).Date, PeriodUnits.Years).Years : null;
}

/// <summary>The weight in force at a moment.</summary>
/// <param name="Weight">The weight and its kind.</param>
/// <param name="At">When it was taken.</param>
/// <param name="Doubt">Why it is not plausible; null where it is.</param>
public sealed record WeightInForce(BodyWeight Weight, Instant At, string? Doubt)
{
    /// <summary>The latest weight at or before a moment; null where none was charted.</summary>
    public static WeightInForce? Of(EpisodeLog log, Instant at, Patient patient, CriteriaSettings settings)
    {
        var weights = log["weight-measured"];
        if (weights.LastAtOrBefore(at) is not WeightMeasured latest)
            return null;
        var (group, years) = (patient.GroupAt(at), patient.YearsAt(at));
        var plausible = settings.PlausibleWeight(group, years);
        var (low, high) = plausible;

        // Compared with the last one that could be true: a slip must not cast its doubt on the weight that puts it right.
        var before = weights
            .Before(latest.At)
            .OfType<WeightMeasured>()
            .FirstOrDefault(w => w.Weight.Kilograms >= low && w.Weight.Kilograms <= high);
        return new(latest.Weight, latest.At, Implausible(latest.Weight, before?.Weight, plausible, group, years, settings));
    }

    /// <summary>The moment from which it does not matter whether there was a weight at another: null where it matters to the end.</summary>
    /// <remarks>The next plausible weight takes over and is itself compared with the one before; the one after that is not.</remarks>
    public static Instant? EndOfReach(EpisodeLog log, Instant at, Patient patient, CriteriaSettings settings)
    {
        var weights = log["weight-measured"];
        for (var i = weights.FirstAfter(at); i < weights.Count; i++)
        {
            var next = (WeightMeasured)weights[i];
            var (low, high) = settings.PlausibleWeight(patient.GroupAt(next.At), patient.YearsAt(next.At));
            if (next.Weight.Kilograms >= low && next.Weight.Kilograms <= high)
                return weights.NextAfter(next.At)?.At;
        }

        return null;
    }

    private static string? Implausible(
        BodyWeight weight,
        BodyWeight? before,
        WeightRange plausible,
        AgeGroup group,
        int? years,
        CriteriaSettings settings
    )
    {
        var (low, high) = plausible;
        if (weight.Kilograms < low || weight.Kilograms > high)
        {
            var who = years is { } y ? $"{Words.Of(group)} of {y} years" : Words.Of(group);
            return FormattableString.Invariant($"{weight} is outside {low:0.#} to {high:0.#} kg, plausible for {who}");
        }

        return before is { } was && Math.Abs(weight.Kilograms - was.Kilograms) > settings.LargestWeightChange * was.Kilograms
            ? FormattableString.Invariant($"{weight} after {was}: more than {settings.LargestWeightChange * 100:0} % apart")
            : null;
    }
}
