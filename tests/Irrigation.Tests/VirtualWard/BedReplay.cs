using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>What the service knew at a moment, and what had just arrived.</summary>
internal sealed record Arrival(Instant Moment, IReadOnlyList<Entry> Entries, ImmutableArray<Change> Changes, FluidBalance Balance);

/// <summary>A chart as it came in: entry after entry, each when it was charted, and the balance that the service had then.</summary>
internal static class BedReplay
{
    /// <summary>Nothing charted yet.</summary>
    public static FluidBalance Nothing { get; } =
        FluidBalance.Of(EpisodeLog.Empty(new(VirtualBed.Start, null, DateTimeZone.Utc, [])), BalanceSettings.Default);

    /// <summary>Every moment at which something was charted.</summary>
    public static IEnumerable<Arrival> Arrivals(IEnumerable<Entry> entries)
    {
        var balance = Nothing;
        foreach (var moment in entries.GroupBy(entry => entry.Header.RecordedAt ?? entry.At).OrderBy(moment => moment.Key))
        {
            Entry[] arrived = [.. moment.OrderBy(entry => entry.At)];
            var appended = balance.Log.Append(arrived, moment.Key);
            balance = balance.After(appended).Balance;
            yield return new(moment.Key, arrived, appended.Changes, balance);
        }
    }

    /// <summary>Whether an entry closes an interval of the bladder.</summary>
    public static bool ReadsDrainage(Entry entry) => entry is DrainageEmptied or DrainageLevelRead or DrainageWeighed;
}
