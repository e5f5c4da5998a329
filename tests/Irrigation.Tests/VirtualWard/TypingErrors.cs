using System.Globalization;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>How a reading of the drainage is typed wrong.</summary>
public enum TypingError
{
    /// <summary>A nought too many.</summary>
    TenTimes,

    /// <summary>A nought too few.</summary>
    ATenth,

    /// <summary>Two neighbouring digits swapped.</summary>
    SwappedDigits,

    /// <summary>An emptying charted twice, a few minutes apart, under another id.</summary>
    Twice,
}

/// <summary>Types a reading wrong.</summary>
internal static class TypingErrors
{
    /// <summary>What stands in the chart instead of a reading; null where it cannot be mistyped so.</summary>
    public static IReadOnlyList<Entry>? Of(TypingError error, Entry reading, Random chance) =>
        error switch
        {
            TypingError.TenTimes => [Typed(reading, Number(reading) * 10)],
            TypingError.ATenth => [Typed(reading, Number(reading) / 10)],
            TypingError.SwappedDigits => Swapped(Number(reading), chance) is { } swapped ? [Typed(reading, swapped)] : null,
            TypingError.Twice => Empties(reading) ? [reading, Again(reading, chance.Next(1, 6))] : null,
        };

    /// <summary>What was typed: mL by the marks, or g on the scale.</summary>
    public static decimal Number(Entry reading) =>
        reading switch
        {
            DrainageEmptied e => e.Drained.Millilitres,
            DrainageLevelRead e => e.Level.Millilitres,
            DrainageWeighed e => e.Gross.Grams,
            _ => throw new ArgumentOutOfRangeException(nameof(reading), reading, "no reading of the drainage"),
        };

    private static bool Empties(Entry reading) => reading is DrainageEmptied or DrainageWeighed { Emptied: true };

    private static Entry Typed(Entry reading, decimal number) =>
        reading switch
        {
            DrainageEmptied e => e with { Drained = Volume.FromMillilitres(number) },
            DrainageLevelRead e => e with { Level = Volume.FromMillilitres(number) },
            DrainageWeighed e => e with { Gross = Mass.FromGrams(number) },
            _ => throw new ArgumentOutOfRangeException(nameof(reading), reading, "no reading of the drainage"),
        };

    private static decimal? Swapped(decimal number, Random chance)
    {
        var digits = number.ToString("0", CultureInfo.InvariantCulture);
        var pairs = Enumerable.Range(0, digits.Length - 1);
        var places = pairs.Where(i => digits[i] != digits[i + 1] && !(i == 0 && digits[1] == '0')).ToArray();
        if (places.Length == 0)
            return null;
        var at = places[chance.Next(places.Length)];
        var swapped = string.Concat(digits.AsSpan(0, at), digits.AsSpan(at + 1, 1), digits.AsSpan(at, 1), digits.AsSpan(at + 2));
        return decimal.Parse(swapped, CultureInfo.InvariantCulture);
    }

    private static Entry Again(Entry reading, int minutes) =>
        reading with
        {
            Header = reading.Header with { Key = new("ward", reading.Key.Id + " again"), At = reading.At + Duration.FromMinutes(minutes) },
        };
}
