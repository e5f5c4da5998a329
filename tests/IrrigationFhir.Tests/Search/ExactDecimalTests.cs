using System.Globalization;
using IrrigationFhir.Search;

namespace IrrigationFhir.Tests.Search;

public class ExactDecimalTests
{
    [Fact]
    public void The_texts_of_numbers_sort_like_the_numbers()
    {
        // The edges that a text could get wrong: signs, zero, digits before and behind the point, more digits than a double holds.
        string[] ascending =
        [
            "-79228162514264337593543950335",
            "-1000.001",
            "-1000",
            "-999.9",
            "-10",
            "-9.01",
            "-9",
            "-6.5",
            "-6.25",
            "-6",
            "-0.5",
            "-0.05",
            "-0.0000000000000000000000000001",
            "0",
            "0.0000000000000000000000000001",
            "0.05",
            "0.5",
            "0.9007199254740993",
            "0.9007199254740994",
            "6",
            "6.0000000001",
            "6.05",
            "6.5",
            "9",
            "9.99",
            "10",
            "99",
            "100",
            "420.5",
            "9007199254740992",
            "9007199254740993",
            "79228162514264337593543950334",
            "79228162514264337593543950335",
        ];

        var texts = ascending.Select(number => ExactDecimal.Parse(number)!.Value.Sortable()).ToList();

        Assert.Equal(texts.Order(StringComparer.Ordinal), texts);
        Assert.Equal(texts.Count, texts.Distinct().Count());
        Assert.Equal(texts, ascending.Select(number => ExactDecimal.Of(decimal.Parse(number, CultureInfo.InvariantCulture)).Sortable()));
    }

    [Fact]
    public void Any_two_numbers_sort_like_their_texts()
    {
        var random = new Random(20260302);
        decimal Number() => new(random.Next(), random.Next(3) == 0 ? random.Next() : 0, 0, random.Next(2) == 0, (byte)random.Next(12));
        for (var i = 0; i < 5000; i++)
        {
            var (left, right) = (Number(), Number());
            Assert.Equal(
                Math.Sign(left.CompareTo(right)),
                Math.Sign(string.CompareOrdinal(ExactDecimal.Of(left).Sortable(), ExactDecimal.Of(right).Sortable()))
            );
        }
    }

    [Theory]
    [InlineData("6", "6.0")]
    [InlineData("6.0", "6.00")]
    [InlineData("100", "1e2")]
    [InlineData("1500", "1.5E3")]
    [InlineData("0.015", "1.5e-2")]
    [InlineData("0", "-0.00")]
    [InlineData("7", "+7")]
    public void The_same_number_written_differently_is_one_text(string one, string other) =>
        Assert.Equal(ExactDecimal.Parse(one)!.Value.Sortable(), ExactDecimal.Parse(other)!.Value.Sortable());

    [Theory]
    [InlineData("")]
    [InlineData("1.")]
    [InlineData(".5")]
    [InlineData("1,5")]
    [InlineData("1e")]
    [InlineData("1e31")]
    [InlineData("12345678901234567890123456789012345678901")]
    [InlineData("NaN")]
    [InlineData("٣")]
    public void What_is_no_number_is_none(string text) => Assert.Null(ExactDecimal.Parse(text));
}
