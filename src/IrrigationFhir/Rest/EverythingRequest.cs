using System.Globalization;
using Hl7.Fhir.Model;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using Microsoft.AspNetCore.Http.Extensions;

namespace IrrigationFhir.Rest;

/// <summary>What a request for everything of a patient asks for.</summary>
/// <param name="Patient">Whom resources must refer to.</param>
/// <param name="Remaining">Types still to be sent, from the one the page begins in.</param>
/// <param name="After">Where in the first of them the page begins; null for its beginning.</param>
/// <param name="Count">Resources per page.</param>
/// <param name="Page">The mark of this page as received, or null for the first.</param>
/// <param name="CareDates">Only what happened at least partly within this, or has no date; null for all.</param>
/// <param name="Since">Only what was stored at or after this; null for all.</param>
/// <param name="Honoured">Names and values that took effect, without count and page.</param>
/// <param name="PassedOver">What was ignored, as warnings.</param>
internal sealed record EverythingRequest(
    ReferenceTest Patient,
    IReadOnlyList<IndexedType> Remaining,
    SearchPosition? After,
    int Count,
    string? Page,
    TimeRange? CareDates,
    TimeRange? Since,
    IReadOnlyList<KeyValuePair<string, string>> Honoured,
    IReadOnlyList<OperationOutcome.IssueComponent> PassedOver
)
{
    private const string Unknown = "an unknown parameter";
    private const string Named = "a parameter that /fhir/metadata names for this operation";

    /// <summary>Before the first resource of a type: earlier than every date, and smaller than every id.</summary>
    public static SearchPosition Beginning { get; } = new([long.MinValue], " ");

    /// <summary>Reads the parameters; unknown ones are passed over unless the request is strict.</summary>
    /// <param name="id">The patient's id in the address, or null when the patient is named by identifier.</param>
    /// <param name="pairs">Names and values, decoded.</param>
    /// <param name="context">As for a search.</param>
    public static (EverythingRequest? Request, IReadOnlyList<OperationOutcome.IssueComponent> Problems) Read(
        string? id,
        IReadOnlyList<KeyValuePair<string, string>> pairs,
        SearchContext context
    )
    {
        var problems = new List<OperationOutcome.IssueComponent>();
        var honoured = new List<KeyValuePair<string, string>>();
        var passedOver = new List<OperationOutcome.IssueComponent>();
        ReferenceTest? patient = id is null ? null : new ReferenceTest.Target($"Patient/{id}");
        var types = IndexedTypes.OfPatients;
        var count = context.DefaultCount;
        string? mark = null;
        TimeRange? start = null,
            end = null,
            since = null;

        foreach (var pair in pairs.Where(pair => pair.Key is not ("_format" or "_pretty") && pair.Value.Length > 0))
        {
            var (name, value) = pair;
            switch (name)
            {
                case "identifier" when id is null:
                    patient = PatientOf(value);
                    if (patient is null)
                        problems.Add(PatientOperations.Invalid(name, $"'{value}'", "system|value, |value or value"));
                    break;
                case "start":
                    start = DateOf(name, value);
                    break;
                case "end":
                    end = DateOf(name, value);
                    break;
                case "_since":
                    since = DateOf(name, value);
                    break;
                case "_type":
                    var wanted = value.Split(',');
                    types = [.. IndexedTypes.OfPatients.Where(type => wanted.Contains(type.Name))];
                    // One that is not served here has nothing to send; a list of nothing else is a mistake.
                    if (types.Count == 0)
                        problems.Add(
                            PatientOperations.Invalid(
                                name,
                                $"'{value}'",
                                $"some of {string.Join(", ", IndexedTypes.OfPatients.Select(type => type.Name))}"
                            )
                        );
                    break;
                case "_count":
                    if (int.TryParse(value, NumberStyles.None, CultureInfo.InvariantCulture, out var given) && given > 0)
                        count = Math.Min(given, context.MaxCount);
                    else
                        problems.Add(PatientOperations.Invalid(name, $"'{value}'", "a whole number, 1 or more"));
                    continue;
                case SearchRequest.PageParameter:
                    mark = value;
                    continue;
                default:
                    if (context.Strict)
                        problems.Add(Outcome.Problem("search-parameter-unknown", Unknown, Named, name));
                    else
                        passedOver.Add(Outcome.PassedOver(name, Unknown, Named));
                    continue;
            }

            honoured.Add(pair);
        }

        if (patient is null && problems.Count == 0)
            problems.Add(PatientOperations.Required("identifier", "no patient", "identifier=system|value, or Patient/[id]/$everything"));

        var remaining = types;
        SearchPosition? after = null;
        if (mark is not null && types.FirstOrDefault(type => PageMark.Read(OrderOf(type), 1, mark) is not null) is { } here)
            (remaining, after) = ([.. types.SkipWhile(type => type != here)], PageMark.Read(OrderOf(here), 1, mark));
        else if (mark is not null)
            problems.Add(
                Outcome.Problem(
                    "page-unknown",
                    "no position of this list",
                    "the next link of the page before, unchanged",
                    SearchRequest.PageParameter
                )
            );

        TimeRange? care = start is null && end is null ? null : new TimeRange(start?.From ?? long.MinValue, end?.To ?? long.MaxValue);
        return problems.Count > 0
            ? (null, problems)
            : (new(patient!, remaining, after, count, mark, care, since, honoured, passedOver), []);

        TimeRange? DateOf(string name, string value)
        {
            if (TimeRange.Parse(value, context.TimeZone) is { } range)
                return range;
            problems.Add(
                PatientOperations.Invalid(
                    name,
                    $"'{value}'",
                    "a date such as 2026-03-02, or date and time such as 2026-03-02T08:00:00Z, with + written %2B"
                )
            );
            return null;
        }
    }

    /// <summary>The position in a type, as text for a link.</summary>
    public static string Mark(IndexedType type, SearchPosition position) => PageMark.Write(OrderOf(type), position);

    /// <summary>The conditions on resources of a type.</summary>
    public IReadOnlyList<SearchCriterion> CriteriaOf(IndexedType type)
    {
        var criteria = new List<SearchCriterion> { new SearchCriterion.Subject([Patient]) };
        // The time of a resource that is about others is when that was written, not a time of care.
        if (CareDates is { } dates && !type.Parameters.OfType<IndexedParameter.Subject>().Any(subject => subject.Through is not null))
            criteria.Add(new SearchCriterion.WithinOrUndated(dates));
        if (Since is { } since)
            criteria.Add(new SearchCriterion.LastUpdated([new(Prefix.Ge, since)]));
        return criteria;
    }

    /// <summary>The parameters that took effect, as a query string.</summary>
    public string ToQuery(string? page)
    {
        var query = new QueryBuilder(Honoured) { { "_count", Count.ToString(CultureInfo.InvariantCulture) } };
        if (page is not null)
            query.Add(SearchRequest.PageParameter, page);
        return query.ToString();
    }

    private static string OrderOf(IndexedType type) => $"everything of {type.Name}";

    private static ReferenceTest.Identifier? PatientOf(string value) =>
        SearchText.Split(value, '|') switch
        {
            [{ Length: > 0 } only] => new(new(null, SearchText.Unescape(only))),
            [var system, { Length: > 0 } single] => new(new(SearchText.Unescape(system), SearchText.Unescape(single))),
            _ => null,
        };
}
