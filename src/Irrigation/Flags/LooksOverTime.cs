using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>How long the drainage looked alike, over a whole run.</summary>
/// <param name="Scale">The scale of the grade; null where it was not named, or there is no grade.</param>
/// <param name="Grade">The grade; null where only a colour was charted.</param>
/// <param name="Colour">The colour, where there is no grade; null where neither was charted.</param>
/// <param name="Looks">How often it was seen so.</param>
/// <param name="Lasted">From each of these looks to the next look, together.</param>
/// <param name="First">When it was seen so first.</param>
/// <param name="Last">When it was seen so last.</param>
public sealed record LooksAlike(string? Scale, int? Grade, string? Colour, int Looks, Duration Lasted, Instant First, Instant Last)
{
    /// <summary>What it looked like, in words.</summary>
    public string Says => Grade is { } grade ? $"grade {grade}{(Scale is null ? "" : $" on '{Scale}'")}" : Colour ?? "no colour charted";
}

/// <summary>The looks of a run by grade, the darkest first.</summary>
/// <remarks>A look holds until the next one. The time since the last look belongs to none: nobody knows how it looks now.</remarks>
public static class LooksOverTime
{
    /// <summary>All of them; grades of two scales are two things.</summary>
    /// <param name="log">The log.</param>
    /// <param name="start">From when.</param>
    /// <param name="asOf">Up to when.</param>
    public static IEnumerable<LooksAlike> Of(EpisodeLog log, Instant start, Instant asOf)
    {
        var looks = log[Slug.Of(nameof(DrainageAppearance))].After(start - Duration.Epsilon, asOf).Cast<DrainageAppearance>().ToList();
        return looks
            .Select((look, place) => (Look: look, Until: place + 1 < looks.Count ? looks[place + 1].At : look.At))
            .GroupBy(seen => (Scale: seen.Look.Grade is null ? null : seen.Look.Scale, seen.Look.Grade, Colour: Colour(seen.Look)))
            .Select(alike => new LooksAlike(
                alike.Key.Scale,
                alike.Key.Grade,
                alike.Key.Colour,
                alike.Count(),
                alike.Aggregate(Duration.Zero, (sum, seen) => sum + (seen.Until - seen.Look.At)),
                alike.First().Look.At,
                alike.Last().Look.At
            ))
            .OrderBy(alike => alike.Scale, StringComparer.Ordinal)
            .ThenByDescending(alike => alike.Grade)
            .ThenBy(alike => alike.First);
    }

    private static string? Colour(DrainageAppearance look) => look.Grade is null ? look.Colour?.ToLowerInvariant() : null;
}
