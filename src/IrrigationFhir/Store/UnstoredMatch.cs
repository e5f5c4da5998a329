using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>Whether a resource that is not stored yet would be found by conditions: by the same rows that it will be found by.</summary>
internal static class UnstoredMatch
{
    /// <summary>Whether all of them hold.</summary>
    /// <remarks>
    /// The conditions of scopes alone: codings, status, patient. Of any other it is not known here, and then it is not found. Facilities
    /// are no matter of a resource but of its episode: who asks looks after them.
    /// </remarks>
    public static bool Meets(ResourceDraft draft, IReadOnlyList<SearchCriterion> criteria) => criteria.All(one => Meets(draft, one));

    private static bool Meets(ResourceDraft draft, SearchCriterion criterion) =>
        criterion switch
        {
            SearchCriterion.Statuses statuses => draft.Status is { } status && statuses.Codes.Contains(status) != statuses.Not,
            SearchCriterion.Coded { Rows: not [IndexedTypes.Identifier] } coded => Codings(draft)
                .Any(coding => coded.Rows.Contains(coding.Parameter) && coded.Tests.Any(test => Matches(test, coding.Token))) != coded.Not,
            SearchCriterion.Subject subject => draft.Subject is { } about && subject.Tests.Any(test => Matches(test, about)),
            SearchCriterion.AnyOf any => any.Alternatives.Any(all => Meets(draft, all)),
            SearchCriterion.OfFacilities => true,
            _ => false,
        };

    private static IEnumerable<IndexedCoding> Codings(ResourceDraft draft) =>
        (draft.Codes?.Members ?? []).Concat(draft.Labels?.Members ?? []);

    private static bool Matches(TokenTest test, Token token) =>
        (test.Code is null || test.Code == token.Value) && (test.System is null || test.System == token.System);

    private static bool Matches(ReferenceTest test, ReferenceKey about) =>
        test switch
        {
            ReferenceTest.Target target => about.Target.Length > 0 && about.Target == target.Reference,
            ReferenceTest.Identifier identifier => about.Identifier is { } token && Matches(identifier.Token, token),
            _ => false,
        };
}
