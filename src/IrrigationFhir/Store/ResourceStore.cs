using Dapper;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>Reads stored resources: the current version, an old one, all of them, and searches.</summary>
internal sealed class ResourceStore(Database database)
{
    /// <summary>The current version, or null.</summary>
    public Task<ResourceVersion?> Read(string type, string id, CancellationToken stop) => Single(
        "select type as Type, id as Id, version_id as VersionId, last_updated as LastUpdated, json as Json from resource where type = @type and id = @id",
        new { type, id },
        stop);

    /// <summary>That version, current or not, or null.</summary>
    public Task<ResourceVersion?> VersionRead(string type, string id, long versionId, CancellationToken stop) => Single(
        $"{AllVersions} where v.VersionId = @versionId",
        new { type, id, versionId },
        stop);

    /// <summary>Versions of one resource, newest first.</summary>
    /// <param name="type">FHIR type name.</param>
    /// <param name="id">Logical id.</param>
    /// <param name="count">Most versions wanted.</param>
    /// <param name="since">Only versions stored at or after this; null for all.</param>
    /// <param name="before">Only versions before this one, for the next page; null from the newest.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<IReadOnlyList<ResourceVersion>> History(string type, string id, int count, Instant? since, long? before, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<Stored>(new CommandDefinition(
            $"{AllVersions} where v.LastUpdated >= @since and v.VersionId < @before order by v.VersionId desc limit @count",
            new { type, id, count, since = since is { } given ? UnixNanoseconds.Nearest(given) : long.MinValue, before = before ?? long.MaxValue },
            cancellationToken: stop));
        return [.. rows.Select(row => row.ToVersion())];
    }

    /// <summary>One page of a search; page and total are of the same moment.</summary>
    public async Task<SearchPage> Search(SearchQuery query, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        await using var snapshot = await connection.BeginTransactionAsync(stop);
        var sql = new SearchSql(query);
        long? total = query.WithTotal || query.Count == 0
            ? await connection.ExecuteScalarAsync<long>(new CommandDefinition(sql.Total(), sql.Values, snapshot, cancellationToken: stop))
            : null;
        if (query.Count == 0)
            return new([], null, total);

        var rows = (await connection.QueryAsync<Stored>(new CommandDefinition(sql.Page(), sql.Values, snapshot, cancellationToken: stop))).AsList();
        var more = rows.Count > query.Count;
        if (more)
            rows.RemoveAt(query.Count);
        return new([.. rows.Select(row => row.ToVersion())], more ? new(rows[^1].SortKey, rows[^1].Id) : null, total);
    }

    /// <summary>How many of our own resources failed their profile and wait unpublished.</summary>
    public async Task<long> CountWithheld(CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return await connection.ExecuteScalarAsync<long>(new CommandDefinition("select count(*) from withheld", cancellationToken: stop));
    }

    private const string AllVersions =
        """
        select v.* from (
            select type as Type, id as Id, version_id as VersionId, last_updated as LastUpdated, json as Json from resource where type = @type and id = @id
            union all
            select type, id, version_id, last_updated, json from resource_history where type = @type and id = @id) v
        """;

    private async Task<ResourceVersion?> Single(string sql, object values, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var row = await connection.QuerySingleOrDefaultAsync<Stored>(new CommandDefinition(sql, values, cancellationToken: stop));
        return row?.ToVersion();
    }

    private sealed class Stored
    {
        public string Type { get; set; } = "";

        public string Id { get; set; } = "";

        public long VersionId { get; set; }

        public long LastUpdated { get; set; }

        public string Json { get; set; } = "";

        public long SortKey { get; set; }

        public ResourceVersion ToVersion() => new(Type, Id, VersionId, UnixNanoseconds.ToInstant(LastUpdated), Json);
    }
}
