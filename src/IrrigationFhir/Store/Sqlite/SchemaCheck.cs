using System.Text.RegularExpressions;
using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>Compares what a store holds with what the shipped scripts make of an empty one: tables, their columns, and indexes.</summary>
/// <remarks>
/// The texts that SQLite keeps of each table and index are compared, without comments and white space. That is strict: also a column
/// in another place, or an index that somebody added by hand, is a difference, because statements here rely on the one and upgrades
/// would meet the other.
/// </remarks>
internal static partial class SchemaCheck
{
    private static readonly Lazy<Dictionary<(string Type, string Name), string>> Expected = new(() =>
    {
        using var empty = Made(Migration.Shipped);
        return Of(empty);
    });

    /// <summary>Every difference in words, such as "index outbox_by_time is missing"; empty when there is none.</summary>
    /// <param name="store">An open connection; inside a transaction it sees what that did.</param>
    public static IReadOnlyList<string> Differences(SqliteConnection store)
    {
        var there = Of(store);
        var missing = Expected.Value.Keys.Except(there.Keys).ToList();
        var foreign = there.Keys.Except(Expected.Value.Keys).ToList();
        var other = Expected.Value.Keys.Intersect(there.Keys).Where(key => Expected.Value[key] != there[key]).ToList();
        return
        [
            .. missing.Select(key => $"{key.Type} {key.Name} is missing"),
            .. foreign.Select(key => $"{key.Type} {key.Name} is not known here"),
            .. other.SelectMany(key => key.Type == "table" ? Columns(store, key.Name) : [$"{key.Type} {key.Name} is not as it should be"]),
        ];
    }

    /// <summary>An empty database in memory, as scripts make it.</summary>
    public static SqliteConnection Made(IEnumerable<ShippedScript> scripts)
    {
        var empty = new SqliteConnection("Data Source=:memory:;Pooling=False");
        empty.Open();
        foreach (var script in scripts)
            Dialect.Run(empty, script.Sql);
        WideRows.Drop(empty);
        return empty;
    }

    private static Dictionary<(string Type, string Name), string> Of(SqliteConnection store) =>
        Dialect
            .Rows(
                store,
                // What SQLite keeps for itself has no text or begins so; the journal of the scripts belongs to DbUp.
                $"""
                select type, name, sql from sqlite_master
                where sql is not null and name not like 'sqlite%' and name <> '{Migration.JournalTable}'
                """,
                row => (Key: (row.GetString(0), row.GetString(1)), Sql: Normalised(row.GetString(2)))
            )
            .ToDictionary(row => row.Key, row => row.Sql);

    /// <summary>Where a table differs, column by column; that it differs, where the columns do not tell.</summary>
    private static List<string> Columns(SqliteConnection store, string table)
    {
        using var empty = Made(Migration.Shipped);
        var expected = ColumnsOf(empty, table);
        var there = ColumnsOf(store, table);
        List<string> differences =
        [
            .. expected.Keys.Except(there.Keys).Select(column => $"column {table}.{column} is missing"),
            .. there.Keys.Except(expected.Keys).Select(column => $"column {table}.{column} is not known here"),
            .. expected
                .Keys.Intersect(there.Keys)
                .Where(column => expected[column] != there[column])
                .Select(column => $"column {table}.{column} is {there[column]}, and should be {expected[column]}"),
        ];
        return differences.Count > 0 ? differences : [$"table {table} is not as it should be"];
    }

    private static Dictionary<string, string> ColumnsOf(SqliteConnection store, string table) =>
        Dialect
            .Rows(
                store,
                $"""
                select name, lower(type) || iif("notnull", ' not null', '') || iif(pk > 0, ' in the primary key', '')
                from pragma_table_xinfo('{table}')
                """,
                row => (Name: row.GetString(0), Text: row.GetString(1))
            )
            .ToDictionary(row => row.Name, row => row.Text);

    private static string Normalised(string sql) => WhiteSpace().Replace(Comment().Replace(sql, " "), "").ToUpperInvariant();

    [GeneratedRegex("--[^\n]*")]
    private static partial Regex Comment();

    [GeneratedRegex(@"\s+")]
    private static partial Regex WhiteSpace();
}
