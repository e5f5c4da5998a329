using System.Globalization;
using System.Numerics;
using System.Text.RegularExpressions;

namespace IrrigationFhir.Search;

/// <summary>A decimal number with all its digits: <see cref="Digits"/> times ten to the power of minus <see cref="Scale"/>.</summary>
/// <param name="Digits">The digits as a whole number, with the sign.</param>
/// <param name="Scale">How many of them stand behind the point; negative for <c>1e2</c>. It is the precision as written.</param>
/// <remarks>Nothing is rounded, so that no comparison is decided by a rounding.</remarks>
internal readonly partial record struct ExactDecimal(BigInteger Digits, int Scale)
{
    // What FHIR asks a server to keep is 18 digits. Longer texts are no measurement, and are kept from costing time.
    private const int MostDigits = 40;
    private const int MostExponent = 30;

    /// <summary>The number a text shows, or null when it is none or longer than a measurement is (40 digits, exponent ±30).</summary>
    public static ExactDecimal? Parse(string text)
    {
        var match = text.Length > MostDigits + 8 ? Match.Empty : Shape().Match(text);
        if (!match.Success)
            return null;
        var (whole, fraction, exponent) = (match.Groups["whole"].Value, match.Groups["fraction"].Value, 0);
        if (
            whole.Length + fraction.Length > MostDigits
            || (
                match.Groups["exponent"].Success
                && (
                    !int.TryParse(match.Groups["exponent"].Value, CultureInfo.InvariantCulture, out exponent)
                    || Math.Abs(exponent) > MostExponent
                )
            )
        )
        {
            return null;
        }

        return new(BigInteger.Parse(whole + fraction, CultureInfo.InvariantCulture), fraction.Length - exponent);
    }

    /// <summary>The same number.</summary>
    public static ExactDecimal Of(decimal value)
    {
        Span<int> bits = stackalloc int[4];
        decimal.GetBits(value, bits);
        var digits = ((BigInteger)(uint)bits[2] << 64) + ((BigInteger)(uint)bits[1] << 32) + (uint)bits[0];
        return new(value < 0 ? -digits : digits, value.Scale);
    }

    /// <summary>The product; exact.</summary>
    public ExactDecimal Times(ExactDecimal factor) => new(Digits * factor.Digits, Scale + factor.Scale);

    /// <summary>The sum; exact.</summary>
    public ExactDecimal Plus(ExactDecimal other)
    {
        var scale = Math.Max(Scale, other.Scale);
        return new((Digits * BigInteger.Pow(10, scale - Scale)) + (other.Digits * BigInteger.Pow(10, scale - other.Scale)), scale);
    }

    /// <summary>The opposite number.</summary>
    public ExactDecimal Negated() => new(-Digits, Scale);

    /// <summary>Half a unit of the last digit written: how far the number reaches to either side by its own precision.</summary>
    public ExactDecimal HalfUnit() => new(5, Scale + 1);

    /// <summary>The number as text whose binary order is the order of the numbers; 6, 6.0 and 6.00 give the same text.</summary>
    /// <remarks>
    /// A letter for the sign, two digits for how many digits stand before the point, the digits, and what is behind the point
    /// without trailing zeros. A negative number has each digit replaced by what is missing to nine, and a mark at the end that
    /// sorts after everything, because of two such numbers the longer one is the smaller.
    /// </remarks>
    public string Sortable()
    {
        var digits = BigInteger.Abs(Digits).ToString(CultureInfo.InvariantCulture);
        if (Scale < 0)
            digits += new string('0', -Scale);
        var behind = Math.Max(Scale, 0);
        if (digits.Length < behind)
            digits = digits.PadLeft(behind, '0');
        var whole = digits[..^behind].TrimStart('0');
        var fraction = digits[^behind..].TrimEnd('0');
        var text = $"{whole.Length:00}{whole}{(fraction.Length == 0 ? "" : "." + fraction)}";
        return Digits.Sign < 0 ? "n" + string.Concat(text.Select(c => c == '.' ? c : (char)('0' + '9' - c))) + "~" : "p" + text;
    }

    [GeneratedRegex(@"\A(?<whole>[+-]?[0-9]+)(\.(?<fraction>[0-9]+))?([eE](?<exponent>[+-]?[0-9]{1,3}))?\z", RegexOptions.ExplicitCapture)]
    private static partial Regex Shape();
}
