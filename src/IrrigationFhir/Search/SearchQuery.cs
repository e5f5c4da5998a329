namespace IrrigationFhir.Search;

/// <summary>A search that has been read and understood.</summary>
/// <param name="Type">What is searched.</param>
/// <param name="Criteria">All must hold.</param>
/// <param name="Order">Order of the pages; empty for the type's date, oldest first.</param>
/// <param name="Count">Most resources wanted; 0 asks for the total alone.</param>
/// <param name="After">Where the page before ended, or null for the first page.</param>
/// <param name="WithTotal">Whether all matches are to be counted, which costs a walk over them.</param>
/// <param name="Includes">What comes along with the matches.</param>
/// <param name="MostIncluded">Most resources that come along with one page.</param>
/// <param name="Shown">What resources of a type have to meet that come along; null for a type of which none may. Null: nothing.</param>
internal sealed record SearchQuery(
    IndexedType Type,
    IReadOnlyList<SearchCriterion> Criteria,
    IReadOnlyList<SortKey> Order,
    int Count,
    SearchPosition? After = null,
    bool WithTotal = false,
    IReadOnlyList<Inclusion>? Includes = null,
    int MostIncluded = 0,
    Func<IndexedType, IReadOnlyList<SearchCriterion>?>? Shown = null
)
{
    /// <summary>What the order goes by, besides the id: that is single, so nothing behind it matters.</summary>
    public IReadOnlyList<SortKey> Keys =>
        Order.Count == 0 ? [new(Type.Date, false)] : [.. Order.TakeWhile(key => key.Parameter is not IndexedParameter.Id)];
}

/// <summary>One key of an order. What lacks the value comes last, or first when descending.</summary>
/// <param name="Parameter">
/// By which it sorts; where a resource has several values, by the smallest, or the greatest when descending.
/// </param>
/// <param name="Descending">Greatest first.</param>
/// <remarks>
/// The id decides between equals, so the order is total and a page has one end. A walk in an order that writes do not change (id,
/// and in practice the date) sees each resource that was there when it began exactly once; in the order of storing, what changes
/// during the walk comes again at its end, as the version it then has.
/// </remarks>
internal sealed record SortKey(IndexedParameter Parameter, bool Descending);

/// <summary>The last resource of a page, by the values of the order's keys (whole numbers or texts) and the id.</summary>
internal sealed record SearchPosition(IReadOnlyList<object> Keys, string Id);

/// <summary>Resources that come along with the matches.</summary>
/// <param name="Reverse">They point at the matches, instead of being pointed at.</param>
/// <param name="From">The type that points.</param>
/// <param name="Parameter">The references meant; null for all of that type.</param>
/// <param name="Target">Only what is of this type at the other end; null for any.</param>
/// <param name="Iterate">Follow them again from what came along, a limited number of times.</param>
internal sealed record Inclusion(bool Reverse, IndexedType From, IndexedParameter.Reference? Parameter, string? Target, bool Iterate);

/// <summary>One condition; where it holds several values, one of them must hold.</summary>
internal abstract record SearchCriterion
{
    /// <summary>The id is one of these.</summary>
    public sealed record Ids(IReadOnlyList<string> Values) : SearchCriterion;

    /// <summary>The status is (or, negated, is not) one of these codes.</summary>
    public sealed record Statuses(IReadOnlyList<string> Codes, bool Not) : SearchCriterion;

    /// <summary>A coding or identifier in the index rows of these names matches (or, negated, none does).</summary>
    public sealed record Coded(IReadOnlyList<string> Rows, IReadOnlyList<TokenTest> Tests, bool Not) : SearchCriterion;

    /// <summary>A display or text at one of these paths has a word that begins like one of these.</summary>
    public sealed record Texts(IReadOnlyList<string> Paths, IReadOnlyList<string> Beginnings) : SearchCriterion;

    /// <summary>
    /// A text in the index rows of that name begins like one of these, whatever the case of ASCII letters; or is one of these to the
    /// letter.
    /// </summary>
    public sealed record BeginsWith(string Row, IReadOnlyList<string> Values, bool Exact) : SearchCriterion;

    /// <summary>A value in the index rows of these names matches.</summary>
    public sealed record Quantities(IReadOnlyList<string> Rows, IReadOnlyList<QuantityTest> Tests) : SearchCriterion;

    /// <summary>A coding and the value beside it match, both of one pair.</summary>
    public sealed record Pairs(IReadOnlyList<string> Rows, IReadOnlyList<(TokenTest Code, QuantityTest Value)> Tests) : SearchCriterion;

    /// <summary>The patient matches.</summary>
    public sealed record Subject(IReadOnlyList<ReferenceTest> Tests) : SearchCriterion;

    /// <summary>A reference under that parameter matches.</summary>
    public sealed record References(string Parameter, IReadOnlyList<ReferenceTest> Tests) : SearchCriterion;

    /// <summary>The time it happened matches.</summary>
    public sealed record Dates(IReadOnlyList<DateTest> Tests) : SearchCriterion;

    /// <summary>Another time matches, in the index rows of this name.</summary>
    public sealed record Moments(string Parameter, IReadOnlyList<DateTest> Tests) : SearchCriterion;

    /// <summary>It happened at least partly within this stretch, or nobody knows when.</summary>
    public sealed record WithinOrUndated(TimeRange Range) : SearchCriterion;

    /// <summary>The time it was stored matches.</summary>
    public sealed record LastUpdated(IReadOnlyList<DateTest> Tests) : SearchCriterion;

    /// <summary>There is no value (or, when false, there is one) under that parameter.</summary>
    public sealed record Missing(IndexedParameter Parameter, bool IsMissing) : SearchCriterion;

    /// <summary>All criteria of one of these lists hold.</summary>
    public sealed record AnyOf(IReadOnlyList<IReadOnlyList<SearchCriterion>> Alternatives) : SearchCriterion;

    /// <summary>The patient is one of these facilities'; without any, nothing matches.</summary>
    public sealed record OfFacilities(IReadOnlyList<string> Names) : SearchCriterion;

    /// <summary>It is a Subscription of this client.</summary>
    public sealed record OfClient(string Client) : SearchCriterion;
}

/// <summary>A token to match.</summary>
/// <param name="System">Null for any; empty for none.</param>
/// <param name="Code">Null for any.</param>
internal readonly record struct TokenTest(string? System, string? Code);

/// <summary>A stretch of numbers, in the texts of <see cref="ExactDecimal.Sortable"/>.</summary>
/// <param name="From">Its lower end; null for none.</param>
/// <param name="WithFrom">Whether the lower end belongs to it.</param>
/// <param name="To">Its upper end; null for none.</param>
/// <param name="WithTo">Whether the upper end belongs to it.</param>
/// <param name="Outside">Everything but this stretch is meant.</param>
internal readonly record struct NumberRange(string? From, bool WithFrom, string? To, bool WithTo, bool Outside);

/// <summary>A quantity to match.</summary>
internal abstract record QuantityTest(NumberRange Range)
{
    /// <summary>The number as written, in whatever unit.</summary>
    public sealed record AnyUnit(NumberRange Range) : QuantityTest(Range);

    /// <summary>The amount in this unit (<see cref="IndexedQuantity.UnitOf"/>).</summary>
    public sealed record InUnit(string Unit, NumberRange Range) : QuantityTest(Range);

    /// <summary>
    /// The number as written, in a unit of this code or text under any system but UCUM, whose unit texts end in a bar and that system.
    /// </summary>
    public sealed record InUnitNamed(string Name, NumberRange Range) : QuantityTest(Range);
}

/// <summary>A reference to match: by its target, or by the identifier of a logical reference.</summary>
internal abstract record ReferenceTest
{
    /// <summary>The literal reference is this.</summary>
    public sealed record Target(string Reference) : ReferenceTest;

    /// <summary>The logical reference matches this.</summary>
    public sealed record Identifier(TokenTest Token) : ReferenceTest;
}

/// <summary>A time to match, by the range it stands for.</summary>
internal readonly record struct DateTest(Prefix Prefix, TimeRange Range);

/// <summary>How a value of a resource (a range) is compared with the value in the query (a range too).</summary>
internal enum Prefix
{
    /// <summary>The query's range contains the resource's wholly.</summary>
    Eq,

    /// <summary>It does not.</summary>
    Ne,

    /// <summary>Some of the resource's range lies before the query's.</summary>
    Lt,

    /// <summary>Some lies before it, or it is contained.</summary>
    Le,

    /// <summary>Some of the resource's range lies after the query's.</summary>
    Gt,

    /// <summary>Some lies after it, or it is contained.</summary>
    Ge,

    /// <summary>The resource's range begins after the query's ends.</summary>
    Sa,

    /// <summary>The resource's range ends before the query's begins.</summary>
    Eb,

    /// <summary>They overlap; the reader of the query has widened its range.</summary>
    Ap,
}
