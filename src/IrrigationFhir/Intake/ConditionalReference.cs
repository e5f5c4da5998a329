using IrrigationFhir.Search;
using Microsoft.AspNetCore.WebUtilities;

namespace IrrigationFhir.Intake;

/// <summary>A reference by search (R4, transaction), such as <c>Device?identifier=https://devices.example|17</c>.</summary>
internal static class ConditionalReference
{
    /// <summary>
    /// The identifier that a search names, where it names nothing else: it points at whatever has that identifier, and so needs nothing
    /// that is kept here. Null for every other text.
    /// </summary>
    public static Token? Identifier(string reference)
    {
        var mark = reference.IndexOf('?', StringComparison.Ordinal);
        if (mark <= 0 || !reference[..mark].All(char.IsAsciiLetter))
            return null;
        var query = QueryHelpers.ParseQuery(reference[mark..]);
        return
            query.Count == 1
            && query.TryGetValue("identifier", out var named)
            && named is [{ Length: > 0 } text]
            && SearchText.Split(text, '|') is [{ Length: > 0 } system, { Length: > 0 } value]
            && !SearchText.Split(text, ',').Skip(1).Any()
            ? new(SearchText.Unescape(system), SearchText.Unescape(value))
            : null;
    }
}
