using System.Data.Common;
using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>Everything that is particular to SQLite; the SQL elsewhere is common to SQLite and PostgreSQL.</summary>
/// <remarks>
/// Write-ahead logging lets readers go on while one connection writes. With it, only <c>synchronous=FULL</c> makes a commit
/// survive a loss of power (https://www.sqlite.org/pragma.html#pragma_synchronous), and what was acknowledged must survive.
/// </remarks>
internal static class Dialect
{
    /// <summary>What the database file is called; beside it lie <c>-wal</c>, what is not yet in it, and <c>-shm</c>.</summary>
    public const string FileName = "irrigation.db";

    /// <summary>The system of an episode's identifier, as the unique index has it: no other spelling is served by that.</summary>
    public const string IdentifierSystem = "ifnull(identifier_system, '')";

    /// <summary>Where an episode's description says the address of its patient, as the index has it.</summary>
    public const string PatientAddress = "json_extract(json, '$.patient.reference')";

    /// <summary>Bytes of a page in a store that is begun now.</summary>
    public const int PageSize = 2048;

    // 32 MiB of pages in memory, savepoints undone from memory, and the log copied back every 32 MiB. Measured on two shared
    // cores with 32 writers, one entry and two new resource versions in each change: without these, 40 % more system time.
    private const string Tuning =
        "pragma cache_size = -32768; pragma temp_store = memory; pragma wal_autocheckpoint = 16000;"
        // Twice the log that the line above allows: what a long reader let it grow beyond that is given back to the disk.
        + "pragma journal_size_limit = 67108864;";

    /// <summary>The connection for writing; the process keeps one, because SQLite allows one writer at a time.</summary>
    public static DbConnection OpenForWriting(string folder)
    {
        // Never made here: a file that vanished while it was served is missed, and not begun anew.
        var connection = Open(FileIn(folder), SqliteOpenMode.ReadWrite);
        Run(connection, "pragma journal_mode = wal; pragma synchronous = full;" + Tuning);
        return connection;
    }

    /// <summary>Opens a database file, outside the pool.</summary>
    public static SqliteConnection Open(string file, SqliteOpenMode mode)
    {
        var connection = new SqliteConnection(Connection(file, mode, pooling: false));
        connection.Open();
        return connection;
    }

    /// <summary>The database file of a folder.</summary>
    public static string FileIn(string folder) => Path.Combine(folder, FileName);

    /// <summary>Puts a file into write-ahead logging, so that it is in that mode before anyone else meets it.</summary>
    public static void UseWriteAheadLog(string file)
    {
        using var connection = Open(file, SqliteOpenMode.ReadWrite);
        Run(connection, "pragma journal_mode = wal");
    }

    /// <summary>Begins a database file, in write-ahead logging.</summary>
    /// <remarks>
    /// A commit writes whole pages, and what an entry changes is small and lies apart: pages of half the usual size halve what it writes.
    /// A store that was begun with another size keeps it.
    /// </remarks>
    public static void Begin(string file)
    {
        using var connection = Open(file, SqliteOpenMode.ReadWriteCreate);
        Run(connection, $"pragma page_size = {PageSize}; pragma journal_mode = wal");
    }

    /// <summary>Moves everything that is committed from the log into the database file and empties the log.</summary>
    /// <returns>False when a reader still needs the log: then part of it, or nothing, was moved.</returns>
    public static bool Checkpoint(DbConnection writing) =>
        Rows((SqliteConnection)writing, "pragma wal_checkpoint(truncate)", row => row.GetInt64(0)) is [0];

    /// <summary>Makes sure that a file is on the disk.</summary>
    public static void Flush(string file)
    {
        using var stream = new FileStream(file, FileMode.Open, FileAccess.ReadWrite, FileShare.ReadWrite);
        stream.Flush(flushToDisk: true);
    }

    /// <summary>A connection for reading, from the pool.</summary>
    public static DbConnection OpenForReading(string folder)
    {
        var connection = new SqliteConnection(Connection(FileIn(folder), SqliteOpenMode.ReadOnly, pooling: true));
        connection.Open();
        return connection;
    }

    /// <summary>A transaction that takes the right to write at once, so that it cannot fail half-way for want of it.</summary>
    public static DbTransaction BeginWriting(DbConnection connection) => ((SqliteConnection)connection).BeginTransaction(deferred: false);

    /// <summary>Compiles a statement that changes rows.</summary>
    public static WriteStatement Prepare(DbConnection connection, string sql, ReadOnlySpan<(string Name, object? Value)> values) =>
        new((SqliteConnection)connection, sql, values);

    /// <summary>What a failure of the engine means; null for one that is no matter of disk or file but of what was asked.</summary>
    /// <remarks>Result codes: https://www.sqlite.org/rescode.html.</remarks>
    public static StoreFailure? FailureOf(Exception failure) =>
        failure switch
        {
            StoreFailure known => known,
            SqliteException { SqliteErrorCode: 13 } full => new(StoreTrouble.Full, full.SqliteExtendedErrorCode, full),
            SqliteException { SqliteErrorCode: 3 or 8 or 14 or 23 } shut => new(
                StoreTrouble.NotWritable,
                shut.SqliteExtendedErrorCode,
                shut
            ),
            SqliteException { SqliteErrorCode: 11 or 26 } damaged => new(StoreTrouble.Damaged, damaged.SqliteExtendedErrorCode, damaged),
            SqliteException { SqliteErrorCode: 5 or 6 or 10 or 15 } other => new(
                StoreTrouble.Unavailable,
                other.SqliteExtendedErrorCode,
                other
            ),
            SqliteException { SqliteErrorCode: 9 } given => new(StoreTrouble.TooCostly, given.SqliteExtendedErrorCode, given),
            _ => null,
        };

    /// <summary>Ends what a connection does after a time, or when nobody waits for it any more; until it is disposed of.</summary>
    public static IDisposable Bound(DbConnection connection, TimeSpan longest, CancellationToken stop)
    {
        var handle = ((SqliteConnection)connection).Handle!;
        var limit = CancellationTokenSource.CreateLinkedTokenSource(stop);
        var interrupting = limit.Token.Register(() => SQLitePCL.raw.sqlite3_interrupt(handle));
        limit.CancelAfter(longest);
        return new Bounds(limit, interrupting);
    }

    private sealed class Bounds(CancellationTokenSource limit, CancellationTokenRegistration interrupting) : IDisposable
    {
        /// <summary>Waits for an interruption under way, so that the connection's next user does not meet it.</summary>
        public void Dispose()
        {
            interrupting.Dispose();
            limit.Dispose();
        }
    }

    /// <summary>Teaches a connection to read the JSON of resources, for <see cref="HasWord"/> and <see cref="Elements"/>.</summary>
    public static void UseStoredJson(DbConnection connection) =>
        ((SqliteConnection)connection).CreateFunction("unpacked", (byte[] json) => StoredJson.Unpack(json), isDeterministic: true);

    /// <summary>Behind a table: by which of its indexes it is read. Without statistics the engine would choose otherwise.</summary>
    public static string By(string index) => $" indexed by {index}";

    /// <summary>A table: the elements of a list of a resource, each as <c>value</c>.</summary>
    /// <param name="json">The stored JSON of the resource.</param>
    /// <param name="element">The name of the list.</param>
    public static string Elements(string json, string element) => $"json_each(unpacked({json}), '$.{element}')";

    /// <summary>A condition: some display or text at a path of a resource has a word that begins so. No index serves it.</summary>
    /// <param name="json">The stored JSON of the resource.</param>
    /// <param name="path">Element names from the resource down, such as <c>component.code</c>; each may repeat.</param>
    /// <param name="pattern">The value's name; the value is <see cref="WordBegins"/>.</param>
    public static string HasWord(string json, string path, string pattern)
    {
        var names = path.Split('.');
        return $"exists (select 1 from json_tree(unpacked({json}), '$.{names[0]}') t where t.key in ('display', 'text') and t.type = 'text'"
            + $" and t.fullkey like '$.{string.Join("%.", names)}%' and (' ' || t.atom) like {pattern} escape '\\')";
    }

    /// <summary>The pattern for <see cref="HasWord"/>. Letters compare without regard to case, as far as they are ASCII.</summary>
    public static string WordBegins(string text) =>
        "% "
        + text.Replace(@"\", @"\\", StringComparison.Ordinal)
            .Replace("%", @"\%", StringComparison.Ordinal)
            .Replace("_", @"\_", StringComparison.Ordinal)
        + "%";

    /// <summary>
    /// A condition: every filter, of a JSON array of objects with a parameter <c>p</c> and the values <c>any</c>, has a value among the
    /// attributes, a JSON array of <c>parameter value</c>.
    /// </summary>
    public static string Passes(string filters, string attributes) =>
        $"not exists (select 1 from json_each({filters}) f where not exists ("
        + $"select 1 from json_each(f.value, '$.any') a join json_each({attributes}) t on t.value = (f.value ->> 'p') || ' ' || a.value))";

    /// <summary>A condition: a value is among those of a JSON array.</summary>
    public static string Among(string value, string array) => $"{value} in (select value from json_each({array}))";

    /// <summary>Forgets pooled connections of that folder, so that its files can be moved or deleted.</summary>
    public static void ReleasePool(string folder)
    {
        using var connection = new SqliteConnection(Connection(FileIn(folder), SqliteOpenMode.ReadOnly, pooling: true));
        SqliteConnection.ClearPool(connection);
    }

    /// <summary>How a database file is opened.</summary>
    public static string Connection(string file, SqliteOpenMode mode, bool pooling) =>
        new SqliteConnectionStringBuilder
        {
            DataSource = file,
            Mode = mode,
            Pooling = pooling,
            ForeignKeys = true,
            // Seconds that a statement waits for another process's lock, such as a backup's.
            DefaultTimeout = 30,
        }.ConnectionString;

    /// <summary>Runs statements that answer nothing.</summary>
    public static void Run(SqliteConnection connection, string sql)
    {
        using var command = connection.CreateCommand();
        command.CommandText = sql;
        command.ExecuteNonQuery();
    }

    /// <summary>The first column of all rows, as text.</summary>
    public static List<string> Texts(SqliteConnection connection, string sql) => Rows(connection, sql, row => row.GetString(0));

    /// <summary>The one number that a query answers; 0 where it is null.</summary>
    public static long Number(SqliteConnection connection, string sql) =>
        Rows(connection, sql, row => row.IsDBNull(0) ? 0 : row.GetInt64(0)).Single();

    /// <summary>All rows of a query, each made into something.</summary>
    public static List<T> Rows<T>(SqliteConnection connection, string sql, Func<SqliteDataReader, T> row)
    {
        using var command = connection.CreateCommand();
        command.CommandText = sql;
        using var reader = command.ExecuteReader();
        var rows = new List<T>();
        while (reader.Read())
            rows.Add(row(reader));
        return rows;
    }
}
