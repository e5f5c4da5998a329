using Hl7.Fhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>What an event can be filtered by.</summary>
internal static class EventAttributes
{
    /// <summary>
    /// Every parameter with every text that matches it. A coding matches as <c>system|code</c> and as <c>code</c>, one without a
    /// system as <c>|code</c> and as <c>code</c>; bars, commas and backslashes inside are escaped as in a search.
    /// </summary>
    public static IReadOnlyList<(string Parameter, string Value)> Of(Resource resource) =>
        resource switch
        {
            Flag flag =>
            [
                .. Patient(flag.Subject),
                .. Tokens("code", flag.Code?.Coding),
                .. Tokens(
                    "priority",
                    flag.Extension.Where(e => e.Url == Profiles.CoreFlagPriority)
                        .SelectMany(e => (e.Value as CodeableConcept)?.Coding ?? [])
                ),
            ],
            Observation observation =>
            [
                .. Patient(observation.Subject),
                .. Tokens("category", observation.Category.SelectMany(category => category.Coding)),
            ],
            _ => [],
        };

    /// <summary>The same, each as one text, in the form that the store compares.</summary>
    public static IReadOnlyList<string> Compared(Resource resource) =>
        [.. Of(resource).Select(attribute => $"{attribute.Parameter} {attribute.Value}")];

    /// <summary>A system and a code as they are compared.</summary>
    /// <param name="system">Empty means: without a system. Null means: whatever the system.</param>
    /// <param name="code">The code.</param>
    public static string Token(string? system, string code) => system is null ? Escape(code) : $"{Escape(system)}|{Escape(code)}";

    private static IEnumerable<(string Parameter, string Value)> Patient(ResourceReference? subject)
    {
        var reference = subject?.Reference ?? "";
        if (reference.IndexOf("/_history/", StringComparison.Ordinal) is var version and >= 0)
            reference = reference[..version];
        if (reference.Length > 0 && !reference.StartsWith('#'))
            yield return ("patient", reference);
        if (subject?.Identifier is not { Value: { Length: > 0 } value } identifier)
            yield break;
        yield return ("patient.identifier", Token(identifier.System ?? "", value));
        yield return ("patient.identifier", Token(null, value));
    }

    private static IEnumerable<(string Parameter, string Value)> Tokens(string parameter, IEnumerable<Coding>? codings) =>
        from coding in codings ?? []
        where !string.IsNullOrEmpty(coding.Code)
        from value in new[] { Token(coding.System ?? "", coding.Code!), Token(null, coding.Code!) }
        select (parameter, value);

    private static string Escape(string text) =>
        text.Replace(@"\", @"\\", StringComparison.Ordinal)
            .Replace("|", @"\|", StringComparison.Ordinal)
            .Replace(",", @"\,", StringComparison.Ordinal);
}
