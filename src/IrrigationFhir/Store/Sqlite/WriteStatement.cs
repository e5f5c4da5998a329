using Microsoft.Data.Sqlite;
using SQLitePCL;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>A statement that changes rows, compiled once, its values bound by their place.</summary>
/// <remarks>
/// The library's own command looks every parameter up by its name and makes a reader for each run: that took longer than the engine did.
/// It runs in whatever transaction its connection is in. Not for several threads.
/// </remarks>
internal sealed class WriteStatement : IDisposable
{
    private readonly sqlite3 database;
    private readonly sqlite3_stmt statement;
    private readonly int[] places;

    /// <summary>Compiles it.</summary>
    /// <param name="connection">Where it runs.</param>
    /// <param name="sql">One statement; each of the values stands in it as <c>@name</c>.</param>
    /// <param name="values">Their names, in the order in which they will come.</param>
    /// <exception cref="SqliteException">It is no statement.</exception>
    public WriteStatement(SqliteConnection connection, string sql, ReadOnlySpan<(string Name, object? Value)> values)
    {
        database = connection.Handle!;
        Check(raw.sqlite3_prepare_v3(database, sql, raw.SQLITE_PREPARE_PERSISTENT, out statement));
        places = new int[values.Length];
        for (var i = 0; i < values.Length; i++)
            places[i] = raw.sqlite3_bind_parameter_index(statement, "@" + values[i].Name);
    }

    /// <summary>Runs it and says how many rows it changed.</summary>
    /// <exception cref="SqliteException">The engine refused it.</exception>
    public int Run(ReadOnlySpan<(string Name, object? Value)> values)
    {
        try
        {
            for (var i = 0; i < values.Length; i++)
                Check(Bind(places[i], values[i].Value));
            if (raw.sqlite3_step(statement) is var result and not (raw.SQLITE_DONE or raw.SQLITE_ROW))
                Check(result);
            return raw.sqlite3_changes(database);
        }
        finally
        {
            // Says again what the step said; a statement that is not reset would keep its locks.
            _ = raw.sqlite3_reset(statement);
        }
    }

    /// <inheritdoc/>
    public void Dispose() => statement.Dispose();

    private int Bind(int place, object? value) =>
        value switch
        {
            null => raw.sqlite3_bind_null(statement, place),
            string text => raw.sqlite3_bind_text(statement, place, text),
            long number => raw.sqlite3_bind_int64(statement, place, number),
            int number => raw.sqlite3_bind_int64(statement, place, number),
            bool truth => raw.sqlite3_bind_int64(statement, place, truth ? 1 : 0),
            byte[] bytes => raw.sqlite3_bind_blob(statement, place, bytes),
            _ => throw new NotSupportedException($"a value of type {value.GetType().Name} is not stored here"),
        };

    private void Check(int result)
    {
        if (result != raw.SQLITE_OK)
            SqliteException.ThrowExceptionForRC(result, database);
    }
}
