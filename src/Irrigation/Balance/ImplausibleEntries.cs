using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>What was charted and is hardly so, whatever follows from it: counted, and marked for whoever can look again.</summary>
/// <remarks>
/// Unlike a doubted reading it is not kept out of decisions: much irrigant that does not come back is what an obstruction looks like, and
/// to doubt it would silence the flags of the outflow. Drainage is looked at by <see cref="DoubtedReadings"/>.
/// </remarks>
public static class ImplausibleEntries
{
    /// <summary>Why an entry is implausible; null where it is not, or where somebody looked again and confirmed it.</summary>
    /// <param name="entry">The entry, as it stands in the log.</param>
    /// <param name="balance">The balance of the log.</param>
    public static Doubt? Of(Entry entry, FluidBalance balance) =>
        entry.Header.Purpose == Purpose.Clinical && Says(entry, balance) is { } doubt && !DoubtedReadings.Confirmed(balance.Log, entry.Key)
            ? doubt
            : null;

    private static Doubt? Says(Entry entry, FluidBalance balance)
    {
        var settings = balance.Settings;
        if (Amount(entry, balance) is var (amount, time) && amount > settings.LargestVolume)
            return new(
                DoubtKind.ImplausibleVolume,
                entry.Key,
                $"{amount} in one entry, where more than {settings.LargestVolume} is implausible"
            );
        var flow =
            entry is FlowSet set ? set.Rate
            : Amount(entry, balance) is var (whole, over) && over > Duration.Zero && !ByPump(entry) ? FlowRate.Of(whole, over)
            : (FlowRate?)null;
        return flow > settings.HighestGravityFlow && !ByPump(entry)
            ? new(DoubtKind.ImplausibleFlow, entry.Key, $"{flow} by gravity, where more than {settings.HighestGravityFlow} is implausible")
            : null;
    }

    private static (Volume Amount, Duration Over)? Amount(Entry entry, FluidBalance balance) =>
        entry switch
        {
            IrrigantInstilled e => (e.Amount, e.Header.From is { } from ? e.At - from : Duration.Zero),
            BagHung e => (e.Labelled, Duration.Zero),
            BagRead or BagTakenDown or PumpTotalRead => balance.MeasuredBy(entry) is { Amount: { } ran } part
                ? (ran, part.End - part.Start)
                : ((Volume, Duration)?)null,
            UrineCollected e => (e.Amount, Duration.Zero),
            LeakEstimated e => (e.Amount, Duration.Zero),
            BladderScanned e => (e.Held, Duration.Zero),
            _ => null,
        };

    private static bool ByPump(Entry entry) => entry is PumpTotalRead || entry.Header.How == MeasuringWay.Pump;
}
