using System.Collections.Immutable;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Search;

namespace IrrigationFhir.Subscriptions;

/// <summary>One condition on an event.</summary>
/// <param name="Parameter">One of the topic's filters; <c>patient:identifier</c> is read as <c>patient.identifier</c>.</param>
/// <param name="AnyOf">The texts of which one has to be among those of <see cref="EventAttributes"/>; at least one.</param>
internal sealed record SubscriptionFilter(string Parameter, ImmutableArray<string> AnyOf)
{
    /// <summary>
    /// Most conditions of one subscription, and most values of one condition. Our judgement: each is compared at every change.
    /// </summary>
    public const int Most = 100;

    // A code that no resource of the topic can carry would never be found, and its subscriber would take the silence for "all is well".
    private static readonly Lazy<Dictionary<string, (Func<Profiles, string> System, string[] Codes)>> Known = new(() =>
        new()
        {
            ["code"] = (profiles => profiles.CodeSystem("irrigation-flag"), Concepts("irrigation-flag")),
            ["category"] = (profiles => profiles.CodeSystem("output-window"), Concepts("output-window")),
            ["priority"] = (
                _ => Codes.Systems.FlagPriority,
                [
                    .. Irrigation
                        .Slug.All<Irrigation.Flags.FlagPriority>()
                        .Select(slug => Codes.FlagPriority(slug).Coding[0].Code!)
                        .Distinct(),
                ]
            ),
        }
    );

    /// <summary>
    /// Reads one filter criteria: <c>Flag?code=a,b&amp;patient=Patient/1</c> as the guide has it, or <c>Flag.code=a</c>; each part of it is
    /// a condition.
    /// </summary>
    /// <param name="text">The criteria; may be percent-encoded. A + is a plus.</param>
    /// <param name="topic">The topic it filters.</param>
    /// <param name="profiles">The base of our codes.</param>
    /// <param name="where">Its path.</param>
    public static (IReadOnlyList<SubscriptionFilter> Filters, IReadOnlyList<EntryProblem> Problems) Read(
        string text,
        SubscriptionTopic topic,
        Profiles profiles,
        string where
    )
    {
        var query = text.StartsWith($"{topic.ResourceType}?", StringComparison.Ordinal);
        if (!query && !text.StartsWith($"{topic.ResourceType}.", StringComparison.Ordinal))
            return ([], [SubscriptionProblem.FilterOfAnotherType(where, topic)]);

        var parts = (query ? text[(topic.ResourceType.Length + 1)..] : text).Split('&');
        if (parts.Length > Most)
            return ([], [SubscriptionProblem.TooManyFilters(where, parts.Length)]);

        List<SubscriptionFilter> filters = [];
        List<EntryProblem> problems = [];
        foreach (var part in parts)
        {
            var (name, value) = part.IndexOf('=', StringComparison.Ordinal) is var equals and >= 0
                ? (part[..equals], part[(equals + 1)..])
                : (part, "");
            name = Uri.UnescapeDataString(name);
            if (!query && name.StartsWith($"{topic.ResourceType}.", StringComparison.Ordinal))
                name = name[(topic.ResourceType.Length + 1)..];
            var parameter = name == "patient:identifier" ? "patient.identifier" : name;
            if (!topic.Filters.Contains(parameter))
            {
                problems.Add(SubscriptionProblem.UnknownFilter(where, name, topic));
                continue;
            }

            var values = SearchText.Split(Uri.UnescapeDataString(value), ',');
            if (values.Count > Most)
            {
                problems.Add(SubscriptionProblem.FilterValue(where, parameter, $"{values.Count} values", $"at most {Most}"));
                continue;
            }

            var read = values.Select(one => Value(one, parameter, profiles, where)).ToList();
            problems.AddRange(read.Select(r => r.Problem).OfType<EntryProblem>());
            filters.Add(new(parameter, [.. read.Select(r => r.Value).OfType<string>()]));
        }

        return (filters, problems);
    }

    /// <summary>Whether whatever it lets pass matches a parameter of a search too, as the query of a scope names it.</summary>
    /// <param name="parameter">The parameter, without modifier.</param>
    /// <param name="value">Its value: tokens with commas between them.</param>
    public bool IsWithin(string parameter, string value)
    {
        var allowed = SearchText.Split(value, ',').Select(token => SearchText.Split(token, '|')).ToList();
        return Parameter == parameter && AnyOf.All(one => allowed.Exists(token => IsWithin(SearchText.Split(one, '|'), token)));
    }

    /// <summary>Whether a token is one that another allows: the same, or one of the system or of the code that alone is named.</summary>
    private static bool IsWithin(IReadOnlyList<string> token, IReadOnlyList<string> allowed) =>
        (token, allowed) switch
        {
            ([var code], [var only]) => Same(code, only),
            ([_, var code], [var only]) => Same(code, only),
            ([var system, _], [var named, ""]) => Same(system, named),
            ([var system, var code], [var named, var only]) => Same(system, named) && Same(code, only),
            _ => false,
        };

    private static bool Same(string one, string other) => SearchText.Unescape(one) == SearchText.Unescape(other);

    private static (string? Value, EntryProblem? Problem) Value(string text, string parameter, Profiles profiles, string where) =>
        parameter == "patient" ? Patient(text, where) : Token(text, parameter, profiles, where);

    private static (string?, EntryProblem?) Patient(string text, string where)
    {
        var reference = SearchText.Unescape(text);
        var steps = reference.Split('/');
        if (steps is [var only] && IsId(only))
            return ($"Patient/{only}", null);
        if (
            steps is [.., "Patient", var id]
            && IsId(id)
            && (steps.Length == 2 || Uri.TryCreate(reference, UriKind.Absolute, out var address) && address.Scheme is "http" or "https")
        )
            return (reference, null);
        return (
            null,
            SubscriptionProblem.FilterValue(
                where,
                "patient",
                "a value that is no reference to a Patient",
                "Patient/id, an id, or the absolute address of a Patient"
            )
        );
    }

    private static (string?, EntryProblem?) Token(string text, string parameter, Profiles profiles, string where)
    {
        var parts = SearchText.Split(text, '|');
        var (system, code) =
            parts.Count == 2 ? (SearchText.Unescape(parts[0]), SearchText.Unescape(parts[1])) : (null, SearchText.Unescape(text));
        if (parts.Count > 2 || code.Length == 0)
            return (
                null,
                SubscriptionProblem.FilterValue(
                    where,
                    parameter,
                    "a value that is no token",
                    "system|code, |code or code; a bar within one as \\|"
                )
            );
        if (
            Known.Value.TryGetValue(parameter, out var known)
            && (!known.Codes.Contains(code) || (system is not null && system != known.System(profiles)))
        )
            return (
                null,
                SubscriptionProblem.FilterValue(
                    where,
                    parameter,
                    "a code that no event of the topic has",
                    $"one of {string.Join(", ", known.Codes)} of {known.System(profiles)}"
                )
            );
        return (EventAttributes.Token(system, code), null);
    }

    private static bool IsId(string text) => text.Length is > 0 and <= 64 && text.All(c => char.IsAsciiLetterOrDigit(c) || c is '-' or '.');

    private static string[] Concepts(string slug) =>
        [.. Definitions.CodeSystem(slug, Profiles.DefaultCanonicalBase).Concept.Select(concept => concept.Code!)];
}
