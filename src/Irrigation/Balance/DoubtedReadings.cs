using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>
/// What a derived number cannot be, whatever was typed: more urine than a body makes, more than a container holds, one emptying charted
/// twice. Such a number stays in every sum, is not final and decides nothing, until a person confirms the reading or corrects it.
/// </summary>
/// <remarks>
/// Only what is too much is doubted here. Too little is what an obstruction looks like, and is said by the flags of the outflow: to doubt
/// it would silence them.
/// </remarks>
internal sealed class DoubtedReadings(EpisodeLog log, BalanceSettings settings, InstilledOverTime instilled, DrainedOverTime drained)
{
    private readonly Timeline weights = log["weight-measured"];

    /// <summary>How far back is looked for fluid that had stayed behind, and for what urine is usual.</summary>
    public static Duration LooksBack { get; } = Duration.FromHours(24);

    /// <summary>An interval with what speaks against it; the very same where that is what it says already.</summary>
    /// <param name="intervals">Those of the bladder, in order.</param>
    /// <param name="index">Which.</param>
    public ClosedInterval Of(IReadOnlyList<ClosedInterval> intervals, int index)
    {
        var interval = intervals[index];
        var doubts = Doubts(intervals, index);
        if (doubts.SequenceEqual(interval.Doubts))
            return interval;
        var caveats = CaveatSet.Of(interval.Caveats.Where(c => c != Caveat.Doubted));
        return interval with
        {
            Doubts = doubts,
            Caveats = (doubts.IsEmpty ? caveats : caveats.Add(Caveat.Doubted)).InOrder(),
            Status = doubts.IsEmpty ? interval.Undoubted : OutputStatus.Preliminary,
        };
    }

    private ImmutableArray<Doubt> Doubts(IReadOnlyList<ClosedInterval> intervals, int index)
    {
        var interval = intervals[index];
        if (!interval.Parts.Any(p => p.Kind == PartKind.Drainage))
            return [];
        List<Doubt> doubts = [.. OfReadings(interval)];
        if (doubts.Count == 0 && TooMuch(intervals, index) is { } tooMuch)
            doubts.Add(tooMuch);
        return [.. doubts.Where(doubt => !Confirmed(log, doubt.Reading))];
    }

    private IEnumerable<Doubt> OfReadings(ClosedInterval interval)
    {
        foreach (var part in interval.Parts)
        {
            if (part.Kind != PartKind.Drainage || log.Current(part.Entry)?.Entry is not { } reading)
                continue;

            // Amended to something else since: this interval is worked out anew in a moment.
            if (DrainedOverTime.ContainerOf(reading) is null)
                continue;
            var content = drained.Content(reading);
            if (content > settings.LargestContainer)
            {
                yield return new(
                    DoubtKind.MoreThanContainerHolds,
                    reading.Key,
                    $"{content} in one container, which holds at most {settings.LargestContainer}"
                );
            }
            else if (content < Volume.Zero)
            {
                yield return new(DoubtKind.BelowTare, reading.Key, $"weighed less than empty: {content} by its weight and tare");
            }
            else if (part.Amount is null && drained.Added(reading).Doubt == Caveat.ContainerReset)
            {
                yield return new(DoubtKind.LevelFell, reading.Key, $"the level fell to {content} and no emptying was charted");
            }
            else if (Twice(reading, content) is { } twice)
            {
                yield return twice;
            }
            else if (WithoutTare(reading) is { } bare)
            {
                yield return bare;
            }
        }
    }

    /// <summary>Two nearly equal emptyings, and what ran in between cannot have filled the container again.</summary>
    private Doubt? Twice(Entry reading, Volume content)
    {
        if (!Empties(reading) || content <= Volume.Zero)
            return null;
        var container = log[Channel.Container(DrainedOverTime.ContainerOf(reading)!)];
        var i = container.FirstAtOrAfter(reading.At);
        while (container[i] != reading)
            i++;
        if (container.At(i - 1) is not { } before || !Empties(before) || reading.At - before.At > settings.ChartedTwiceWithin)
            return null;
        var other = drained.Content(before);
        if (Math.Abs((content - other).Millilitres) > settings.NearlyEqual * content.Millilitres)
            return null;
        var filled = instilled.Between(before.At, reading.At).Amount?.Charted ?? Volume.Zero;
        if (filled + Most(before.At, reading.At) >= content * 0.5m)
            return null;
        return new(
            DoubtKind.ChartedTwice,
            reading.Key,
            $"as much as {other} {Minutes(reading.At - before.At)} before, and only {filled} ran in between, as if charted twice"
        );
    }

    /// <summary>Weighed without a tare, where the container was weighed with one before.</summary>
    private Doubt? WithoutTare(Entry reading)
    {
        if (reading is not DrainageWeighed { Tare: null } weighed)
            return null;
        if (log[Channel.Container(weighed.Container)].LastBefore(reading.At) is not DrainageWeighed { Tare: { } tare })
            return null;
        return tare.Grams > 0 && weighed.Gross.Grams >= tare.Grams
            ? new(DoubtKind.TareForgotten, reading.Key, $"weighed without a tare, and with one of {tare} before, as if forgotten")
            : null;
    }

    private Doubt? TooMuch(IReadOnlyList<ClosedInterval> intervals, int index)
    {
        var interval = intervals[index];
        if (interval.Output is not { } output || interval.Drained is not { } total)
            return null;
        var low = output.Interval95?.Low ?? output.Headline;
        var hours = (decimal)interval.Length.TotalHours;
        var most = Most(interval.Start, interval.End);
        if (low <= most && low <= settings.FarAboveBy)
            return null; // as nearly always
        var surplus = low - HeldBack(intervals, index);
        var reading = interval.Parts.Where(p => p.Kind == PartKind.Drainage).MaxBy(p => p.Amount?.Millilitres ?? 0)!.Entry;
        if (surplus > most)
        {
            var never =
                interval.Caveats.Contains(Caveat.IrrigantNotCharted) || interval.Instilled is null
                    ? ", unless irrigant was not charted"
                    : "";
            var ceiling = $"{most} at {settings.HighestUrineOutput:0.#} mL/kg/h";
            return new(
                DoubtKind.OutputAboveCeiling,
                reading,
                $"{output.Headline} of urine in {Hours(hours)}, more than a body makes ({ceiling}){never}"
            );
        }

        var ran = interval.Instilled ?? Volume.Zero;
        var expected = ran + (Usual(intervals, index) * hours);
        return surplus > settings.FarAboveBy && total - HeldBack(intervals, index) >= expected * settings.FarAbove
            ? new(
                DoubtKind.OutputAboveCeiling,
                reading,
                $"{total} drained where {ran} ran in, {Times(total, expected)} times what was to be expected"
            )
            : null;
    }

    /// <summary>What had stayed behind by the readings before, urine taken as 0: its coming out is no urine of now.</summary>
    private static Volume HeldBack(IReadOnlyList<ClosedInterval> intervals, int index)
    {
        var (sum, most) = (Volume.Zero, Volume.Zero);
        for (var i = index - 1; i >= 0 && intervals[i].End > intervals[index].Start - LooksBack; i--)
        {
            if (intervals[i] is not { Instilled: { } into, Drained: { } outOf })
                break;
            sum += into - outOf;
            if (sum > most)
                most = sum;
        }

        return most;
    }

    /// <summary>
    /// mL of urine an hour in the time before, not above what a body makes; as is common where nothing is known (60 mL/h: see
    /// src/Irrigation/README.md, section 1.9).
    /// </summary>
    private static Volume Usual(IReadOnlyList<ClosedInterval> intervals, int index)
    {
        var (sum, hours) = (0m, 0m);
        for (var i = index - 1; i >= 0 && intervals[i].End > intervals[index].Start - LooksBack && hours < 12; i--)
        {
            if (intervals[i].Worked is not { } worked || intervals[i].Caveats.Contains(Caveat.Doubted))
                continue;
            (sum, hours) = (sum + worked.Best.Millilitres, hours + (decimal)intervals[i].Length.TotalHours);
        }

        return Volume.FromMillilitres(Math.Max(60, hours > 0 ? sum / hours : 0));
    }

    private Volume Most(Instant start, Instant end)
    {
        var kilograms = (weights.LastAtOrBefore(end) as WeightMeasured)?.Weight.Kilograms ?? settings.WeightWhereUnknown;
        return Volume.FromMillilitres(settings.HighestUrineOutput * kilograms * (decimal)(end - start).TotalHours);
    }

    /// <summary>Whether a person looked again at a reading as it stands now: a later correction needs a look of its own.</summary>
    /// <param name="log">The log.</param>
    /// <param name="reading">The reading.</param>
    public static bool Confirmed(EpisodeLog log, EntryKey reading)
    {
        var confirmations = log[Channel.Confirmed];
        if (confirmations.Count == 0 || log.Current(reading) is not { } current)
            return false;
        for (var i = 0; i < confirmations.Count; i++)
        {
            if (
                confirmations[i] is ReadingConfirmed confirmed
                && confirmed.Reading == reading
                && log.Current(confirmed.Key)!.KnownAt >= current.KnownAt
            )
                return true;
        }

        return false;
    }

    private static bool Empties(Entry reading) => reading is DrainageEmptied or DrainageWeighed { Emptied: true };

    private static string Hours(decimal hours) => FormattableString.Invariant($"{hours:0.#} h");

    private static string Minutes(Duration time) => FormattableString.Invariant($"{time.TotalMinutes:0} min");

    private static string Times(Volume total, Volume expected) =>
        FormattableString.Invariant($"{total.Millilitres / expected.Millilitres:0}");
}
