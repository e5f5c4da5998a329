using System.Buffers;
using System.Buffers.Text;
using System.Globalization;
using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;

namespace IrrigationFhir.Analytics;

/// <summary>What the writers of text share: a buffer that is written when it is full, and moments.</summary>
internal abstract class TextTable(IReadOnlyList<TableColumn> columns, Stream stream, TableOptions options) : TableWriter
{
    private const int Full = 1 << 16;

    private readonly ArrayBufferWriter<byte> _buffer = new(2 * Full);

    /// <inheritdoc/>
    public override long Pending => _buffer.WrittenCount;

    /// <summary>The columns.</summary>
    protected IReadOnlyList<TableColumn> Columns => columns;

    /// <summary>How it is written.</summary>
    protected TableOptions Options => options;

    /// <inheritdoc/>
    public override ValueTask Flush(CancellationToken stop) => _buffer.WrittenCount < Full ? ValueTask.CompletedTask : Empty(stop);

    /// <inheritdoc/>
    public override ValueTask Finish(CancellationToken stop) => Empty(stop);

    /// <summary>Writes bytes.</summary>
    protected void Write(ReadOnlySpan<byte> bytes) => _buffer.Write(bytes);

    /// <summary>The moment of a cell in UTC, where that is asked for and it is a whole one; else as it is.</summary>
    protected ReadOnlySpan<byte> Moment(int column, in Cell cell, Span<byte> into) =>
        options.InUtc && columns[column].Shape == ColumnShape.Moment && Moments.Read(cell.Plain().Span) is { } moment
            ? into[..Moments.Write(moment, into)]
            : cell.Raw.Span;

    private async ValueTask Empty(CancellationToken stop)
    {
        await stream.WriteAsync(_buffer.WrittenMemory, stop);
        _buffer.ResetWrittenCount();
    }
}

/// <summary>Moments as the files have them.</summary>
internal static class Moments
{
    /// <summary>Longest text that <see cref="Write"/> makes.</summary>
    public const int Length = 28;

    /// <summary>A date with time, seconds and offset, to 100 ns; null for any other text.</summary>
    public static DateTime? Read(ReadOnlySpan<byte> text)
    {
        if (
            text.Length < 20
            || (text[4], text[7], text[10], text[13], text[16]) != ((byte)'-', (byte)'-', (byte)'T', (byte)':', (byte)':')
            || Digits(text[..4]) is not (>= 1 and var year)
            || Digits(text[5..7]) is not (>= 1 and <= 12 and var month)
            || Digits(text[8..10]) is not { } day
            || day < 1
            || day > DateTime.DaysInMonth(year, month)
            || Digits(text[11..13]) is not (<= 23 and var hour)
            || Digits(text[14..16]) is not (<= 59 and var minute)
            || Digits(text[17..19]) is not (<= 59 and var second)
        )
        {
            return null;
        }

        var (at, ticks) = (19, 0L);
        if (text[at] == '.')
        {
            var unit = TimeSpan.TicksPerSecond;
            for (at++; at < text.Length && text[at] is >= (byte)'0' and <= (byte)'9'; at++)
                ticks += (text[at] - '0') * (unit /= 10);
        }

        var rest = text[at..];
        var local = new DateTime(year, month, day, hour, minute, second, DateTimeKind.Utc).AddTicks(ticks);
        if (rest.SequenceEqual("Z"u8))
            return local;
        if (
            rest.Length != 6
            || rest[3] != ':'
            || Digits(rest[1..3]) is not (<= 14 and var hours)
            || Digits(rest[4..]) is not (<= 59 and var minutes)
        )
            return null;
        var offset = new TimeSpan(hours, minutes, 0);
        return rest[0] switch
        {
            (byte)'+' when local.Ticks >= offset.Ticks => local - offset,
            (byte)'-' when DateTime.MaxValue.Ticks - local.Ticks >= offset.Ticks => local + offset,
            _ => null,
        };
    }

    /// <summary>Writes a moment in UTC, to the microsecond; answers the count of bytes.</summary>
    public static int Write(DateTime moment, Span<byte> into) =>
        moment.TryFormat(into, out var written, "yyyy-MM-dd'T'HH:mm:ss.ffffff'Z'", CultureInfo.InvariantCulture) ? written : 0;

    private static int? Digits(ReadOnlySpan<byte> text) =>
        Utf8Parser.TryParse(text, out uint number, out var read, 'D') && read == text.Length && text[0] != '+' ? (int)number : null;
}

/// <summary>Rows as JSON objects, each on a line or all in an array: values with the digits that they were published with.</summary>
internal sealed class JsonRows(IReadOnlyList<TableColumn> columns, Stream stream, TableOptions options, bool array)
    : TextTable(columns, stream, options)
{
    private readonly byte[][] _names =
    [
        .. columns.Select(
            (column, i) =>
                Encoding.UTF8.GetBytes(
                    $"{(i == 0 ? '{' : ',')}\"{JsonEncodedText.Encode(column.Name, JavaScriptEncoder.UnsafeRelaxedJsonEscaping)}\":"
                )
        ),
    ];

    /// <inheritdoc/>
    public override void Add(ReadOnlySpan<Cell> row)
    {
        if (array)
            Write(Rows == 0 ? "[\n"u8 : ",\n"u8);
        Span<byte> moment = stackalloc byte[Moments.Length];
        for (var i = 0; i < _names.Length; i++)
        {
            Write(_names[i]);
            switch (row[i].Kind)
            {
                case CellKind.Null:
                    Write("null"u8);
                    break;
                case CellKind.Text:
                    Write("\""u8);
                    Write(Moment(i, row[i], moment));
                    Write("\""u8);
                    break;
                default:
                    Write(row[i].Raw.Span);
                    break;
            }
        }

        Write(array ? "}"u8 : "}\n"u8);
        Rows++;
    }

    /// <inheritdoc/>
    public override ValueTask Finish(CancellationToken stop)
    {
        if (array)
            Write(Rows == 0 ? "[]\n"u8 : "\n]\n"u8);
        return base.Finish(stop);
    }
}

/// <summary>
/// Comma-separated values (RFC 4180, UTF-8 without a mark): nothing is an empty field, and an empty text is <c>""</c>.
/// </summary>
internal sealed class CsvWriter : TextTable
{
    private static readonly SearchValues<byte> Special = SearchValues.Create(",\"\r\n"u8);

    /// <summary>Begins with the names of the columns, unless that is not wanted.</summary>
    public CsvWriter(IReadOnlyList<TableColumn> columns, Stream stream, TableOptions options)
        : base(columns, stream, options)
    {
        if (!options.Header)
            return;
        for (var i = 0; i < columns.Count; i++)
        {
            if (i > 0)
                Write(","u8);
            Field(Encoding.UTF8.GetBytes(columns[i].Name));
        }

        Write("\r\n"u8);
    }

    /// <inheritdoc/>
    public override void Add(ReadOnlySpan<Cell> row)
    {
        Span<byte> moment = stackalloc byte[Moments.Length];
        for (var i = 0; i < row.Length; i++)
        {
            if (i > 0)
                Write(","u8);
            if (row[i].Kind == CellKind.Null)
                continue;
            if (row[i].Kind != CellKind.Text)
                Field(row[i].Raw.Span);
            else if (Columns[i].Shape == ColumnShape.Moment)
                Field(Moment(i, row[i], moment));
            else
                Text(row[i].Plain().Span);
        }

        Write("\r\n"u8);
        Rows++;
    }

    private void Text(ReadOnlySpan<byte> text)
    {
        if (!Options.CsvSafe || text.IsEmpty || "=+-@\t\r"u8.IndexOf(text[0]) < 0)
        {
            Field(text);
            return;
        }

        byte[] safe = [(byte)'\'', .. text];
        Field(safe);
    }

    private void Field(ReadOnlySpan<byte> text)
    {
        if (!text.IsEmpty && text.IndexOfAny(Special) < 0)
        {
            Write(text);
            return;
        }

        Write("\""u8);
        for (var quote = text.IndexOf((byte)'"'); quote >= 0; quote = text.IndexOf((byte)'"'))
        {
            Write(text[..(quote + 1)]);
            Write("\""u8);
            text = text[(quote + 1)..];
        }

        Write(text);
        Write("\""u8);
    }
}
