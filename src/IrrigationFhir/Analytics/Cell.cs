using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;

namespace IrrigationFhir.Analytics;

/// <summary>What a cell of a table holds.</summary>
internal enum CellKind
{
    /// <summary>Nothing: not known, or not there.</summary>
    Null,

    /// <summary>A text, as JSON has it between its quotes.</summary>
    Text,

    /// <summary>A number with the digits that it was written with.</summary>
    Number,

    /// <summary><c>true</c> or <c>false</c>.</summary>
    Boolean,

    /// <summary>Values of a collection, as a JSON array.</summary>
    List,
}

/// <summary>A cell of a row: bytes of the resource that it was read from, valid until the next resource.</summary>
/// <param name="Kind">What it holds.</param>
/// <param name="Raw">UTF-8; empty for nothing.</param>
internal readonly record struct Cell(CellKind Kind, ReadOnlyMemory<byte> Raw)
{
    private static readonly byte[] True = "true"u8.ToArray();
    private static readonly byte[] False = "false"u8.ToArray();

    /// <summary>True or false.</summary>
    public static Cell Of(bool value) => new(CellKind.Boolean, value ? True : False);

    /// <summary>A number by its digits.</summary>
    public static Cell Number(string digits) => new(CellKind.Number, Encoding.ASCII.GetBytes(digits));

    /// <summary>A text that is not from JSON.</summary>
    public static Cell Text(string text) =>
        new(CellKind.Text, Encoding.UTF8.GetBytes(JsonEncodedText.Encode(text, JavaScriptEncoder.UnsafeRelaxedJsonEscaping).ToString()));

    /// <summary>The text without escapes; of a number or a boolean as it is written.</summary>
    public string AsText() => Encoding.UTF8.GetString(Plain().Span);

    /// <summary>The same in UTF-8.</summary>
    public ReadOnlyMemory<byte> Plain() =>
        Kind != CellKind.Text || Raw.Span.IndexOf((byte)'\\') < 0 ? Raw : Encoding.UTF8.GetBytes(Unescaped(Raw.Span));

    private static string Unescaped(ReadOnlySpan<byte> raw)
    {
        var quoted = new byte[raw.Length + 2];
        quoted[0] = quoted[^1] = (byte)'"';
        raw.CopyTo(quoted.AsSpan(1));
        var reader = new Utf8JsonReader(quoted);
        reader.Read();
        return reader.GetString()!;
    }
}

/// <summary>Takes the rows of a view, one at a time; the cells are valid within the call alone.</summary>
internal delegate void RowReady(ReadOnlySpan<Cell> row);

/// <summary>Makes the rows of a view, of one resource at a time. Not for several threads at once.</summary>
internal interface IViewEngine
{
    /// <summary>Makes the rows that a resource has in the view; none where it is of another type, or not in the view.</summary>
    /// <param name="resource">UTF-8 JSON, kept until the rows are made.</param>
    /// <param name="ready">Takes them.</param>
    /// <exception cref="ViewFault">The data does not suit the view: several values where one is expected.</exception>
    void Rows(ReadOnlyMemory<byte> resource, RowReady ready);
}
