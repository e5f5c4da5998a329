using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>A typing error in an otherwise good chart, and what the service said of it by the next reading.</summary>
/// <param name="Way">How the bed is charted.</param>
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
        var slips = (
            from place in Enumerable.Range(0, chart.Readings.Count - 1)
            let instead = TypingErrors.Of(error, chart.Readings[place].Entry, chance)
            where instead is not null
            select (chart.Readings[place], instead!, chart.Readings[place + 1].Minute)
        ).ToArray();
        if (slips.Length == 0)
            return null;
        var (reading, typed, next) = slips[chance.Next(slips.Length)];
        var good = Seen(chart.Entries, reading.Minute, next);
        var bad = Seen(chart.With(reading, typed), reading.Minute, next);
        var off = Math.Abs((double)(typed.Sum(TypingErrors.Number) - TypingErrors.Number(reading.Entry)));
        string[] flags = [.. bad.Flags.Except(good.Flags).Order(StringComparer.Ordinal)];
        return new(chart.Way, error, off, bad.Doubted.Except(good.Doubted).Any(), flags);
    }

    /// <summary>Intervals doubted and flags standing from a reading to the next one.</summary>
    private static (HashSet<Instant> Doubted, HashSet<string> Flags) Seen(IEnumerable<Entry> entries, int from, int to)
    {
        var (doubted, flags) = (new HashSet<Instant>(), new HashSet<string>());
        var until = VirtualBed.Start + Duration.FromMinutes(to);
        var moments = FlagWatch.Moments(entries.Where(entry => entry.At <= until), to);
        foreach (var record in moments.Where(record => ChartedBed.MinuteOf(record.AsOf) >= from))
        {
            doubted.UnionWith(DoubtedIn(record));
            flags.UnionWith(record.Standing.Select(flag => flag.Slug));
        }

        return (doubted, flags);
    }

    private static IEnumerable<Instant> DoubtedIn(FlagRecord record) =>
        record.Now.Balance[FluidBalance.Bladder].Where(interval => !interval.Doubts.IsEmpty).Select(interval => interval.End);
}
