using System.Collections.Immutable;
using System.Globalization;

namespace Irrigation.Flags;

/// <summary>F20. Spinal cord injury at or above T6, and a bladder that may be full: outflow deficit, no drainage, or a dwell that overran.</summary>
/// <remarks>The other half of the definition, a systolic pressure more than 20 mmHg over the baseline, cannot be judged: blood pressure is not among the entries.</remarks>
public static class DysreflexiaRisk
{
    /// <summary>Flags of a bladder that may be full.</summary>
    public static ImmutableArray<string> Triggers { get; } = ["outflow-deficit", "no-drainage", "dwell-overrun", "inflow-while-clamped", "bladder-distension"];

    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } = new("dysreflexia-risk", "Risk of autonomic dysreflexia", FlagCategory.Clinical, "Can-SCIP / PVA 2020", Cautions.Dysreflexia, Judge);

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Facts.SpinalLevel is not { } level) return new Finding.NotRaised();
        var standing = Triggers.Select(slug => bedside.Standing(slug)).OfType<FlagPeriod>().ToList();
        if (standing.Count == 0) return new Finding.NotRaised();
        return AtOrAboveT6(level) switch
        {
            true => new Finding.Raised(FlagPriority.Urgent, $"spinal cord injury at {level}, and {string.Join(", ", standing.Select(flag => $"{flag.Slug} since {bedside.Said(flag.Start)}"))}.") { Evidence = [.. standing.SelectMany(flag => flag.Latest.Evidence).Distinct()] },
            false => new Finding.NotRaised(),
            null => new Finding.Undecided($"'{level}' is not a level like T4", "the level of the injury"),
        };
    }

    private static bool? AtOrAboveT6(string level)
    {
        var text = level.Trim().ToUpperInvariant();
        if (text.Length < 2 || !int.TryParse(text.AsSpan(1), NumberStyles.None, CultureInfo.InvariantCulture, out var number)) return null;
        return (text[0], number) switch
        {
            ('C', >= 1 and <= 8) => true,
            ('T', >= 1 and <= 6) => true,
            ('T', <= 12) or ('L', <= 5) or ('S', <= 5) => number >= 1 ? false : null,
            _ => null,
        };
    }
}
