using System.Collections.Immutable;
using System.Globalization;
using Irrigation.Criteria;
using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>
/// F20. Spinal cord injury at or above T6, and a bladder that may be full, or a systolic pressure more than 20 mmHg over the baseline.
/// </summary>
/// <remarks>
/// Dysreflexia may be silent, and no pressure charted is no pressure that is well: then the bladder alone decides. The rise is the source's
/// for adults; for anybody else it is not decided. A flag that a pressure raised stands until another pressure is charted: that
/// nobody measured again has not ended it.
/// </remarks>
public static class DysreflexiaRisk
{
    /// <summary>Flags of a bladder that may be full.</summary>
    public static ImmutableArray<string> Triggers { get; } =
    ["outflow-deficit", "no-drainage", "dwell-overrun", "inflow-while-clamped", "bladder-distension", "return-short"];

    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new("dysreflexia-risk", "Risk of autonomic dysreflexia", FlagCategory.Clinical, "Can-SCIP / PVA 2020", Cautions.Dysreflexia, Judge);

    /// <summary>Whether a pressure can be one.</summary>
    public static bool IsPlausible(BloodPressureMeasured pressure, FlagSettings settings) =>
        pressure.Systolic >= settings.LeastSystolic && pressure.Systolic <= settings.MostSystolic;

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Facts.SpinalLevel is not { } level)
            return new Finding.NotRaised();
        var full = Triggers.Select(slug => bedside.Standing(slug)).OfType<FlagPeriod>().ToList();
        var pressure = Latest(bedside);
        if (full.Count == 0 && pressure is null)
            return new Finding.NotRaised();
        if (AtOrAboveT6(level) is not { } high)
            return new Finding.Undecided($"'{level}' is not a level like T4", "the level of the injury");
        if (!high)
            return new Finding.NotRaised();

        var risen = pressure is null ? null : Judge(pressure, bedside);
        var because = full.Select(flag => $"{FlagRules.InWords(flag.Slug)} since {bedside.Said(flag.Start)}")
            .Concat(risen is Finding.Raised { Says: var said } ? [said] : [])
            .ToList();
        if (because.Count == 0)
            return risen ?? new Finding.NotRaised();
        return new Finding.Raised(FlagPriority.Urgent, $"spinal cord injury at {level}, and {Words.Sentences(because)}.")
        {
            Evidence = [.. full.SelectMany(flag => flag.Latest.Evidence).Concat(risen is Finding.Raised r ? r.Evidence : []).Distinct()],
            LookAgain = risen?.LookAgain,
        };
    }

    /// <summary>The last pressure that can be one.</summary>
    private static BloodPressureMeasured? Latest(Bedside bedside) =>
        bedside
            .Log[Slug.Of(nameof(BloodPressureMeasured))]
            .Before(bedside.At + NodaTime.Duration.Epsilon)
            .Cast<BloodPressureMeasured>()
            .FirstOrDefault(pressure => IsPlausible(pressure, bedside.Settings));

    /// <summary>What a pressure alone says.</summary>
    private static Finding Judge(BloodPressureMeasured pressure, Bedside bedside)
    {
        var lapses = pressure.At + bedside.Settings.PressureReach;
        var said = $"systolic {pressure.Systolic} at {bedside.Said(pressure.At)}";
        if (bedside.Facts.BaselineSystolic is not { } baseline)
        {
            return bedside.At < lapses
                ? new Finding.Undecided($"{said}, and no baseline is on record", "the baseline systolic pressure") { LookAgain = lapses }
                : new Finding.NotRaised();
        }

        if (!(pressure.Systolic > baseline + bedside.Settings.DysreflexiaRise))
            return new Finding.NotRaised();
        if (bedside.At >= lapses)
        {
            return bedside.Standing("dysreflexia-risk") is { } standing && pressure.At >= standing.Start
                ? new Finding.Undecided($"{said}, and none was charted since: what it is now is not known", "another blood pressure")
                : new Finding.NotRaised();
        }

        return bedside.Facts.Patient.GroupAt(pressure.At) switch
        {
            AgeGroup.Adult => new Finding.Raised(
                FlagPriority.Urgent,
                $"{said}, more than {bedside.Settings.DysreflexiaRise} over the baseline of {baseline}"
            )
            {
                Evidence = [Evidence.Of(pressure)],
                LookAgain = lapses,
            },
            AgeGroup.Unknown => new Finding.Undecided($"{said}, and the rise that counts holds for adults", "the date of birth")
            {
                LookAgain = lapses,
            },
            AgeGroup.Neonate or AgeGroup.Child => new Finding.Undecided(
                $"{said}, and the rise that counts holds for adults",
                "a limit for children, which the source does not give: whoever is there has to judge"
            )
            {
                LookAgain = lapses,
            },
        };
    }

    private static bool? AtOrAboveT6(string level)
    {
        var text = level.Trim().ToUpperInvariant();
        if (text.Length < 2 || !int.TryParse(text.AsSpan(1), NumberStyles.None, CultureInfo.InvariantCulture, out var number))
            return null;
        return (text[0], number) switch
        {
            ('C', >= 1 and <= 8) => true,
            ('T', >= 1 and <= 6) => true,
            ('T', <= 12) or ('L', <= 5) or ('S', <= 5) => number >= 1 ? false : null,
            _ => null,
        };
    }
}
