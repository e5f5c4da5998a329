using Hl7.Fhir.Model;
using Irrigation.Episodes;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Intake;

/// <summary>Keeps writes to the queries of scopes: what is written has to be what a search by the query would find.</summary>
internal sealed class WritesWithin(EpisodeStore episodes, ResourceStore resources, Vocabulary words)
{
    private const string Type = "Observation";
    private const Letters Both = Letters.Create | Letters.Update;

    private static readonly IndexedType Observations = IndexedTypes.Find(Type)!;

    private readonly EntryMapper _mapper = new(words);

    /// <summary>
    /// The caller as one who may write the whole type: what of it a scope's query covers is judged here, with <see cref="Of"/> and
    /// <see cref="Forbidden"/>.
    /// </summary>
    public static Caller Judged(Caller caller) => caller.Judged(Type, Both);

    /// <summary>
    /// Whether a stored Observation is to be answered as one that is not there: of another facility, or one that neither may be read nor
    /// changed.
    /// </summary>
    public async Task<bool> Hides(string id, Caller caller, CancellationToken stop)
    {
        if (caller.Facilities is not null && !(await episodes.FacilityOf(id.Split('.')[0], stop) is { } facility && caller.Sees(facility)))
            return true;
        if (caller.Covers(new Need(Type, Letters.Update) { Whole = true }))
            return false;
        foreach (var letter in new[] { Letters.Read, Letters.Update })
        {
            if (caller.Shown(Observations, letter) is { } within && await resources.Read(Observations, id, within, stop) is not null)
                return false;
        }

        return true;
    }

    /// <summary>Whether its sender may create an Observation, and whether it may amend the one that stands.</summary>
    /// <param name="said">What it says.</param>
    /// <param name="episode">Its episode as it stands.</param>
    /// <param name="caller">The sender.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<Letters> Of(Translated said, Episode episode, Caller caller, CancellationToken stop)
    {
        var (create, update) = (caller.Within(Type, Letters.Create), caller.Within(Type, Letters.Update));
        var may = (create is { Count: 0 } ? Letters.Create : Letters.None) | (update is { Count: 0 } ? Letters.Update : Letters.None);
        if (create is not { Count: > 0 } && update is not { Count: > 0 })
            return may;
        // What cannot be recorded is refused for that, behind this.
        if (said.ToEntry().Entry is not { } entry)
            return Both;
        var stored = SentObservation.AnswerTo(episode, said.Key) is { } id ? await resources.Read(Type, id, stop) : null;
        if (Published(entry, episode, stored) is not { } published)
            return may;
        published.Id = "new";
        var draft = ResourceDraft.Of(published);
        if (create is { Count: > 0 } && UnstoredMatch.Meets(draft, create))
            may |= Letters.Create;
        if (
            update is { Count: > 0 }
            && UnstoredMatch.Meets(draft, update)
            && (stored is null || await resources.Read(Observations, stored.Id, update, stop) is not null)
        )
            may |= Letters.Update;
        return may;
    }

    /// <summary>What stands against an entry in the log that it comes to: whether it is new there is known only now.</summary>
    public static EntryProblem? Forbidden(Letters may, Entry entry, EpisodeLog log, string where)
    {
        var (letter, what) =
            entry is EnteredInError ? (Letters.Update, "withdraw")
            : log.Current(entry.Key) is { } current && current.Entry != entry ? (Letters.Update, "amend")
            : (Letters.Create, "record");
        return may.HasFlag(letter) ? null : Record.Forbidden.To(what, where);
    }

    /// <summary>The Observation that answers for an entry once it is recorded.</summary>
    private Observation? Published(Entry entry, Episode episode, ResourceVersion? stored)
    {
        if (entry is not EnteredInError)
            return _mapper.AsSent(entry, episode, withdrawn: false) ?? _mapper.ToObservation(entry, episode, ObservationStatus.Final);
        var withdrawn = stored is not null ? FhirJson.Read<Observation>(stored.Json) : SentObservation.Of(entry);
        if (withdrawn is not null)
            withdrawn.Status = ObservationStatus.EnteredInError;
        return withdrawn;
    }
}
