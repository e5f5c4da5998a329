using System.Data.Common;
using Dapper;
using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>How the current version of a resource is read: <c>r</c> is its row, <c>v</c> that of its version.</summary>
internal static class StoredResource
{
    /// <summary>The columns that <see cref="Read"/> takes, first in a row.</summary>
    public const string Columns = $"{Keys}, v.json";

    /// <summary>What tells a version, and where its JSON is.</summary>
    public const string Keys = "r.type, r.id, r.version_id, r.last_updated, r.patient, r.number";

    /// <summary>Both rows; a condition on the first follows behind an "and".</summary>
    public const string From = $"resource r cross join resource_version v where {Version}";

    /// <summary>Which version is the current one.</summary>
    public const string Version = "v.at = r.last_updated and v.patient = r.patient and v.type = r.type and v.number = r.number";

    /// <summary>All rows of a statement whose columns are <see cref="Columns"/>.</summary>
    public static async Task<IReadOnlyList<ResourceVersion>> All(
        DbConnection connection,
        DbTransaction? snapshot,
        string sql,
        object values,
        CancellationToken stop
    )
    {
        await using var rows = await connection.ExecuteReaderAsync(new CommandDefinition(sql, values, snapshot, cancellationToken: stop));
        var all = new List<ResourceVersion>();
        while (await rows.ReadAsync(stop))
            all.Add(Read(rows));
        return all;
    }

    /// <summary>A row of <see cref="Columns"/>.</summary>
    public static ResourceVersion Read(DbDataReader row) =>
        new(
            IndexedTypes.NameOf(row.GetInt64(0)),
            row.GetString(1),
            row.GetInt64(2),
            UnixNanoseconds.ToInstant(row.GetInt64(3)),
            StoredJson.Unpack((byte[])row[6])
        );
}
