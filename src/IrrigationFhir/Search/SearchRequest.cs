using System.Text.Json;
using Hl7.Fhir.Model;

namespace IrrigationFhir.Search;

/// <summary>A search as understood, and the parameters that were understood, for the self link.</summary>
/// <param name="Query">What the store is asked.</param>
/// <param name="Honoured">Names and values that took effect, in the order received; what is missing here was ignored.</param>
/// <param name="Shape">How much of each resource is sent.</param>
/// <param name="PassedOver">What was ignored, as warnings: more may have been found than was meant.</param>
internal sealed record SearchRequest(
    SearchQuery Query,
    IReadOnlyList<KeyValuePair<string, string>> Honoured,
    Shape Shape,
    IReadOnlyList<OperationOutcome.IssueComponent> PassedOver
)
{
    /// <summary>The name of the parameter that carries the position of the next page; its value is opaque.</summary>
    public const string PageParameter = "_page";
}

/// <summary>How much of each resource is sent.</summary>
/// <param name="Summary"><c>true</c>, <c>text</c> or <c>data</c>; null for whole resources.</param>
/// <param name="Elements">Top-level elements wanted beside the mandatory ones; empty for all.</param>
internal sealed record Shape(string? Summary, IReadOnlyList<string> Elements)
{
    /// <summary>Whole resources.</summary>
    public static Shape Whole { get; } = new(null, []);

    /// <summary>Whether resources are sent whole.</summary>
    public bool IsWhole => Summary is null && Elements.Count == 0;
}

/// <summary>Writes and reads the opaque position of a page: the order it belongs to, the values of its keys, the id.</summary>
internal static class PageMark
{
    /// <summary>The order as a query would ask for it.</summary>
    public static string OrderOf(IReadOnlyList<SortKey> order) =>
        string.Join(',', order.Select(key => (key.Descending ? "-" : "") + key.Parameter.Name));

    /// <summary>The position as text for a link.</summary>
    public static string Write(string order, SearchPosition position) =>
        Convert
            .ToBase64String(JsonSerializer.SerializeToUtf8Bytes<object[]>([order, .. position.Keys, position.Id]))
            .TrimEnd('=')
            .Replace('+', '-')
            .Replace('/', '_');

    /// <summary>The position, or null when the text is none of ours, belongs to another order or has another number of keys.</summary>
    public static SearchPosition? Read(string order, int keys, string text)
    {
        var padded = text.Replace('-', '+').Replace('_', '/').PadRight((text.Length + 3) / 4 * 4, '=');
        var bytes = new byte[padded.Length];
        if (!Convert.TryFromBase64String(padded, bytes, out var length))
            return null;
        try
        {
            var parts = JsonSerializer.Deserialize<JsonElement[]>(bytes.AsSpan(0, length)) ?? [];
            return
                parts.Length == keys + 2
                && parts[0].ValueKind == JsonValueKind.String
                && parts[0].GetString() == order
                && parts[^1].ValueKind == JsonValueKind.String
                && parts[^1].GetString() is { Length: > 0 } id
                && parts[1..^1].Select(Key).ToList() is var values
                && !values.Contains(null)
                ? new(values!, id)
                : null;
        }
        catch (JsonException)
        {
            return null;
        }
    }

    private static object? Key(JsonElement value) =>
        value.ValueKind switch
        {
            JsonValueKind.String => value.GetString(),
            JsonValueKind.Number when value.TryGetInt64(out var number) => number,
            _ => null,
        };
}
