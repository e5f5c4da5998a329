namespace IrrigationFhir.Store;

/// <summary>A search that has been read and understood.</summary>
/// <param name="Type">What is searched.</param>
/// <param name="Criteria">All must hold.</param>
/// <param name="Order">Order of the pages.</param>
/// <param name="Count">Most resources wanted; 0 asks for the total alone.</param>
/// <param name="After">Where the page before ended, or null for the first page.</param>
/// <param name="WithTotal">Whether all matches are to be counted, which costs a walk over them.</param>
internal sealed record SearchQuery(
    IndexedType Type, IReadOnlyList<SearchCriterion> Criteria, SearchOrder Order, int Count, SearchPosition? After, bool WithTotal);

/// <summary>The orders that an index serves. The id decides between equals, so the order is total and a page has one end.</summary>
internal enum SearchOrder
{
    /// <summary>By id: never changes, so a walk sees each resource that was there when it began exactly once.</summary>
    Id,

    /// <summary>Oldest first by when it happened; without a date last. The one to use unless another is asked for: an index
    /// serves it for one patient as well as for all.</summary>
    Date,

    /// <summary>Newest first by when it happened; without a date first.</summary>
    DateDescending,

    /// <summary>In order of storing. What changes during a walk comes again at its end, as the version it then has.</summary>
    LastUpdated,

    /// <summary>Latest stored first. What changes during a walk moves before its start.</summary>
    LastUpdatedDescending,
}

/// <summary>The last resource of a page, by the order's own value and the id.</summary>
internal readonly record struct SearchPosition(long Key, string Id);

/// <summary>One condition; where it holds several values, one of them must hold.</summary>
internal abstract record SearchCriterion
{
    /// <summary>The id is one of these.</summary>
    public sealed record Ids(IReadOnlyList<string> Values) : SearchCriterion;

    /// <summary>The status is (or, negated, is not) one of these codes.</summary>
    public sealed record Statuses(IReadOnlyList<string> Codes, bool Not) : SearchCriterion;

    /// <summary>A coding or identifier under that parameter matches (or, negated, none does).</summary>
    public sealed record Coded(string Parameter, IReadOnlyList<TokenTest> Tests, bool Not) : SearchCriterion;

    /// <summary>The patient matches.</summary>
    public sealed record Subject(IReadOnlyList<ReferenceTest> Tests) : SearchCriterion;

    /// <summary>A reference under that parameter matches.</summary>
    public sealed record References(string Parameter, IReadOnlyList<ReferenceTest> Tests) : SearchCriterion;

    /// <summary>The time it happened matches.</summary>
    public sealed record Dates(IReadOnlyList<DateTest> Tests) : SearchCriterion;

    /// <summary>The time it was stored matches.</summary>
    public sealed record LastUpdated(IReadOnlyList<DateTest> Tests) : SearchCriterion;

    /// <summary>There is no value (or, when false, there is one) under that parameter.</summary>
    public sealed record Missing(IndexedParameter Parameter, bool IsMissing) : SearchCriterion;
}

/// <summary>A token to match.</summary>
/// <param name="System">Null for any; empty for none.</param>
/// <param name="Code">Null for any.</param>
internal readonly record struct TokenTest(string? System, string? Code);

/// <summary>A reference to match: by its target, or by the identifier of a logical reference.</summary>
internal abstract record ReferenceTest
{
    /// <summary>The literal reference is this.</summary>
    public sealed record Target(string Reference) : ReferenceTest;

    /// <summary>The logical reference matches this.</summary>
    public sealed record Identifier(TokenTest Token) : ReferenceTest;
}

/// <summary>A time to match, by the range it stands for.</summary>
internal readonly record struct DateTest(DatePrefix Prefix, TimeRange Range);

/// <summary>How the time of a resource (a range) is compared with the time in the query (a range too).</summary>
internal enum DatePrefix
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

/// <summary>One page of a search.</summary>
/// <param name="Resources">In the order asked for.</param>
/// <param name="Next">Where the next page begins; null when this is the last.</param>
/// <param name="Total">All matches at the moment of this page, or null when not asked for.</param>
internal sealed record SearchPage(IReadOnlyList<ResourceVersion> Resources, SearchPosition? Next, long? Total);
