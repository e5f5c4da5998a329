using IrrigationFhir.Search;

namespace IrrigationFhir.Access;

/// <summary>Who asks, and what they may do and be shown.</summary>
internal sealed class Caller
{
    private static readonly object Place = new();
    private readonly Dictionary<(string Type, Letters Letter), IReadOnlyList<SearchCriterion>?> _reach = [];

    /// <summary>A client with its scopes.</summary>
    public Caller(string client, IEnumerable<Scope> scopes)
    {
        Client = client;
        Scopes = [.. scopes];
    }

    /// <summary>Whoever asks a service that is open: everything may be done.</summary>
    public static Caller Local { get; } = new("local", [Scope.Everything]) { MayReadAudit = true };

    /// <summary>Whoever asks for what is answered to everybody.</summary>
    public static Caller Nobody { get; } = new("", []) { Facilities = [] };

    /// <summary>The client's id; <c>local</c> where the service is open.</summary>
    public string Client { get; }

    /// <summary>What it was granted.</summary>
    public IReadOnlyList<Scope> Scopes { get; }

    /// <summary>The id of its token (<c>jti</c>); null where there is none.</summary>
    public string? Token { get; init; }

    /// <summary>The facilities whose patients it sees; null for all. An empty list shows nothing.</summary>
    public IReadOnlyList<string>? Facilities { get; init; }

    /// <summary>Whether its registration lets it read what was done by whom.</summary>
    public bool MayReadAudit { get; init; }

    /// <summary>The caller of a request. Before the gate has let it through there is none.</summary>
    /// <exception cref="InvalidOperationException">The request did not pass the gate.</exception>
    public static Caller Of(HttpContext http) =>
        http.Items[Place] as Caller ?? throw new InvalidOperationException("a request that did not pass the gate");

    /// <summary>The caller of a request; null where nobody is known to ask.</summary>
    public static Caller? Known(HttpContext http) => http.Items[Place] as Caller;

    /// <summary>Lets a request be this caller's.</summary>
    public void Asks(HttpContext http) => http.Items[Place] = this;

    /// <summary>Whether all that is needed is granted.</summary>
    public bool Covers(AccessNeeds needs) => needs.Ways.Any(all => all.All(Covers));

    /// <summary>Whether something is granted: wholly, or where a part is enough, in part.</summary>
    public bool Covers(Need need) =>
        (need.Type != "AuditEvent" || MayReadAudit)
        && (need.Whole ? Within(need.Type, need.Letters) is { Count: 0 } : Within(need.Type, need.Letters) is not null);

    /// <summary>
    /// What resources of a type have to match for these letters, beside belonging to one of <see cref="Facilities"/>: nothing (an empty
    /// list), one of the queries that the scopes name, or null where no scope grants it.
    /// </summary>
    public IReadOnlyList<SearchCriterion>? Within(string type, Letters letters)
    {
        var all = new List<SearchCriterion>();
        foreach (
            var letter in Enum.GetValues<Letters>().Where(letter => letter is not (Letters.None or Letters.All) && letters.HasFlag(letter))
        )
        {
            if (ForLetter(type, letter) is not { } criteria)
                return null;
            all.AddRange(criteria.Except(all));
        }

        return all;
    }

    /// <summary>
    /// The same with the facilities, and of subscriptions those of its own: what the search for resources that may be shown asks besides;
    /// null where none may be shown.
    /// </summary>
    public IReadOnlyList<SearchCriterion>? Shown(IndexedType type, Letters letters) =>
        Within(type.Name, letters) is not { } within ? null
        : type.OfPatient && Facilities is { } facilities ? [.. within, new SearchCriterion.OfFacilities(facilities)]
        : type.Name == "Subscription" && !IsLocal ? [.. within, new SearchCriterion.OfClient(Client)]
        : within;

    /// <summary>
    /// The same caller with letters of a whole type: for what was judged by itself already, as no more than a part of the type that it may
    /// write.
    /// </summary>
    public Caller Judged(string type, Letters letters) =>
        Covers(new Need(type, letters) { Whole = true })
            ? this
            : new(Client, [.. Scopes, new(type, letters, [])])
            {
                Token = Token,
                Facilities = Facilities,
                MayReadAudit = MayReadAudit,
            };

    /// <summary>Whether it is whoever asks an open service.</summary>
    public bool IsLocal => ReferenceEquals(this, Local);

    /// <summary>Whether patients of a facility are shown to it.</summary>
    public bool Sees(string facility) => Facilities is not { } few || few.Contains(facility);

    private IReadOnlyList<SearchCriterion>? ForLetter(string type, Letters letter)
    {
        lock (_reach)
        {
            if (!_reach.TryGetValue((type, letter), out var known))
                _reach.Add((type, letter), known = Reach.Of(Scopes, type, letter));
            return known;
        }
    }
}
