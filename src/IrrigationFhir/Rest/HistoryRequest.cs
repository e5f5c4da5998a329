using System.Globalization;
using Hl7.Fhir.Model;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using Microsoft.AspNetCore.Http.Extensions;
using NodaTime;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Rest;

/// <summary>What a history request asks for.</summary>
/// <param name="Count">Versions per page, at least 1.</param>
/// <param name="SinceText">As received, or null.</param>
/// <param name="Since">Only versions stored at or after this; null for all.</param>
/// <param name="Before">Of one resource only versions before this one; null from the newest.</param>
/// <param name="BeforeStored">Of a type only versions before this one; null from the latest.</param>
internal sealed record HistoryRequest(
    int Count,
    string? SinceText,
    Instant? Since,
    long? Before,
    (Instant LastUpdated, string Id)? BeforeStored
)
{
    private const string TypeOrder = "history";

    /// <summary>Reads the parameters; those a history does not know are passed over, as FHIR asks of _format and the like.</summary>
    public static (HistoryRequest? Request, IReadOnlyList<OperationOutcome.IssueComponent> Problems) Read(
        IQueryCollection query,
        FhirSettings settings,
        DateTimeZone zone,
        bool ofType = false
    )
    {
        var problems = new List<OperationOutcome.IssueComponent>();

        var count = settings.DefaultCount;
        if (query["_count"] is [{ Length: > 0 } countText, ..])
        {
            if (int.TryParse(countText, NumberStyles.None, CultureInfo.InvariantCulture, out var given) && given > 0)
                count = Math.Min(given, settings.MaxCount);
            else
                problems.Add(Problem("_count", countText, "a whole number, 1 or more"));
        }

        string? sinceText = null;
        TimeRange? since = null;
        if (query["_since"] is [{ Length: > 0 } text, ..])
        {
            sinceText = text;
            since = TimeRange.Parse(text, zone);
            if (since is null)
                problems.Add(Problem("_since", text, "an instant such as 2026-03-02T08:00:00Z, with + written %2B"));
        }

        long? before = null;
        (Instant, string)? stored = null;
        if (query[SearchRequest.PageParameter] is [{ Length: > 0 } page, ..])
        {
            if (ofType && PageMark.Read(TypeOrder, 1, page) is { Keys: [long moment] } position)
                stored = (UnixNanoseconds.ToInstant(moment), position.Id);
            else if (!ofType && long.TryParse(page, NumberStyles.None, CultureInfo.InvariantCulture, out var version))
                before = version;
            else
                problems.Add(Problem(SearchRequest.PageParameter, page, "the next link of the page before, unchanged"));
        }

        return problems.Count > 0
            ? (null, problems)
            : (new(count, sinceText, since is { } range ? UnixNanoseconds.ToInstant(range.From) : null, before, stored), []);
    }

    /// <summary>The parameters that took effect, as a query string.</summary>
    public string ToQuery()
    {
        var query = new QueryBuilder { { "_count", Count.ToString(CultureInfo.InvariantCulture) } };
        if (SinceText is not null)
            query.Add("_since", SinceText);
        if (Before is { } version)
            query.Add(SearchRequest.PageParameter, version.ToString(CultureInfo.InvariantCulture));
        if (BeforeStored is { } last)
            query.Add(SearchRequest.PageParameter, PageMark.Write(TypeOrder, new([UnixNanoseconds.Of(last.LastUpdated)], last.Id)));
        return query.ToString();
    }

    private static OperationOutcome.IssueComponent Problem(string name, string saw, string expected) =>
        Outcome.Problem("search-value-invalid", $"'{saw}'", expected, name);
}
