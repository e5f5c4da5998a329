namespace IrrigationFhir.Access;

/// <summary>What a caller has to be allowed before something is done.</summary>
/// <param name="Type">A FHIR type name.</param>
/// <param name="Letters">All of these.</param>
internal readonly record struct Need(string Type, Letters Letters)
{
    /// <summary>
    /// Whether a part of the type is not enough: what says more than single resources (a balance, a handover) cannot be cut to a scope's
    /// query.
    /// </summary>
    public bool Whole { get; init; }
}

/// <summary>What an address needs: it stands with every route as its metadata, and a route without is answered to nobody.</summary>
/// <param name="Ways">Of each of these lists all, of the lists any one; an empty list asks for no more than a good token.</param>
/// <param name="Open">Whether it is answered without any token: it holds nothing of any patient.</param>
internal sealed record AccessNeeds(IReadOnlyList<IReadOnlyList<Need>> Ways, bool Open = false)
{
    /// <summary>Answered to everybody.</summary>
    public static AccessNeeds Nothing { get; } =
        new(
            [
                [],
            ],
            Open: true
        );

    /// <summary>Answered to whoever brings a good token: what is done or shown is judged by what is asked for.</summary>
    public static AccessNeeds AnyToken { get; } =
        new([
            [],
        ]);

    /// <summary>Needs letters of one type; a part of it is enough, and what is shown is cut to that.</summary>
    public static AccessNeeds Of(string type, Letters letters) =>
        new([
            [new(type, letters)],
        ]);

    /// <summary>Needs letters of whole types, all of them.</summary>
    public static AccessNeeds Whole(params (string Type, Letters Letters)[] needs) =>
        new([
            [.. needs.Select(WholeOf)],
        ]);

    /// <summary>Needs letters of a whole type, any of them.</summary>
    public static AccessNeeds AnyOf(params (string Type, Letters Letters)[] needs) =>
        new([.. needs.Select(need => new[] { WholeOf(need) })]);

    /// <summary>Needs letters of one type, any of them; a part of the type is enough.</summary>
    public static AccessNeeds AnyPartOf(string type, params Letters[] letters) =>
        new([.. letters.Select(one => new[] { new Need(type, one) })]);

    private static Need WholeOf((string Type, Letters Letters) need) => new(need.Type, need.Letters) { Whole = true };
}

/// <summary>Says of routes what they need.</summary>
internal static class AccessNeedsOfRoutes
{
    /// <summary>Says what a route needs.</summary>
    public static TBuilder Needs<TBuilder>(this TBuilder route, AccessNeeds needs)
        where TBuilder : IEndpointConventionBuilder
    {
        route.WithMetadata(needs);
        return route;
    }
}
