using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Runs;

/// <summary>Finds the runs of cycles in a log: intermittent irrigations, open ones, and manual washouts.</summary>
/// <remarks>
/// <para>A function of the log and the settings. What the sender names is taken as named: the run, the cycle, or both. What nobody names
/// is found by time: an aliquot joins the run before it where it begins no later than <see cref="BalanceSettings.RunGap"/> after the last
/// of it, and is a cycle of its own; what is read no later than <see cref="BalanceSettings.ReturnWithin"/> after an aliquot, and before
/// the next, is its return.</para>
/// <para>Entries of one name that lie more than a day apart are two runs.</para>
/// </remarks>
public static class RunsOfCycles
{
    private static readonly Duration Longest = Duration.FromDays(1);

    /// <summary>Every run that had begun by a moment, in the order of their beginnings.</summary>
    public static ImmutableArray<RunOfCycles> Of(FluidBalance balance, Instant asOf) => Of(balance, Instant.MinValue, asOf);

    /// <summary>The run that began last, if it began no longer ago than a day; null where there is none.</summary>
    public static RunOfCycles? Latest(FluidBalance balance, Instant asOf) => new RunsSeen(balance, asOf).Latest;

    /// <summary>Runs of the last two days; none where nothing was given by the aliquot on the last of them.</summary>
    internal static ImmutableArray<RunOfCycles> Recent(FluidBalance balance, Instant asOf) =>
        balance.Log[Channel.Aliquot].LastAtOrBefore(asOf) is { } last && last.At >= asOf - Longest
            ? Of(balance, asOf - Longest - Longest, asOf)
            : [];

    /// <summary>Runs whose aliquots were given after a moment, as of another.</summary>
    private static ImmutableArray<RunOfCycles> Of(FluidBalance balance, Instant after, Instant asOf)
    {
        List<Draft> drafts = [];
        foreach (var given in balance.Log[Channel.Aliquot].After(after, asOf).Cast<IrrigantInstilled>())
        {
            if (RunOf(balance, drafts, given) is { } goesOn)
            {
                goesOn.Add(given);
                continue;
            }

            drafts.Add(new(given, Flows(balance, given)));
        }

        var slots = Slots(balance, drafts, asOf);
        return [.. drafts.Select((draft, place) => Made(balance, draft, slots[place], drafts.Skip(place + 1), asOf))];
    }

    /// <summary>The run that an aliquot goes on with; null where it begins one.</summary>
    private static Draft? RunOf(FluidBalance balance, List<Draft> drafts, IrrigantInstilled given)
    {
        if (given.Header.Run is { } name)
            return drafts.LastOrDefault(draft => draft.Name == name && given.At - draft.LastGiven.At <= Longest);
        var last = drafts.MaxBy(draft => draft.LastGiven.At);
        return
            last is not null && !(given.At - BusyUntil(balance, last, given.At) >= balance.Settings.RunGap) && !Ended(balance, last, given)
            ? last
            : null;
    }

    private static bool Ended(FluidBalance balance, Draft draft, IrrigantInstilled given) =>
        balance.Log[Slug.Of(nameof(IrrigationStopped))].LastBefore(given.At) is { } stop && stop.At >= draft.LastGiven.At;

    /// <summary>The last of a run before a moment: an aliquot, its return, the release of its clamp; null while clamped.</summary>
    private static Instant? BusyUntil(FluidBalance balance, Draft draft, Instant moment)
    {
        var given = draft.LastGiven;
        var (clamp, free) = Held(balance, given, moment);
        if (clamp is not null && free is null)
            return null;
        var since = free ?? given.At;
        var returned = balance
            .Log[Channel.BladderOutput]
            .After(given.At, Instant.Min(moment, since + balance.Settings.ReturnWithin))
            .LastOrDefault(reading => IsReturn(reading, draft));
        return returned is null ? since : Instant.Max(since, returned.At);
    }

    /// <summary>The clamp that kept an aliquot in, and its release; either null where there is none.</summary>
    private static (Instant? Clamped, Instant? Released) Held(FluidBalance balance, IrrigantInstilled given, Instant asOf)
    {
        var clamps = balance.Log[Channel.Clamp];
        var on = clamps.LastAtOrBefore(given.At) as DrainClamped;
        on ??= clamps.After(given.At, Instant.Min(asOf, given.At + balance.Settings.DwellLead)).OfType<DrainClamped>().FirstOrDefault();
        if (on is null)
            return (null, null);
        var off = clamps.NextAfter(Instant.Max(on.At, given.At - Duration.Epsilon));
        while (off is DrainClamped)
            off = clamps.NextAfter(off.At);
        return (on.At, off?.At <= asOf ? off.At : null);
    }

    /// <summary>Whether irrigant runs continuously when an aliquot is given.</summary>
    private static bool Flows(FluidBalance balance, IrrigantInstilled given) =>
        Channel
            .Lines(balance.Log)
            .Any(line =>
                line != given.Line
                && (balance.FlowAt(line, given.At) is { } flow ? flow > FlowRate.Stopped : balance.BagHangs(line, given.At))
            );

    private static bool IsReturn(Entry reading, Draft draft)
    {
        if (DrainedOverTime.ContainerOf(reading) is not { } container)
            return false;
        if (reading.Header.Run is not null || reading.Header.Cycle is not null)
            return reading.Header.Run is null || reading.Header.Run == draft.Name;
        return !draft.BesideFlow || MeasuringCharacters.VesselOf(reading, container) is not Vessel.DrainageBag;
    }

    /// <summary>What was read, seen and noted after each aliquot and before the next, run by run and cycle by cycle.</summary>
    private static List<Dictionary<int, List<Entry>>> Slots(FluidBalance balance, List<Draft> drafts, Instant asOf)
    {
        var slots = drafts.ConvertAll(_ => new Dictionary<int, List<Entry>>());
        var given = drafts
            .SelectMany((draft, run) => draft.Cycles.SelectMany(cycle => cycle.Given.Select(g => (Run: run, cycle.Number, Given: g))))
            .OrderBy(g => g.Given.At)
            .ThenBy(g => g.Given.Key, Comparer<EntryKey>.Create(EntryKey.Compare))
            .ToList();
        for (var i = 0; i < given.Count; i++)
        {
            var (run, number, aliquot) = given[i];
            var next = i + 1 < given.Count ? given[i + 1].Given.At : Instant.MaxValue;
            if (next == aliquot.At)
                continue;
            var until = Instant.Min(Instant.Min(next - Duration.Epsilon, asOf), aliquot.At + Longest);
            var (clamped, released) = Held(balance, aliquot, asOf);
            var limit = clamped is not null && released is null ? until : (released ?? aliquot.At) + balance.Settings.ReturnWithin;
            foreach (var entry in Followers(balance.Log, aliquot.At - Duration.Epsilon, until))
            {
                var said = Named(drafts, entry, run, number);
                if (said is null && entry.At > limit)
                    continue;
                var (ofRun, ofCycle) = said ?? (run, number);
                if (DrainedOverTime.ContainerOf(entry) is not null && !IsReturn(entry, drafts[ofRun]))
                    continue;
                if (!slots[ofRun].TryGetValue(ofCycle, out var slot))
                    slots[ofRun][ofCycle] = slot = [];
                slot.Add(entry);
            }
        }

        return slots;
    }

    /// <summary>The run and cycle that an entry names; null where it names neither, or none that there is.</summary>
    private static (int Run, int Cycle)? Named(List<Draft> drafts, Entry entry, int run, int number)
    {
        if (entry.Header is { Run: null, Cycle: null })
            return null;
        if (entry.Header.Run is { } name)
        {
            var found = drafts.FindLastIndex(draft => draft.Name == name && draft.First.At <= entry.At);
            if (found < 0)
                return null;
            if (found != run)
                (run, number) = (found, drafts[found].Cycles.FindLast(cycle => cycle.Given[0].At <= entry.At)?.Number ?? 1);
        }

        return entry.Header.Cycle is { } cycle && drafts[run].Cycles.Exists(c => c.Number == cycle) ? (run, cycle) : (run, number);
    }

    private static IEnumerable<Entry> Followers(EpisodeLog log, Instant after, Instant upTo) =>
        new[] { Channel.BladderOutput, Channel.Leak, Slug.Of(nameof(DrainageAppearance)), Slug.Of(nameof(ToleranceNoted)) }.SelectMany(
            channel => log[channel].After(after, upTo)
        );

    private static RunOfCycles Made(
        FluidBalance balance,
        Draft draft,
        Dictionary<int, List<Entry>> slots,
        IEnumerable<Draft> later,
        Instant asOf
    )
    {
        var order = Orders.InForce(balance.Log, draft.First.At)?.Terms;
        var method = MethodOf(balance, draft, order, asOf);
        var usual = method is "open" ? balance.Settings.UsualOpenAliquot : balance.Settings.UsualAliquot;
        var cycles = ImmutableArray.CreateBuilder<Cycle>();
        foreach (var drafted in draft.Cycles.OrderBy(cycle => cycle.Given[0].At).ThenBy(cycle => cycle.Number))
            cycles.Add(Made(balance, drafted, slots.GetValueOrDefault(drafted.Number, []), cycles, usual, asOf));

        var lasts = slots.Values.SelectMany(slot => slot).Append(draft.LastGiven).Max(entry => entry.At);
        var run = new RunOfCycles(draft.Name, cycles.ToImmutable(), lasts, order, method, draft.BesideFlow, RunOutcome.Going, "");
        return RunEnd.Of(run, balance, later.FirstOrDefault()?.First.At, BusyUntil(balance, draft, asOf), asOf);
    }

    /// <summary>As ordered for cycles; without such an order by what is charted.</summary>
    private static string MethodOf(FluidBalance balance, Draft draft, OrderSet? order, Instant asOf)
    {
        if (order is { ByCycles: true })
            return order.Method!;
        var opened = balance.Log[Slug.Of(nameof(ClosedSystemOpened))].LastAtOrBefore(draft.LastGiven.At);
        return opened is not null && opened.At >= draft.First.At - balance.Settings.RunGap ? "open"
            : Held(balance, draft.First, asOf).Clamped is not null ? "instillation-dwell"
            : "intermittent-manual";
    }

    private static Cycle Made(
        FluidBalance balance,
        DraftCycle drafted,
        List<Entry> slot,
        IReadOnlyList<Cycle> before,
        Volume usual,
        Instant asOf
    )
    {
        var returns = slot.Where(entry => DrainedOverTime.ContainerOf(entry) is not null).OrderBy(entry => entry.At).ToImmutableArray();
        var leaks = slot.OfType<LeakEstimated>().ToList();
        Measured? back = returns.IsEmpty ? null : Measured.Nothing;
        foreach (var reading in returns)
            back += balance.DrainedBy(reading);
        foreach (var leak in leaks)
            back += balance.Settings.Characters.Leak(leak);

        var given = drafted.Given.ToImmutableArray();
        var instilled = given.Aggregate(Measured.Nothing, (sum, aliquot) => sum + balance.Settings.Characters.Total(aliquot));
        var (clamped, released) = Held(balance, given[^1], asOf);
        var left = released ?? (clamped is null ? returns.FirstOrDefault()?.At : null);
        var cycle = new Cycle(
            drafted.Number,
            given.All(aliquot => aliquot.Header.Cycle is not null) ? FoundBy.Name : FoundBy.Time,
            given,
            returns,
            instilled,
            back,
            leaks.Count == 0 ? null : leaks.Aggregate(Volume.Zero, (sum, leak) => sum + leak.Amount)
        )
        {
            Stayed = left >= given[^1].At ? left - given[^1].At : null,
            Clamped = clamped is not null,
            Looked = slot.OfType<DrainageAppearance>().LastOrDefault(),
            Borne = slot.OfType<ToleranceNoted>().LastOrDefault(),
            Marks = [.. Marks(given, usual)],
        };
        if (back is null)
            return cycle;
        for (var i = before.Count - 1; i >= 0 && before[i].Back is null && before[i].Returns.IsEmpty; i--)
        {
            cycle = cycle with
            {
                ReturnFrom = before[i].Number,
                ReturnOf = cycle.ReturnOf + 1,
                InOfReturn = cycle.InOfReturn + before[i].In,
            };
        }

        return cycle;
    }

    private static IEnumerable<AliquotMark> Marks(ImmutableArray<IrrigantInstilled> given, Volume usual)
    {
        if (given.Any(aliquot => aliquot.Amount > usual))
            yield return AliquotMark.AboveUsual;
        if (given.Any(aliquot => aliquot.Intended > aliquot.Amount))
            yield return AliquotMark.NotInFull;
        if (given.Any(aliquot => aliquot.Resistance == true))
            yield return AliquotMark.Resistance;
    }

    private sealed class DraftCycle(int number, IrrigantInstilled first)
    {
        public int Number { get; } = number;

        public List<IrrigantInstilled> Given { get; } = [first];
    }

    private sealed class Draft
    {
        public Draft(IrrigantInstilled first, bool besideFlow)
        {
            (First, LastGiven, BesideFlow) = (first, first, besideFlow);
            Cycles.Add(new(first.Header.Cycle ?? 1, first));
        }

        public IrrigantInstilled First { get; }

        public IrrigantInstilled LastGiven { get; private set; }

        public bool BesideFlow { get; }

        public string? Name => First.Header.Run;

        public List<DraftCycle> Cycles { get; } = [];

        public void Add(IrrigantInstilled given)
        {
            LastGiven = given;
            var number = given.Header.Cycle ?? Cycles.Max(cycle => cycle.Number) + 1;
            if (Cycles.Find(cycle => cycle.Number == number) is { } same)
                same.Given.Add(given);
            else
                Cycles.Add(new(number, given));
        }
    }
}
