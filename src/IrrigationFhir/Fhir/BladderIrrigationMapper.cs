using System.Runtime.CompilerServices;
using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using IrrigationFhir.Model;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Fhir;

/// <summary>What an irrigation has come to so far. What is not known is null, and the gaps say why: a part is not a total.</summary>
/// <param name="Start">From where on drainage was measured: the start of the first closed interval.</param>
/// <param name="End">Up to where: the end of the last one.</param>
/// <param name="Instilled">Irrigant instilled over all closed intervals.</param>
/// <param name="Drained">Drainage measured over them.</param>
/// <param name="Output">Corrected urine output over them; may be negative.</param>
/// <param name="Look">The last that was charted of what the drainage looked like.</param>
/// <param name="Borne">The last that was charted of how it was borne.</param>
/// <param name="Doubted">How many of the readings in the sums are doubted, and neither confirmed nor corrected.</param>
internal sealed record IrrigationAccount(
    Instant? Start,
    Instant? End,
    Volume? Instilled,
    Volume? Drained,
    Volume? Output,
    DrainageAppearance? Look,
    ToleranceNoted? Borne,
    int Doubted
)
{
    // What an episode had come to before a change is what it had come to after the last one.
    private static readonly ConditionalWeakTable<FluidBalance, IrrigationAccount> Known = [];

    /// <summary>The account of an episode as far as it goes.</summary>
    public static IrrigationAccount Of(Episode episode) => Known.GetValue(episode.Balance, Of);

    private static IrrigationAccount Of(FluidBalance balance)
    {
        var closed = balance[FluidBalance.Bladder];
        Volume? nothing = closed.IsEmpty ? null : Volume.Zero;
        var (instilled, drained, output) = (nothing, nothing, nothing);
        var doubted = new HashSet<EntryKey>();
        foreach (var interval in closed)
        {
            // One that is not known leaves the sum unknown.
            instilled += interval.Instilled;
            drained += interval.Drained;
            output += interval.Output?.Headline;
            foreach (var doubt in interval.Doubts)
                doubted.Add(doubt.Reading);
        }

        return new(
            closed.IsEmpty ? null : closed[0].Start,
            closed.IsEmpty ? null : closed[^1].End,
            instilled,
            drained,
            output,
            Last<DrainageAppearance>(balance.Log),
            Last<ToleranceNoted>(balance.Log),
            doubted.Count
        );
    }

    /// <summary>The sums and the last looks, a sentence each.</summary>
    public IEnumerable<string> Says =>
        [
            .. End is null
                ? ["No drainage was read."]
                : new[] { $"{Said("Instilled", Instilled)}; {Said("drained", Drained)}; {Said("corrected urine output", Output)}." },
            Look is null ? "What the drainage looked like was not charted." : $"Drainage last: {Looked.Says(Look)}.",
            Borne is null
                ? "How it was borne was not charted."
                : $"Borne: {(Borne.Pain is { } pain ? $"pain {pain} of 10" : "pain not charted")}, "
                    + $"{(Borne.Spasm switch { true => "spasm", false => "no spasm", null => "spasm not charted" })}.",
        ];

    /// <summary>What whoever reads the sums has to know of them, and no element says; null where there is nothing.</summary>
    public string? Gaps
    {
        get
        {
            List<string> said = [];
            if (End is null)
                said.Add("no drainage was read");
            else
            {
                (string What, Volume? Sum)[] sums = [("instilled", Instilled), ("drained", Drained), ("corrected urine output", Output)];
                said.AddRange(sums.Where(sum => sum.Sum is null).Select(sum => Said(sum.What, null)));
            }

            if (Doubted > 0)
                said.Add($"{Doubted} of the readings doubted, neither confirmed nor corrected, and in these sums");
            return said.Count == 0 ? null : string.Join("; ", said) + ".";
        }
    }

    private static string Said(string what, Volume? total) =>
        total is { } known ? $"{what} {known}" : $"{what} not known, for a part was not charted";

    private static T? Last<T>(EpisodeLog log)
        where T : Entry => log[Irrigation.Slug.Of(typeof(T).Name)] is { Count: > 0 } entries ? entries[entries.Count - 1] as T : null;
}

/// <summary>The irrigation of an episode: its kind, from its first irrigant to its last.</summary>
/// <param name="Kind">Slug of the irrigation kind; null while neither an order nor an irrigant shows it.</param>
/// <param name="Start">First irrigant; null while none ran in.</param>
/// <param name="End">Last irrigant, once the episode has ended.</param>
/// <param name="HasEnded">Whether the episode has.</param>
/// <param name="Solution">What was first hung, or else ordered; null where nobody said.</param>
/// <param name="Order">The reference of the last order; null where there is none.</param>
/// <param name="Performer">Who charted the first irrigant; null where that is not known.</param>
/// <param name="Place">Where the patient lies now; null where nobody says.</param>
/// <param name="Account">What ran in and came out so far, what it looked like and how it was borne.</param>
internal sealed record IrrigationRun(
    string? Kind,
    Instant? Start,
    Instant? End,
    bool HasEnded,
    string? Solution,
    string? Order,
    string? Performer,
    string? Place,
    IrrigationAccount Account
)
{
    /// <summary>
    /// The irrigation of an episode; null before anything is charted. What is charted before the first irrigant (a first reading of the
    /// drainage bag) is part of it too.
    /// </summary>
    public static IrrigationRun? Of(Episode episode) => episode.Log[Channel.Everything].Count == 0 ? null : AsFar(episode);

    /// <summary>The same, before anything is charted too.</summary>
    public static IrrigationRun AsFar(Episode episode)
    {
        var log = episode.Log;
        var irrigated = Channel.Lines(log).Where(line => Ran(log, line) > 0).ToList();
        var lines = irrigated.ConvertAll(line => Ends(log[Channel.Line(line)]));
        var order = Orders.Latest(log, Instant.MaxValue)?.Terms;
        var hung = lines.Select(line => line.First).OfType<BagHung>().FirstOrDefault(bag => bag.Solution is not null);
        var first = lines.Select(line => line.First).MinBy(entry => entry.At);
        return new(
            KindOf(log, irrigated),
            lines.Count == 0 ? null : lines.Min(line => line.First.Header.From ?? line.First.At),
            lines.Count == 0 || episode.Definition.Frame.End is null ? null : lines.Max(line => line.Last.At),
            episode.Definition.Frame.End is not null,
            hung?.Solution ?? order?.Solution,
            order?.Order,
            first?.Header.Performer,
            episode.Definition.Location?.Says,
            IrrigationAccount.Of(episode)
        );
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

    /// <summary>
    /// As ordered; without an order as the entries show it: only syringes is by hand, with a clamp an instillation left to dwell.
    /// </summary>
    private static string? KindOf(EpisodeLog log, List<string> irrigated)
    {
        var orders = log["order-set"];
        for (var i = orders.Count - 1; i >= 0; i--)
        {
            if (orders[i] is OrderSet { Method: { } method })
                return method;
        }

        if (irrigated.Count == 0)
            return null;
        var byHand = irrigated.TrueForAll(line => Ran(log, line) == log[Channel.Syringe(line)].Count);
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

    /// <summary>The irrigation of an episode, which everything that is published of it points at.</summary>
    public static ResourceReference Whole(Episode episode) => new($"Procedure/{IdOf(episode)}");

    /// <summary>The same on a resource that has no element for it.</summary>
    public static Extension PartOf(Episode episode, Profiles profiles) => new(profiles.PartOfIrrigation, Whole(episode));

    /// <summary>The Procedure.</summary>
    public Procedure ToProcedure(IrrigationRun run, Episode episode, bool withdrawn)
    {
        var zone = episode.Definition.Frame.Zone;
        return new()
        {
            Id = IdOf(episode),
            Meta = new() { Profile = [Profiles.BladderIrrigation] },
            Text = Narratives.Of(
                run.Kind is { } kind ? Codes.Display("irrigation-kind", kind) : "Bladder irrigation",
                [
                    run.Start is null ? "No irrigant ran in yet." : null,
                    run.Solution is { } irrigant ? $"Irrigant: {irrigant}." : null,
                    .. run.Account.Says,
                ]
            ),
            Identifier = [new(episode.Definition.Identifier.System, episode.Definition.Identifier.Value)],
            Status =
                withdrawn ? EventStatus.EnteredInError
                : run.Start is null ? (run.HasEnded ? EventStatus.NotDone : EventStatus.Preparation)
                : run.HasEnded ? EventStatus.Completed
                : EventStatus.InProgress,
            Code = Codes.IrrigationProcedure(run.Kind),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Performed = run.Start is { } start
                ? new Hl7.Fhir.Model.Period
                {
                    Start = FhirValues.Time(start, zone),
                    End = run.End is { } end ? FhirValues.Time(end, zone) : null,
                }
                : null,
            BasedOn = run.Order is { } order ? [FhirValues.Named(order)!] : [],
            Performer = run.Performer is { } performer ? [new() { Actor = FhirValues.Named(performer)! }] : [],
            // On the whole irrigation alone, so that a move rewrites one resource.
            Location = run.Place is { } place ? new() { Display = place } : null,
            BodySite = [Codes.Bladder()],
            UsedCode = run.Solution is { } solution ? [Codes.Irrigant(solution)] : [],
            Note = run.Account.Gaps is { } gaps ? [new() { Text = gaps }] : [],
            Extension = Parts(run.Account, episode).ToList() is { Count: > 0 } parts
                ? [new() { Url = Profiles.IrrigationAccount, Extension = parts }]
                : [],
        };
    }

    /// <summary>The account in parts that software can read; what is not known is left out, and the note says why.</summary>
    private static IEnumerable<Extension> Parts(IrrigationAccount account, Episode episode)
    {
        if ((account.Start, account.End) is ({ } start, { } end))
            yield return new("time", FhirValues.Period(start, end, episode.Definition.Frame.Zone));
        if (account.Instilled is { } instilled)
            yield return new("instilled", FhirValues.Quantity(instilled));
        if (account.Drained is { } drained)
            yield return new("drained", FhirValues.Quantity(drained));
        if (account.Output is { } output)
            yield return new("corrected-output", FhirValues.Quantity(output));
        if (account.Look is { } look && EntryMapper.IdOf(episode, look) is { } looked)
            yield return new("appearance", new ResourceReference($"Observation/{looked}"));
        if (account.Borne is { } borne && EntryMapper.IdOf(episode, borne) is { } noted)
            yield return new("tolerance", new ResourceReference($"Observation/{noted}"));
    }
}
