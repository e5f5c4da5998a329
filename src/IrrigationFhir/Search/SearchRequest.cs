using IrrigationFhir.Store;

namespace IrrigationFhir.Search;

/// <summary>A search as understood, and the parameters that were understood, for the self link.</summary>
/// <param name="Query">What the store is asked.</param>
/// <param name="Honoured">Names and values that took effect, in the order received; what is missing here was ignored.</param>
internal sealed record SearchRequest(SearchQuery Query, IReadOnlyList<KeyValuePair<string, string>> Honoured)
{
    /// <summary>The name of the parameter that carries the position of the next page; its value is opaque.</summary>
    public const string PageParameter = "_page";
}

/// <summary>Writes and reads the opaque position of a page.</summary>
internal static class PageMark
{
    /// <summary>The position as text for a link.</summary>
    public static string Write(SearchOrder order, SearchPosition position) =>
        Convert.ToBase64String(System.Text.Encoding.UTF8.GetBytes($"{(int)order} {position.Key} {position.Id}"))
            .TrimEnd('=').Replace('+', '-').Replace('/', '_');

    /// <summary>The position, or null when the text is none of ours or belongs to another order.</summary>
    public static SearchPosition? Read(SearchOrder order, string text)
    {
        var padded = text.Replace('-', '+').Replace('_', '/').PadRight((text.Length + 3) / 4 * 4, '=');
        var bytes = new byte[padded.Length];
        if (!Convert.TryFromBase64String(padded, bytes, out var length))
            return null;
        return System.Text.Encoding.UTF8.GetString(bytes, 0, length).Split(' ') is [var kind, var key, { Length: > 0 } id]
            && kind == $"{(int)order}"
            && long.TryParse(key, out var number)
                ? new(number, id)
                : null;
    }
}
