using DuckDB.NET.Data;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>DuckDB (https://duckdb.org), as a stranger would read our files with it: it shares no code with what wrote them.</summary>
internal static class Duck
{
    /// <summary>The rows of a query, each as text with bars between the values; nothing is <c>∅</c>.</summary>
    public static List<string> Rows(string sql)
    {
        using var connection = new DuckDBConnection("Data Source=:memory:");
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = "set timezone = 'UTC'; " + sql;
        using var reader = command.ExecuteReader();
        var rows = new List<string>();
        do
        {
            while (reader.Read())
            {
                rows.Add(
                    string.Join(
                        '|',
                        Enumerable.Range(0, reader.FieldCount).Select(i => reader.IsDBNull(i) ? "∅" : reader.GetFieldValue<string>(i))
                    )
                );
            }
        } while (reader.NextResult());

        return rows;
    }

    /// <summary>The names of the columns of a query, and its rows, with bars between; numbers as DuckDB writes them.</summary>
    public static List<string> Table(string sql)
    {
        using var connection = new DuckDBConnection("Data Source=:memory:");
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = "set timezone = 'UTC'; " + sql;
        using var reader = command.ExecuteReader();
        while (reader.FieldCount == 0 && reader.NextResult()) { }
        var lines = new List<string> { string.Join(" | ", Enumerable.Range(0, reader.FieldCount).Select(reader.GetName)) };
        while (reader.Read())
        {
            lines.Add(
                string.Join(
                    " | ",
                    Enumerable
                        .Range(0, reader.FieldCount)
                        .Select(i =>
                            reader.IsDBNull(i)
                                ? "∅"
                                : Convert.ToString(reader.GetValue(i), System.Globalization.CultureInfo.InvariantCulture)
                        )
                )
            );
        }

        return lines;
    }

    /// <summary>The one row of a query.</summary>
    public static string Row(string sql) => Assert.Single(Rows(sql));
}
