using Dapper;
using IrrigationFhir.Search;
using IrrigationFhir.Store.Sqlite;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>Reads stored resources: the current version, an old one, all of them, and searches.</summary>
internal sealed class ResourceStore(Database database)
{
    /// <summary>The current version, or null.</summary>
    public Task<ResourceVersion?> Read(string type, string id, CancellationToken stop) =>
        Single($"select {SearchSql.Columns} from resource r where r.type = @type and r.id = @id", new { type, id }, stop);

    /// <summary>That version, current or not, or null.</summary>
    public Task<ResourceVersion?> VersionRead(string type, string id, long versionId, CancellationToken stop) =>
        Single(
            $"{AllVersions} where v.VersionId = @versionId",
            new
            {
                type,
                id,
                versionId,
            },
            stop
        );

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
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<Stored>(
            new CommandDefinition(
                $"{AllVersions} where v.LastUpdated >= @since and v.VersionId < @before order by v.VersionId desc limit @count",
                new
                {
                    type,
                    id,
                    count,
                    since = since is { } given ? UnixNanoseconds.Nearest(given) : long.MinValue,
                    before = before ?? long.MaxValue,
                },
                cancellationToken: stop
            )
        );
        return [.. rows.Select(row => row.ToVersion())];
    }

    /// <summary>Versions of all resources of a type, latest stored first; between those stored together the id decides.</summary>
    /// <param name="type">FHIR type name.</param>
    /// <param name="count">Most versions wanted.</param>
    /// <param name="since">Only versions stored at or after this; null for all.</param>
    /// <param name="before">The last version of the page before; null from the latest.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<IReadOnlyList<ResourceVersion>> TypeHistory(
        string type,
        int count,
        Instant? since,
        (Instant LastUpdated, string Id)? before,
        CancellationToken stop
    )
    {
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<Stored>(
            new CommandDefinition(
                TypeHistorySql,
                new
                {
                    type,
                    count,
                    since = since is { } given ? UnixNanoseconds.Nearest(given) : long.MinValue,
                    stored = before is { } last ? UnixNanoseconds.Of(last.LastUpdated) : long.MaxValue,
                    id = before?.Id ?? "",
                },
                cancellationToken: stop
            )
        );
        return [.. rows.Select(row => row.ToVersion())];
    }

    /// <summary>One page of a search; page, total and what comes along are of the same moment.</summary>
    public async Task<SearchPage> Search(SearchQuery query, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        using var bounded = Dialect.Bound(connection, Database.LongestQuery, stop);
        await using var snapshot = await connection.BeginTransactionAsync(stop);
        var sql = new SearchSql(query);
        long? total =
            query.WithTotal || query.Count == 0
                ? await connection.ExecuteScalarAsync<long>(
                    new CommandDefinition(sql.Total(), sql.Values, snapshot, cancellationToken: stop)
                )
                : null;
        if (query.Count == 0)
            return new([], null, total, [], true);

        var text = sql.Page();
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

                found.Add(
                    new(
                        rows.GetString(0),
                        rows.GetString(1),
                        rows.GetInt64(2),
                        UnixNanoseconds.ToInstant(rows.GetInt64(3)),
                        rows.GetString(4)
                    )
                );
                position = new([.. Enumerable.Range(5, keys).Select(rows.GetValue)], rows.GetString(1));
            }
        }

        var (included, all) = await new Inclusions(connection, snapshot, query.Includes ?? [], query.MostIncluded, stop).Follow(found);
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
        var sql = new SearchSql(query);
        var rows = await connection.QueryAsync<Dated>(new CommandDefinition(sql.Codes(), sql.Values, snapshot, cancellationToken: stop));
        var ids = rows.GroupBy(row => row.Id)
            .Select(row =>
                (
                    Id: row.Key,
                    At: (To: row.First().DateTo ?? long.MinValue, From: row.First().DateFrom),
                    Code: string.Join('\u001f', row.Select(coding => $"{coding.System}|{coding.Code}"))
                )
            )
            .GroupBy(row => row.Code)
            .Select(group => group.OrderByDescending(row => row.At).ThenBy(row => row.Id, StringComparer.Ordinal).ToList())
            .OrderByDescending(group => group[0].At)
            .SelectMany(group => group.Where(row => row.At.CompareTo(group[Math.Min(most, group.Count) - 1].At) >= 0))
            .Select(row => row.Id)
            .ToList();

        var found = new Dictionary<string, ResourceVersion>();
        foreach (var some in ids.Chunk(Inclusions.AtOnce))
        {
            foreach (
                var row in await connection.QueryAsync<Stored>(
                    new CommandDefinition(
                        $"select {SearchSql.Columns} from resource r where r.type = @type and r.id in @some",
                        new { type = query.Type.Name, some },
                        snapshot,
                        cancellationToken: stop
                    )
                )
            )
            {
                found.Add(row.Id, row.ToVersion());
            }
        }

        return [.. ids.Select(id => found[id])];
    }

    /// <summary>Whether any resource of that type is about that patient.</summary>
    public async Task<bool> IsKnown(IndexedType type, ReferenceTest patient, CancellationToken stop) =>
        (await Search(new(type, [new SearchCriterion.Subject([patient])], [], 1), stop)).Resources.Count > 0;

    /// <summary>How many of our own resources failed their profile and wait unpublished.</summary>
    public async Task<long> CountWithheld(CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return await connection.ExecuteScalarAsync<long>(new CommandDefinition("select count(*) from withheld", cancellationToken: stop));
    }

    /// <summary>Each half by its own index, and no more of it than the page can take.</summary>
    internal static string TypeHistorySql =>
        $"""
            select v.* from ({Latest("resource")} union all {Latest("resource_history")}) v
            order by v.LastUpdated desc, v.Id desc limit @count
            """;

    private static string Latest(string table) =>
        $"""
            select * from (select {SearchSql.Columns} from {table} r
                where r.type = @type and r.last_updated >= @since and (r.last_updated, r.id) < (@stored, @id)
                order by r.last_updated desc, r.id desc limit @count)
            """;

    private const string AllVersions = """
        select v.* from (
            select type as Type, id as Id, version_id as VersionId, last_updated as LastUpdated, json as Json
            from resource where type = @type and id = @id
            union all
            select type, id, version_id, last_updated, json from resource_history where type = @type and id = @id) v
        """;

    private async Task<ResourceVersion?> Single(string sql, object values, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var row = await connection.QuerySingleOrDefaultAsync<Stored>(new CommandDefinition(sql, values, cancellationToken: stop));
        return row?.ToVersion();
    }

    private sealed class Dated
    {
        public string Id { get; set; } = "";

        public long DateFrom { get; set; }

        public long? DateTo { get; set; }

        public string? System { get; set; }

        public string? Code { get; set; }
    }

    internal sealed class Stored
    {
        public string Type { get; set; } = "";

        public string Id { get; set; } = "";

        public long VersionId { get; set; }

        public long LastUpdated { get; set; }

        public string Json { get; set; } = "";

        public ResourceVersion ToVersion() => new(Type, Id, VersionId, UnixNanoseconds.ToInstant(LastUpdated), Json);
    }
}
