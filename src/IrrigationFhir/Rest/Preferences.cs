namespace IrrigationFhir.Rest;

/// <summary>What a client asks for in <c>Prefer</c> (RFC 7240); a value may stand in quotes, names are not case-sensitive.</summary>
/// <remarks>Taken apart here, because the framework has no type for this header, nor one for lists of pairs with parameters.</remarks>
internal static class Preferences
{
    /// <summary><c>handling=strict</c>: what is not understood is an error.</summary>
    public static bool Strict(HttpRequest request) => Has(request, "handling", "strict");

    /// <summary><c>handling=lenient</c>: do what can be done.</summary>
    public static bool Lenient(HttpRequest request) => Has(request, "handling", "lenient");

    /// <summary><c>return=…</c>: minimal, representation or OperationOutcome; empty where nothing is said.</summary>
    public static string Return(HttpRequest request) => Values(request, "return").FirstOrDefault() ?? "";

    private static bool Has(HttpRequest request, string name, string value) =>
        Values(request, name).Any(given => given.Equals(value, StringComparison.OrdinalIgnoreCase));

    private static IEnumerable<string> Values(HttpRequest request, string name) =>
        from line in request.Headers["Prefer"]
        from preference in (line ?? "").Split([',', ';'], StringSplitOptions.TrimEntries)
        let pair = preference.Split('=', 2, StringSplitOptions.TrimEntries)
        where pair.Length == 2 && pair[0].Equals(name, StringComparison.OrdinalIgnoreCase)
        select pair[1].Trim('"');
}
