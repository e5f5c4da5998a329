using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>The working of one closed interval: what ran in, what came out, and what is to be known of both.</summary>
internal sealed class IntervalWorking(
    EpisodeLog log,
    BalanceSettings settings,
    InstilledOverTime instilled,
    DrainedOverTime drained,
    RetainedVolume retained
)
{
    private static readonly ImmutableArray<BalanceTerm> NobodyMeasured =
    [
        BalanceTerm.Absorbed,
        BalanceTerm.Blood,
        BalanceTerm.Leaked,
        BalanceTerm.RetainedChange,
    ];

    private static readonly CaveatSet Undoubted = CaveatSet.Of([
        Caveat.IrrigantNotCharted,
        Caveat.DrainageNotCharted,
        Caveat.TwoMeasuresOnOneLine,
        Caveat.DrainageWhileClamped,
    ]);

    private readonly Timeline leaks = log[Channel.Leak];
    private readonly Timeline clamps = log[Channel.Clamp];

    /// <summary>Whether the doubts are known: what nobody charted has no interval.</summary>
    public static bool Estimable(CaveatSet caveats) => (caveats.Bits & Undoubted.Bits) == 0;

    /// <summary>An interval of the bladder, from one closing point to the next.</summary>
    public ClosedInterval Bladder(Instant start, Instant end)
    {
        var (into, outOf) = (instilled.Between(start, end), drained.Between(start, end));
        var parts = ImmutableArray.CreateBuilder<Part>(into.Parts.Length + outOf.Parts.Length);
        parts.AddRange(into.Parts);
        parts.AddRange(outOf.Parts);
        var leaked = Leaked(start, end, parts);
        var blood = Blood(start, end, parts);
        var (change, startUnknown) = RetainedChange(end, parts);

        var worked =
            into.Amount is { } i && outOf.Amount is { } d
                ? d - i + (change ?? Measured.Nothing) + (leaked ?? Measured.Nothing) - (blood ?? Measured.Nothing)
                : (Measured?)null;
        var output = worked?.Charted;

        // A container was drained of a mixture: without any irrigant on record there is no telling what it held.
        var uncharted = outOf.AnyDrainage && !instilled.Lines.Any;
        var caveats = Caveats(start, end, into, outOf, output);
        if (uncharted)
            caveats = caveats.Add(Caveat.IrrigantNotCharted);
        if (startUnknown)
            caveats = caveats.Add(Caveat.RetainedStartUnknown);

        var working = parts.ToImmutable();
        var (corrected, amended, late) = Revised(FluidBalance.Bladder, start, end, working);
        if (corrected)
            caveats = caveats.Add(Caveat.CorrectedEntry);
        if (late)
            caveats = caveats.Add(Caveat.LateEntry);

        var status =
            into.Provisional || outOf.Awaited || uncharted ? OutputStatus.Preliminary
            : corrected ? OutputStatus.Corrected
            : amended ? OutputStatus.Amended
            : OutputStatus.Final;
        return new()
        {
            Stream = FluidBalance.Bladder,
            Start = start,
            End = end,
            Instilled = into.Amount?.Charted,
            Drained = outOf.Amount?.Charted,
            Urine = outOf.Urine,
            RetainedChange = change?.Charted,
            Leaked = leaked?.Charted,
            Blood = blood?.Charted,
            Output = worked is { } known ? UrineOutput.Of(known, Estimable(caveats), settings) : null,
            Worked = worked,
            Absent = output is null ? WhyAbsent(into, outOf) : null,
            Simple = outOf.Amount?.Charted - into.Charted,
            Status = status,
            Undoubted = status,
            Caveats = caveats.InOrder(),
            AssumedZero = AssumedZero(leaked is null, change is null, blood is null),
            Parts = working,
        };
    }

    /// <summary>What was estimated to have leaked; null where nobody did.</summary>
    private Measured? Leaked(Instant start, Instant end, ImmutableArray<Part>.Builder parts)
    {
        var leaked = (Measured?)null;
        foreach (var leak in leaks.After(start, end).Cast<LeakEstimated>())
        {
            leaked = (leaked ?? Measured.Nothing) + settings.Characters.Leak(leak);
            parts.Add(new(PartKind.Leak, leak.Key, leak.At, leak.At, leak.Amount, leak.Amount));
        }

        return leaked;
    }

    /// <summary>The blood that was removed; null where nobody measured any.</summary>
    private Measured? Blood(Instant start, Instant end, ImmutableArray<Part>.Builder parts)
    {
        var blood = (Measured?)null;
        foreach (var removed in log[Channel.Blood].After(start, end).Cast<BloodRemoved>())
        {
            blood = (blood ?? Measured.Nothing) + settings.Characters.Blood(removed);
            parts.Add(new(PartKind.Blood, removed.Key, removed.At, removed.At, removed.Amount, removed.Amount));
        }

        return blood;
    }

    /// <summary>By how much what the bladder holds has grown; null where one of the two scans is missing.</summary>
    private (Measured? Change, bool StartUnknown) RetainedChange(Instant end, ImmutableArray<Part>.Builder parts)
    {
        var held = retained.At(end);
        var heldBefore = held is null ? null : retained.LastBefore(end);
        foreach (var scan in new[] { heldBefore, held })
        {
            if (scan is not null)
                parts.Add(new(PartKind.Retained, scan.Key, scan.At, scan.At, scan.Held, scan.Held));
        }

        return held is null || heldBefore is null
            ? (null, held is not null)
            : (settings.Characters.Held(held) - settings.Characters.Held(heldBefore), false);
    }

    private static AbsentReason WhyAbsent(Instilled into, Drained outOf) =>
        outOf.Awaited ? AbsentReason.DrainageNotReadYet
        : outOf.Amount is null ? AbsentReason.DrainageUnknown
        : into.Provisional ? AbsentReason.IrrigantNotReadYet
        : AbsentReason.IrrigantUnknown;

    private CaveatSet Caveats(Instant start, Instant end, Instilled into, Drained outOf, Volume? output)
    {
        var caveats = into.Caveats.Union(outOf.Caveats);
        if (into.Amount is null && !into.Provisional)
            caveats = caveats.Add(Caveat.IrrigantUnknown);
        if (into.Amount?.Charted > Volume.Zero && !outOf.AnyDrainage)
            caveats = caveats.Add(Caveat.DrainageNotCharted);
        if (output < Volume.Zero)
            caveats = caveats.Add(Caveat.NegativeOutput);
        if (end - start > settings.LongestGap)
            caveats = caveats.Add(Caveat.Gap);
        if (clamps.LastAtOrBefore(start) is DrainClamped || clamps.After(start, end).Any(c => c is DrainClamped && c.At < end))
        {
            caveats = caveats.Add(Caveat.DwellInProgress);
        }

        return caveats;
    }

    /// <summary>The intervals of a route that does not pass the bladder: from reading to reading, and what was collected.</summary>
    public IEnumerable<ClosedInterval> Route(UrineRoute route, Instant from, Instant? to)
    {
        var readings = log[Channel.Route(route)];
        for (
            var i = readings.FirstAtOrAfter(Instant.Max(from, log.Frame.Start + Duration.Epsilon));
            i < readings.Count && !(readings[i].At > to);

        )
        {
            var end = readings[i].At;
            var before = readings.At(i - 1)?.At;
            var start = before ?? Instant.Max(log.Frame.Start, end - settings.FirstReadingReach);
            var amount = Measured.Nothing;
            var parts = ImmutableArray.CreateBuilder<Part>();
            for (; i < readings.Count && readings[i].At == end; i++)
            {
                var reading = (UrineCollected)readings[i];
                amount += settings.Characters.Urine(reading);
                parts.Add(new(PartKind.Urine, reading.Key, start, end, reading.Amount, reading.Amount));
            }

            var caveats = CaveatSet.Empty;
            if (before is null)
                caveats = caveats.Add(Caveat.RouteStartUnknown);
            if (end - start > settings.LongestGap)
                caveats = caveats.Add(Caveat.Gap);
            if (amount.Charted > settings.LargestVolume)
                caveats = caveats.Add(Caveat.ImplausibleVolume);
            var worked = parts.ToImmutable();
            var (corrected, _, late) = Revised(Slug.Of(route), start, end, worked);
            if (corrected)
                caveats = caveats.Add(Caveat.CorrectedEntry);
            if (late)
                caveats = caveats.Add(Caveat.LateEntry);
            yield return new()
            {
                Stream = Slug.Of(route),
                Start = start,
                End = end,
                Instilled = Volume.Zero,
                Drained = amount.Charted,
                Urine = amount.Charted,
                RetainedChange = null,
                Leaked = null,
                Output = UrineOutput.Of(amount, true, settings),
                Worked = amount,
                Absent = null,
                Simple = amount.Charted,
                Status = corrected ? OutputStatus.Corrected : OutputStatus.Final,
                Caveats = caveats.InOrder(),
                AssumedZero = [],
                Parts = worked,
            };
        }
    }

    /// <summary>
    /// Whether the number rests on a correction, on something charted after it had been complete, on something charted late.
    /// </summary>
    /// <remarks>
    /// Worked out from the log's own times, not from the order of arrival, so that two orders of arrival end in the same status.
    /// It was complete when its closing readings and the irrigant readings that cover its end were known.
    /// </remarks>
    private (bool Corrected, bool Amended, bool Late) Revised(string stream, Instant start, Instant end, ImmutableArray<Part> parts)
    {
        var withdrawn = false;
        foreach (var gone in log[Channel.Withdrawn].After(start, end))
            withdrawn |= EntryReach.StreamOf(gone) == stream;
        var (corrected, late, complete, others) = (withdrawn, false, Instant.MinValue, Instant.MinValue);
        foreach (var part in parts)
        {
            var logged = log.Current(part.Entry)!;
            corrected |= part.End <= end && log.IsCorrected(part.Entry);
            late |= part.End > start && logged.Entry.Header.RecordedAt - logged.Entry.At > settings.LateAfter;
            if (Completes(part, end))
                complete = Instant.Max(complete, logged.KnownAt);
            else
                others = Instant.Max(others, logged.KnownAt);
        }

        foreach (var opening in drained.Closings.ReadingsBetween(start - Duration.Epsilon, start))
            others = Instant.Max(others, log.Current(opening.Key)!.KnownAt);
        return (corrected, Amended: others > complete, late);
    }

    private static ImmutableArray<BalanceTerm> AssumedZero(bool leaks, bool retained, bool blood) =>
        leaks && retained && blood
            ? NobodyMeasured
            :
            [
                .. NobodyMeasured.Where(term =>
                    term switch
                    {
                        BalanceTerm.Absorbed => true,
                        BalanceTerm.Blood => blood,
                        BalanceTerm.Leaked => leaks,
                        BalanceTerm.RetainedChange => retained,
                    }
                ),
            ];

    /// <summary>Whether an interval that ends at a moment was not known before this part was.</summary>
    private static bool Completes(Part part, Instant end) =>
        part.Kind is PartKind.Drainage or PartKind.Urine or PartKind.IrrigantFromRate
        || (part.Kind is PartKind.Irrigant && part.End >= end);
}
