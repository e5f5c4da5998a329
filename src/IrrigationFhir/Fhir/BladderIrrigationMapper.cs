using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using IrrigationFhir.Model;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Fhir;

/// <summary>The whole of an irrigation. What is not known is null, and the text says why: a part is not a total.</summary>
/// <param name="Instilled">Irrigant instilled over all closed intervals.</param>
/// <param name="Drained">Drainage measured over them.</param>
/// <param name="Output">Corrected urine output over them; may be negative.</param>
/// <param name="Appearance">Address of the last Observation of what the drainage looked like.</param>
/// <param name="Tolerance">Address of the last Observation of how it was borne.</param>
/// <param name="Text">The same in words.</param>
internal sealed record IrrigationAccount(
    Volume? Instilled,
    Volume? Drained,
    Volume? Output,
    string? Appearance,
    string? Tolerance,
    string Text
);

/// <summary>The irrigation of an episode: its kind, from its first irrigant to its last.</summary>
/// <param name="Kind">Slug of the irrigation kind.</param>
/// <param name="Start">First irrigant.</param>
/// <param name="End">Last irrigant, once the episode has ended.</param>
/// <param name="Solution">What was first hung, or else ordered; null where nobody said.</param>
/// <param name="Order">The reference of the last order; null where there is none.</param>
/// <param name="Performer">Who charted the first irrigant; null where that is not known.</param>
/// <param name="Account">
/// What ran in and came out, what it looked like and how it was borne, once the episode has ended; null before.
/// </param>
internal sealed record IrrigationRun(
    string Kind,
    Instant Start,
    Instant? End,
    string? Solution,
    string? Order,
    string? Performer,
    IrrigationAccount? Account
)
{
    /// <summary>The irrigation of an episode; null before the first irrigant.</summary>
    public static IrrigationRun? Of(Episode episode)
    {
        var log = episode.Log;
        var lines = Channel.Lines(log).Where(line => Ran(log, line) > 0).Select(line => Ends(log[Channel.Line(line)])).ToList();
        if (lines.Count == 0)
            return null;
        var start = lines.Min(line => line.First.Header.From ?? line.First.At);
        var last = lines.Max(line => line.Last.At);
        var order = Orders.Latest(log, Instant.MaxValue)?.Terms;
        var hung = lines.Select(line => line.First).OfType<BagHung>().FirstOrDefault(bag => bag.Solution is not null);
        var first = lines.Select(line => line.First).OrderBy(entry => entry.At).First();
        return new(
            KindOf(log),
            start,
            episode.Definition.Frame.End is null ? null : last,
            hung?.Solution ?? order?.Solution,
            order?.Order,
            first.Header.Performer,
            episode.Definition.Frame.End is null ? null : AccountOf(episode)
        );
    }

    private static IrrigationAccount AccountOf(Episode episode)
    {
        var closed = episode.Balance[FluidBalance.Bladder];
        Volume? Total(Func<ClosedInterval, Volume?> of) =>
            !closed.IsEmpty && closed.All(interval => of(interval) is not null)
                ? closed.Aggregate(Volume.Zero, (sum, interval) => sum + of(interval)!.Value)
                : null;
        var (instilled, drained, output) = (Total(i => i.Instilled), Total(i => i.Drained), Total(i => i.Output?.Headline));
        var (look, borne) = (Last<DrainageAppearance>(episode.Log), Last<ToleranceNoted>(episode.Log));

        List<string> said = closed.IsEmpty
            ? ["no drainage was read"]
            : [Said("instilled", instilled), Said("drained", drained), Said("corrected urine output", output)];
        var doubts = closed.SelectMany(interval => interval.Doubts).Select(doubt => doubt.Reading).Distinct().Count();
        if (doubts > 0)
            said.Add($"{doubts} of the readings doubted, neither confirmed nor corrected, and in these sums");
        said.Add(look is null ? "what the drainage looked like was not charted" : $"drainage last: {Looked.Says(look)}");
        said.Add(
            borne is null
                ? "how it was borne was not charted"
                : $"borne: {(borne.Pain is { } pain ? $"pain {pain} of 10" : "pain not charted")}, "
                    + $"{(borne.Spasm switch { true => "spasm", false => "no spasm", null => "spasm not charted" })}"
        );
        return new(instilled, drained, output, Address(look, episode), Address(borne, episode), string.Join("; ", said) + ".");
    }

    /// <summary>
    /// How many entries a line has, but for irrigant that was discarded: what never reached the bladder is no irrigation.
    /// </summary>
    private static int Ran(EpisodeLog log, string line) => log[Channel.Line(line)].Count - log[Channel.Discarded(line)].Count;

    /// <summary>The first and the last of those.</summary>
    private static (Entry First, Entry Last) Ends(Timeline line)
    {
        var (first, last) = (0, line.Count - 1);
        while (line[first] is IrrigantDiscarded)
            first++;
        while (line[last] is IrrigantDiscarded)
            last--;
        return (line[first], line[last]);
    }

    private static string Said(string what, Volume? total) =>
        total is { } known ? $"{what} {known}" : $"{what} not known, for a part was not charted";

    private static string? Address(Entry? entry, Episode episode) =>
        entry is not null && EntryMapper.IdOf(episode, entry) is { } id ? $"Observation/{id}" : null;

    private static T? Last<T>(EpisodeLog log)
        where T : Entry => log[Irrigation.Slug.Of(typeof(T).Name)] is { Count: > 0 } entries ? entries[entries.Count - 1] as T : null;

    /// <summary>
    /// As ordered; without an order as the entries show it: only syringes is by hand, with a clamp an instillation left to dwell.
    /// </summary>
    private static string KindOf(EpisodeLog log)
    {
        var orders = log["order-set"];
        for (var i = orders.Count - 1; i >= 0; i--)
        {
            if (orders[i] is OrderSet { Method: { } method })
                return method;
        }

        var byHand = Channel.Lines(log).All(line => Ran(log, line) == log[Channel.Syringe(line)].Count);
        return !byHand ? "continuous"
            : log[Channel.Clamp].Count > 0 ? "instillation-dwell"
            : "intermittent-manual";
    }
}

/// <summary>The irrigation as a Procedure.</summary>
internal sealed class BladderIrrigationMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;

    /// <summary>The Procedure's id.</summary>
    public static string IdOf(Episode episode) => $"{episode.Id}.bladder-irrigation";

    /// <summary>The Procedure.</summary>
    public Procedure ToProcedure(IrrigationRun run, Episode episode, bool withdrawn)
    {
        var zone = episode.Definition.Frame.Zone;
        return new()
        {
            Id = IdOf(episode),
            Meta = new() { Profile = [Profiles.BladderIrrigation] },
            Identifier = [new(episode.Definition.Identifier.System, episode.Definition.Identifier.Value)],
            Status =
                withdrawn ? EventStatus.EnteredInError
                : episode.Definition.Frame.End is null ? EventStatus.InProgress
                : EventStatus.Completed,
            Code = Codes.IrrigationProcedure(run.Kind),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Performed = new Hl7.Fhir.Model.Period
            {
                Start = FhirValues.Time(run.Start, zone),
                End = run.End is { } end ? FhirValues.Time(end, zone) : null,
            },
            BasedOn = run.Order is { } order ? [FhirValues.Named(order)!] : [],
            Performer = run.Performer is { } performer ? [new() { Actor = FhirValues.Named(performer)! }] : [],
            BodySite = [Codes.Bladder()],
            UsedCode = run.Solution is { } solution ? [new() { Text = solution }] : [],
            Note = run.Account is { } account ? [new() { Text = account.Text }] : [],
            Extension =
                run.Account is { } whole && Parts(whole).ToList() is { Count: > 0 } parts
                    ? [new() { Url = Profiles.IrrigationAccount, Extension = parts }]
                    : [],
        };
    }

    /// <summary>The account in parts that software can read; what is not known is left out, and the note says why.</summary>
    private static IEnumerable<Extension> Parts(IrrigationAccount account)
    {
        if (account.Instilled is { } instilled)
            yield return new("instilled", FhirValues.Quantity(instilled));
        if (account.Drained is { } drained)
            yield return new("drained", FhirValues.Quantity(drained));
        if (account.Output is { } output)
            yield return new("corrected-output", FhirValues.Quantity(output));
        if (account.Appearance is { } appearance)
            yield return new("appearance", new ResourceReference(appearance));
        if (account.Tolerance is { } tolerance)
            yield return new("tolerance", new ResourceReference(tolerance));
    }
}
