using IrrigationFhir.Problems;
using Microsoft.Net.Http.Headers;

namespace IrrigationFhir.Rest;

/// <summary>Sees that the client can read what is written here: FHIR JSON of R4, in UTF-8.</summary>
internal static class Negotiation
{
    private static readonly HashSet<string> Formats = new(StringComparer.OrdinalIgnoreCase)
    {
        "json",
        FhirReply.MediaType,
        "application/json",
        "text/json",
        // A + that the sender did not percent-encode arrives as a space.
        "application/fhir json",
    };

    private static readonly HashSet<string> Acceptable = new(StringComparer.OrdinalIgnoreCase)
    {
        FhirReply.MediaType,
        "application/json",
        "text/json",
        "application/*",
        "text/*",
        "*/*",
    };

    /// <summary>Answers 406 unless <c>_format</c>, or else <c>Accept</c>, allows JSON.</summary>
    public static async ValueTask<object?> RequireJson(EndpointFilterInvocationContext context, EndpointFilterDelegate next) =>
        Refusal(context.HttpContext.Request) is { } refused ? NotAcceptable(refused) : await next(context);

    /// <summary>The same of a request within another, which has no header: by <c>_format</c> alone.</summary>
    public static OutcomeResult? Refusal(IQueryCollection query) =>
        FormatOf(query) is { } format && !IsOurs(format) ? NotAcceptable($"_format={format}") : null;

    private static OutcomeResult NotAcceptable(string saw) =>
        new(StatusCodes.Status406NotAcceptable, Outcome.Problem("not-acceptable", saw, $"{FhirReply.MediaType} or application/json", null));

    private static string? FormatOf(IQueryCollection query) => query["_format"] is [{ Length: > 0 } format, ..] ? format : null;

    private static bool IsOurs(string format)
    {
        var parts = format.Split(';', StringSplitOptions.TrimEntries);
        return Formats.Contains(parts[0])
            && parts[1..].All(part => !NameValueHeaderValue.TryParse(part, out var named) || BodyMediaType.OtherVersion(named) is null);
    }

    private static string? Refusal(HttpRequest request)
    {
        if (FormatOf(request.Query) is { } format)
            return IsOurs(format) ? null : $"_format={format}";

        var accept = request.Headers.Accept;
        if (accept.Count == 0 || accept.All(string.IsNullOrWhiteSpace))
            return null;
        return MediaTypeHeaderValue.TryParseList(accept, out var ranges) && ranges.Any(IsOurs) ? null : $"Accept: {accept}";
    }

    private static bool IsOurs(MediaTypeHeaderValue range) =>
        range.Quality is not 0
        && Acceptable.Contains(range.MediaType.Value ?? "")
        && range.Parameters.All(parameter => BodyMediaType.OtherVersion(parameter) is null);
}
