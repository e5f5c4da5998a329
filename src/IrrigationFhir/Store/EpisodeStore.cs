using Dapper;
using IrrigationFhir.Search;
using IrrigationFhir.Store.Sqlite;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>Episodes, their entries, and the saving of everything that follows from them.</summary>
internal sealed class EpisodeStore(Database database)
{
    private const string SameIdentifier = $"identifier_value = @value and {Dialect.IdentifierSystem} = @system and facility = @facility";

    /// <summary>Stores a new episode, at version 1 and without entries whatever the row says.</summary>
    public Task<OpenOutcome> Open(EpisodeRow episode, CancellationToken stop) =>
        database.Write<OpenOutcome>(
            transaction =>
            {
                var opened = episode with { Version = 1, LastSequence = 0 };
                var inserted = transaction.Statements.Execute(
                    """
                    insert into episode (patient_key, id, version, last_sequence, identifier_system, identifier_value,
                        patient_system, patient_value, opened_at, closed_at, json, next_look, ward, room, bed, facility)
                    values (@patient, @id, 1, 0, @identifierSystem, @identifierValue,
                        @patientSystem, @patientValue, @opened, @closed, @json, @opened, @ward, @room, @bed, @facility)
                    on conflict do nothing
                    """,
                    ("patient", opened.PatientKey),
                    ("id", opened.Id),
                    ("identifierSystem", opened.Identifier?.System),
                    ("identifierValue", opened.Identifier?.Value),
                    ("patientSystem", opened.Patient?.System),
                    ("patientValue", opened.Patient?.Value),
                    ("opened", UnixNanoseconds.Of(opened.OpenedAt)),
                    ("closed", opened.ClosedAt is { } closed ? UnixNanoseconds.Of(closed) : null),
                    ("json", opened.Json),
                    ("ward", opened.Location?.Ward),
                    ("room", opened.Location?.Room),
                    ("bed", opened.Location?.Bed),
                    ("facility", opened.Facility)
                );
                if (inserted == 1)
                {
                    AuditSql.Append(transaction, AuditedWrite.Of(transaction, opened));
                    return new OpenOutcome.Opened(opened);
                }

                var there = transaction.Statements.First(
                    $"select {EpisodeRowReader.Columns} from episode where id = @id or ({SameIdentifier})",
                    EpisodeRowReader.Read,
                    ("id", opened.Id),
                    ("value", opened.Identifier?.Value),
                    ("system", opened.Identifier?.System ?? ""),
                    ("facility", opened.Facility)
                );
                return new OpenOutcome.AlreadyThere(there!.ToRow());
            },
            stop
        );

    /// <summary>The episode of that id, or null.</summary>
    public Task<EpisodeRow?> Find(string id, CancellationToken stop) => FindOne("id = @id", new { id }, stop);

    /// <summary>The episode of that business identifier, or null.</summary>
    /// <param name="system">Empty for an identifier without a system.</param>
    /// <param name="value">Its value.</param>
    /// <param name="facility">In which facility; empty for the one without a name.</param>
    /// <param name="stop">Gives up.</param>
    public Task<EpisodeRow?> FindByIdentifier(string system, string value, string facility, CancellationToken stop) =>
        FindOne(
            SameIdentifier,
            new
            {
                system,
                value,
                facility,
            },
            stop
        );

    /// <summary>The episodes of that business identifier in some facilities, null for all: at most one in each.</summary>
    public Task<IReadOnlyList<EpisodeRow>> FindByIdentifier(
        string system,
        string value,
        IReadOnlyList<string>? facilities,
        CancellationToken stop
    ) =>
        FindAll(
            $"identifier_value = @value and {Dialect.IdentifierSystem} = @system{Within(facilities)} order by facility",
            new
            {
                system,
                value,
                facilities,
            },
            stop
        );

    /// <summary>The facility of an episode; null where there is no such episode.</summary>
    public async Task<string?> FacilityOf(string id, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return await connection.ExecuteScalarAsync<string?>(
            new CommandDefinition("select facility from episode where id = @id", new { id }, cancellationToken: stop)
        );
    }

    private static string Within(IReadOnlyList<string>? facilities) => facilities is null ? "" : " and facility in @facilities";

    /// <summary>All episodes of a patient, the latest begun first.</summary>
    /// <param name="system">Null to match the value under any system.</param>
    /// <param name="value">The patient identifier's value.</param>
    /// <param name="facilities">In which facilities; null for all.</param>
    /// <param name="stop">Gives up.</param>
    public Task<IReadOnlyList<EpisodeRow>> FindByPatient(
        string? system,
        string value,
        IReadOnlyList<string>? facilities,
        CancellationToken stop
    ) =>
        FindAll(
            $"patient_value = @value and (@system is null or patient_system = @system){Within(facilities)} order by opened_at desc, id",
            new
            {
                system,
                value,
                facilities,
            },
            stop
        );

    /// <summary>All episodes of a patient that their openers point at by an address, the latest begun first.</summary>
    /// <param name="address">Such as <c>Patient/1</c>, as the openers wrote it.</param>
    /// <param name="facilities">In which facilities; null for all.</param>
    /// <param name="stop">Gives up.</param>
    public Task<IReadOnlyList<EpisodeRow>> FindByPatientAddress(
        string address,
        IReadOnlyList<string>? facilities,
        CancellationToken stop
    ) => FindAll($"{Dialect.PatientAddress} = @address{Within(facilities)} order by opened_at desc, id", new { address, facilities }, stop);

    /// <summary>Episodes of a kind, the earliest begun first, a page at a time.</summary>
    public Task<IReadOnlyList<EpisodeRow>> List(EpisodeListing listing, CancellationToken stop)
    {
        string?[] conditions =
        [
            listing.IsOpen switch
            {
                true => "(closed_at is null or closed_at > @now)",
                false => "closed_at <= @now",
                null => null,
            },
            listing.Ward is null ? null : "ward = @ward",
            listing.Room is null ? null : "room = @room",
            listing.Bed is null ? null : "bed = @bed",
            listing.Facilities is null ? null : "facility in @facilities",
            listing.After is null ? null : "(opened_at, id) > (@opened, @id)",
        ];
        var where = string.Join(" and ", conditions.OfType<string>().DefaultIfEmpty("1 = 1"));
        var values = new
        {
            now = UnixNanoseconds.Of(listing.Now),
            ward = listing.Ward,
            room = listing.Room,
            bed = listing.Bed,
            opened = listing.After is { } after ? UnixNanoseconds.Of(after.OpenedAt) : 0,
            id = listing.After?.Id,
            facilities = listing.Facilities,
            atMost = listing.AtMost,
        };
        return FindAll($"{where} order by opened_at, id limit @atMost", values, stop);
    }

    /// <summary>Episodes whose flags time alone may have changed by a moment, the longest due first.</summary>
    public async Task<IReadOnlyList<string>> FindWithFlagsDue(Instant now, int atMost, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return
        [
            .. await connection.QueryAsync<string>(
                new CommandDefinition(
                    "select id from episode where next_look <= @now order by next_look, id limit @atMost",
                    new { now = UnixNanoseconds.Of(now), atMost },
                    cancellationToken: stop
                )
            ),
        ];
    }

    /// <summary>Flags of an episode that stand in the store, as JSON by id.</summary>
    public async Task<IReadOnlyDictionary<string, string>> StandingFlags(string patientKey, string episodeId, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var flags = await StoredResource.All(
            connection,
            null,
            $"""
            select {StoredResource.Columns} from {StoredResource.From}
                and r.patient = @patient and r.type = @type and r.id >= @from and r.id < @to and (r.status || '') = 'active'
            """,
            new
            {
                patient = PatientNumber.Of(patientKey),
                type = IndexedTypes.NumberOf("Flag"),
                from = episodeId + ".",
                to = episodeId + "/",
            },
            stop
        );
        return flags.ToDictionary(flag => flag.Id, flag => flag.Json);
    }

    /// <summary>Which versions of resources of an episode are stored, by address; those without any are left out.</summary>
    /// <param name="patientKey">Of its patient.</param>
    /// <param name="addresses">As <c>Observation/id</c>.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<IReadOnlyDictionary<string, StoredContent>> Versions(
        string patientKey,
        IReadOnlySet<string> addresses,
        CancellationToken stop
    )
    {
        var found = new Dictionary<string, StoredContent>();
        await using var connection = database.OpenForReading();
        foreach (var some in addresses.Chunk(Inclusions.AtOnce))
        {
            var rows = await connection.QueryAsync<(long Type, string Id, long VersionId, byte[] ContentHash)>(
                new CommandDefinition(
                    """
                    select type, id, version_id, content_hash from resource
                    where patient = @patient and type in @types and id in @ids
                    """,
                    new
                    {
                        patient = PatientNumber.Of(patientKey),
                        types = some.Select(address => IndexedTypes.NumberOf(address.Split('/')[0])).Distinct(),
                        ids = some.Select(address => address.Split('/')[1]),
                    },
                    cancellationToken: stop
                )
            );
            foreach (var row in rows)
                found[$"{IndexedTypes.NameOf(row.Type)}/{row.Id}"] = new(row.VersionId, row.ContentHash);
        }

        return found;
    }

    /// <summary>Observations of an episode that stand in the store in the manner of an earlier version, as JSON by id.</summary>
    /// <param name="patientKey">The patient's key.</param>
    /// <param name="episodeId">The episode.</param>
    /// <param name="mark">A code of a component that only the earlier manner has.</param>
    /// <param name="id">How ids begin that only the earlier manner has.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<IReadOnlyDictionary<string, string>> PublishedOtherwise(
        string patientKey,
        string episodeId,
        string mark,
        string id,
        CancellationToken stop
    )
    {
        await using var connection = database.OpenForReading();
        var otherwise = await StoredResource.All(
            connection,
            null,
            $"""
            select {StoredResource.Columns} from {StoredResource.From}
                and r.patient = @patient and r.type = @type and r.id >= @from and r.id < @to and r.status <> 'entered-in-error'
                and (r.labels in (select number from coding_set_member where parameter = @parameter and code = @mark) or r.id like @id)
            """,
            new
            {
                patient = PatientNumber.Of(patientKey),
                type = IndexedTypes.NumberOf("Observation"),
                from = episodeId + ".",
                to = episodeId + "/",
                parameter = IndexedTypes.ComponentCode,
                mark,
                id = $"{id}%",
            },
            stop
        );
        return otherwise.ToDictionary(observation => observation.Id, observation => observation.Json);
    }

    /// <summary>Remembers that nothing changed up to a moment, unless the episode did meanwhile: no new version.</summary>
    public Task RecordFlagsChecked(EpisodeRow episode, Instant asOf, Instant? next, CancellationToken stop) =>
        database.Write(
            transaction =>
                transaction.Statements.Execute(
                    """
                    update episode set flags_as_of = @asOf, next_look = @next
                    where patient_key = @patient and id = @id and version = @version
                    """,
                    ("asOf", UnixNanoseconds.Of(asOf)),
                    ("next", next is { } at ? UnixNanoseconds.Of(at) : null),
                    ("patient", episode.PatientKey),
                    ("id", episode.Id),
                    ("version", episode.Version)
                ),
            stop
        );

    /// <summary>Leaves an episode alone until a moment, whatever its version: its flags could not be worked out.</summary>
    public Task PostponeFlagCheck(string id, Instant until, CancellationToken stop) =>
        database.Write(
            transaction =>
                transaction.Statements.Execute(
                    "update episode set next_look = @until where id = @id",
                    ("until", UnixNanoseconds.Of(until)),
                    ("id", id)
                ),
            stop
        );

    /// <summary>Takes or prolongs a lease; false while somebody else holds it.</summary>
    public Task<bool> TakeLease(string name, string holder, Instant now, Duration length, CancellationToken stop) =>
        database.Write(
            transaction =>
                1
                == transaction.Statements.Execute(
                    """
                    insert into lease (name, holder, until) values (@name, @holder, @until)
                    on conflict (name) do update set holder = excluded.holder, until = excluded.until
                    where lease.holder = excluded.holder or lease.until < @now
                    """,
                    ("name", name),
                    ("holder", holder),
                    ("until", UnixNanoseconds.Of(now + length)),
                    ("now", UnixNanoseconds.Of(now))
                ),
            stop
        );

    /// <summary>The entries of an episode after a sequence, in sequence order; after 0 means all.</summary>
    public async Task<IReadOnlyList<EntryRow>> LoadEntries(string patientKey, string episodeId, long afterSequence, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<StoredEntry>(
            new CommandDefinition(
                """
                select sequence as Sequence, source as Source, entry_id as EntryId, revision as Revision,
                    kind as Kind, at as At, received_at as ReceivedAt, json as Json
                from entry where patient_key = @patientKey and episode_id = @episodeId and sequence > @afterSequence
                order by sequence
                """,
                new
                {
                    patientKey,
                    episodeId,
                    afterSequence,
                },
                cancellationToken: stop
            )
        );
        return [.. rows.Select(row => row.ToRow())];
    }

    /// <summary>What is remembered of an episode beside its log; null where nothing is.</summary>
    public async Task<RememberedRow?> Remembered(string patientKey, string episodeId, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return await connection.QueryFirstOrDefaultAsync<RememberedRow>(
            new CommandDefinition(
                """
                select made_by as MadeBy, last_sequence as LastSequence, content as Content
                from episode_memory where patient_key = @patientKey and episode_id = @episodeId
                """,
                new { patientKey, episodeId },
                cancellationToken: stop
            )
        );
    }

    /// <summary>
    /// Stores a change in one transaction: entries, new versions, index rows, withheld ones, and the episode's next version.
    /// </summary>
    /// <exception cref="InvalidOperationException">There is no such episode.</exception>
    public async Task<SaveOutcome> Save(EpisodeChange change, CancellationToken stop)
    {
        var times = change.Resources.Select(draft => draft.Times(database.TimeZone)).ToList();
        var outcome = await database.Write(transaction => EpisodeSql.Save(transaction, change, times), stop);
        if (change.Events.Count > 0)
            database.Commits.Notify();
        return outcome;
    }

    private async Task<EpisodeRow?> FindOne(string condition, object values, CancellationToken stop) =>
        (await FindAll(condition, values, stop)) is [var first, ..] ? first : null;

    private async Task<IReadOnlyList<EpisodeRow>> FindAll(string condition, object values, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<EpisodeRowReader>(
            new CommandDefinition($"select {EpisodeRowReader.Columns} from episode where {condition}", values, cancellationToken: stop)
        );
        return [.. rows.Select(row => row.ToRow())];
    }
}
