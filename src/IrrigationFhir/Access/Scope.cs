using System.Text.RegularExpressions;
using IrrigationFhir.Search;

namespace IrrigationFhir.Access;

/// <summary>What may be done with resources of a type: the letters of SMART App Launch 2, in their order.</summary>
[Flags]
internal enum Letters
{
    /// <summary>Nothing.</summary>
    None = 0,

    /// <summary>c: create.</summary>
    Create = 1,

    /// <summary>r: read, version read, history of one resource.</summary>
    Read = 2,

    /// <summary>u: update, also the one that creates.</summary>
    Update = 4,

    /// <summary>d: delete. Nothing is deleted here.</summary>
    Delete = 8,

    /// <summary>s: search, and the history of a type.</summary>
    Search = 16,

    /// <summary>All of them.</summary>
    All = Create | Read | Update | Delete | Search,
}

/// <summary>One scope of SMART App Launch 2.2, or of its first version: what a client may do with resources of a type.</summary>
/// <param name="Type">A FHIR type name, or <c>*</c> for every type, also those to come.</param>
/// <param name="Letters">What may be done.</param>
/// <param name="Query">What resources have to match; empty for all.</param>
internal sealed partial record Scope(string Type, Letters Letters, IReadOnlyList<KeyValuePair<string, string>> Query)
{
    /// <summary>The type of a scope for all of them.</summary>
    public const string EveryType = "*";

    /// <summary>Everything.</summary>
    public static Scope Everything { get; } = new(EveryType, Letters.All, []);

    /// <summary>Reads the scopes of a token; what is no scope of ours (<c>openid</c>, <c>launch</c>, <c>.dus</c>) grants nothing.</summary>
    /// <param name="text">Scopes with blanks between them.</param>
    public static IEnumerable<Scope> ReadAll(string text) =>
        text.Split(' ', StringSplitOptions.RemoveEmptyEntries).Select(Parse).OfType<Scope>();

    /// <summary>
    /// The scopes of a token that speak of one patient, <c>patient/…</c>: as those of the system, of what is about that one.
    /// </summary>
    /// <param name="text">Scopes with blanks between them.</param>
    /// <param name="patient">The patient's identifier.</param>
    public static IEnumerable<Scope> ReadAll(string text, Token patient) =>
        from part in text.Split(' ', StringSplitOptions.RemoveEmptyEntries)
        where part.StartsWith(OfPatient, StringComparison.Ordinal)
        let scope = Parse($"system/{part[OfPatient.Length..]}")
        where scope is not null
        select scope with
        {
            Query = [.. scope.Query, new("patient.identifier", $"{SearchText.Escape(patient.System)}|{SearchText.Escape(patient.Value)}")],
        };

    private const string OfPatient = "patient/";

    /// <summary>
    /// The scope that a text is, or null. <c>patient/</c> and <c>user/</c> are none by themselves: they speak of one patient or person, and
    /// this service keeps neither.
    /// </summary>
    public static Scope? Parse(string text)
    {
        var match = Shape().Match(text);
        if (!match.Success)
            return null;
        var (letters, query) = (match.Groups["letters"].Value, match.Groups["query"]);
        if (letters.Length == 0)
            return null;
        var first = match.Groups["first"].Success;
        if (first && query.Success)
            return null; // the first version has no queries
        return Pairs(query.Value) is { } pairs ? new(match.Groups["type"].Value, LettersOf(letters), pairs) : null;
    }

    /// <summary>What two lists of scopes both grant.</summary>
    /// <remarks>Of two queries both have to hold; where one of them alone is granted too, that says it all.</remarks>
    public static IEnumerable<Scope> Both(IEnumerable<Scope> one, IEnumerable<Scope> other)
    {
        var others = other.ToList();
        return [.. one.SelectMany(left => Widest(others.Select(left.Meet).OfType<Scope>().ToList()))];
    }

    /// <summary>Those that no other of them covers.</summary>
    private static IEnumerable<Scope> Widest(List<Scope> scopes) =>
        scopes.Where((scope, at) => !scopes.Where((_, other) => other != at).Any(other => other.IsWiderThan(scope)));

    private bool IsWiderThan(Scope other) =>
        IsAbout(other.Type) && Letters.HasFlag(other.Letters) && Query.Count < other.Query.Count && Query.All(other.Query.Contains);

    /// <summary>Whether it is about a type.</summary>
    public bool IsAbout(string type) => Type == EveryType || Type == type;

    /// <summary>What both grant: the narrower type, letters that both have, what matches the queries of both; null for nothing.</summary>
    public Scope? Meet(Scope other)
    {
        var letters = Letters & other.Letters;
        if (letters == Letters.None || !(IsAbout(other.Type) || other.IsAbout(Type)))
            return null;
        return new(Type == EveryType ? other.Type : Type, letters, [.. Query.Union(other.Query)]);
    }

    /// <summary>The scope as text.</summary>
    public override string ToString() =>
        $"system/{Type}.{LettersIn(Letters)}{(Query.Count == 0 ? "" : "?")}"
        + string.Join('&', Query.Select(pair => $"{Uri.EscapeDataString(pair.Key)}={Uri.EscapeDataString(pair.Value)}"));

    /// <summary>The letters as text, in their order.</summary>
    public static string LettersIn(Letters letters) => string.Concat("cruds".Where((_, at) => letters.HasFlag((Letters)(1 << at))));

    private static Letters LettersOf(string text) =>
        text switch
        {
            "read" => Letters.Read | Letters.Search,
            "write" => Letters.Create | Letters.Update | Letters.Delete,
            "*" => Letters.All,
            _ => text.Aggregate(Letters.None, (all, letter) => all | (Letters)(1 << "cruds".IndexOf(letter, StringComparison.Ordinal))),
        };

    private static List<KeyValuePair<string, string>>? Pairs(string query)
    {
        var pairs = new List<KeyValuePair<string, string>>();
        foreach (var part in query.Split('&', StringSplitOptions.RemoveEmptyEntries))
        {
            if (part.Split('=', 2) is not [{ Length: > 0 } name, { Length: > 0 } value])
                return null;
            pairs.Add(new(Uri.UnescapeDataString(name), Uri.UnescapeDataString(value)));
        }

        return pairs;
    }

    [GeneratedRegex(
        @"\Asystem/(?<type>\*|[A-Z][A-Za-z]{1,63})\.((?<first>(?<letters>read|write|\*))|(?<letters>c?r?u?d?s?))"
            + @"(\?(?<query>[^\s""\\]+))?\z",
        RegexOptions.ExplicitCapture | RegexOptions.NonBacktracking
    )]
    private static partial Regex Shape();
}
