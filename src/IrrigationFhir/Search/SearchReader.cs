using System.Globalization;
using Hl7.Fhir.Model;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using NodaTime;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Search;

/// <summary>What reading a search depends on besides its parameters.</summary>
/// <param name="Strict">An unknown parameter is a problem instead of being passed over (Prefer: handling=strict).</param>
/// <param name="Base">The address of this FHIR base, so that its own absolute references are recognised.</param>
/// <param name="Now">For the prefix ap, whose width grows with the distance from now.</param>
/// <param name="TimeZone">The zone of dates without an offset.</param>
/// <param name="DefaultCount">Resources per page when none is asked for.</param>
/// <param name="MaxCount">Most resources per page.</param>
internal sealed record SearchContext(bool Strict, string Base, Instant Now, DateTimeZone TimeZone, int DefaultCount, int MaxCount);

/// <summary>Reads the parameters of a search; all problems at once, or none.</summary>
internal sealed class SearchReader
{
    private const string Handled = "a parameter that /fhir/metadata lists for this type";

    private readonly IndexedType _type;
    private readonly SearchContext _context;
    private readonly List<SearchCriterion> _criteria = [];
    private readonly List<KeyValuePair<string, string>> _honoured = [];
    private readonly List<OperationOutcome.IssueComponent> _problems = [];
    private SearchOrder _order = SearchOrder.Date;
    private int _count;
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
        IndexedType type, IEnumerable<KeyValuePair<string, string>> parameters, SearchContext context)
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
            Ignore(name, "a parameter without a value", "a value");
            return;
        }

        switch (name)
        {
            case "_count": TakeCount(value); return;
            case "_sort": TakeSort(value); return;
            case "_total": TakeTotal(value); return;
            case "_summary": TakeSummary(value); return;
            case SearchRequest.PageParameter: _page = value; return;
        }

        var end = name.AsSpan().IndexOfAny(':', '.');
        var (plain, modifier) = end < 0 ? (name, "") : (name[..end], name[end..]);
        if (_type.Find(plain) is not { } parameter)
        {
            Ignore(name, "an unknown parameter", Handled);
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
        SearchPosition? after = null;
        if (_page is not null)
        {
            after = PageMark.Read(_order, _page);
            if (after is null)
                Problem("page-unknown", SearchRequest.PageParameter, "no position of this search", "the next link of the page before, unchanged");
        }

        if (_countOnly)
            _honoured.Add(new("_summary", "count"));
        else
            _honoured.Add(new("_count", _count.ToString(CultureInfo.InvariantCulture)));
        var count = _countOnly ? 0 : _count;
        return new(new(_type, _criteria, _order, count, after, _withTotal || count == 0), _honoured);
    }

    private SearchCriterion? Criterion(IndexedParameter parameter, string modifier, string name, string value)
    {
        if (modifier == ":missing")
        {
            if (value is "true" or "false")
                return new SearchCriterion.Missing(parameter, value == "true");
            Problem("search-value-invalid", name, $"'{value}'", "true or false");
            return null;
        }

        return (parameter, modifier) switch
        {
            (IndexedParameter.Id, "") => new SearchCriterion.Ids([.. Values(value).Select(SearchText.Unescape)]),
            (IndexedParameter.LastUpdated, "") => new SearchCriterion.LastUpdated(Dates(name, value)),
            (IndexedParameter.Date, "") => new SearchCriterion.Dates(Dates(name, value)),
            (IndexedParameter.Status status, "" or ":not") => new SearchCriterion.Statuses(Codes(status, name, value), modifier == ":not"),
            (IndexedParameter.Coded, "" or ":not") => new SearchCriterion.Coded(parameter.Name, Tokens(name, value), modifier == ":not"),
            (IndexedParameter.Subject, ":identifier" or ".identifier" or ":Patient.identifier") => new SearchCriterion.Subject(Identifiers(name, value)),
            (IndexedParameter.Subject subject, _) when Targets(subject.Targets, modifier) is { } targets => new SearchCriterion.Subject(References(targets, value)),
            (IndexedParameter.Reference, ":identifier") => new SearchCriterion.References(parameter.Name, Identifiers(name, value)),
            (IndexedParameter.Reference reference, _) when Targets(reference.Targets, modifier) is { } targets => new SearchCriterion.References(parameter.Name, References(targets, value)),
            _ => Unsupported(parameter, modifier, name),
        };
    }

    private SearchCriterion? Unsupported(IndexedParameter parameter, string modifier, string name)
    {
        // Passing over a modifier would answer another question than the one asked, so this is a problem even when lenient.
        Problem("search-modifier-unsupported", name, $"'{modifier}' on {parameter.Name}", parameter switch
        {
            IndexedParameter.Status or IndexedParameter.Coded => "none, :not or :missing",
            IndexedParameter.Subject => "none, a type such as :Patient, :identifier, .identifier or :missing",
            IndexedParameter.Reference => "none, a type such as :Observation, :identifier or :missing",
            _ => "none or :missing",
        });
        return null;
    }

    private static IReadOnlyList<string>? Targets(IReadOnlyList<string> all, string modifier) =>
        modifier.Length == 0 ? all : modifier[0] == ':' && all.Contains(modifier[1..]) ? [modifier[1..]] : null;

    private List<DateTest> Dates(string name, string value) => [.. Values(value).Select(text => DateOf(name, text)).OfType<DateTest>()];

    private DateTest? DateOf(string name, string text)
    {
        var prefix = DatePrefix.Eq;
        var rest = text;
        if (text.Length > 2 && char.IsAsciiLetter(text[0]))
        {
            if (PrefixOf(text[..2]) is not { } known)
            {
                Problem("search-value-invalid", name, $"'{text}'", "a prefix eq, ne, lt, le, gt, ge, sa, eb or ap before the date");
                return null;
            }

            (prefix, rest) = (known, text[2..]);
        }

        if (rest.Contains(' ', StringComparison.Ordinal))
        {
            Problem("search-value-invalid", name, $"'{text}', with a space", "an offset whose + is written %2B, because + in a query means a space");
            return null;
        }

        if (TimeRange.Parse(rest, _context.TimeZone) is not { } range)
        {
            Problem("search-value-invalid", name, $"'{text}'", "a date such as 2026-03-02, or date and time such as 2026-03-02T08:00:00Z");
            return null;
        }

        return new(prefix, prefix == DatePrefix.Ap ? Widened(range) : range);
    }

    private static DatePrefix? PrefixOf(string text) => text switch
    {
        "eq" => DatePrefix.Eq,
        "ne" => DatePrefix.Ne,
        "lt" => DatePrefix.Lt,
        "le" => DatePrefix.Le,
        "gt" => DatePrefix.Gt,
        "ge" => DatePrefix.Ge,
        "sa" => DatePrefix.Sa,
        "eb" => DatePrefix.Eb,
        "ap" => DatePrefix.Ap,
        _ => null,
    };

    /// <summary>Wider on both sides by a tenth of the distance from now, as the search chapter recommends.</summary>
    private TimeRange Widened(TimeRange range)
    {
        Int128 now = UnixNanoseconds.Nearest(_context.Now);
        var margin = Int128.Abs(now - range.From) / 10;
        return new(
            (long)Int128.Max(range.From - margin, long.MinValue),
            (long)Int128.Min(range.To + margin, long.MaxValue));
    }

    private List<string> Codes(IndexedParameter.Status status, string name, string value) =>
    [
        .. from token in Tokens(name, value)
           where token.Code is not null && (token.System is null || token.System == status.System)
           select token.Code,
    ];

    private List<TokenTest> Tokens(string name, string value) => [.. Values(value).Select(text => TokenOf(name, text)).OfType<TokenTest>()];

    private List<ReferenceTest> Identifiers(string name, string value) => [.. Tokens(name, value).Select(token => new ReferenceTest.Identifier(token))];

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

    private List<ReferenceTest> References(IReadOnlyList<string> targets, string value) =>
        [.. Values(value).Select(SearchText.Unescape).SelectMany(text => Reference(targets, text)).Select(reference => new ReferenceTest.Target(reference))];

    private IEnumerable<string> Reference(IReadOnlyList<string> targets, string text)
    {
        var own = _context.Base + "/";
        if (text.StartsWith(own, StringComparison.Ordinal))
            text = text[own.Length..];
        var version = text.IndexOf("/_history/", StringComparison.Ordinal);
        if (version >= 0)
            text = text[..version];
        return text.Contains('/', StringComparison.Ordinal) || text.Contains(':', StringComparison.Ordinal) ? [text] : targets.Select(type => $"{type}/{text}");
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
        SearchOrder? order = value switch
        {
            "_id" => SearchOrder.Id,
            "_lastUpdated" => SearchOrder.LastUpdated,
            "-_lastUpdated" => SearchOrder.LastUpdatedDescending,
            _ when DateName is { } name && value == name => SearchOrder.Date,
            _ when DateName is { } name && value == "-" + name => SearchOrder.DateDescending,
            _ => null,
        };
        if (order is { } known)
        {
            _order = known;
            _honoured.Add(new("_sort", value));
        }
        else
        {
            Ignore("_sort", $"'{value}'", $"one of _id, _lastUpdated, -_lastUpdated, {DateName}, -{DateName}");
        }
    }

    private string? DateName => _type.Parameters.OfType<IndexedParameter.Date>().FirstOrDefault()?.Name;

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
        if (value == "count")
            _countOnly = true;
        else if (value == "false")
            _honoured.Add(new("_summary", value));
        else
            Ignore("_summary", $"'{value}'", "count or false");
    }

    private static IEnumerable<string> Values(string value) => SearchText.Split(value, ',');

    private void Ignore(string name, string saw, string expected)
    {
        if (_context.Strict)
            Problem("search-parameter-unknown", name, saw, expected);
    }

    private void Problem(string code, string name, string saw, string expected) =>
        _problems.Add(Outcome.Problem(code, saw, expected, name, code == "search-value-invalid" ? OperationOutcome.IssueType.Value : OperationOutcome.IssueType.NotSupported));
}
