using System.Text;
using IrrigationFhir.Analytics;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>What the files look like, byte for byte: csv by RFC 4180, numbers with their digits.</summary>
public class TableWriterTests
{
    private static readonly TableColumn[] Columns =
    [
        new("text", ColumnShape.Text, 0, 0, null),
        new("number", ColumnShape.Decimal, 18, 6, null),
        new("moment", ColumnShape.Moment, 0, 0, null),
        new("yes", ColumnShape.Boolean, 0, 0, null),
    ];

    private static readonly Cell[][] Rows =
    [
        [Cell.Text("a, \"b\"\r\nc"), Cell.Number("1.50"), Cell.Text("2026-03-14T21:00:00.5+01:00"), Cell.Of(true)],
        [Cell.Text(""), default, default, default],
        [Cell.Text("=1+1"), Cell.Number("-530"), Cell.Text("2026-03"), Cell.Of(false)],
    ];

    [Fact]
    public async Task Csv_tells_nothing_from_an_empty_text_and_doubles_quotes() =>
        Assert.Equal(
            "text,number,moment,yes\r\n\"a, \"\"b\"\"\r\nc\",1.50,2026-03-14T21:00:00.5+01:00,true\r\n"
                + "\"\",,,\r\n=1+1,-530,2026-03,false\r\n",
            await Written(new(TableFormat.Csv))
        );

    [Fact]
    public async Task Csv_for_spreadsheets_puts_an_apostrophe_before_what_looks_like_a_formula_and_never_before_a_number() =>
        Assert.EndsWith("'=1+1,-530,2026-03,false\r\n", await Written(new(TableFormat.Csv, CsvSafe: true)), StringComparison.Ordinal);

    [Fact]
    public async Task Json_keeps_the_digits_and_says_null()
    {
        const string first = """{"text":"a, \"b\"\r\nc","number":1.50,"moment":"2026-03-14T21:00:00.5+01:00","yes":true}""";
        const string second = """{"text":"","number":null,"moment":null,"yes":null}""";
        const string third = """{"text":"=1+1","number":-530,"moment":"2026-03","yes":false}""";
        Assert.Equal($"{first}\n{second}\n{third}\n", await Written(new(TableFormat.Ndjson)));
        Assert.Equal($"[\n{first},\n{second},\n{third}\n]\n", await Written(new(TableFormat.Json)));
        await using var empty = new MemoryStream();
        await TableWriter.Of(Columns, empty, new(TableFormat.Json)).Finish(CancellationToken.None);
        Assert.Equal("[]\n", Encoding.UTF8.GetString(empty.ToArray()));
    }

    [Fact]
    public async Task Moments_are_in_UTC_where_that_is_asked_for_and_what_is_none_stays() =>
        Assert.Contains(
            "1.50,2026-03-14T20:00:00.500000Z,true\r\n\"\",,,\r\n=1+1,-530,2026-03,false",
            await Written(new(TableFormat.Csv, InUtc: true)),
            StringComparison.Ordinal
        );

    [Theory]
    [InlineData("0.1234567", "a seventh place is not rounded away")]
    [InlineData("1000000000000", "thirteen digits before the point")]
    public async Task Parquet_rounds_nothing(string number, string why)
    {
        await using var stream = new MemoryStream();
        await using var writer = TableWriter.Of(Columns, stream, new(TableFormat.Parquet));
        Cell[] row = [default, Cell.Number(number), default, default];
        Assert.True(Assert.Throws<ViewFault>(() => writer.Add(row)).Saw.Contains(number, StringComparison.Ordinal), why);
    }

    [Fact]
    public async Task Parquet_refuses_a_month_where_moments_are_and_takes_large_and_small_numbers_exactly()
    {
        var file = Path.Combine(Directory.CreateTempSubdirectory("table-").FullName, "t.parquet");
        string[] numbers =
        [
            "999999999999.999999",
            "-999999999999.999999",
            "0.000001",
            "1e3",
            "1.50",
            "-0.0",
            "0.1",
            "0.2",
            "12345678901.1",
            "7",
        ];
        await using (var stream = File.Create(file))
        {
            await using var writer = TableWriter.Of(Columns, stream, new(TableFormat.Parquet));
            // Refused for its third cell: of the row nothing stays.
            Assert.Throws<ViewFault>(() => writer.Add(Rows[2]));
            foreach (var number in numbers)
                writer.Add([Cell.Text(number), Cell.Number(number), Cell.Text("2026-03-14T21:00:00.123456+01:00"), default]);
            await writer.Finish(CancellationToken.None);
        }

        Assert.Equal(
            numbers.Select(number =>
                decimal.Parse(number, System.Globalization.NumberStyles.Float, System.Globalization.CultureInfo.InvariantCulture)
                    .ToString("0.000000", System.Globalization.CultureInfo.InvariantCulture)
                    .Replace("-0.000000", "0.000000", StringComparison.Ordinal)
            ),
            Duck.Rows($"select number::text from '{file}'")
        );
        Assert.Equal("2026-03-14 20:00:00.123456+00|10", Duck.Row($"select min(moment)::text, count(distinct text)::text from '{file}'"));
    }

    [Theory]
    [InlineData("2026-03-14T21:00:00Z", "2026-03-14T21:00:00.000000Z")]
    [InlineData("2026-03-14T21:00:00+01:00", "2026-03-14T20:00:00.000000Z")]
    [InlineData("2026-03-29T02:30:00.123456789+02:00", "2026-03-29T00:30:00.123456Z")]
    [InlineData("2026-03-14T21:00:00-11:30", "2026-03-15T08:30:00.000000Z")]
    [InlineData("2026-03-14", null)]
    [InlineData("2026-03-14T21:00Z", null)]
    [InlineData("2026-02-29T21:00:00Z", null)]
    [InlineData("2026-03-14T24:00:00Z", null)]
    [InlineData("2026-03-14T21:00:00", null)]
    [InlineData("2026-03-14T21:00:00+1:00", null)]
    [InlineData("0001-01-01T00:00:00+14:00", null)]
    public void Moments_are_read_with_their_offset(string text, string? utc)
    {
        Span<byte> into = stackalloc byte[Moments.Length];
        var read = Moments.Read(Encoding.UTF8.GetBytes(text));
        Assert.Equal(utc, read is { } moment ? Encoding.UTF8.GetString(into[..Moments.Write(moment, into)]) : null);
    }

    private static async Task<string> Written(TableOptions options)
    {
        await using var stream = new MemoryStream();
        await using var writer = TableWriter.Of(Columns, stream, options);
        foreach (var row in Rows)
            writer.Add(row);
        await writer.Finish(CancellationToken.None);
        return Encoding.UTF8.GetString(stream.ToArray());
    }
}
