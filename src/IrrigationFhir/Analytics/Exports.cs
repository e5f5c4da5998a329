namespace IrrigationFhir.Analytics;

/// <summary>What exports of all kinds have in common.</summary>
internal static class Exports
{
    /// <summary>Whether resources of a type leave in exports: Subscriptions do not, as they say who is told of whom, and where.</summary>
    public static bool IsExported(string type) => type != "Subscription";

    /// <summary>What makes the rows of a view.</summary>
    public static IViewEngine Engine(ViewDefinition view) => new PassEngine(view);
}
