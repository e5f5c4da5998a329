namespace IrrigationFhir.Analytics;

/// <summary>The keys that tables are joined by: <c>Observation/one</c>, as references are written.</summary>
internal static class FhirKeys
{
    /// <summary>The key of what a reference leads to, without its version; null where that is no resource of this server.</summary>
    /// <param name="reference">As written.</param>
    /// <param name="type">The only type that is wanted, or null.</param>
    public static string? OfReference(string reference, string? type)
    {
        var versionAt = reference.IndexOf("/_history/", StringComparison.Ordinal);
        var key = versionAt < 0 ? reference : reference[..versionAt];
        var parts = key.Split('/');
        if (key.Length == 0 || key[0] == '#' || key.StartsWith("urn:", StringComparison.Ordinal) || parts.Length < 2)
            return null;
        return type is null || parts[^2] == type ? key : null;
    }
}
