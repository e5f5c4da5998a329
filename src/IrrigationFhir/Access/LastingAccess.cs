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
