namespace IrrigationFhir.Entries;

/// <summary>What a client asks for in <c>Prefer</c> (RFC 7240).</summary>
internal static class Preferences
{
    /// <summary><c>handling=lenient</c>: record what can be recorded.</summary>
    public static bool Lenient(HttpRequest request) => request.Headers["Prefer"]
        .SelectMany(value => (value ?? "").Split([',', ';'], StringSplitOptions.TrimEntries))
        .Any(preference => preference.Replace("\"", "", StringComparison.Ordinal).Equals("handling=lenient", StringComparison.OrdinalIgnoreCase));
}
