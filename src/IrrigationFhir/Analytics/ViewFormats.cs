using IrrigationFhir.Rest;
using Microsoft.Net.Http.Headers;

namespace IrrigationFhir.Analytics;

/// <summary>The formats of tables over HTTP, by name and by media type.</summary>
internal static class ViewFormats
{
    private static readonly (string Name, string[] MediaTypes)[] All =
    [
        ("json", ["application/json", FhirReply.MediaType]),
        ("ndjson", ["application/x-ndjson", "application/ndjson", "application/fhir+ndjson"]),
        ("csv", ["text/csv"]),
        ("parquet", ["application/octet-stream", "application/vnd.apache.parquet"]),
    ];

    /// <summary>Their names.</summary>
    public static IReadOnlyList<string> Names { get; } = [.. All.Select(format => format.Name)];

    /// <summary>What a format is served as.</summary>
    public static string MediaTypeOf(string name) => All.Single(format => format.Name == name).MediaTypes[0];

    /// <summary>The format that a word means, by name or media type; null for none.</summary>
    public static string? Named(string word) =>
        All.Where(format => format.Name == word || format.MediaTypes.Contains(word.Split(';')[0].Trim().Replace(' ', '+')))
            .Select(format => format.Name)
            .FirstOrDefault();

    /// <summary>The format that is accepted first; json where anything is, null where none of ours is.</summary>
    public static string? Accepted(HttpRequest request)
    {
        if (request.Headers.Accept.All(string.IsNullOrWhiteSpace))
            return "json";
        if (!MediaTypeHeaderValue.TryParseList(request.Headers.Accept, out var ranges))
            return null;
        foreach (var range in ranges.OrderByDescending(range => range.Quality ?? 1).Where(range => range.Quality is not 0))
        {
            var type = range.MediaType.Value ?? "";
            if (type is "*/*" or "application/*")
                return "json";
            if ((type == "text/*" ? "csv" : Named(type)) is { } format)
                return format;
        }

        return null;
    }
}
