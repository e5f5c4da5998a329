using Dapper;
using IrrigationFhir.Search;
using IrrigationFhir.Store.Sqlite;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>Reads stored resources: the current version, an old one, all of them, and searches.</summary>
internal sealed class ResourceStore(Database database)
{
    /// <summary>The current version, or null.</summary>
    public async Task<ResourceVersion?> Read(string type, string id, CancellationToken stop) =>
        (
            await All(
                $"select {StoredResource.Columns} from {StoredResource.From} and r.type = @type and r.id = @id",
                new { type = IndexedTypes.NumberOf(type), id },
                stop
            )
        ).SingleOrDefault();

    /// <summary>The current version, or null where there is none that meets some conditions.</summary>
    public async Task<ResourceVersion?> Read(IndexedType type, string id, IReadOnlyList<SearchCriterion> within, CancellationToken stop) =>
        within.Count == 0
            ? await Read(type.Name, id, stop)
            : (await Search(new(type, [new SearchCriterion.Ids([id]), .. within], [], 1), stop)).Resources.SingleOrDefault();

    /// <summary>That version, current or not, or null.</summary>
    public async Task<ResourceVersion?> VersionRead(string type, string id, long versionId, CancellationToken stop) =>
        (
            await All(
                $"{AllVersions} and v.version_id = @versionId limit 1",
                new
                {
                    type = IndexedTypes.NumberOf(type),
                    id,
                    versionId,
                },
                stop
            )
        ).SingleOrDefault();

    /// <summary>Versions of one resource, newest first.</summary>
    /// <param name="type">FHIR type name.</param>
    /// <param name="id">Logical id.</param>
    /// <param name="count">Most versions wanted.</param>
    /// <param name="since">Only versions stored at or after this; null for all.</param>
    /// <param name="before">Only versions before this one, for the next page; null from the newest.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<IReadOnlyList<ResourceVersion>> History(
        string type,
        string id,
        int count,
        Instant? since,
        long? before,
        CancellationToken stop
    )
    {
        var found = await All(
            $"{AllVersions} and v.at >= @since and v.version_id < @before limit @count",
            new
            {
                type = IndexedTypes.NumberOf(type),
                id,
                count,
                since = since is { } given ? UnixNanoseconds.Nearest(given) : long.MinValue,
                before = before ?? long.MaxValue,
            },
            stop
        );
        return [.. found.OrderByDescending(version => version.VersionId)];
    }

    /// <summary>Versions of all resources of a type, latest stored first; between those stored together the id decides.</summary>
    /// <param name="type">FHIR type name.</param>
    /// <param name="count">Most versions wanted.</param>
    /// <param name="since">Only versions stored at or after this; null for all.</param>
    /// <param name="before">The last version of the page before; null from the latest.</param>
    /// <param name="within">What the resources have to meet as they are now.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<IReadOnlyList<ResourceVersion>> TypeHistory(
        IndexedType type,
        int count,
        Instant? since,
        (Instant LastUpdated, string Id)? before,
        IReadOnlyList<SearchCriterion> within,
        CancellationToken stop
    )
    {
        await using var connection = database.OpenForReading();
        var query = new SearchQuery(type, within, [], count);
        var sql = new SearchSql(query, await SearchKeys.Of(query, connection, null, stop));
        sql.Values.AddDynamicParams(
            new
            {
                type = type.Number,
                count,
                since = since is { } given ? UnixNanoseconds.Nearest(given) : long.MinValue,
                stored = before is { } last ? UnixNanoseconds.Of(last.LastUpdated) : long.MaxValue,
                id = before?.Id ?? "",
            }
        );
        return await StoredResource.All(
            connection,
            null,
            $"{TypeHistorySql}{(within.Count == 0 ? "" : $" and {sql.Conditions}")} {TypeHistoryOrder}",
            sql.Values,
            stop
        );
    }

    /// <summary>One page of a search; page, total and what comes along are of the same moment.</summary>
    public async Task<SearchPage> Search(SearchQuery query, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        using var bounded = Dialect.Bound(connection, Database.LongestQuery, stop);
        await using var snapshot = await connection.BeginTransactionAsync(stop);
        Dialect.UseStoredJson(connection);
        var sql = new SearchSql(query, await SearchKeys.Of(query, connection, snapshot, stop));
        long? total =
            query.WithTotal || query.Count == 0
                ? await connection.ExecuteScalarAsync<long>(
                    new CommandDefinition(sql.Total(), sql.Values, snapshot, cancellationToken: stop)
                )
                : null;
        if (query.Count == 0)
            return new([], null, total, [], true);

        var text = sql.PageWithJson();
        var keys = query.Keys.Count;
        var found = new List<ResourceVersion>();
        SearchPosition? next = null;
        await using (
            var rows = await connection.ExecuteReaderAsync(new CommandDefinition(text, sql.Values, snapshot, cancellationToken: stop))
        )
        {
            SearchPosition? position = null;
            while (await rows.ReadAsync(stop))
            {
                if (found.Count == query.Count)
                {
                    next = position;
                    break;
                }

                found.Add(StoredResource.Read(rows));
                position = new([.. Enumerable.Range(7, keys).Select(rows.GetValue)], rows.GetString(1));
            }
        }

        var (included, all) = await new Inclusions(connection, snapshot, query, stop).Follow(found);
        return new(found, next, total, included, all);
    }

    /// <summary>Of the matches of a search the latest ones of each code, latest first; codes in the order of their latest.</summary>
    /// <param name="query">Which Observations; its order and count play no part.</param>
    /// <param name="most">How many of each code. All that happened at the same time as the last one of them come too.</param>
    /// <param name="stop">Gives up.</param>
    /// <remarks>
    /// Two have the same code when their codings are the same, whatever the order. The latest is the one whose time ends last; what
    /// has no end yet comes before that, and what has no time at all comes last.
    /// </remarks>
    public async Task<IReadOnlyList<ResourceVersion>> Latest(SearchQuery query, int most, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        using var bounded = Dialect.Bound(connection, Database.LongestQuery, stop);
        await using var snapshot = await connection.BeginTransactionAsync(stop);
        Dialect.UseStoredJson(connection);
        var sql = new SearchSql(query, await SearchKeys.Of(query, connection, snapshot, stop));
        var rows = await connection.QueryAsync<Dated>(new CommandDefinition(sql.Codes(), sql.Values, snapshot, cancellationToken: stop));
        var ids = rows.GroupBy(row => row.Codes)
            .Select(group => group.OrderByDescending(row => row.At).ThenBy(row => row.Id, StringComparer.Ordinal).ToList())
            .OrderByDescending(group => group[0].At)
            .SelectMany(group => group.Where(row => row.At.CompareTo(group[Math.Min(most, group.Count) - 1].At) >= 0))
            .Select(row => row.Id)
            .ToList();

        var found = new Dictionary<string, ResourceVersion>();
        foreach (var some in ids.Chunk(Inclusions.AtOnce))
        {
            foreach (
                var version in await StoredResource.All(
                    connection,
                    snapshot,
                    $"select {StoredResource.Columns} from {StoredResource.From} and r.type = @type and r.id in @some",
                    new { type = query.Type.Number, some },
                    stop
                )
            )
            {
                found.Add(version.Id, version);
            }
        }

        return [.. ids.Select(id => found[id])];
    }

    /// <summary>Whether any resource of that type is about that patient, of those that meet some conditions.</summary>
    public async Task<bool> IsKnown(
        IndexedType type,
        ReferenceTest patient,
        IReadOnlyList<SearchCriterion> within,
        CancellationToken stop
    ) => (await Search(new(type, [new SearchCriterion.Subject([patient]), .. within], [], 1), stop)).Resources.Count > 0;

    /// <summary>How many of our own resources failed their profile and wait unpublished.</summary>
    public async Task<long> CountWithheld(CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return await connection.ExecuteScalarAsync<long>(new CommandDefinition("select count(*) from withheld", cancellationToken: stop));
    }

    /// <summary>In the order of storing; the id decides between what was stored together.</summary>
    internal const string TypeHistorySql = """
        select v.type, r.id, v.version_id, v.at, v.patient, v.number, v.json
        from resource_version v cross join resource r
        where v.type = @type and v.at >= @since and v.at <= @stored and r.patient = v.patient and r.number = v.number
            and (v.at < @stored or r.id < @id)
        """;

    /// <summary>Behind <see cref="TypeHistorySql"/>, and conditions on <c>r</c>.</summary>
    internal const string TypeHistoryOrder = "order by v.at desc, r.id desc limit @count";

    /// <summary>From the current version back, one after the other: each knows when the one before it was stored.</summary>
    /// <remarks>As many steps as are asked for. A condition follows behind an "and".</remarks>
    internal const string AllVersions = """
        with recursive chain (id, patient, type, number, at) as (
            select id, patient, type, number, last_updated from resource where type = @type and id = @id
            union all
            select c.id, c.patient, c.type, c.number, w.version_before
            from chain c cross join resource_version w
            where w.at = c.at and w.patient = c.patient and w.type = c.type and w.number = c.number and w.version_before is not null)
        select c.type, c.id, v.version_id, v.at, c.patient, c.number, v.json
        from chain c cross join resource_version v
        where v.at = c.at and v.patient = c.patient and v.type = c.type and v.number = c.number
        """;

    private async Task<IReadOnlyList<ResourceVersion>> All(string sql, object values, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return await StoredResource.All(connection, null, sql, values, stop);
    }

    private sealed class Dated
    {
        public string Id { get; set; } = "";

        public long DateFrom { get; set; }

        public long? DateTo { get; set; }

        public long Codes { get; set; }

        public (long To, long From) At => (DateTo ?? long.MinValue, DateFrom);
    }
}
