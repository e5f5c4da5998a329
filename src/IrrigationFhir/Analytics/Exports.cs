using IrrigationFhir.Access;

namespace IrrigationFhir.Analytics;

/// <summary>What exports of all kinds have in common.</summary>
internal static class Exports
{
    /// <summary>Whether resources of a type leave in exports: Subscriptions do not, as they say who is told of whom, and where.</summary>
    public static bool IsExported(string type) => type != "Subscription";

    /// <summary>What is needed of a type that leaves in an export or as rows: all of it, for neither is cut to a scope's query.</summary>
    public const Letters Letters = Access.Letters.Read | Access.Letters.Search;

    /// <summary>Whether a caller may have a type in an export, or rows of it.</summary>
    public static bool MayHave(Caller caller, string type) => caller.Covers(new Need(type, Letters) { Whole = true });

    /// <summary>What makes the rows of a view.</summary>
    public static IViewEngine Engine(ViewDefinition view) => new PassEngine(view);
}
