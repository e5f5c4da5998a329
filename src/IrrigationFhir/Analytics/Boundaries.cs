using System.Globalization;

namespace IrrigationFhir.Analytics;

/// <summary>What a value that is written with so many digits may stand for at least and at most.</summary>
/// <remarks>Rules of FHIRPath, https://hl7.org/fhirpath/N1: 1.0 is 0.95 to 1.05, and a day without offset begins first at +14:00.</remarks>
internal static class Boundaries
{
    /// <summary>The bound of a number, by the digits it is written with; null where it has more than a decimal can hold.</summary>
    public static string? OfNumber(string lexeme, bool high)
    {
        if (!decimal.TryParse(lexeme, NumberStyles.Float, CultureInfo.InvariantCulture, out var number) || number.Scale > 26)
            return null;
        var half = new decimal(5, 0, 0, false, (byte)(number.Scale + 1));
        return (high ? number + half : number - half).ToString(CultureInfo.InvariantCulture);
    }

    /// <summary>The bound of a date or time; null where it is none.</summary>
    /// <param name="text">As FHIR writes it.</param>
    /// <param name="type">The FHIR type; null where that is told by the text.</param>
    /// <param name="high">The greatest; else the least.</param>
    public static string? OfTime(string text, string? type, bool high)
    {
        if (type == "time" || (type is null && text.Length >= 5 && text[2] == ':'))
            return OfTimeOfDay(text, high);
        var date = text.Split('T')[0];
        var parts = date.Split('-');
        if (
            !int.TryParse(parts[0], NumberStyles.None, CultureInfo.InvariantCulture, out var year)
            || year is < 1 or > 9999
            || parts.Length > 3
            || (parts.Length > 1 && !(int.TryParse(parts[1], out var m) && m is >= 1 and <= 12))
        )
        {
            return null;
        }

        var month =
            parts.Length > 1 ? int.Parse(parts[1], CultureInfo.InvariantCulture)
            : high ? 12
            : 1;
        var day =
            parts.Length > 2 ? parts[2]
            : high ? DateTime.DaysInMonth(year, month).ToString("00", CultureInfo.InvariantCulture)
            : "01";
        var whole = string.Create(CultureInfo.InvariantCulture, $"{year:0000}-{month:00}-{day}");
        if (type == "date" || (type is null && !text.Contains('T', StringComparison.Ordinal)))
            return whole;
        if (!text.Contains('T', StringComparison.Ordinal))
            return whole + (high ? "T23:59:59.999-12:00" : "T00:00:00.000+14:00");

        var time = text[(date.Length + 1)..];
        var offsetAt = time.IndexOfAny(['Z', '+', '-']);
        var offset =
            offsetAt >= 0 ? time[offsetAt..]
            : high ? "-12:00"
            : "+14:00";
        return OfTimeOfDay(offsetAt >= 0 ? time[..offsetAt] : time, high) is { } bound ? $"{whole}T{bound}{offset}" : null;
    }

    private static string? OfTimeOfDay(string text, bool high)
    {
        var fractionAt = text.IndexOf('.', StringComparison.Ordinal);
        var fraction = fractionAt < 0 ? "" : text[(fractionAt + 1)..];
        var parts = (fractionAt < 0 ? text : text[..fractionAt]).Split(':');
        if (parts.Length is < 1 or > 3 || parts.Any(part => part.Length != 2))
            return null;
        string Part(int i) =>
            parts.Length > i ? parts[i]
            : high ? "59"
            : "00";
        return $"{parts[0]}:{Part(1)}:{Part(2)}.{(fraction.Length >= 3 ? fraction : fraction.PadRight(3, high ? '9' : '0'))}";
    }
}
