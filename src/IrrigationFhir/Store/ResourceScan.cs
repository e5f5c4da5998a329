using System.Data.Common;
using System.Runtime.CompilerServices;
using Dapper;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>A resource as it is read out of the store, to go on to a file.</summary>
/// <param name="Type">FHIR type name.</param>
/// <param name="Id">Logical id.</param>
/// <param name="VersionId">Its version.</param>
/// <param name="LastUpdated">When that was stored.</param>
/// <param name="Json">The resource in UTF-8.</param>
internal sealed record ScannedResource(string Type, string Id, long VersionId, Instant LastUpdated, ReadOnlyMemory<byte> Json);

/// <summary>Which resources are read out.</summary>
/// <param name="Type">FHIR type name.</param>
/// <param name="Fence">
/// As they were then: of what changed later the version of before. From <see cref="ResourceScan.Fence"/>.
/// </param>
/// <param name="Since">Only versions stored after this; null for all.</param>
/// <param name="After">Only ids behind this one, in the order of their bytes.</param>
internal sealed record ScanRequest(string Type, Instant Fence, Instant? Since = null, string After = "")
{
    /// <summary>Only what is about a patient.</summary>
    public bool OnlyOfPatients { get; init; }

    /// <summary>Only what is about one of these; empty for all.</summary>
    public IReadOnlyList<ScannedPatient> Patients { get; init; } = [];

    /// <summary>What resources have to meet besides, as they are now: what may be shown to whoever asks. Empty for all.</summary>
    public IReadOnlyList<SearchCriterion> Within { get; init; } = [];
}

/// <summary>A patient as resources point at it: by address, or by identifier.</summary>
/// <param name="Reference">As <c>Patient/one</c>; null where the identifier says who it is.</param>
/// <param name="System">Namespace of the identifier; empty for none.</param>
/// <param name="Value">The identifier.</param>
internal sealed record ScannedPatient(string? Reference, string System, string Value);

/// <summary>
/// Reads a whole store out, a type at a time in the order of ids, while it is written to: the only place that knows how rows lie, for
/// whoever makes files of them.
/// </summary>
/// <remarks>
/// <para>Every page is a query of its own, bounded by bytes: no read transaction lasts that would keep the log from being emptied, and what
/// is in memory does not grow with the store.</para>
/// <para>What is read is as of the fence, however long it takes: what changed since is taken from its history.</para>
/// </remarks>
internal sealed class ResourceScan(Func<DbConnection> open)
{
    /// <summary>A page is full with so many bytes: a larger resource comes alone.</summary>
    public const int PageBytes = 1 << 20;

    private const int PageRows = 1000;

    /// <summary>Reads from a database.</summary>
    public ResourceScan(Database database)
        : this(database.OpenForReading) { }

    /// <summary>
    /// A moment up to which everything is stored: what is stored later has a later moment. The Unix epoch of an empty store.
    /// </summary>
    /// <remarks>
    /// One thread writes, and stamps each unit later than the one before, in the order of commits (<see cref="WriteTransaction.At"/>): so
    /// the latest stamp that a reader sees is such a moment, in whatever process it reads. Where several write, a lock has to make it.
    /// </remarks>
    public async Task<Instant> Fence(CancellationToken stop)
    {
        await using var connection = open();
        var latest = await connection.ExecuteScalarAsync<long?>(
            new CommandDefinition("select max(at) from resource_version", cancellationToken: stop)
        );
        return UnixNanoseconds.ToInstant(latest ?? 0);
    }

    /// <summary>How many resources of a type there are now: for who waits, and no more exact than that.</summary>
    public async Task<long> Count(string type, CancellationToken stop)
    {
        await using var connection = open();
        return await connection.ExecuteScalarAsync<long>(
            new CommandDefinition(
                "select count(*) from resource where type = @type",
                new { type = IndexedTypes.NumberOf(type) },
                cancellationToken: stop
            )
        );
    }

    /// <summary>The versions of then of some resources, by their ids; of those that the request does not mean, none.</summary>
    public async Task<IReadOnlyList<ScannedResource>> ReadSome(ScanRequest request, IEnumerable<string> ids, CancellationToken stop) =>
        await Task.Run(
            () =>
            {
                var (fence, since) = Times(request);
                using var connection = open();
                using var snapshot = connection.BeginTransaction();
                var (condition, values) = Condition(request, connection, snapshot);
                var found = new List<ScannedResource>();
                foreach (var id in ids)
                {
                    using var command = Command(
                        connection,
                        snapshot,
                        $"{OfType} and r.id = @id {condition}",
                        [("type", IndexedTypes.NumberOf(request.Type)), ("id", id), .. values]
                    );
                    using var reader = command.ExecuteReader();
                    if (!reader.Read())
                        continue;
                    var stored = reader.GetInt64(2);
                    if (stored > fence)
                    {
                        if (AsOf(connection, snapshot, request.Type, id, fence, since) is { } before)
                            found.Add(before);
                    }
                    else if (stored > since)
                    {
                        found.Add(Resource(reader, request.Type));
                    }
                }

                return found;
            },
            stop
        );

    /// <summary>Reads pages, in the order of ids; an empty page says how far it came where nothing is to be read.</summary>
    public async IAsyncEnumerable<ScanPage> Read(ScanRequest request, [EnumeratorCancellation] CancellationToken stop)
    {
        var reading = Task.Run(() => Page(request, request.After), stop);
        try
        {
            while (true)
            {
                var page = await reading;
                stop.ThrowIfCancellationRequested();
                // The next one is read while this one is worked on.
                if (!page.IsLast)
                    reading = Task.Run(() => Page(request, page.UpTo), CancellationToken.None);
                yield return page;
                if (page.IsLast)
                    yield break;
            }
        }
        finally
        {
            // Nothing is read any more when nobody wants it: the database may be closed then.
            await reading.ContinueWith(_ => { }, CancellationToken.None, TaskContinuationOptions.None, TaskScheduler.Default);
        }
    }

    private ScanPage Page(ScanRequest request, string after)
    {
        var (fence, since) = Times(request);
        using var connection = open();
        // One snapshot, so that what was moved to history in between is found there.
        using var snapshot = connection.BeginTransaction();
        var (condition, values) = Condition(request, connection, snapshot);
        using var command = Command(
            connection,
            snapshot,
            PageSql(request, condition),
            [("type", IndexedTypes.NumberOf(request.Type)), ("after", after), ("since", since), .. values]
        );
        var resources = new List<ScannedResource>();
        var (bytes, rows, upTo) = (0L, 0, after);
        using (var reader = command.ExecuteReader())
        {
            while (bytes < PageBytes && rows < PageRows && reader.Read())
            {
                (rows, upTo) = (rows + 1, reader.GetString(0));
                var found = reader.GetInt64(2) <= fence ? Resource(reader, request.Type) : null;
                found ??= AsOf(connection, snapshot, request.Type, upTo, fence, since);
                if (found is null)
                    continue;
                resources.Add(found);
                bytes += found.Json.Length;
            }
        }

        return new(resources, upTo, IsLast: bytes < PageBytes && rows < PageRows);
    }

    /// <summary>The version of then of what changed since, or null where there was none or it is not wanted.</summary>
    private static ScannedResource? AsOf(DbConnection connection, DbTransaction snapshot, string type, string id, long fence, long since)
    {
        using var command = Command(
            connection,
            snapshot,
            HistorySql,
            [("type", IndexedTypes.NumberOf(type)), ("id", id), ("fence", fence)]
        );
        using var reader = command.ExecuteReader();
        return reader.Read() && reader.GetInt64(2) > since ? Resource(reader, type) : null;
    }

    private static DbCommand Command(
        DbConnection connection,
        DbTransaction snapshot,
        string sql,
        IReadOnlyList<(string Name, object Value)> values
    )
    {
        var command = connection.CreateCommand();
        (command.CommandText, command.Transaction) = (sql, snapshot);
        foreach (var (name, value) in values)
        {
            var parameter = command.CreateParameter();
            (parameter.ParameterName, parameter.Value) = (name, value);
            command.Parameters.Add(parameter);
        }

        return command;
    }

    /// <summary>Columns as the statements name them. Nobody reads the text as UTF-16.</summary>
    private static ScannedResource Resource(DbDataReader row, string type) =>
        new(
            type,
            row.GetString(0),
            row.GetInt64(1),
            UnixNanoseconds.ToInstant(row.GetInt64(2)),
            StoredJson.UnpackUtf8(row.GetFieldValue<byte[]>(3))
        );

    private static (long Fence, long Since) Times(ScanRequest request) =>
        (UnixNanoseconds.Of(request.Fence), request.Since is { } given ? UnixNanoseconds.Of(given) : long.MinValue);

    /// <summary>Which resources are meant, as a condition behind others.</summary>
    private static (string Sql, IReadOnlyList<(string Name, object Value)> Values) Condition(
        ScanRequest request,
        DbConnection connection,
        DbTransaction snapshot
    )
    {
        var values = new List<(string, object)>();
        var conditions = request.Patients.Select((patient, i) => Subject(Is(patient, i, values))).ToList();
        var meant =
            conditions.Count > 0 ? $"and ({string.Join(" or ", conditions)})"
            : request.OnlyOfPatients ? $"and {Subject("1 = 1")}"
            : "";
        if (request.Within.Count == 0)
            return (meant, values);
        // What words stand for is looked up for each page: a set of codings that is new since the last one is known to this.
        var query = new SearchQuery(IndexedTypes.Find(request.Type)!, request.Within, [], 1);
        var sql = new SearchSql(query, SearchKeys.Of(query, connection, snapshot, CancellationToken.None).GetAwaiter().GetResult());
        values.AddRange(sql.Values.ParameterNames.Select(name => (name, sql.Values.Get<object>(name))));
        return ($"{meant} and {sql.Conditions}", values);
    }

    /// <summary>A condition on a member of a set of references: it names a patient.</summary>
    private static string Is(ScannedPatient patient, int number, List<(string Name, object Value)> values)
    {
        if (patient.Reference is { } reference)
        {
            values.Add(($"reference{number}", reference));
            return $"m.reference <> '' and m.reference = @reference{number}";
        }

        values.AddRange([($"system{number}", patient.System), ($"value{number}", patient.Value)]);
        return $"m.value <> '' and m.value = @value{number} and m.system = @system{number}";
    }

    /// <summary>A condition on whom a resource is about.</summary>
    private static string Subject(string condition) =>
        $"""
            exists (select 1 from reference_set_member m where m.patient = r.patient and m.number = r.about
                and m.parameter = '{PatientPartition.Subject}' and {condition})
            """;

    /// <summary>
    /// A page of all is a walk along the ids. That of some patients is what they hold, put in order: a plus keeps SQLite from walking along
    /// the ids of everybody for that.
    /// </summary>
    internal static string PageSql(ScanRequest request, string condition)
    {
        if (request.Patients.Count == 0)
            return $"{OfType} and r.id > @after and r.last_updated > @since {condition} order by r.id limit 1001";
        var partitions = request.Patients.Select(
            (patient, i) =>
                $"select m.patient from reference_set_member m where m.parameter = '{PatientPartition.Subject}' and {Is(patient, i, [])}"
        );
        return $"""
            select r.id, r.version_id, r.last_updated, v.json
            from (
                select r.type, r.id, r.version_id, r.last_updated, r.patient, r.number
                from resource r
                where r.patient in ({string.Join(" union all ", partitions)}) and r.type = @type
                    and +r.id > @after and +r.last_updated > @since {condition}
                order by +r.id limit 1001
            ) r cross join resource_version v
            where {StoredResource.Version}
            order by r.id
            """;
    }

    private const string OfType = $"select r.id, r.version_id, r.last_updated, v.json from {StoredResource.From} and r.type = @type";

    private const string HistorySql = $"select id, version_id, at, json from ({ResourceStore.AllVersions} and v.at <= @fence limit 1)";
}

/// <summary>Some resources.</summary>
/// <param name="Resources">In the order of their ids.</param>
/// <param name="UpTo">The id that it came to: the next page goes on behind it.</param>
/// <param name="IsLast">Whether there is none behind it.</param>
internal sealed record ScanPage(IReadOnlyList<ScannedResource> Resources, string UpTo, bool IsLast);
