using System.Data.Common;
using Dapper;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>Episodes, their entries, and the saving of everything that follows from them.</summary>
internal sealed class EpisodeStore(Database database)
{
    private const string Columns = """
        patient_key as PatientKey, id as Id, version as Version, last_sequence as LastSequence,
        identifier_system as IdentifierSystem, identifier_value as IdentifierValue,
        patient_system as PatientSystem, patient_value as PatientValue,
        opened_at as OpenedAt, closed_at as ClosedAt, json as Json, flags_as_of as FlagsAsOf
        """;

    /// <summary>Stores a new episode, at version 1 and without entries whatever the row says.</summary>
    public Task<OpenOutcome> Open(EpisodeRow episode, CancellationToken stop) =>
        database.Write<OpenOutcome>(
            transaction =>
            {
                var opened = episode with { Version = 1, LastSequence = 0 };
                var inserted = transaction.Statements.Execute(
                    """
                    insert into episode (patient_key, id, version, last_sequence, identifier_system, identifier_value, patient_system, patient_value, opened_at, closed_at, json, next_look)
                    values (@patient, @id, 1, 0, @identifierSystem, @identifierValue, @patientSystem, @patientValue, @opened, @closed, @json, @opened)
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
                    ("json", opened.Json)
                );
                if (inserted == 1)
                    return new OpenOutcome.Opened(opened);

                var there = transaction.Statements.First(
                    $"select {Columns} from episode where id = @id or (identifier_value = @value and ifnull(identifier_system, '') = @system)",
                    Stored.Read,
                    ("id", opened.Id),
                    ("value", opened.Identifier?.Value),
                    ("system", opened.Identifier?.System ?? "")
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
    /// <param name="stop">Gives up.</param>
    public Task<EpisodeRow?> FindByIdentifier(string system, string value, CancellationToken stop) =>
        FindOne("identifier_value = @value and ifnull(identifier_system, '') = @system", new { system, value }, stop);

    /// <summary>All episodes of a patient, the latest begun first.</summary>
    /// <param name="system">Null to match the value under any system.</param>
    /// <param name="value">The patient identifier's value.</param>
    /// <param name="stop">Gives up.</param>
    public Task<IReadOnlyList<EpisodeRow>> FindByPatient(string? system, string value, CancellationToken stop) =>
        FindAll(
            "patient_value = @value and (@system is null or patient_system = @system) order by opened_at desc, id",
            new { system, value },
            stop
        );

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
        var rows = await connection.QueryAsync<(string Id, string Json)>(
            new CommandDefinition(
                "select id, json from resource where patient_key = @patientKey and type = 'Flag' and id >= @from and id < @to and status = 'active'",
                new
                {
                    patientKey,
                    from = episodeId + ".",
                    to = episodeId + "/",
                },
                cancellationToken: stop
            )
        );
        return rows.ToDictionary(row => row.Id, row => row.Json);
    }

    /// <summary>Remembers that nothing changed up to a moment, unless the episode did meanwhile: no new version.</summary>
    public Task RecordFlagsChecked(EpisodeRow episode, Instant asOf, Instant? next, CancellationToken stop) =>
        database.Write(
            transaction =>
                transaction.Statements.Execute(
                    "update episode set flags_as_of = @asOf, next_look = @next where patient_key = @patient and id = @id and version = @version",
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
                    on conflict (name) do update set holder = excluded.holder, until = excluded.until where lease.holder = excluded.holder or lease.until < @now
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
                select sequence as Sequence, source as Source, entry_id as EntryId, revision as Revision, kind as Kind, at as At, received_at as ReceivedAt, json as Json
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

    /// <summary>
    /// Stores a change in one transaction: entries, new versions, index rows, withheld ones, and the episode's next version.
    /// </summary>
    /// <exception cref="InvalidOperationException">There is no such episode.</exception>
    public async Task<SaveOutcome> Save(EpisodeChange change, CancellationToken stop)
    {
        var times = change.Resources.Select(draft => draft.Times(database.TimeZone)).ToList();
        var outcome = await database.Write(transaction => Save(transaction, change, times), stop);
        if (change.Events.Count > 0)
            database.Commits.Notify();
        return outcome;
    }

    private static SaveOutcome Save(WriteTransaction transaction, EpisodeChange change, List<DraftTimes> dates)
    {
        // First of all the version: this row is what two writers of one episode contend for.
        if (!TakeVersion(transaction, change))
        {
            transaction.Discard();
            return new SaveOutcome.VersionConflict(change.ExpectedVersion, ActualVersion(transaction, change));
        }

        foreach (var entry in change.Entries)
        {
            if (!Insert(transaction, change, entry))
            {
                transaction.Discard();
                return new SaveOutcome.RepeatedEntry(entry.Source, entry.EntryId, entry.Revision);
            }
        }

        var changed = new List<ResourceVersion>();
        var cleared = 0;
        foreach (var (draft, date) in change.Resources.Zip(dates))
        {
            if (ResourceSql.Store(transaction, change.PatientKey, draft, date, change.Resources) is { } version)
                changed.Add(version);
            cleared += ResourceSql.Release(transaction, change.PatientKey, draft);
        }

        foreach (var outboxEvent in change.Events)
        {
            if (changed.Find(version => version.Type == outboxEvent.Type && version.Id == outboxEvent.Id) is { } version)
                Publish(transaction, change, outboxEvent, version);
        }

        var withheld = change.Withheld.Sum(row => ResourceSql.Withhold(transaction, change.PatientKey, row));

        if (change.Entries.Count + changed.Count + cleared + withheld == 0 && change.Json is null && change.ClosedAt is null)
        {
            transaction.Discard();
            return new SaveOutcome.Saved(change.ExpectedVersion, []);
        }

        return new SaveOutcome.Saved(change.ExpectedVersion + 1, changed);
    }

    private static void Publish(WriteTransaction transaction, EpisodeChange change, OutboxEvent outboxEvent, ResourceVersion version)
    {
        var number = 1 + transaction.Statements.First("select coalesce(max(number), 0) from outbox", row => row.GetInt64(0));
        transaction.Statements.Execute(
            """
            insert into outbox (patient_key, number, episode_id, type, id, version_id, event, at)
            values (@patient, @number, @episode, @type, @id, @version, @event, @at)
            """,
            ("patient", change.PatientKey),
            ("number", number),
            ("episode", change.EpisodeId),
            ("type", outboxEvent.Type),
            ("id", outboxEvent.Id),
            ("version", version.VersionId),
            ("event", outboxEvent.Event),
            ("at", UnixNanoseconds.Of(transaction.At))
        );
        SubscriptionSql.AddEvents(transaction, change.PatientKey, number, outboxEvent, version);
    }

    private static bool TakeVersion(WriteTransaction transaction, EpisodeChange change) =>
        1
        == transaction.Statements.Execute(
            """
            update episode
            set version = version + 1,
                last_sequence = case when @sequence > last_sequence then @sequence else last_sequence end,
                json = coalesce(@json, json),
                closed_at = coalesce(@closed, closed_at),
                flags_as_of = coalesce(@asOf, flags_as_of),
                next_look = case when @asOf is null then next_look else @next end
            where patient_key = @patient and id = @id and version = @expected
            """,
            ("sequence", change.Entries.Count == 0 ? 0 : change.Entries.Max(entry => entry.Sequence)),
            ("json", change.Json),
            ("closed", change.ClosedAt is { } closed ? UnixNanoseconds.Of(closed) : null),
            ("asOf", change.FlagsAsOf is { } asOf ? UnixNanoseconds.Of(asOf) : null),
            ("next", change.NextFlagCheck is { } next ? UnixNanoseconds.Of(next) : null),
            ("patient", change.PatientKey),
            ("id", change.EpisodeId),
            ("expected", change.ExpectedVersion)
        );

    private static long ActualVersion(WriteTransaction transaction, EpisodeChange change)
    {
        var actual = transaction.Statements.First<long?>(
            "select version from episode where patient_key = @patient and id = @id",
            row => row.GetInt64(0),
            ("patient", change.PatientKey),
            ("id", change.EpisodeId)
        );
        return actual ?? throw new InvalidOperationException("A change was saved to an episode that was never opened.");
    }

    private static bool Insert(WriteTransaction transaction, EpisodeChange change, EntryRow entry) =>
        1
        == transaction.Statements.Execute(
            """
            insert into entry (patient_key, episode_id, sequence, source, entry_id, revision, kind, at, received_at, json)
            values (@patient, @episode, @sequence, @source, @entry, @revision, @kind, @at, @received, @json)
            on conflict do nothing
            """,
            ("patient", change.PatientKey),
            ("episode", change.EpisodeId),
            ("sequence", entry.Sequence),
            ("source", entry.Source),
            ("entry", entry.EntryId),
            ("revision", entry.Revision),
            ("kind", entry.Kind),
            ("at", UnixNanoseconds.Of(entry.At)),
            ("received", UnixNanoseconds.Of(entry.ReceivedAt)),
            ("json", entry.Json)
        );

    private async Task<EpisodeRow?> FindOne(string condition, object values, CancellationToken stop) =>
        (await FindAll(condition, values, stop)) is [var first, ..] ? first : null;

    private async Task<IReadOnlyList<EpisodeRow>> FindAll(string condition, object values, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<Stored>(
            new CommandDefinition($"select {Columns} from episode where {condition}", values, cancellationToken: stop)
        );
        return [.. rows.Select(row => row.ToRow())];
    }

    private sealed class Stored
    {
        public string PatientKey { get; set; } = "";

        public string Id { get; set; } = "";

        public long Version { get; set; }

        public long LastSequence { get; set; }

        public string? IdentifierSystem { get; set; }

        public string? IdentifierValue { get; set; }

        public string? PatientSystem { get; set; }

        public string? PatientValue { get; set; }

        public long OpenedAt { get; set; }

        public long? ClosedAt { get; set; }

        public string Json { get; set; } = "";

        public long? FlagsAsOf { get; set; }

        public static Stored Read(DbDataReader row) => row.GetRowParser<Stored>()(row);

        public EpisodeRow ToRow() =>
            new(
                PatientKey,
                Id,
                Version,
                LastSequence,
                IdentifierValue is null ? null : new(IdentifierSystem ?? "", IdentifierValue),
                PatientValue is null ? null : new(PatientSystem ?? "", PatientValue),
                UnixNanoseconds.ToInstant(OpenedAt),
                ClosedAt is { } closed ? UnixNanoseconds.ToInstant(closed) : null,
                Json,
                FlagsAsOf is { } asOf ? UnixNanoseconds.ToInstant(asOf) : null
            );
    }

    private sealed class StoredEntry
    {
        public long Sequence { get; set; }

        public string Source { get; set; } = "";

        public string EntryId { get; set; } = "";

        public int Revision { get; set; }

        public string Kind { get; set; } = "";

        public long At { get; set; }

        public long ReceivedAt { get; set; }

        public string Json { get; set; } = "";

        public EntryRow ToRow() =>
            new(Sequence, Source, EntryId, Revision, Kind, UnixNanoseconds.ToInstant(At), UnixNanoseconds.ToInstant(ReceivedAt), Json);
    }
}
