using System.Globalization;
using System.Text.RegularExpressions;

namespace IrrigationFhir.Analytics;

/// <summary>What a column of a table is for those who read files.</summary>
internal enum ColumnShape
{
    /// <summary>Text.</summary>
    Text,

    /// <summary>True or false.</summary>
    Boolean,

    /// <summary>A whole number.</summary>
    Integer,

    /// <summary>A decimal number with as many places as the column has.</summary>
    Decimal,

    /// <summary>A moment, in UTC.</summary>
    Moment,
}

/// <summary>A column of a table that is written to a file.</summary>
/// <param name="Name">Its name.</param>
/// <param name="Shape">What it is.</param>
/// <param name="Precision">Of a decimal, how many digits it may have.</param>
/// <param name="Scale">Of a decimal, how many of them behind the point.</param>
/// <param name="Description">What it means, or null.</param>
internal sealed partial record TableColumn(string Name, ColumnShape Shape, int Precision, int Scale, string? Description)
{
    // A table's numbers unless its view says otherwise: more digits than FHIR asks servers to keep.
    private const int MostDigits = 28;
    private const int DefaultScale = 10;

    /// <summary>The columns of a view.</summary>
    public static IReadOnlyList<TableColumn> Of(ViewDefinition view) => [.. view.Columns.Select(Of)];

    private static TableColumn Of(ViewColumn column)
    {
        var shape =
            column.IsCollection ? ColumnShape.Text
            : column.Type is "instant" or "dateTime" ? ColumnShape.Moment
            : new PathType(column.Type, false).Kind switch
            {
                ValueKind.Boolean => ColumnShape.Boolean,
                ValueKind.Number => column.Type == "decimal" ? ColumnShape.Decimal : ColumnShape.Integer,
                _ => ColumnShape.Text,
            };
        var declared = DeclaredDecimal().Match(column.SqlType ?? "");
        int Part(int group, int otherwise) =>
            declared.Success ? int.Parse(declared.Groups[group].Value, CultureInfo.InvariantCulture) : otherwise;
        return new(column.Name, shape, Math.Min(Part(1, MostDigits), MostDigits), Part(2, DefaultScale), column.Description);
    }

    [GeneratedRegex(@"^DECIMAL\((\d{1,2}),\s?(\d{1,2})\)$", RegexOptions.IgnoreCase)]
    private static partial Regex DeclaredDecimal();
}

/// <summary>A format that tables are written in.</summary>
internal enum TableFormat
{
    /// <summary>A JSON array of objects.</summary>
    Json,

    /// <summary>A JSON object a line.</summary>
    Ndjson,

    /// <summary>Comma-separated values, RFC 4180.</summary>
    Csv,

    /// <summary>Apache Parquet.</summary>
    Parquet,
}

/// <summary>How a table is written.</summary>
/// <param name="Format">The format.</param>
/// <param name="Header">Whether csv names its columns in a first line.</param>
/// <param name="InUtc">Whether texts write moments in UTC too; else as they were published, with their offset.</param>
/// <param name="CsvSafe">
/// Whether texts that a spreadsheet would take for formulas get an apostrophe in front: changes data, so only where it is asked for.
/// </param>
internal sealed record TableOptions(TableFormat Format, bool Header = true, bool InUtc = false, bool CsvSafe = false);

/// <summary>Writes rows of a table to a stream.</summary>
internal abstract class TableWriter : IAsyncDisposable
{
    /// <summary>How many rows it has taken.</summary>
    public long Rows { get; protected set; }

    /// <summary>Bytes in memory that are not written yet.</summary>
    public abstract long Pending { get; }

    /// <summary>Takes a row; what it points at is read within the call.</summary>
    /// <exception cref="ViewFault">A value does not suit its column; the row is not taken.</exception>
    public abstract void Add(ReadOnlySpan<Cell> row);

    /// <summary>Writes what is pending, where it is much.</summary>
    public abstract ValueTask Flush(CancellationToken stop);

    /// <summary>Writes what is pending and ends the table.</summary>
    public abstract ValueTask Finish(CancellationToken stop);

    /// <inheritdoc/>
    public virtual ValueTask DisposeAsync() => ValueTask.CompletedTask;

    /// <summary>A writer for a format.</summary>
    /// <param name="columns">The columns, in the order of the cells.</param>
    /// <param name="stream">Where to; of Parquet one that can seek.</param>
    /// <param name="options">How.</param>
    public static TableWriter Of(IReadOnlyList<TableColumn> columns, Stream stream, TableOptions options) =>
        options.Format switch
        {
            TableFormat.Csv => new CsvWriter(columns, stream, options),
            TableFormat.Parquet => new ParquetTable(columns, stream),
            TableFormat.Ndjson => new JsonRows(columns, stream, options, array: false),
            TableFormat.Json => new JsonRows(columns, stream, options, array: true),
        };
}
