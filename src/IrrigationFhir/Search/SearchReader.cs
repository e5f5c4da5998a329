using System.Globalization;
using Hl7.Fhir.Model;
using IrrigationFhir.Problems;
using NodaTime;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Search;

/// <summary>What reading a search depends on besides its parameters.</summary>
/// <param name="Strict">An unknown parameter is a problem instead of being passed over (Prefer: handling=strict).</param>
/// <param name="Base">The address of this FHIR base, so that its own absolute references are recognised.</param>
/// <param name="Now">For the prefix ap, whose width grows with the distance from now.</param>
/// <param name="TimeZone">The zone of dates without an offset.</param>
/// <param name="DefaultCount">Resources per page when none is asked for.</param>
/// <param name="MaxCount">Most resources per page, and most that come along with one.</param>
internal sealed record SearchContext(bool Strict, string Base, Instant Now, DateTimeZone TimeZone, int DefaultCount, int MaxCount);

/// <summary>Reads the parameters of a search; all problems at once, or none.</summary>
internal sealed class SearchReader
{
    private const string Handled = "a parameter that /fhir/metadata lists for this type";

    // Far more than a person asks for, and few enough for one statement.
    private const int MostValues = 500;

    // Each criterion joins an index, and the engine weighs all orders in which that could be done.
    private const int MostCriteria = 20;

    // Each key costs a column, and more than a few say nothing.
    private const int MostSortKeys = 5;

    private readonly IndexedType _type;
    private readonly SearchContext _context;
    private readonly List<SearchCriterion> _criteria = [];
    private readonly List<KeyValuePair<string, string>> _honoured = [];
    private readonly List<OperationOutcome.IssueComponent> _problems = [];
    private readonly List<OperationOutcome.IssueComponent> _passedOver = [];
    private readonly List<Inclusion> _includes = [];
    private List<SortKey> _order = [];
    private readonly List<OperationOutcome.IssueComponent> _unfiltered = [];
    private List<string> _elements = [];
    private string? _summary;
    private int _count;
    private int _values;
    private bool _withTotal;
    private bool _countOnly;
    private string? _page;

    private SearchReader(IndexedType type, SearchContext context)
    {
        _type = type;
        _context = context;
        _count = context.DefaultCount;
    }

    /// <summary>Reads names and values, already decoded, in the order received.</summary>
    /// <returns>The request, or null and the problems.</returns>
    public static (SearchRequest? Request, IReadOnlyList<OperationOutcome.IssueComponent> Problems) Read(
        IndexedType type,
        IEnumerable<KeyValuePair<string, string>> parameters,
        SearchContext context
    )
    {
        var reader = new SearchReader(type, context);
        foreach (var (name, value) in parameters)
            reader.Take(name, value);
        var request = reader.Finish();
        return reader._problems.Count > 0 ? (null, reader._problems) : (request, []);
    }

    private void Take(string name, string value)
    {
        if (name is "_format" or "_pretty")
            return;
        if (value.Length == 0)
        {
            IgnoreFilter(name, "a parameter without a value", "a value");
            return;
        }

        switch (name)
        {
            case "_count":
                TakeCount(value);
                return;
            case "_sort":
                TakeSort(value);
                return;
            case "_total":
                TakeTotal(value);
                return;
            case "_summary":
                TakeSummary(value);
                return;
            case "_elements":
                TakeElements(value);
                return;
            case "_include" or "_include:iterate":
                TakeInclude(name, value, reverse: false);
                return;
            case "_revinclude" or "_revinclude:iterate":
                TakeInclude(name, value, reverse: true);
                return;
            case SearchRequest.PageParameter:
                _page = value;
                return;
        }

        var end = name.AsSpan().IndexOfAny(':', '.');
        var (plain, modifier) = end < 0 ? (name, "") : (name[..end], name[end..]);
        if (_type.Find(plain) is not { } parameter)
        {
            IgnoreFilter(name, "an unknown parameter", Handled);
            return;
        }

        _values += Values(value).Count();
        if (_values > MostValues)
        {
            Problem(
                "search-value-invalid",
                name,
                $"more than {MostValues} values in one search",
                $"at most {MostValues}; search several times"
            );
            return;
        }

        if (_criteria.Count == MostCriteria)
        {
            if (!_problems.Exists(p => p.Details?.Coding[0].Code == "search-too-many-criteria"))
            {
                var expected = $"at most {MostCriteria}; a comma joins values of which any may match";
                Problem("search-too-many-criteria", name, $"more than {MostCriteria} criteria in one search", expected);
            }

            return;
        }

        var problemsBefore = _problems.Count;
        if (Criterion(parameter, modifier, name, value) is { } criterion && _problems.Count == problemsBefore)
        {
            _criteria.Add(criterion);
            _honoured.Add(new(name, value));
        }
    }

    private SearchRequest Finish()
    {
        // A number beside a filter that was passed over would be a wrong number, and nobody looks at what it counted.
        if (_countOnly && _unfiltered.Count > 0)
            _problems.AddRange(_unfiltered);
        if (_summary is not null && _elements.Count > 0)
            Problem("search-value-invalid", "_elements", $"_elements together with _summary={_summary}", "one of the two");
        if (_countOnly)
            _honoured.Add(new("_summary", "count"));
        else
            _honoured.Add(new("_count", _count.ToString(CultureInfo.InvariantCulture)));
        var count = _countOnly ? 0 : _count;
        var query = new SearchQuery(_type, _criteria, _order, count, null, _withTotal || count == 0, _includes, _context.MaxCount);
        if (_page is not null)
        {
            query = query with { After = PageMark.Read(PageMark.OrderOf(_order), query.Keys.Count, _page) };
            if (query.After is null)
                Problem(
                    "page-unknown",
                    SearchRequest.PageParameter,
                    "no position of this search",
                    "the next link of the page before, unchanged"
                );
        }

        return new(query, _honoured, new(_summary, _elements), _passedOver);
    }

    private SearchCriterion? Criterion(IndexedParameter parameter, string modifier, string name, string value)
    {
        if (modifier.Length > 0 && !parameter.Modifiers.Contains(modifier))
            return Unsupported(parameter, modifier, name);
        if (modifier == ":missing")
        {
            if (value is "true" or "false")
                return new SearchCriterion.Missing(parameter, value == "true");
            Problem("search-value-invalid", name, $"'{value}'", "true or false");
            return null;
        }

        var type = modifier.Length > 1 ? modifier[1..] : null;
        return (parameter, modifier) switch
        {
            (IndexedParameter.Id, _) => new SearchCriterion.Ids([.. Values(value).Select(SearchText.Unescape)]),
            (IndexedParameter.LastUpdated, _) => new SearchCriterion.LastUpdated(Dates(name, value)),
            (IndexedParameter.Date, _) => new SearchCriterion.Dates(Dates(name, value)),
            (IndexedParameter.Moment, _) => new SearchCriterion.Moments(parameter.Name, Dates(name, value)),
            (IndexedParameter.Status status, _) => new SearchCriterion.Statuses(Codes(status, name, value), modifier == ":not"),
            (IndexedParameter.Coded coded, ":text") => new SearchCriterion.Texts(
                coded.Texts,
                [.. Values(value).Select(SearchText.Unescape)]
            ),
            (IndexedParameter.Coded coded, _) => new SearchCriterion.Coded(coded.Rows, Tokens(name, value), modifier == ":not"),
            (IndexedParameter.Canonical, _) => new SearchCriterion.Coded(
                [parameter.Name],
                [.. Values(value).Select(CanonicalOf)],
                Not: false
            ),
            (IndexedParameter.Text, _) => new SearchCriterion.BeginsWith(
                parameter.Name,
                [.. Values(value).Select(SearchText.Unescape)],
                modifier == ":exact"
            ),
            (IndexedParameter.Quantity quantity, _) => new SearchCriterion.Quantities(
                quantity.Rows,
                [.. Values(value).SelectMany(text => QuantityOf(name, text))]
            ),
            (IndexedParameter.CodeAndQuantity pair, _) => new SearchCriterion.Pairs(
                pair.Rows,
                [.. Values(value).SelectMany(text => PairOf(name, text))]
            ),
            (IndexedParameter.Subject, ":identifier" or ".identifier" or ":Patient.identifier") => new SearchCriterion.Subject(
                Identifiers(name, value)
            ),
            (IndexedParameter.Subject subject, _) => new SearchCriterion.Subject(
                References(type is null ? subject.Targets : [type], value)
            ),
            (IndexedParameter.Reference, ":identifier") => new SearchCriterion.References(parameter.Name, Identifiers(name, value)),
            (IndexedParameter.Reference reference, _) => new SearchCriterion.References(
                parameter.Name,
                References(type is null ? reference.Targets : [type], value)
            ),
            _ => throw new InvalidOperationException($"{parameter.GetType().Name} is not read."),
        };
    }

    private SearchCriterion? Unsupported(IndexedParameter parameter, string modifier, string name)
    {
        // Passing over a modifier would answer another question than the one asked, so this is a problem even when lenient.
        Problem(
            "search-modifier-unsupported",
            name,
            $"'{modifier}' on {parameter.Name}",
            parameter.Modifiers.Count == 0 ? "none" : $"none, or one of {string.Join(", ", parameter.Modifiers)}"
        );
        return null;
    }

    private List<DateTest> Dates(string name, string value) => [.. Values(value).Select(text => DateOf(name, text)).OfType<DateTest>()];

    private DateTest? DateOf(string name, string text)
    {
        var (prefix, rest) = PrefixText.Split(text);
        if (prefix is not { } how)
        {
            Problem("search-value-invalid", name, $"'{text}'", "a prefix eq, ne, lt, le, gt, ge, sa, eb or ap before the date");
            return null;
        }

        if (rest.Contains(' ', StringComparison.Ordinal))
        {
            Problem(
                "search-value-invalid",
                name,
                $"'{text}', with a space",
                "an offset whose + is written %2B, because + in a query means a space"
            );
            return null;
        }

        if (TimeRange.Parse(rest, _context.TimeZone) is not { } range)
        {
            Problem("search-value-invalid", name, $"'{text}'", "a date such as 2026-03-02, or date and time such as 2026-03-02T08:00:00Z");
            return null;
        }

        return new(how, how == Prefix.Ap ? Widened(range) : range);
    }

    /// <summary>Wider on both sides by a tenth of the distance from now, as the search chapter recommends.</summary>
    private TimeRange Widened(TimeRange range)
    {
        Int128 now = UnixNanoseconds.Nearest(_context.Now);
        var margin = Int128.Abs(now - range.From) / 10;
        return new((long)Int128.Max(range.From - margin, long.MinValue), (long)Int128.Min(range.To + margin, long.MaxValue));
    }

    private IEnumerable<QuantityTest> QuantityOf(string name, string text)
    {
        if (QuantityText.Read(text) is { } tests)
            return tests;
        Problem("search-value-invalid", name, $"'{text}'", QuantityText.Expected);
        return [];
    }

    private IEnumerable<(TokenTest Code, QuantityTest Value)> PairOf(string name, string text)
    {
        if (SearchText.Split(text, '$') is [var code, var quantity])
            return TokenOf(name, code) is { } token ? QuantityOf(name, quantity).Select(test => (token, test)) : [];
        Problem("search-value-invalid", name, $"'{text}'", "a code and a quantity with $ between them");
        return [];
    }

    private List<string> Codes(IndexedParameter.Status status, string name, string value) =>
        [
            .. from token in Tokens(name, value)
            where token.Code is not null && (token.System is null || token.System == status.System)
            select token.Code,
        ];

    private List<TokenTest> Tokens(string name, string value) => [.. Values(value).Select(text => TokenOf(name, text)).OfType<TokenTest>()];

    private List<ReferenceTest> Identifiers(string name, string value) =>
        [.. Tokens(name, value).Select(token => new ReferenceTest.Identifier(token))];

    private TokenTest? TokenOf(string name, string text)
    {
        switch (SearchText.Split(text, '|'))
        {
            case [{ Length: > 0 } code]:
                return new(null, SearchText.Unescape(code));
            case [var system, var code] when system.Length + code.Length > 0:
                return new(SearchText.Unescape(system), code.Length == 0 ? null : SearchText.Unescape(code));
            default:
                Problem("search-value-invalid", name, $"'{text}'", "code, system|code, |code or system|");
                return null;
        }
    }

    private static TokenTest CanonicalOf(string text) =>
        SearchText.Split(text, '|') is [var url, { Length: > 0 } version]
            ? new(SearchText.Unescape(version), SearchText.Unescape(url))
            : new(null, SearchText.Unescape(text));

    private List<ReferenceTest> References(IReadOnlyList<string> targets, string value) =>
        [
            .. Values(value)
                .Select(SearchText.Unescape)
                .SelectMany(text => Reference(targets, text))
                .Select(reference => new ReferenceTest.Target(reference)),
        ];

    private IEnumerable<string> Reference(IReadOnlyList<string> targets, string text)
    {
        var own = _context.Base + "/";
        if (text.StartsWith(own, StringComparison.Ordinal))
            text = text[own.Length..];
        var version = text.IndexOf("/_history/", StringComparison.Ordinal);
        if (version >= 0)
            text = text[..version];
        return text.Contains('/', StringComparison.Ordinal) || text.Contains(':', StringComparison.Ordinal)
            ? [text]
            : targets.Select(type => $"{type}/{text}");
    }

    private void TakeCount(string value)
    {
        if (int.TryParse(value, NumberStyles.None, CultureInfo.InvariantCulture, out var count))
            (_count, _countOnly) = (Math.Min(count, _context.MaxCount), _countOnly || count == 0);
        else
            Problem("search-value-invalid", "_count", $"'{value}'", "a whole number, 0 or more");
    }

    private void TakeSort(string value)
    {
        var keys = value.Split(',').Select(SortKeyOf).ToList();
        if (keys.Count > MostSortKeys || keys.Contains(null))
        {
            var names = _type
                .Parameters.Where(parameter => parameter is not IndexedParameter.CodeAndQuantity)
                .Select(parameter => parameter.Name);
            Ignore("_sort", $"'{value}'", $"at most {MostSortKeys} of {string.Join(", ", names)}, each perhaps after a minus");
            return;
        }

        _order = keys!;
        _honoured.Add(new("_sort", value));
    }

    private SortKey? SortKeyOf(string text)
    {
        var descending = text.StartsWith('-');
        return _type.Find(descending ? text[1..] : text) is { } parameter and not IndexedParameter.CodeAndQuantity
            ? new(parameter, descending)
            : null;
    }

    private void TakeTotal(string value)
    {
        if (value is "none" or "estimate" or "accurate")
        {
            _withTotal = value != "none";
            _honoured.Add(new("_total", value));
        }
        else
        {
            Problem("search-value-invalid", "_total", $"'{value}'", "none, estimate or accurate");
        }
    }

    private void TakeSummary(string value)
    {
        switch (value)
        {
            case "count":
                _countOnly = true;
                return;
            case "false" or "true" or "text" or "data":
                _summary = value == "false" ? null : value;
                _honoured.Add(new("_summary", value));
                return;
            default:
                Problem("search-value-invalid", "_summary", $"'{value}'", "true, text, data, count or false");
                return;
        }
    }

    private void TakeElements(string value)
    {
        _elements = [.. value.Split(',').Select(element => element.Trim()).Where(element => element.Length > 0)];
        _honoured.Add(new("_elements", value));
    }

    private void TakeInclude(string name, string value, bool reverse)
    {
        var iterate = name.EndsWith(":iterate", StringComparison.Ordinal);
        var parts = value.Split(':');
        var from = IndexedTypes.Find(parts[0]);
        var all = parts is [_, "*"] || (parts is ["*"] && !reverse);
        var parameter = from is not null && parts.Length is 2 or 3 ? from.Find(parts[1]) : null;
        if (parts is ["*"] && !reverse)
            from = _type;
        if (
            from is null
            || !(all || parameter is IndexedParameter.Reference or IndexedParameter.Subject)
            || parts.Length > 3
            || (!reverse && !iterate && from != _type)
        )
        {
            Ignore(name, $"'{value}'", "a reference that /fhir/metadata lists, as Type:parameter or Type:parameter:TargetType");
            return;
        }

        if (_includes.Count == MostCriteria)
        {
            Problem("search-too-many-criteria", name, $"more than {MostCriteria} inclusions in one search", $"at most {MostCriteria}");
            return;
        }

        _honoured.Add(new(name, value));
        // A patient is never held here, so there is nothing at the other end.
        if (all || parameter is IndexedParameter.Reference)
            _includes.Add(
                new(
                    reverse,
                    from,
                    parameter as IndexedParameter.Reference,
                    parts.Length == 3 ? parts[2]
                        : reverse && !iterate ? _type.Name
                        : null,
                    iterate
                )
            );
    }

    private static IEnumerable<string> Values(string value) => SearchText.Split(value, ',');

    private void Ignore(string name, string saw, string expected)
    {
        if (_context.Strict)
            Problem("search-parameter-unknown", name, saw, expected);
        else
            _passedOver.Add(Outcome.PassedOver(name, saw, expected));
    }

    /// <summary>What would have found less: where only the number is asked for, it is a problem.</summary>
    private void IgnoreFilter(string name, string saw, string expected)
    {
        Ignore(name, saw, expected);
        if (!_context.Strict && name is not ("_contained" or "_containedType"))
            _unfiltered.Add(Outcome.Problem("search-parameter-unknown", saw, $"{expected}: a count is not given without it", name));
    }

    private void Problem(string code, string name, string saw, string expected) =>
        _problems.Add(Outcome.Problem(code, saw, expected, name));
}
