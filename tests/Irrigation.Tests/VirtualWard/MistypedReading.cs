using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>A typing error in an otherwise good chart, and what the service said of it by the next reading.</summary>
/// <param name="Error">Which.</param>
/// <param name="Off">How far the typed number is off: mL or g; for one charted twice, all of it.</param>
/// <param name="Doubted">An interval is doubted that is not in the good chart.</param>
/// <param name="Flags">Flags raised that do not stand in the good chart.</param>
internal sealed record MistypedReading(ChartingWay Way, TypingError Error, double Off, bool Doubted, IReadOnlyList<string> Flags)
{
    /// <summary>Whether somebody is asked to look.</summary>
    public bool Noticed => Doubted || Flags.Count > 0;

    /// <summary>Every typing error at a random reading of a bed, each alone.</summary>
    public static IReadOnlyList<MistypedReading> Of(ChartedBed chart, Random chance) =>
        [.. Enum.GetValues<TypingError>().Select(error => Of(chart, error, chance)).OfType<MistypedReading>()];

    private static MistypedReading? Of(ChartedBed chart, TypingError error, Random chance)
    {
        var before = chart.Readings.SkipLast(1).Select((reading, place) => (reading, place, Typed: TypingErrors.Of(error, reading.Entry, chance)));
        var possible = before.Where(slip => slip.Typed is not null).ToArray();
        if (possible.Length == 0) return null;
        var (reading, place, typed) = possible[chance.Next(possible.Length)];
        var next = chart.Readings[place + 1].Minute;
        var good = Seen(chart.Entries, reading.Minute, next);
        var bad = Seen(chart.With(reading, typed!), reading.Minute, next);
        var off = Math.Abs((double)(typed!.Sum(TypingErrors.Number) - TypingErrors.Number(reading.Entry)));
        return new(chart.Way, error, off, bad.Doubted.Except(good.Doubted).Any(), [.. bad.Flags.Except(good.Flags).Order(StringComparer.Ordinal)]);
    }

    /// <summary>Intervals doubted and flags standing from a reading to the next one.</summary>
    private static (HashSet<Instant> Doubted, HashSet<string> Flags) Seen(IEnumerable<Entry> entries, int from, int to)
    {
        var (doubted, flags) = (new HashSet<Instant>(), new HashSet<string>());
        var until = VirtualBed.Start + Duration.FromMinutes(to);
        foreach (var record in FlagWatch.Moments(entries.Where(entry => entry.At <= until), to).Where(r => ChartedBed.MinuteOf(r.AsOf) >= from))
        {
            doubted.UnionWith(DoubtedIn(record));
            flags.UnionWith(record.Standing.Select(flag => flag.Slug));
        }

        return (doubted, flags);
    }

    private static IEnumerable<Instant> DoubtedIn(FlagRecord record) =>
        record.Now.Balance[FluidBalance.Bladder].Where(interval => !interval.Doubts.IsEmpty).Select(interval => interval.End);
}
