using Irrigation.Episodes;
using Irrigation.Runs;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>
/// Whether the record of a run of cycles is complete by the checklist of its method (src/Irrigation/README.md, section 8). What only a
/// person can attest is an entry, and never assumed.
/// </summary>
public static class RunRecord
{
    /// <summary>Every item that a run needs, in the order in which it is done.</summary>
    /// <param name="bedside">What was charted by a moment.</param>
    /// <param name="run">The run.</param>
    public static IEnumerable<RecordItem> Of(Bedside bedside, RunOfCycles run)
    {
        var trigger = run.Method is "open" ? "open irrigation" : "intermittent irrigation";
        var margin = bedside.Balance.Settings.RunGap;
        var (from, until) = (run.Start - margin, Instant.Min(bedside.At, run.End + margin));
        IEnumerable<T> Charted<T>(Instant since, Instant upTo)
            where T : Entry =>
            bedside.Log[Slug.Of(typeof(T).Name)].After(since - Duration.Epsilon, upTo).Cast<T>().Where(entry => IsOf(entry, run));
        bool Attested(string step) => Charted<StepsAttested>(from, until).Any(steps => steps.Speaks(step));
        bool Felt(Instant since, Instant upTo) =>
            Charted<BladderPalpated>(since, upTo).Any(felt => felt.Distended is not null)
            || bedside.Log[Channel.Scan].After(since - Duration.Epsilon, upTo).Any();
        RecordItem Item(string name, bool recorded) => new(name, recorded, trigger);

        var given = run.Cycles.SelectMany(cycle => cycle.Given).ToList();
        yield return Item("method", run.Order?.Method is not null || run.Method is "open");
        yield return Item("who irrigated", given.Exists(aliquot => aliquot.Header.Performer is not null));
        if (run.Method is "open")
            yield return Item(
                "closed system opened, and why",
                Charted<ClosedSystemOpened>(from, until).Any(opened => opened.Reason is not null)
            );
        yield return Item("port cleaned", Attested(StepsAttested.PortCleaned));
        if (run.Method is "open")
            yield return Item("sterile cap kept", Attested(StepsAttested.CapKeptSterile));
        yield return Item("bladder felt or scanned before", Felt(from, run.Start));
        yield return Item("solution", run.Solution is not null);
        if (run.Additive is { } additive)
        {
            yield return Item($"{additive}: lot", given.Exists(aliquot => aliquot.Lot is not null));
            yield return Item($"{additive}: expiry", given.Exists(aliquot => aliquot.Expiry is not null));
        }

        foreach (var cycle in run.Unreturned.Where(cycle => !cycle.Clamped || cycle.Stayed is not null))
            yield return Item($"return of cycle {cycle.Number}: amount", false);
        yield return Item(
            "return: colour",
            Looked(run, look => look.Colour is not null || (look.Grade is not null && look.Scale is not null))
        );
        yield return Item("return: clots", Looked(run, look => look.Clots is not null));
        yield return Item("return: sediment", Looked(run, look => look.Sediment is not null));
        yield return Item("tolerance", run.Cycles.Any(cycle => cycle.Borne is not null));
        if (!run.IsOver)
            yield break;
        yield return Item("bladder felt or scanned after", Felt(run.Cycles[^1].ReturnedAt ?? run.Cycles[^1].Given[^1].At, until));
        yield return Item("what came of it", run.Outcome != RunOutcome.NotSaid);
    }

    /// <summary>
    /// The items of the latest run, each named with it: once it is over, for what is done after it cannot be there before. Not of a manual
    /// washout beside continuous irrigation.
    /// </summary>
    internal static IEnumerable<RecordItem> OfLatest(Bedside bedside) =>
        bedside.Cycled.Latest is { IsOver: true, BesideFlow: false } run
            ? Of(bedside, run).Select(item => item with { Name = $"irrigation of {bedside.Said(run.Start)}: {item.Name}" })
            : [];

    private static bool Looked(RunOfCycles run, Func<DrainageAppearance, bool> said) =>
        run.Cycles.Select(cycle => cycle.Looked).OfType<DrainageAppearance>().Any(said);

    private static bool IsOf(Entry entry, RunOfCycles run) => entry.Header.Run is null || entry.Header.Run == run.Name;
}
