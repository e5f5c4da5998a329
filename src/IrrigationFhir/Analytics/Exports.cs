using IrrigationFhir.Access;
using IrrigationFhir.Search;

namespace IrrigationFhir.Analytics;

/// <summary>What exports of all kinds have in common.</summary>
internal static class Exports
{
    /// <summary>Whether resources of a type leave in exports: Subscriptions do not, as they say who is told of whom, and where.</summary>
    public static bool IsExported(string type) => type != "Subscription";

    /// <summary>What is needed of a type that leaves in an export or as rows; what leaves is cut to the queries of scopes.</summary>
    public const Letters Letters = Access.Letters.Read | Access.Letters.Search;

    /// <summary>Whether a caller may have a type in an export, or rows of it; <see cref="Shown"/> says which resources.</summary>
    public static bool MayHave(Caller caller, string type) => caller.Covers(new Need(type, Letters));

    /// <summary>What resources of a type have to meet that leave to a caller.</summary>
    public static IReadOnlyList<SearchCriterion> Shown(Caller caller, string type) =>
        IndexedTypes.Find(type) is not { } known
            ? []
            : caller.Shown(known, Letters) ?? throw new InvalidOperationException("a type that its client may not have");

    /// <summary>What makes the rows of a view.</summary>
    public static IViewEngine Engine(ViewDefinition view) => new PassEngine(view);
}
