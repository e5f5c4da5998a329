using System.Security.Cryptography;
using Irrigation.Episodes;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>What became of an attempt to open or amend an episode.</summary>
internal abstract record OpenedEpisode
{
    /// <summary>It stands.</summary>
    public sealed record Stands(StoredEpisode Episode, bool IsNew) : OpenedEpisode;

    /// <summary>Nothing was stored.</summary>
    public sealed record Rejected(int Status, IReadOnlyList<EntryProblem> Problems) : OpenedEpisode;
}

/// <summary>Opens an episode, or amends the one with its identifier.</summary>
internal sealed class OpenEpisode(
    EpisodesInMemory episodes,
    EpisodeStore store,
    ReviseEpisode revise,
    StoreSettings settings,
    AccessSettings access,
    TimeProvider clock
)
{
    /// <summary>Opens or amends, if the caller may do the one or the other.</summary>
    public async Task<OpenedEpisode> Handle(System.Text.Json.JsonElement json, Caller caller, CancellationToken stop)
    {
        var problems = new List<EntryProblem>();
        if (EpisodeReader.Read(json, settings.TimeZone, problems) is not { } definition)
            return new OpenedEpisode.Rejected(StatusCodes.Status422UnprocessableEntity, problems);
        var (facility, stranger) = FacilityOf(definition, caller);
        if (facility is null)
            return new OpenedEpisode.Rejected(Forbidden.StatusOf(stranger!), [stranger!]);
        var known = await store.FindByIdentifier(definition.Identifier.System, definition.Identifier.Value, facility, stop);
        if (!caller.Covers(new Need("Procedure", known is null ? Letters.Create : Letters.Update) { Whole = true }))
            return new OpenedEpisode.Rejected(StatusCodes.Status403Forbidden, [Forbidden.To(known is null ? "open" : "amend", "episode")]);
        if (EpisodeReader.NoCapacity(definition) is { } none && !Stands(definition, known))
        {
            return new OpenedEpisode.Rejected(StatusCodes.Status422UnprocessableEntity, [none]);
        }

        var row = new EpisodeRow(
            PatientNumber.Key(facility, PatientKey(definition)),
            NewId(),
            1,
            0,
            Token(definition.Identifier),
            Token(definition.Patient.Identifier),
            definition.Frame.Start,
            definition.Frame.End,
            definition.Json
        )
        {
            Location = definition.Location,
        };
        switch (await store.Open(row, stop))
        {
            case OpenOutcome.Opened opened:
                return new OpenedEpisode.Stands(await episodes.Load(opened.Episode, stop), true);
            case OpenOutcome.AlreadyThere there:
                return await EpisodeGate.UntilSaved(there.Episode.Id, token => Amend(there.Episode.Id, definition, token), stop);
            default:
                throw new InvalidOperationException("an outcome without a reply");
        }
    }

    /// <summary>Whether the episode was taken with that capacity before such a one was refused: sent again it is still known.</summary>
    private bool Stands(EpisodeDefinition definition, EpisodeRow? known) =>
        known is not null && episodes.Read(known.Json).BladderCapacity == definition.BladderCapacity;

    /// <summary>
    /// The facility of a new episode: the one that it names, else the only one that its opener sees, else the only one there is.
    /// </summary>
    private (string? Facility, EntryProblem? Problem) FacilityOf(EpisodeDefinition definition, Caller caller)
    {
        const string where = "episode.facility";
        IReadOnlyList<string> seen = caller.Facilities ?? access.Facilities;
        if (definition.Facility is { } named)
        {
            if (!access.Facilities.Contains(named))
                return (null, EntryProblem.UnknownWord(where, named, access.Facilities));
            return caller.Sees(named) ? (named, null) : (null, Forbidden.To("write in the facility", where));
        }

        return seen switch
        {
            [] when caller.Facilities is null => ("", null),
            [] => (null, Forbidden.To("write in any facility", where)),
            [var only] => (only, null),
            _ => (null, EntryProblem.Missing(where, $"one of {string.Join(", ", seen)}")),
        };
    }

    /// <summary>One attempt; null where somebody else was first.</summary>
    private async ValueTask<OpenedEpisode?> Amend(string id, EpisodeDefinition definition, CancellationToken stop)
    {
        var episode = await episodes.Watched(
            await episodes.Find(id, stop) ?? throw new InvalidOperationException("an episode that was there a moment ago"),
            stop
        );
        if (episode.Definition.SaysTheSame(definition))
            return new OpenedEpisode.Stands(episode, false);
        if (!episode.Definition.SameBedside(definition))
        {
            return new OpenedEpisode.Rejected(
                StatusCodes.Status409Conflict,
                [
                    new(
                        "patient-mismatch",
                        "episode",
                        "another patient, time zone or other shifts under a known identifier",
                        "what the episode was opened with, or another identifier"
                    ),
                ]
            );
        }

        var outside = episode
            .Log.Channels.SelectMany(c => Enumerable.Range(0, episode.Log[c].Count).Select(i => episode.Log[c][i]))
            .Distinct()
            .Select(entry => Contradictions.OfFrame(entry, definition.Frame, "episode"))
            .FirstOrDefault(p => p is not null);
        if (outside is not null)
            return new OpenedEpisode.Rejected(StatusCodes.Status409Conflict, [outside]);

        using var steps = Steps.From("describe");
        var revision = Revision.ByDescription(episode, definition, Instant.FromDateTimeOffset(clock.GetUtcNow()));
        return await revise.Save(revision, [], steps, stop) is { } revised ? new OpenedEpisode.Stands(revised.Episode, false) : null;
    }

    private static Token? Token(BusinessIdentifier? identifier) => identifier is null ? null : new(identifier.System, identifier.Value);

    /// <summary>Keeps one patient's rows together without storing who it is in every key.</summary>
    private static string PatientKey(EpisodeDefinition definition) =>
        FhirValues.Digest(definition.Patient.Identifier is { } id ? $"{id.System}|{id.Value}" : definition.Patient.Reference!, 24);

    private static string NewId() => FhirValues.Digest(Convert.ToHexString(RandomNumberGenerator.GetBytes(32)), 16);
}
