namespace IrrigationFhir.Rest;

/// <summary>What Content-Type says of a body.</summary>
internal static class BodyMediaType
{
    /// <summary>The media type in lower case, without parameters; null without the header, and as sent where it is no media type.</summary>
    public static string? Of(HttpRequest request) =>
        request.GetTypedHeaders().ContentType?.MediaType.Value?.ToLowerInvariant() ?? request.ContentType;
}
