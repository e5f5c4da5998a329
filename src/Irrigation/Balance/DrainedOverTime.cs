using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>What the readings of an interval say had left the bladder.</summary>
/// <param name="Amount">D, urine included, as charted and at its best, with its doubts; null where unknown.</param>
/// <param name="Urine">The part that was charted as urine, free of irrigant.</param>
/// <param name="AnyDrainage">Whether a drainage container was read at all.</param>
/// <param name="Awaited">A container was taken away and has not been read yet.</param>
/// <param name="Caveats">What a reader should know.</param>
/// <param name="Parts">The working.</param>
internal sealed record Drained(
    Measured? Amount,
    Volume Urine,
    bool AnyDrainage,
    bool Awaited,
    CaveatSet Caveats,
    ImmutableArray<Part> Parts
);

/// <summary>
/// The differences that readings of the drainage make. A level reading is not an emptying, and some emptyings leave a part.
/// </summary>
internal sealed class DrainedOverTime
{
    private readonly EpisodeLog log;
    private readonly BalanceSettings settings;
    private readonly Timeline outputs;

    public DrainedOverTime(EpisodeLog log, BalanceSettings settings)
    {
        (this.log, this.settings, outputs) = (log, settings, log[Channel.BladderOutput]);
        Closings = new(log, settings, this);
    }

    /// <summary>When the books of the bladder close.</summary>
    public ClosingPoints Closings { get; }

    /// <summary>What the readings after one closing point, up to another, add.</summary>
    public Drained Between(Instant start, Instant end)
    {
        Measured? amount = Measured.Nothing;
        var urine = Volume.Zero;
        var caveats = CaveatSet.Empty;
        var parts = ImmutableArray.CreateBuilder<Part>();
        var any = false;
        foreach (var reading in Closings.ReadingsBetween(start, end))
        {
            if (reading is UrineCollected collected)
            {
                urine += collected.Amount;
                parts.Add(
                    new(
                        PartKind.Urine,
                        reading.Key,
                        outputs.LastBefore(reading.At)?.At ?? log.Frame.Start,
                        reading.At,
                        collected.Amount,
                        collected.Amount
                    )
                );
                amount += settings.Characters.Urine(collected);
                if (collected.Amount > settings.LargestVolume)
                    caveats = caveats.Add(Caveat.ImplausibleVolume);
                continue;
            }

            any = true;
            var (since, difference, doubt, before) = Added(reading);
            var added = difference?.Charted;
            amount += difference;
            if (doubt is { } caveat)
                caveats = caveats.Add(caveat);
            if (added > settings.LargestVolume)
                caveats = caveats.Add(Caveat.ImplausibleVolume);
            if (DrainedSinceClamp(reading) && added > Volume.Zero)
                caveats = caveats.Add(Caveat.DrainageWhileClamped);
            parts.Add(
                new(PartKind.Drainage, reading.Key, since, reading.At, Content(reading), added)
                {
                    Readings = before is { } level ? new(level, null, Content(reading)) : null,
                }
            );
        }

        var awaited = Closings.Awaited(start, end);
        return new(awaited ? null : amount, urine, any || awaited, awaited, caveats, parts.ToImmutable());
    }

    /// <summary>
    /// What a reading adds to the one before of the same container, and what the container held then; null where it was empty or nothing
    /// can be said of the difference.
    /// </summary>
    public (Instant Since, Measured? Added, Caveat? Doubt, Volume? Before) Added(Entry reading)
    {
        var container = log[Channel.Container(ContainerOf(reading)!)];
        var i = IndexOf(container, reading);
        var since = container.At(i - 1)?.At ?? log.Frame.Start;
        var (before, known) = LevelBefore(container, i);
        var begun = known || Closings.IsJug(ContainerOf(reading)!) || (!Empties(reading) && Content(reading) == Volume.Zero);
        var doubt = begun ? null : (Caveat?)Caveat.DrainageStartUnknown;
        if (LeavesAPart(container, i))
            return (since, Measured.Nothing, null, null); // what came since that level is measured by the next reading

        // A reading at the very start says what was there before: it counts for nothing and is the level to compare with.
        if (reading.At <= log.Frame.Start)
            return (since, Measured.Nothing, null, null);
        if (before is not null && reading is not DrainageEmptied && container[i - 1].Header.IsOfAnotherDeviceThan(reading.Header))
            return (since, null, Caveat.DeviceChanged, null);
        var poured = before is null ? null : PouredOff(container, i, before);
        var held =
            before is null ? Measured.Nothing
            : poured is null ? Held(before)
            : Held(before) - Held(poured);
        var added = Held(reading) - held;
        if (added.Charted < -settings.LevelTolerance)
            return (since, null, Caveat.ContainerReset, null);
        return added.Charted < Volume.Zero
            ? (since, Measured.Nothing, Caveat.LevelBelowPrevious, null)
            : (since, added, doubt, before is null ? null : held.Charted);
    }

    /// <summary>
    /// The last reading of the container that may be compared with this one: levels count from the highest before them, so that is
    /// the next emptying, or where the container was not emptied since, its last reading.
    /// </summary>
    public Instant LastComparedWith(Entry reading)
    {
        var container = log[Channel.Container(ContainerOf(reading)!)];
        var last = reading.At;
        for (var i = container.FirstAfter(reading.At); i < container.Count; i++)
        {
            last = container[i].At;
            if (Empties(container[i]))
                break;
        }

        return last;
    }

    private Measured Held(Entry reading) => settings.Characters.Content(Content(reading), reading, ContainerOf(reading)!);

    /// <summary>The container that a reading is about; null for urine.</summary>
    public static string? ContainerOf(Entry reading) =>
        reading switch
        {
            DrainageEmptied e => e.Container,
            DrainageLevelRead e => e.Container,
            DrainageWeighed e => e.Container,
            _ => null,
        };

    /// <summary>What a container held when it was read.</summary>
    public Volume Content(Entry reading) =>
        reading switch
        {
            DrainageEmptied e => e.Drained,
            DrainageLevelRead e => e.Level,
            DrainageWeighed e => (e.Tare is { } tare ? e.Gross - tare : e.Gross).At(e.GramsPerMillilitre ?? settings.DrainageDensity),
            _ => throw new ArgumentOutOfRangeException(nameof(reading), reading.Kind, "not a reading of a drainage container"),
        };

    private static bool Empties(Entry reading) => reading is DrainageEmptied or DrainageWeighed { Emptied: true };

    /// <summary>Whether an emptying took off less than the container had held: what it left is in it still.</summary>
    public bool LeavesAPart(Entry reading)
    {
        if (reading is not DrainageEmptied || reading.At <= log.Frame.Start)
            return false;
        var container = log[Channel.Container(ContainerOf(reading)!)];
        return LeavesAPart(container, IndexOf(container, reading));
    }

    private bool LeavesAPart(Timeline container, int index) =>
        container[index] is DrainageEmptied { Drained: var drained }
        && container.At(index - 1) is { } before
        && !Empties(before)
        && LevelBefore(container, index).Highest is { } highest
        && !before.Header.IsOfAnotherDeviceThan(container[index].Header)
        && drained < Content(highest) - settings.LevelTolerance;

    /// <summary>The emptying since the level that left a part; null where there was none.</summary>
    private static DrainageEmptied? PouredOff(Timeline container, int index, Entry level)
    {
        for (var i = index - 1; i >= 0 && container[i] != level; i--)
        {
            if (container[i] is DrainageEmptied emptied)
                return emptied;
        }

        return null;
    }

    private static int IndexOf(Timeline container, Entry reading)
    {
        var i = container.FirstAtOrAfter(reading.At);
        while (container[i] != reading)
            i++;
        return i;
    }

    /// <summary>Whether an earlier reading was taken in the same clamp: then what this one adds drained while clamped.</summary>
    private bool DrainedSinceClamp(Entry reading)
    {
        if (Closings.ClampOf(reading.At) is not { } clamped)
            return false;
        var container = log[Channel.Container(ContainerOf(reading)!)];
        return container.LastBefore(reading.At) is { } before && before.At >= clamped;
    }

    /// <summary>
    /// The highest level since the container was last emptied, so that re-reading a little lower and then higher adds up to the truth.
    /// Stops at a fall by more than the tolerance, which is a reset, at the readings of another device, and where no earlier reading can
    /// have been higher.
    /// </summary>
    private (Entry? Highest, bool Known) LevelBefore(Timeline container, int index)
    {
        Entry? highest = null;
        for (var i = index - 1; i >= 0; i--)
        {
            if (Empties(container[i]))
            {
                // After one that left a part the level is not 0 but the one before it, less what was poured off.
                return highest is null && LeavesAPart(container, i) ? LevelBefore(container, i) : (highest, true);
            }

            var level = Content(container[i]);
            if (highest is not null && container[i].Header.IsOfAnotherDeviceThan(container[i + 1].Header))
                break;
            if (highest is not null && level - Content(container[i + 1]) > settings.LevelTolerance)
                break;
            if (highest is not null && level < Content(highest) - settings.LevelTolerance)
                break;
            if (highest is null || level > Content(highest))
                highest = container[i];
        }

        return (highest, highest is not null);
    }
}
