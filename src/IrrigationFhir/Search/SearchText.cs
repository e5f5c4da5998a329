using System.Text;

namespace IrrigationFhir.Search;

/// <summary>
/// Takes search values apart at separators that are not escaped with a backslash, as the search chapter of FHIR R4 defines.
/// </summary>
internal static class SearchText
{
    /// <summary>The parts between unescaped separators, still escaped.</summary>
    public static IReadOnlyList<string> Split(string value, char separator)
    {
        var parts = new List<string>();
        var begin = 0;
        for (var i = 0; i < value.Length; i++)
        {
            if (value[i] == '\\')
            {
                i++;
            }
            else if (value[i] == separator)
            {
                parts.Add(value[begin..i]);
                begin = i + 1;
            }
        }

        parts.Add(value[begin..]);
        return parts;
    }

    /// <summary>A text as a value that means it: what would part a value is written with a backslash (R4, search, escaping).</summary>
    public static string Escape(string text) =>
        text.Replace(@"\", @"\\", StringComparison.Ordinal)
            .Replace("|", @"\|", StringComparison.Ordinal)
            .Replace(",", @"\,", StringComparison.Ordinal)
            .Replace("$", @"\$", StringComparison.Ordinal);

    /// <summary>The value meant: <c>\,</c> <c>\|</c> <c>\$</c> and <c>\\</c> lose their backslash, any other backslash stays.</summary>
    public static string Unescape(string value)
    {
        if (!value.Contains('\\', StringComparison.Ordinal))
            return value;
        var text = new StringBuilder(value.Length);
        for (var i = 0; i < value.Length; i++)
        {
            if (value[i] == '\\' && i + 1 < value.Length && value[i + 1] is (',' or '|' or '$' or '\\'))
                i++;
            text.Append(value[i]);
        }

        return text.ToString();
    }
}
