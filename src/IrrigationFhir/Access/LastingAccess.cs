namespace IrrigationFhir.Access;

/// <summary>What a client was allowed when it asked for something that lasts: a subscription, an export.</summary>
/// <param name="Client">Its id.</param>
/// <param name="Scopes">Its scopes, with blanks between them.</param>
/// <param name="Facilities">The facilities that it saw; null for all.</param>
internal sealed record LastingAccess(string Client, string Scopes, IReadOnlyList<string>? Facilities)
{
    /// <summary>That of whoever asked before clients had names.</summary>
    public static LastingAccess Local { get; } = new(Caller.Local.Client, Scope.Everything.ToString(), null);

    /// <summary>What a caller is allowed now.</summary>
    public static LastingAccess Of(Caller caller) => new(caller.Client, string.Join(' ', caller.Scopes), caller.Facilities);

    /// <summary>Whether it is a caller's; everything is whoever asks an open service's.</summary>
    public bool IsOf(Caller caller) => caller.IsLocal || caller.Client == Client;

    /// <summary>
    /// Whether a caller may have now all that was given out by it, of some types: nothing of that was cut to less than it is cut to now.
    /// </summary>
    public bool IsWithin(Caller now, IEnumerable<string> types, Letters letters) =>
        (now.Facilities is null || Facilities?.All(now.Sees) is true)
        && types.All(type => now.Covers(new Need(type, letters)) && Scope.ReadAll(Scopes).All(then => IsWithin(then, now, type, letters)));

    private static bool IsWithin(Scope then, Caller now, string type, Letters letters) =>
        !then.IsAbout(type)
        || (then.Letters & letters) == Letters.None
        || now.Covers(new Need(type, then.Letters & letters) { Whole = true })
        || now.Scopes.Any(wider =>
            wider.IsAbout(type)
            && wider.Letters.HasFlag(then.Letters & letters)
            && wider.Query.Count > 0
            && Reach.CanKeepTo(wider)
            && wider.Query.All(then.Query.Contains)
        );

    /// <summary>The client with what it was allowed then, as far as it still is.</summary>
    /// <param name="still">What it may have now; null for whatever it was allowed then.</param>
    /// <param name="facilities">The facilities that it may see now; null for all.</param>
    public Caller Within(IEnumerable<Scope>? still, IReadOnlyList<string>? facilities) =>
        new(Client, still is null ? Scope.ReadAll(Scopes) : Scope.Both(Scope.ReadAll(Scopes), still))
        {
            Facilities =
                Facilities is null ? facilities
                : facilities is null ? Facilities
                : [.. Facilities.Intersect(facilities)],
        };
}
