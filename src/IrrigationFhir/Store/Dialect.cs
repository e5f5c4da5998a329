using System.Data.Common;
using System.Reflection;
using DbUp;
using DbUp.Builder;
using DbUp.Engine;
using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Store;

/// <summary>Everything that is particular to SQLite; the SQL elsewhere is common to SQLite and PostgreSQL.</summary>
/// <remarks>
/// Write-ahead logging lets readers go on while one connection writes. With it, only <c>synchronous=FULL</c> makes a commit
/// survive a loss of power (https://www.sqlite.org/pragma.html#pragma_synchronous), and what was acknowledged must survive.
/// </remarks>
internal static class Dialect
{
    private const string FileName = "irrigation.db";

    // 32 MiB of pages in memory, savepoints undone from memory, and the log copied back every 32 MiB. Measured on two shared
    // cores with 32 writers, one entry and two new resource versions in each change: without these, 40 % more system time.
    private const string Tuning = "pragma cache_size = -32768; pragma temp_store = memory; pragma wal_autocheckpoint = 8000;";

    /// <summary>The connection for writing; the process keeps one, because SQLite allows one writer at a time.</summary>
    public static DbConnection OpenForWriting(string folder)
    {
        var connection = new SqliteConnection(Builder(folder, SqliteOpenMode.ReadWriteCreate, pooling: false));
        connection.Open();
        Run(connection, "pragma journal_mode = wal; pragma synchronous = full;" + Tuning);
        return connection;
    }

    /// <summary>A connection for reading, from the pool.</summary>
    public static DbConnection OpenForReading(string folder)
    {
        var connection = new SqliteConnection(Builder(folder, SqliteOpenMode.ReadOnly, pooling: true));
        connection.Open();
        return connection;
    }

    /// <summary>A transaction that takes the right to write at once, so that it cannot fail half-way for want of it.</summary>
    public static DbTransaction BeginWriting(DbConnection connection) => ((SqliteConnection)connection).BeginTransaction(deferred: false);

    /// <summary>A condition: some display or text at a path of a resource has a word that begins so. No index serves it.</summary>
    /// <param name="json">The column of the resource.</param>
    /// <param name="path">Element names from the resource down, such as <c>component.code</c>; each may repeat.</param>
    /// <param name="pattern">The value's name; the value is <see cref="WordBegins"/>.</param>
    public static string HasWord(string json, string path, string pattern)
    {
        var names = path.Split('.');
        return $"exists (select 1 from json_tree({json}, '$.{names[0]}') t where t.key in ('display', 'text') and t.type = 'text'" +
            $" and t.fullkey like '$.{string.Join("%.", names)}%' and (' ' || t.atom) like {pattern} escape '\\')";
    }

    /// <summary>The pattern for <see cref="HasWord"/>. Letters compare without regard to case, as far as they are ASCII.</summary>
    public static string WordBegins(string text) =>
        "% " + text.Replace(@"\", @"\\", StringComparison.Ordinal).Replace("%", @"\%", StringComparison.Ordinal).Replace("_", @"\_", StringComparison.Ordinal) + "%";

    /// <summary>A condition: every filter, of a JSON array of objects with a parameter <c>p</c> and the values <c>any</c>, has a value among the attributes, a JSON array of <c>parameter value</c>.</summary>
    public static string Passes(string filters, string attributes) =>
        $"not exists (select 1 from json_each({filters}) f where not exists (select 1 from json_each(f.value, '$.any') a join json_each({attributes}) t on t.value = (f.value ->> 'p') || ' ' || a.value))";

    /// <summary>A condition: a value is among those of a JSON array.</summary>
    public static string Among(string value, string array) => $"{value} in (select value from json_each({array}))";

    /// <summary>Brings the schema up to date.</summary>
    /// <exception cref="InvalidOperationException">A script failed; the inner exception says how.</exception>
    public static void Migrate(string folder)
    {
        Directory.CreateDirectory(folder);
        // Opens once with write-ahead logging, so that the file is in that mode before anyone else meets it.
        OpenForWriting(folder).Dispose();

        UpgradeEngineBuilder upgrade = DeployChanges.To
            .SqliteDatabase(Builder(folder, SqliteOpenMode.ReadWriteCreate, pooling: false))
            .WithScriptsEmbeddedInAssembly(Assembly.GetExecutingAssembly(), name => name.Contains(".Store.Schema.sqlite.", StringComparison.Ordinal))
            .WithTransactionPerScript()
            .LogToNowhere();
        DatabaseUpgradeResult result = upgrade.Build().PerformUpgrade();
        if (!result.Successful)
            throw new InvalidOperationException("The database schema could not be brought up to date.", result.Error);
    }

    /// <summary>Forgets pooled connections of that folder, so that its files can be moved or deleted.</summary>
    public static void ReleasePool(string folder)
    {
        using var connection = new SqliteConnection(Builder(folder, SqliteOpenMode.ReadOnly, pooling: true));
        SqliteConnection.ClearPool(connection);
    }

    private static string Builder(string folder, SqliteOpenMode mode, bool pooling) => new SqliteConnectionStringBuilder
    {
        DataSource = Path.Combine(folder, FileName),
        Mode = mode,
        Pooling = pooling,
        ForeignKeys = true,
        // Seconds that a statement waits for another process's lock, such as a backup's.
        DefaultTimeout = 30,
    }.ConnectionString;

    private static void Run(SqliteConnection connection, string sql)
    {
        using var command = connection.CreateCommand();
        command.CommandText = sql;
        command.ExecuteNonQuery();
    }
}
