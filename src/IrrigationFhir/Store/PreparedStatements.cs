using System.Data.Common;
using IrrigationFhir.Store.Sqlite;

namespace IrrigationFhir.Store;

/// <summary>The statements of one connection, each compiled once and used again. Not for several threads.</summary>
internal sealed class PreparedStatements(DbConnection connection) : IDisposable
{
    private readonly Dictionary<string, DbCommand> _known = [];
    private readonly Dictionary<string, WriteStatement> _writes = [];

    /// <summary>The transaction that statements run in from now on.</summary>
    public DbTransaction? Transaction { get; set; }

    /// <summary>Runs a statement and says how many rows it changed.</summary>
    public int Execute(string sql, params ReadOnlySpan<(string Name, object? Value)> values) => Compiled(sql, values).Run(values);

    /// <summary>The first row of a query, made into something; default when there is none.</summary>
    public T? Find<T>(string sql, Func<FoundRow, T> row, params ReadOnlySpan<(string Name, object? Value)> values) =>
        Compiled(sql, values).Find(row, 1, values) is [var first] ? first : default;

    /// <summary>All rows of a query, each made into something.</summary>
    public List<T> All<T>(string sql, Func<FoundRow, T> row, params ReadOnlySpan<(string Name, object? Value)> values) =>
        Compiled(sql, values).Find(row, int.MaxValue, values);

    /// <summary>As <see cref="Find"/>, through the library, for what is not asked often.</summary>
    public T? First<T>(string sql, Func<DbDataReader, T> row, params ReadOnlySpan<(string Name, object? Value)> values)
    {
        using var reader = Bind(sql, values).ExecuteReader();
        return reader.Read() ? row(reader) : default;
    }

    /// <inheritdoc/>
    public void Dispose()
    {
        foreach (var command in _known.Values)
            command.Dispose();
        foreach (var statement in _writes.Values)
            statement.Dispose();
    }

    private WriteStatement Compiled(string sql, ReadOnlySpan<(string Name, object? Value)> values)
    {
        if (!_writes.TryGetValue(sql, out var statement))
            _writes.Add(sql, statement = Dialect.Prepare(connection, sql, values));
        return statement;
    }

    private DbCommand Bind(string sql, ReadOnlySpan<(string Name, object? Value)> values)
    {
        if (!_known.TryGetValue(sql, out var command))
        {
            command = connection.CreateCommand();
            command.CommandText = sql;
            foreach (var (name, _) in values)
            {
                var parameter = command.CreateParameter();
                parameter.ParameterName = name;
                command.Parameters.Add(parameter);
            }

            _known.Add(sql, command);
        }

        command.Transaction = Transaction;
        for (var i = 0; i < values.Length; i++)
            command.Parameters[i].Value = values[i].Value ?? DBNull.Value;
        return command;
    }
}
