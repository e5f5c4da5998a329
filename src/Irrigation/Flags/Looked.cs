using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>What the drainage looked like, and how bloody that is. Grades are compared on one scale only.</summary>
public static class Looked
{
    private const int Palest = 1;

    /// <summary>The last look; null where nobody looked.</summary>
    public static DrainageAppearance? At(Bedside bedside) => bedside.Last<DrainageAppearance>();

    /// <summary>Looks before a moment, the latest first.</summary>
    public static IEnumerable<DrainageAppearance> Before(Bedside bedside, Instant moment) =>
        bedside.Log[Slug.Of(nameof(DrainageAppearance))].Before(moment).Cast<DrainageAppearance>();

    /// <summary>One of the two bloodiest grades of a scale that the site named; null where the scale's length is not known.</summary>
    /// <remarks>The palest grade never is, on however short a scale, and however long one is that nobody named.</remarks>
    public static bool? AmongTopTwo(DrainageAppearance look, FlagSettings settings)
    {
        if (look.Grade is not { } grade)
            return null;
        if (grade <= Palest)
            return false;
        return look.Scale is { } scale && settings.Scales.TryGetValue(scale, out var known) ? grade >= known.Grades - 1 : null;
    }

    /// <summary>0 none, 1 few, 2 many; null where nobody looked for clots.</summary>
    public static int? Clots(DrainageAppearance look) =>
        look.Clots switch
        {
            "none" => 0,
            "few" => 1,
            "many" => 2,
            _ => null,
        };

    /// <summary>Of clots: <c>no clots</c>, <c>few clots</c>; null where nobody looked for them.</summary>
    public static string? ClotsSay(DrainageAppearance look) =>
        look.Clots switch
        {
            null => null,
            "none" => "no clots",
            "few" or "many" => $"{look.Clots} clots",
            var other => $"clots {Words.Of(other)}",
        };

    /// <summary>In words.</summary>
    public static string Says(DrainageAppearance look) =>
        string.Join(
            ", ",
            new[]
            {
                look.Grade is { } grade ? $"grade {grade} on '{look.Scale ?? "a scale that was not named"}'" : null,
                look.Colour,
                ClotsSay(look),
            }.OfType<string>()
        );
}
