using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>The one entry that an urgent flag rests on, where that entry is in doubt: the flag says which, and asks to check it.</summary>
/// <param name="Entry">The entry.</param>
/// <param name="Says">A sentence to follow what the flag says, with a space before it.</param>
/// <remarks>
/// Whoever is called at once should know what to look at again, and look at the patient meanwhile: a slip of the pen and a blocked
/// catheter show the same. In doubt is an entry that the balance doubts, one judged by eye, one that is the first after a hole in the
/// charting, and one that departs from what came just before by more than <see cref="FlagSettings.DepartsBy"/>.
/// </remarks>
internal sealed record DoubtfulEntry(Entry Entry, string Says)
{
    /// <summary>The entry in doubt that an interval hangs on; null where none is, or several readings say the same.</summary>
    public static DoubtfulEntry? Of(Bedside bedside, ClosedInterval interval)
    {
        if (interval.Doubts is [var doubt, ..] && bedside.Log.Current(doubt.Reading)?.Entry is { } doubted)
        {
            return Made(bedside, doubted, $". {Words.Capital(doubt.Says)}");
        }

        var before = Before(bedside, interval);
        return OfDrainage(bedside, interval, before) ?? OfIrrigant(bedside, interval, before);
    }

    /// <summary>The evidence that it is.</summary>
    public static IEnumerable<Evidence> EvidenceOf(DoubtfulEntry? doubtful) => doubtful is null ? [] : [Evidence.Of(doubtful.Entry)];

    private static DoubtfulEntry? OfDrainage(Bedside bedside, ClosedInterval interval, ClosedInterval? before)
    {
        var readings = interval.Parts.Where(part => part.Kind is PartKind.Drainage or PartKind.Urine).ToList();
        if (readings is not [var only] || bedside.Log.Current(only.Entry)?.Entry is not { } reading)
            return null;
        if (reading.Header.How == MeasuringWay.Estimate)
            return Made(bedside, reading, ", judged by eye");
        if (DryTime.IsHole(interval, bedside))
        {
            return Made(
                bedside,
                reading,
                $". It is the first since {bedside.Said(interval.Start)}: it may have been emptied and not charted"
            );
        }

        if (before?.Drained is not { } was || interval.Drained is not { } drained)
            return null;
        if (FlowRate.Of(was, before.Length) <= Times(FlowRate.Of(drained, interval.Length), bedside))
            return null;
        var span = $"from {bedside.Said(before.Start)} to {bedside.Said(before.End)}";
        return Made(bedside, reading, $". It is {drained} since the one before, far less than the {was} {span}");
    }

    private static DoubtfulEntry? OfIrrigant(Bedside bedside, ClosedInterval interval, ClosedInterval? before)
    {
        if (before?.Instilled is not { } was || was <= Volume.Zero || interval.Instilled is not { } ran)
            return null;
        if (FlowRate.Of(ran, interval.Length) <= Times(FlowRate.Of(was, before.Length), bedside))
            return null;
        var largest = interval.Parts.Where(part => part.Kind is PartKind.Irrigant or PartKind.IrrigantFromRate).MaxBy(part => part.Amount);
        return largest is not null && bedside.Log.Current(largest.Entry)?.Entry is { } entry
            ? Made(bedside, entry, $". It is far more than the {was} from {bedside.Said(before.Start)} to {bedside.Said(before.End)}")
            : null;
    }

    /// <summary>The interval just before, where nobody doubts it; else null.</summary>
    private static ClosedInterval? Before(Bedside bedside, ClosedInterval interval)
    {
        var justBefore = interval.Start - Duration.Epsilon;
        var before = bedside.Balance.Reaching(FluidBalance.Bladder, justBefore, interval.Start).FirstOrDefault();
        return before?.End == interval.Start && before.Doubts.IsEmpty ? before : null;
    }

    private static FlowRate Times(FlowRate rate, Bedside bedside) =>
        FlowRate.FromMillilitresPerHour(rate.MillilitresPerHour * bedside.Settings.DepartsBy);

    private static DoubtfulEntry Made(Bedside bedside, Entry entry, string why) =>
        new(entry, $" It rests on one entry: {Named(bedside, entry)}{why}. Look at the patient, and check the entry.");

    /// <summary>Its kind, its figure and its time.</summary>
    public static string Named(Bedside bedside, Entry entry)
    {
        var figure = entry switch
        {
            BagHung e => $" of {e.Labelled}",
            BagRead e => $" of {e.Remaining}",
            BagTakenDown { Remaining: { } left } => $" of {left}",
            IrrigantInstilled e => $" of {e.Amount}",
            FlowSet e => $" of {e.Rate}",
            PumpTotalRead e => $" of {e.Total}",
            DrainageEmptied e => $" of {e.Drained}",
            DrainageLevelRead e => $" of {e.Level}",
            DrainageWeighed e => $" of {e.Gross}",
            UrineCollected e => $" of {e.Amount}",
            _ => "",
        };
        return $"{Words.Of(entry.Kind)}{figure} at {bedside.Said(entry.At)}";
    }
}
