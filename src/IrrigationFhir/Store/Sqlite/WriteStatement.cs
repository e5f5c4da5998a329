using Microsoft.Data.Sqlite;
using SQLitePCL;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>A statement of the one who writes, compiled once, its values bound and its columns read by their place.</summary>
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
            Bind(values);
            Step();
            return raw.sqlite3_changes(database);
        }
        finally
        {
            // Says again what the step said; a statement that is not reset would keep its locks.
            _ = raw.sqlite3_reset(statement);
        }
    }

    /// <summary>The rows that it finds, each made into something, and at most so many.</summary>
    /// <exception cref="SqliteException">The engine refused it.</exception>
    public List<T> Find<T>(Func<FoundRow, T> row, int atMost, ReadOnlySpan<(string Name, object? Value)> values)
    {
        try
        {
            Bind(values);
            var found = new List<T>();
            while (found.Count < atMost && Step())
                found.Add(row(new(statement)));
            return found;
        }
        finally
        {
            _ = raw.sqlite3_reset(statement);
        }
    }

    /// <inheritdoc/>
    public void Dispose() => statement.Dispose();

    private void Bind(ReadOnlySpan<(string Name, object? Value)> values)
    {
        for (var i = 0; i < values.Length; i++)
            Check(Bind(places[i], values[i].Value));
    }

    private bool Step()
    {
        var result = raw.sqlite3_step(statement);
        if (result is not (raw.SQLITE_DONE or raw.SQLITE_ROW))
            Check(result);
        return result == raw.SQLITE_ROW;
    }

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

/// <summary>A row that a <see cref="WriteStatement"/> found, while it stands on it.</summary>
internal readonly struct FoundRow(sqlite3_stmt statement)
{
    /// <summary>A whole number.</summary>
    public long Number(int column) => raw.sqlite3_column_int64(statement, column);

    /// <summary>A whole number, or null.</summary>
    public long? NumberOrNull(int column) => IsNull(column) ? null : Number(column);

    /// <summary>A text.</summary>
    public string Text(int column) => raw.sqlite3_column_text(statement, column).utf8_to_string();

    /// <summary>A text, or null.</summary>
    public string? TextOrNull(int column) => IsNull(column) ? null : Text(column);

    /// <summary>Bytes.</summary>
    public byte[] Bytes(int column) => raw.sqlite3_column_blob(statement, column).ToArray();

    private bool IsNull(int column) => raw.sqlite3_column_type(statement, column) == raw.SQLITE_NULL;
}
