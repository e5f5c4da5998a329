using System.Text.Json;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using Irrigation;
using Irrigation.Episodes;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Problems;
using IrrigationFhir.Record;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using IrrigationFhir.Validation;

namespace IrrigationFhir.Intake;

/// <summary>Observations on their way into the record: translated, given to their episode, and recorded by the main path.</summary>
/// <remarks>
/// <para>Which episode: the one of the patient (by identifier) whose time covers that of the measurement, ended or not, so that what
/// was buffered arrives too; of several, the one of the encounter. What is known already stays where it is.</para>
/// <para>The sender's identifier is the identity. The same content again changes nothing; other content is refused unless its status
/// says that it corrects, by the very log that it would be appended to, so that of two at once one loses.</para>
/// </remarks>
internal sealed class RecordObservations(
    RecordEntries record,
    EpisodesInMemory episodes,
    EpisodeStore store,
    ResourceStore resources,
    ProfileValidator profiles,
    ObservationSearch searches,
    WritesWithin writes,
    KindMap map
)
{
    /// <summary>An Observation that has its episode, and what must hold when it is appended.</summary>
    private sealed record Ready(Translated Said, Episode Episode, long? ReplacesSequence, string? Id)
    {
        /// <summary>What its sender may do of it: create it, amend it. Where a scope has a query that depends on what it says.</summary>
        public Letters May { get; init; } = Letters.Create | Letters.Update;
    }

    /// <summary>Writes one.</summary>
    public async Task<Written> One(Write write, HttpContext http, CancellationToken stop)
    {
        var (ready, ended) = await Prepare(write, http, stop);
        return ended ?? Unresolved(ready!) ?? (await Record([ready!], http, lenient: false, stop))[0];
    }

    /// <summary>
    /// Writes each for itself, as <see cref="One"/> does one after another, but what goes to one episode in one change of it: a thousand
    /// readings are no thousand commits, and nothing is worked out that the next reading overtakes.
    /// </summary>
    /// <remarks>What is refused beside the others is tried once more alone: of two that exclude one another the first stands.</remarks>
    /// <param name="writes">Creations, each without a condition, or with one that only its own identifier can meet.</param>
    /// <param name="http">The request.</param>
    /// <param name="stop">Gives up; what was written stays.</param>
    /// <returns>One for each, in their order.</returns>
    public async Task<IReadOnlyList<Written>> Each(IReadOnlyList<Write> writes, HttpContext http, CancellationToken stop)
    {
        var each = new Written?[writes.Count];
        var ready = new List<(int Index, Ready Ready)>();
        for (var i = 0; i < writes.Count; i++)
        {
            var (one, ended) = await Prepare(writes[i], http, stop);
            each[i] = ended ?? Unresolved(one!);
            if (each[i] is null)
                ready.Add((i, one!));
        }

        foreach (var ofEpisode in ready.GroupBy(r => r.Ready.Episode.Id))
        {
            var written = await Record([.. ofEpisode.Select(r => r.Ready)], http, lenient: true, stop);
            foreach (var ((index, _), one) in ofEpisode.Zip(written))
                each[index] = one is Written.Refused && written.Count > 1 ? await One(writes[index], http, stop) : one;
        }

        return each!;
    }

    /// <summary>Outside a transaction nothing stands beside an Observation that its references could mean.</summary>
    private static Written.Refused? Unresolved(Ready ready)
    {
        var problems = new List<EntryProblem>();
        Resolve(ready, (_, _) => null, problems);
        return problems.Count > 0 ? Written.Refused.Of(StatusCodes.Status422UnprocessableEntity, problems) : null;
    }

    /// <summary>Writes all of them or none, in one transaction of one episode.</summary>
    /// <param name="writes">The Observations with the fullUrl of each.</param>
    /// <param name="lenient">Whether those whose code nobody knows are reported and the others recorded.</param>
    /// <param name="http">The request.</param>
    /// <param name="stop">Gives up.</param>
    /// <returns>One for each, in their order, or one refusal of all.</returns>
    public async Task<(IReadOnlyList<Written>? Each, Written.Refused? All)> Together(
        IReadOnlyList<(Write Write, string? FullUrl)> writes,
        bool lenient,
        HttpContext http,
        CancellationToken stop
    )
    {
        var each = new Written?[writes.Count];
        var ready = new List<(int Index, Ready Ready)>();
        for (var i = 0; i < writes.Count; i++)
        {
            var (one, ended) = await Prepare(writes[i].Write, http, stop);
            if (one is not null)
                ready.Add((i, one));
            else
                each[i] = ended;
        }

        bool Passable(Written? w) =>
            w is null or Written.Stands
            || (
                lenient
                && w is Written.Refused { Outcome.Issue: var issues }
                && issues.TrueForAll(issue => issue.Details?.Coding.Exists(c => c.Code == "unknown-code") is true)
            );
        var refused = each.OfType<Written.Refused>().Where(w => !Passable(w)).ToList();
        if (refused.Count > 0)
            return (null, new(refused[0].Status, new OperationOutcome { Issue = [.. refused.SelectMany(r => r.Outcome.Issue)] }));

        var problems = Together(ready.ConvertAll(r => r.Ready)).ToList();
        foreach (var (_, one) in ready)
        {
            var found = await Found(one, http, stop);
            Resolve(
                one,
                (target, path) => IsCondition(target) ? found.GetValueOrDefault(target) : IdOf(target, writes, ready, path, problems),
                problems
            );
        }

        if (problems.Count > 0)
            return (null, Written.Refused.Of(StatusCodes.Status422UnprocessableEntity, problems));
        if (ready.Count > 0)
        {
            var written = await Record(ready.ConvertAll(r => r.Ready), http, lenient: false, stop);
            if (written.OfType<Written.Refused>().ToList() is { Count: > 0 } failed)
                return (null, new(failed[0].Status, new OperationOutcome { Issue = [.. failed.SelectMany(r => r.Outcome.Issue)] }));
            for (var i = 0; i < ready.Count; i++)
                each[ready[i].Index] = written[i];
        }

        return (each!, null);
    }

    /// <summary>What is wrong with an Observation by itself: its shape, its content, R4. Nothing is looked up.</summary>
    public (Translated? Said, IReadOnlyList<EntryProblem> Problems, bool Malformed) Read(JsonElement json, string at)
    {
        if (json.TextOf("resourceType") != "Observation")
            return (
                null,
                [new("malformed-resource", $"{at}.resourceType", json.TextOf("resourceType") ?? "no resource type", "Observation")],
                true
            );
        var problems = KeptObservation.TooLong(json, at).ToList();
        var said = ObservationTranslator.Translate(json, at, map, problems);
        var (observation, shape) = Shape(json, at, problems);
        if (shape.Count > 0)
            return (null, [.. problems, .. shape], true);
        List<EntryProblem> unmet = [];
        if (observation is not null)
        {
            var claims = WithoutClaims(observation);
            var faults = profiles.Validate(observation);
            unmet = [.. OfClaims(observation, claims, faults, said, at)];

            // Extensions may be passed over, unless they modify; what is contained was read, and is of types that are not judged here.
            problems.AddRange(
                faults
                    .Where(f => !ProfileValidator.IsOfSender(f) && !problems.Exists(p => Covers(p.Where, Within(at, f.Where))))
                    .Select(f => new EntryProblem(f.Key, Within(at, f.Where), f.Text, "what R4 requires"))
            );
        }

        if (problems.Count > 0)
            return (null, problems, false);
        List<EntryProblem> notKept = [.. unmet.Where(p => p.Code != FaultKind.UnknownProfile), .. said!.NotKept];
        var warnings = unmet.Concat(said.NotKept).Select(p => Outcome.Warning(p.Code, p.Saw, p.Expected, p.Where));
        return (said with { NotKept = notKept, Warnings = [.. warnings] }, [], false);
    }

    /// <summary>Takes the profiles that a sender claims off, and with them a <c>meta</c> that says nothing else.</summary>
    private static List<string> WithoutClaims(Observation observation)
    {
        if (observation.Meta is not { } meta)
            return [];
        var claims = meta.Profile.OfType<string>().Distinct().ToList();
        meta.Profile = [];
        if (!meta.EnumerateElements().Any())
            observation.Meta = null;
        return claims;
    }

    /// <summary>
    /// What a sender claims of its own profiles is the sender's matter: what is not so, or cannot be told here, is a warning and keeps
    /// nothing out. A claim that is not so is not repeated.
    /// </summary>
    private IEnumerable<EntryProblem> OfClaims(
        Observation observation,
        List<string> claims,
        IReadOnlyList<ProfileFault> already,
        Translated? said,
        string at
    )
    {
        var meta = observation.Meta;
        foreach (var claim in claims)
        {
            observation.Meta = (Meta?)meta?.DeepCopy() ?? new();
            observation.Meta.Profile = [claim];
            var faults = profiles
                .Validate(observation)
                .Except(already)
                .Where(f => f.Key == FaultKind.UnknownProfile || !ProfileValidator.IsOfSender(f))
                .ToList();
            foreach (var fault in faults)
                yield return new(fault.Key, Within(at, fault.Where), fault.Text, "what a profile that it declares requires");
            if (faults.Exists(f => f.Key != FaultKind.UnknownProfile))
                Forget(said, claim);
        }

        observation.Meta = meta;
    }

    private static void Forget(Translated? said, string claim)
    {
        if (
            said?.Entry["original"] is not JsonObject kept
            || kept["meta"] is not JsonObject meta
            || meta["profile"] is not JsonArray claims
        )
            return;
        claims.RemoveAll(known => (string?)known == claim);
        KeptObservation.Tidy(meta, "profile");
        KeptObservation.Tidy(kept, "meta");
    }

    /// <summary>
    /// What would be refused of an Observation by itself, as it is and as the entry that it becomes. Nothing is looked up.
    /// </summary>
    /// <returns>What it would be refused for, and what it would be taken with all the same.</returns>
    public (IReadOnlyList<EntryProblem> Problems, IReadOnlyList<OperationOutcome.IssueComponent> Warnings) Judge(
        JsonElement json,
        string at
    )
    {
        var (said, problems, _) = Read(json, at);
        return said is null ? (problems, []) : (record.Problems(said.ToEntry()), said.Warnings);
    }

    /// <summary>Whether a resource is said to be of a profile of ours, as what the service publishes is.</summary>
    public bool ClaimsOurs(JsonElement json) =>
        json.ValueKind == JsonValueKind.Object
        && json.TryGetProperty("meta", out var meta)
        && meta.ValueKind == JsonValueKind.Object
        && meta.TryGetProperty("profile", out var claims)
        && claims.ValueKind == JsonValueKind.Array
        && claims
            .EnumerateArray()
            .Any(claim =>
                claim.ValueKind == JsonValueKind.String
                && claim.GetString()!.StartsWith($"{map.Profiles.CanonicalBase}/StructureDefinition/", StringComparison.Ordinal)
            );

    private static (Observation? Observation, List<EntryProblem> Problems) Shape(JsonElement json, string at, List<EntryProblem> known)
    {
        var (observation, faults) = ResourceJson.Read<Observation>(json);
        return (
            observation,
            [.. faults.Select(p => p with { Where = Within(at, p.Where) }).Where(p => !known.Exists(k => Covers(k.Where, p.Where)))]
        );
    }

    /// <summary>Whether a problem at one path says what another at the other would say again in fewer words.</summary>
    public static bool Covers(string known, string where) =>
        where.StartsWith(known, StringComparison.Ordinal)
        || known.StartsWith(where, StringComparison.Ordinal)
        || (known.Contains(".effective", StringComparison.Ordinal) && where.Contains(".effective", StringComparison.Ordinal))
        || (
            known.Contains(".value", StringComparison.Ordinal)
            && where.Contains(".value", StringComparison.Ordinal)
            && !where.Contains("component", StringComparison.Ordinal)
        );

    private static string Within(string at, string path) =>
        path.StartsWith("Observation", StringComparison.Ordinal) ? at + path["Observation".Length..] : $"{at}.{path}";

    private async Task<(Ready? Ready, Written? Ended)> Prepare(Write write, HttpContext http, CancellationToken stop)
    {
        if (NotAllowed(write, Caller.Of(http)) is { } forbidden)
            return (null, forbidden);
        if (write.Id is { } hidden && await writes.Hides(hidden, Caller.Of(http), stop))
            return (null, NotThere(write, hidden));

        if (write.Id is { } changed && await WithoutOurs(write.Resource, changed, stop) is { } own)
            write = write with { Resource = own };
        var (said, problems, malformed) = Read(write.Resource, write.At);
        if (write.Id is not null && write.Resource.TextOf("id") != write.Id)
        {
            return (
                null,
                Written.Refused.Of(
                    StatusCodes.Status400BadRequest,
                    new EntryProblem(
                        "wrong-id",
                        $"{write.At}.id",
                        write.Resource.TextOf("id") is { } id ? $"'{id}'" : "no id",
                        $"the id of the address, '{write.Id}'"
                    )
                )
            );
        }

        if (said is null)
            return (
                null,
                Written.Refused.Of(malformed ? StatusCodes.Status400BadRequest : StatusCodes.Status422UnprocessableEntity, problems)
            );
        if (said.NotKept.Count > 0 && Preferences.Strict(http.Request))
            return (null, Written.Refused.Of(StatusCodes.Status422UnprocessableEntity, said.NotKept));
        var (ready, ended) = write.Id is { } updated ? await Existing(write, said, updated, stop) : await New(write, said, http, stop);
        if (ready is null)
            return (null, ended);
        var may = await writes.Of(said, ready.Episode, Caller.Of(http), stop);
        return (write.Id is null ? may : may & Letters.Update) == Letters.None ? (null, Refusal(write)) : (ready with { May = may }, null);
    }

    /// <summary>
    /// An Observation that was read here and changed, without what we had added when it was published; null where it is none of those.
    /// </summary>
    private async Task<JsonElement?> WithoutOurs(JsonElement sent, string id, CancellationToken stop)
    {
        if (
            sent.ValueKind != JsonValueKind.Object
            || sent.TextOf("id") != id
            || await episodes.Find(id.Split('.')[0], stop) is not { } episode
            || await resources.Read("Observation", id, stop) is not { } stored
        )
            return null;
        var published = FhirJson.Read<Observation>(stored.Json);
        if (
            OwnerOf(published, episode, id) is not { } owner
            || episode.Log.Versions(owner).LastOrDefault(v => v.Entry.Header.Original is not null)?.Entry is not { } entry
            || SentObservation.Of(entry) is not { } kept
            || !SentObservation.IsWhole(kept)
        )
            return null;
        var own = KeptObservation
            .WithoutOurs(JsonNode.Parse(entry.Header.Original!), JsonNode.Parse(stored.Json), JsonNode.Parse(sent.GetRawText()))!
            .AsObject();
        own.Remove(SentObservation.IssuedOffset);
        (own["resourceType"], own["id"]) = ("Observation", id);
        using var document = JsonDocument.Parse(own.ToJsonString(IntakeApi.Readable));
        return document.RootElement.Clone();
    }

    /// <summary>The key of the entry that a stored Observation answers for; null where it is none that a sender brought.</summary>
    private static EntryKey? OwnerOf(Observation stored, Episode episode, string id)
    {
        var owner = stored
            .Identifier.Where(i => i.System is not null && i.Value is not null)
            .Select(i => new EntryKey(i.System!, i.Value!))
            .FirstOrDefault(key => SentObservation.AnswerTo(episode, key) == id);
        return owner == default ? null : owner;
    }

    private static Written.Refused NotThere(Write write, string id) =>
        Written.Refused.Of(
            StatusCodes.Status404NotFound,
            new EntryProblem(
                "unknown-resource",
                $"{write.At}.id",
                $"Observation/{id}",
                "the id of a stored Observation: the service gives the ids, POST creates"
            )
        );

    /// <summary>What the caller may not do of it; a condition is a search. Within a Bundle each entry is judged by itself.</summary>
    private static Written.Refused? NotAllowed(Write write, Caller caller)
    {
        var letters = write.Id is null ? Letters.Create : Letters.Update;
        var allowed =
            caller.Covers(new Need("Observation", letters))
            && (write.IfNoneExist is null || caller.Covers(new Need("Observation", Letters.Search)));
        return allowed ? null : Refusal(write);
    }

    private static Written.Refused Refusal(Write write) =>
        Written.Refused.Of(
            StatusCodes.Status403Forbidden,
            Forbidden.To(write.Id is null ? "create an Observation" : "update an Observation", write.At)
        );

    private async Task<(Ready?, Written?)> Existing(Write write, Translated said, string id, CancellationToken stop)
    {
        var episode = await episodes.Find(id.Split('.')[0], stop);
        if (await resources.Read("Observation", id, stop) is not { } stored || episode is null)
        {
            return (null, NotThere(write, id));
        }

        if (OwnerOf(FhirJson.Read<Observation>(stored.Json), episode, id) is not { } owner)
        {
            return (
                null,
                Written.Refused.Of(
                    StatusCodes.Status405MethodNotAllowed,
                    new EntryProblem(
                        "not-yours",
                        $"{write.At}.id",
                        $"Observation/{id}, which the service made or the entries API brought",
                        "an Observation that came by POST /fhir/Observation; correct what this one rests on"
                    )
                )
            );
        }

        if (owner != said.Key)
            return (
                null,
                Written.Refused.Of(
                    StatusCodes.Status422UnprocessableEntity,
                    new EntryProblem(
                        "wrong-identifier",
                        $"{write.At}.identifier[0]",
                        $"{said.Key.Source}|{said.Key.Id}",
                        $"the identifier that it was created with, {owner.Source}|{owner.Id}"
                    )
                )
            );
        if (!IsOf(said, episode))
            return (
                null,
                Written.Refused.Of(
                    StatusCodes.Status422UnprocessableEntity,
                    new EntryProblem(
                        "patient-mismatch",
                        $"{write.At}.subject.identifier",
                        "another patient",
                        "the patient it was created for; mark it entered-in-error and create it for the other"
                    )
                )
            );
        if (write.IfMatch is { } match && !EntityTags.LetReplace(match, stored.VersionId))
        {
            return (
                null,
                Written.Refused.Of(
                    StatusCodes.Status412PreconditionFailed,
                    new EntryProblem(
                        "version-conflict",
                        "If-Match",
                        match,
                        $"the current version, {EntityTags.Of(stored.VersionId)}: read it first"
                    )
                )
            );
        }

        return (new(said, episode, episode.Log.Current(owner)!.Sequence, id), null);
    }

    private async Task<(Ready?, Written?)> New(Write write, Translated said, HttpContext http, CancellationToken stop)
    {
        if (write.IfNoneExist is { } search)
        {
            var (found, refused) = await searches.Find(search.TrimStart('?'), http, stop);
            if (refused is not null)
                return (null, new Written.Refused(StatusCodes.Status400BadRequest, refused));
            if (found.Count > 1)
                return (
                    null,
                    Written.Refused.Of(
                        StatusCodes.Status412PreconditionFailed,
                        new EntryProblem(
                            "several-matches",
                            "If-None-Exist",
                            $"{found.Count} Observations",
                            "a search that finds one at most"
                        )
                    )
                );
            if (found is [var only])
                return (null, new Written.Stands(StatusCodes.Status200OK, only, "exists"));
        }

        IReadOnlyList<EpisodeRow> rows = said.Patient.Value is { } value
            ? await store.FindByPatient(said.Patient.System, value, Caller.Of(http).Facilities, stop)
            : [];
        if (rows.Count == 0 && said.Patient.Address is { } address)
            rows = await store.FindByPatientAddress(address, Caller.Of(http).Facilities, stop);
        var candidates = new List<Episode>();
        foreach (var row in rows)
        {
            var episode = await episodes.Load(row, stop);
            if (!IsOf(said, episode))
                continue;
            if (episode.Log.Current(said.Key) is not null)
                return (new(said, episode, null, null), null);
            if (row.OpenedAt <= said.Start && !(row.ClosedAt < said.End))
                candidates.Add(episode);
        }

        if (said.Encounter is { } encounter)
        {
            var others = candidates.RemoveAll(e => encounter.IsSame(e.Definition.Encounter) == false);
            if (candidates.Count == 0 && others > 0)
                return (
                    null,
                    Written.Refused.Of(
                        StatusCodes.Status422UnprocessableEntity,
                        new EntryProblem(
                            "encounter-mismatch",
                            $"{write.At}.encounter.identifier",
                            encounter.Says,
                            "the encounter of the patient's episode of irrigation, or none"
                        )
                    )
                );
            if (candidates.Count > 1 && candidates.Exists(e => encounter.IsSame(e.Definition.Encounter) == true))
                candidates.RemoveAll(e => encounter.IsSame(e.Definition.Encounter) is null);
        }

        if (candidates.Count != 1)
        {
            var problem =
                candidates.Count == 0
                    ? new EntryProblem(
                        "no-episode",
                        $"{write.At}.subject.identifier",
                        rows.Count == 0
                            ? "a patient without an episode of irrigation"
                            : "no episode of irrigation of this patient at that time",
                        "a patient with an episode that covers effective[x]: open one with POST /episodes, or amend its start or end there"
                    )
                    : new EntryProblem(
                        "several-episodes",
                        $"{write.At}.encounter.identifier",
                        $"{candidates.Count} episodes of this patient at that time",
                        "the identifier or address of the encounter that one of them belongs to"
                    );
            return (null, Written.Refused.Of(StatusCodes.Status422UnprocessableEntity, problem));
        }

        var known = (await searches.WithIdentifier(said.Key.Source, said.Key.Id, http, stop))?.Id;

        // In the same episode it is no stranger's: somebody recorded the same a moment ago, and the log will say what this one is.
        return known is not null && known.Split('.')[0] != candidates[0].Id
            ? (
                null,
                Written.Refused.Of(
                    StatusCodes.Status409Conflict,
                    new EntryProblem(
                        "known-elsewhere",
                        $"{write.At}.identifier[0]",
                        "an identifier that another patient's Observation has",
                        "an identifier that is unique in its system"
                    )
                )
            )
            : (new(said, candidates[0], null, null), null);
    }

    private async Task<IReadOnlyList<Written>> Record(IReadOnlyList<Ready> ready, HttpContext http, bool lenient, CancellationToken stop)
    {
        var id = ready[0].Episode.Id;
        List<SentEntry> sent =
        [
            .. ready.Select(one =>
                one.Said.ToEntry() with
                {
                    Promise = (entry, log) => WritesWithin.Forbidden(one.May, entry, log, one.Said.At) ?? Broken(one, "entry", entry, log),
                }
            ),
        ];
        switch (await record.Handle(id, sent, WritesWithin.Judged(Caller.Of(http)), lenient, stop))
        {
            case EntriesOutcome.Rejected { Problems: var problems }:
                return [Written.Refused.Of(Outcomes.StatusOf(problems), problems)];
            case EntriesOutcome.Recorded recorded:
                var episode = (await episodes.Find(id, stop))!;
                var written = new List<Written>();
                foreach (var (one, reply) in ready.Zip(recorded.Entries))
                {
                    if (reply.Problems.Count > 0)
                    {
                        written.Add(Written.Refused.Of(Outcomes.StatusOf(reply.Problems), reply.Problems));
                        continue;
                    }

                    var first = reply.Disposition is not Disposition.Repeated && reply.Logged!.Revision == 1 && one.Id is null;
                    var stored = SentObservation.AnswerTo(episode, one.Said.Key) is { } answer
                        ? await resources.Read("Observation", answer, stop)
                        : null;
                    var status = first ? StatusCodes.Status201Created : StatusCodes.Status200OK;
                    var warnings = reply.Doubts.Select(doubt => Outcomes.Doubt(doubt, one.Said.At));
                    written.Add(
                        new Written.Stands(status, stored, Slug.Of(reply.Disposition!.Value))
                        {
                            Warnings = [.. one.Said.Warnings, .. Lost(one, stored), .. warnings],
                        }
                    );
                }

                return written;
            default:
                throw new InvalidOperationException("an episode that was there a moment ago");
        }
    }

    /// <summary>What stands in the record, and not so in what is published: codes that would count twice, a unit of the sender's.</summary>
    private static IEnumerable<OperationOutcome.IssueComponent> Lost(Ready ready, ResourceVersion? stored)
    {
        if (stored is null || ready.Said.Status == ObservationStatus.EnteredInError)
            return [];
        var (kept, published) = (ready.Said.Entry["original"]!.DeepClone().AsObject(), JsonNode.Parse(stored.Json));
        kept.Remove(SentObservation.IssuedOffset);
        return KeptObservation
            .Lost(kept, published, "")
            .Select(path =>
                Outcome.Warning(
                    "not-kept",
                    "as sent in the record, and published otherwise",
                    "what is published does not say it twice, or in other words than its profile has",
                    $"{ready.Said.At}.{path}"
                )
            );
    }

    /// <summary>What an Observation breaks that an entry would not: an amendment has to say that it is one.</summary>
    private static EntryProblem? Broken(Ready ready, string where, Entry entry, EpisodeLog log)
    {
        if (log.Current(entry.Key) is not { } current)
            return null;
        if (ready.ReplacesSequence is { } sequence && current.Sequence != sequence)
            return new("version-conflict", where, "a version that was replaced meanwhile", "the current version: read it first");

        var same = Same(current.Entry, entry);
        var again = log.Versions(entry.Key).Exists(v => Same(v.Entry, entry));
        var chartedLater = entry.Header.RecordedAt > current.Entry.Header.RecordedAt;
        if (same || (again && ready.Id is null && !chartedLater))
            return null;

        // A withdrawal that came first: what it withdraws may still arrive, and has no effect.
        if (current.Entry is EnteredInError && log.Versions(entry.Key).TrueForAll(v => v.Entry is EnteredInError))
            return null;

        var from =
            current.Entry is EnteredInError
                ? ObservationStatus.EnteredInError
                : SentObservation.Of(current.Entry)?.Status ?? ObservationStatus.Final;
        if (!StatusTransitions.Allows(from, ready.Said.Status))
        {
            return new(
                "conflicting-content",
                $"{where}.id",
                $"other content under a known identifier, status {from.GetLiteral()} followed by {ready.Said.Status.GetLiteral()}",
                from == ObservationStatus.EnteredInError
                    ? "a new identifier: what was entered in error does not come back"
                    : "the same content, or status amended, corrected or entered-in-error"
            );
        }

        return
            entry.Header.RecordedAt < current.Entry.Header.RecordedAt
            || entry.Header.RecordedAt == current.Entry.Header.RecordedAt && entry.Header.RecordedAt is not null
            ? new(
                "conflicting-content",
                $"{where}.recordedAt",
                "other content, issued no later than the version that stands",
                "issued later than that, or left out"
            )
            : null;
    }

    private static bool Same(Entry left, Entry right) =>
        left with { Header = left.Header with { RecordedAt = null } } == right with { Header = right.Header with { RecordedAt = null } };

    private static IEnumerable<EntryProblem> Together(List<Ready> ready)
    {
        foreach (var again in ready.GroupBy(r => r.Said.Key).Where(g => g.Count() > 1))
        {
            yield return new(
                "same-id-twice",
                string.Join(' ', again.Select(r => $"{r.Said.At}.identifier[0]")),
                $"identifier {again.Key.Source}|{again.Key.Id} {again.Count()} times",
                "each identifier once in a transaction"
            );
        }

        if (ready.Select(r => r.Episode.Id).Distinct().Count() > 1)
        {
            yield return new(
                "several-episodes",
                string.Join(' ', ready.DistinctBy(r => r.Episode.Id).Select(r => $"{r.Said.At}.subject")),
                "Observations of several patients or episodes",
                "one patient and episode in a transaction: what is stored together lies together. Send a batch, or a transaction for each"
            );
        }
    }

    private static void Resolve(Ready ready, Func<string, string, string?> idOf, List<EntryProblem> problems)
    {
        foreach (var (path, holder) in ready.Said.References)
        {
            var (target, where) = ((string)holder["reference"]!, $"{ready.Said.At}.{path}");
            if (!target.StartsWith("urn:", StringComparison.Ordinal) && !IsCondition(target))
                continue;
            if (idOf(target, where) is { } literal)
            {
                holder["reference"] = literal;
                continue;
            }

            var expected = IsCondition(target)
                ? "in a transaction, a search that finds exactly one Observation; of another type, identifier=system|value"
                : "the fullUrl of an Observation or a device in the same transaction";
            if (!problems.Exists(p => p.Where == where))
                problems.Add(new("unresolved-reference", where, target, expected));
        }
    }

    private static bool IsCondition(string target) => target.Contains('?', StringComparison.Ordinal);

    /// <summary>What the conditions find that stand in place of references, of those that find exactly one (R4, transaction).</summary>
    private async Task<Dictionary<string, string>> Found(Ready ready, HttpContext http, CancellationToken stop)
    {
        var found = new Dictionary<string, string>();
        foreach (
            var condition in ready
                .Said.References.Select(r => (string)r.Holder["reference"]!)
                .Where(t => IsCondition(t) && t.StartsWith("Observation?", StringComparison.Ordinal))
                .Distinct()
        )
        {
            // Two matches are enough to know that it is not one.
            var (matches, _) = await searches.Find($"{condition["Observation?".Length..]}&_count=2", http, stop);
            if (matches is [var only])
                found[condition] = $"Observation/{only.Id}";
        }

        return found;
    }

    /// <summary>The address that an Observation in the same transaction will have: ids follow from episode, kind and identifier.</summary>
    private static string? IdOf(
        string fullUrl,
        IReadOnlyList<(Write Write, string? FullUrl)> writes,
        List<(int Index, Ready Ready)> ready,
        string path,
        List<EntryProblem> problems
    )
    {
        var named = ready.Find(r => writes[r.Index].FullUrl == fullUrl).Ready;
        if (named is null)
            return null;
        if (named.Id is { } id)
            return $"Observation/{id}";
        var sent = named.Said.ToEntry();
        problems.AddRange(sent.Problems.Where(p => !problems.Exists(known => known.Where == p.Where)));
        if (sent.Entry is { } entry)
            return $"Observation/{SentObservation.IdOf(named.Episode, entry)}";
        problems.Add(new("unresolved-reference", path, fullUrl, "an Observation that can be recorded"));
        return "";
    }

    private static bool IsOf(Translated said, Episode episode) => said.Patient.IsSame(episode.Definition.Patient) == true;
}
