using System.Buffers.Text;
using System.IO.Compression;
using System.Text;
using Parquet;
using Parquet.Schema;

namespace IrrigationFhir.Analytics;

/// <summary>
/// A table as Parquet: decimals exact, moments in UTC to the microsecond. Row groups are bounded by the memory that they take, not by
/// their rows.
/// </summary>
internal sealed class ParquetTable : TableWriter
{
    // Readers skip by row group: some MB are what they expect (https://parquet.apache.org/docs/file-format/configurations/).
    private const long GroupBytes = 4 << 20;

    private readonly Stream _stream;
    private readonly Column[] _columns;
    private ParquetWriter? _writer;
    private int _inGroup;
    private long _pending;

    /// <summary>Writes to a stream that can seek.</summary>
    public ParquetTable(IReadOnlyList<TableColumn> columns, Stream stream)
    {
        _stream = stream;
        _columns = [.. columns.Select(Column.Of)];
    }

    /// <inheritdoc/>
    public override long Pending => _pending;

    /// <inheritdoc/>
    public override void Add(ReadOnlySpan<Cell> row)
    {
        try
        {
            for (var i = 0; i < _columns.Length; i++)
                _pending += _columns[i].Add(row[i]);
        }
        catch (ViewFault)
        {
            // The row is not in the table, none of its cells.
            foreach (var column in _columns)
                column.Keep(_inGroup);
            throw;
        }

        _inGroup++;
        Rows++;
    }

    /// <inheritdoc/>
    public override ValueTask Flush(CancellationToken stop) => _pending < GroupBytes ? ValueTask.CompletedTask : WriteGroup(stop);

    /// <inheritdoc/>
    public override async ValueTask Finish(CancellationToken stop)
    {
        if (_inGroup > 0 || _writer is null)
            await WriteGroup(stop);
        await _writer!.DisposeAsync();
        _writer = null;
    }

    /// <inheritdoc/>
    public override async ValueTask DisposeAsync()
    {
        if (_writer is not null)
            await _writer.DisposeAsync();
        await base.DisposeAsync();
    }

    private async ValueTask WriteGroup(CancellationToken stop)
    {
        _writer ??= await ParquetWriter.CreateAsync(
            new ParquetSchema(_columns.Select(column => column.Field).ToArray<Field>()),
            _stream,
            // The default level of Zstandard takes fifteen times as long for a tenth less.
            new ParquetOptions { CompressionMethod = CompressionMethod.Zstd, CompressionLevel = CompressionLevel.Fastest },
            cancellationToken: stop
        );
        using (var group = _writer.CreateRowGroup())
        {
            foreach (var column in _columns)
                await column.Write(group, stop);
        }

        (_inGroup, _pending) = (0, 0);
    }

    /// <summary>The values of a column in a row group.</summary>
    private abstract class Column(TableColumn table, DataField data)
    {
        public DataField Field => data;

        protected TableColumn Table => table;

        /// <summary>Takes a value; answers about how many bytes it takes.</summary>
        public abstract int Add(in Cell cell);

        /// <summary>Forgets what was taken beyond so many values.</summary>
        public abstract void Keep(int count);

        public abstract Task Write(ParquetRowGroupWriter group, CancellationToken stop);

        public static Column Of(TableColumn table) =>
            table.Shape switch
            {
                ColumnShape.Text => new Texts(table),
                ColumnShape.Boolean => new Values<bool>(table, new DataField<bool?>(table.Name), Bool),
                ColumnShape.Integer => new Values<long>(table, new DataField<long?>(table.Name), Whole),
                ColumnShape.Decimal => new Values<decimal>(
                    table,
                    new DecimalDataField(table.Name, table.Precision, table.Scale, isNullable: true),
                    Number
                ),
                ColumnShape.Moment => new Values<DateTime>(
                    table,
                    new DateTimeDataField(table.Name, DateTimeFormat.Timestamp, true, DateTimeTimeUnit.Micros, isNullable: true),
                    Moment
                ),
            };

        private static bool Bool(TableColumn column, in Cell cell) =>
            cell.Kind == CellKind.Boolean ? cell.Raw.Length == 4 : throw Unsuited(column, cell, "true or false");

        private static long Whole(TableColumn column, in Cell cell) =>
            cell.Kind == CellKind.Number && Utf8Parser.TryParse(cell.Raw.Span, out long number, out var read) && read == cell.Raw.Length
                ? number
                : throw Unsuited(column, cell, "a whole number of 64 bits");

        private static decimal Number(TableColumn column, in Cell cell)
        {
            if (
                cell.Kind == CellKind.Number
                && decimal.TryParse(
                    cell.Raw.Span,
                    System.Globalization.NumberStyles.Float,
                    System.Globalization.CultureInfo.InvariantCulture,
                    out var number
                )
                && (number.Scale <= column.Scale || decimal.Round(number, column.Scale) == number)
                && Math.Abs(number) < Largest(column.Precision - column.Scale)
            )
            {
                return number;
            }

            throw Unsuited(column, cell, $"a number of DECIMAL({column.Precision},{column.Scale}): nothing is rounded");
        }

        private static decimal Largest(int digits)
        {
            var largest = 1m;
            for (var i = 0; i < digits; i++)
                largest *= 10;
            return largest;
        }

        private static DateTime Moment(TableColumn column, in Cell cell) =>
            cell.Kind == CellKind.Text && Moments.Read(cell.Plain().Span) is { } moment
                ? moment
                : throw Unsuited(column, cell, "a date with time and offset: a column of type string takes others too");

        private static ViewFault Unsuited(TableColumn column, in Cell cell, string expected) =>
            new($"'{cell.AsText()}' in the column '{column.Name}'", expected);
    }

    private delegate T Reading<T>(TableColumn column, in Cell cell);

    private sealed class Values<T>(TableColumn table, DataField field, Reading<T> read) : Column(table, field)
        where T : struct
    {
        private T?[] _values = new T?[1024];
        private int _count;

        public override int Add(in Cell cell)
        {
            if (_count == _values.Length)
                Array.Resize(ref _values, 2 * _count);
            _values[_count++] = cell.Kind == CellKind.Null ? null : read(Table, cell);
            return 16;
        }

        public override void Keep(int count) => _count = Math.Min(_count, count);

        public override async Task Write(ParquetRowGroupWriter group, CancellationToken stop)
        {
            await group.WriteAsync<T>(Field, _values.AsMemory(0, _count), cancellationToken: stop);
            _count = 0;
        }
    }

    private sealed class Texts(TableColumn table) : Column(table, new DataField<string>(table.Name))
    {
        // Codes repeat: each is one string in memory.
        private readonly string?[] _known = new string?[256];
        private readonly byte[]?[] _bytes = new byte[]?[256];
        private readonly List<string?> _values = [];

        public override int Add(in Cell cell)
        {
            if (cell.Kind == CellKind.Null)
            {
                _values.Add(null);
                return 8;
            }

            var plain = cell.Plain().Span;
            var hash = new HashCode();
            hash.AddBytes(plain);
            var slot = hash.ToHashCode() & 255;
            if (_bytes[slot] is not { } known || !plain.SequenceEqual(known))
                (_bytes[slot], _known[slot]) = (plain.ToArray(), Encoding.UTF8.GetString(plain));
            _values.Add(_known[slot]);
            return 8 + (2 * plain.Length);
        }

        public override void Keep(int count)
        {
            if (_values.Count > count)
                _values.RemoveRange(count, _values.Count - count);
        }

        public override async Task Write(ParquetRowGroupWriter group, CancellationToken stop)
        {
            await group.WriteAsync(Field, (IReadOnlyCollection<string?>)_values);
            _values.Clear();
        }
    }
}
