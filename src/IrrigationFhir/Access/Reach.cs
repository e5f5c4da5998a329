using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Access;

/// <summary>How far scopes reach: as conditions of the search that finds what may be shown.</summary>
/// <remarks>
/// Only what a resource is indexed by, without modifier or chain, can narrow a scope here: <c>category</c>, <c>code</c>, <c>status</c> and
/// <c>patient.identifier</c>. A scope whose query names anything else grants nothing: never more than was meant.
/// </remarks>
internal static class Reach
{
    /// <summary>The parameters that a scope's query may name.</summary>
    public static IReadOnlyList<string> Parameters { get; } = ["category", "code", "patient.identifier", "status"];

    // Nothing that is narrowed by here depends on time, zone or the size of pages.
    private static readonly SearchContext Context = new(true, "", Instant.MinValue, DateTimeZone.Utc, 1, 1);

    /// <summary>Whether a scope can be kept to: it has no query, or one that every resource it is about can be found by.</summary>
    public static bool CanKeepTo(Scope scope) =>
        scope.Query.Count == 0 || IndexedTypes.All.Any(type => scope.IsAbout(type.Name) && Criteria(scope, type) is not null);

    /// <summary>What resources of a type have to match for a letter: nothing, or one of several queries; null: none may.</summary>
    public static IReadOnlyList<SearchCriterion>? Of(IReadOnlyList<Scope> scopes, string type, Letters letter)
    {
        var granting = scopes.Where(scope => scope.IsAbout(type) && scope.Letters.HasFlag(letter)).ToList();
        if (granting.Exists(scope => scope.Query.Count == 0))
            return [];
        if (IndexedTypes.Find(type) is not { } indexed)
            return null;
        List<IReadOnlyList<SearchCriterion>> alternatives =
        [
            .. granting.Select(scope => Criteria(scope, indexed)).OfType<IReadOnlyList<SearchCriterion>>(),
        ];
        return alternatives.Count == 0 ? null : [new SearchCriterion.AnyOf(alternatives)];
    }

    private static IReadOnlyList<SearchCriterion>? Criteria(Scope scope, IndexedType type)
    {
        if (scope.Query.Any(pair => !Parameters.Contains(pair.Key) || type.Find(pair.Key.Split('.')[0]) is null))
            return null;
        var (search, problems) = SearchReader.Read(type, scope.Query, Context);
        return search is not null && problems.Count == 0 && search.Query.Criteria.Count == scope.Query.Count ? search.Query.Criteria : null;
    }
}
