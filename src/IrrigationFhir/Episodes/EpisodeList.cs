using System.Globalization;
using Irrigation.Episodes;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Episodes;

/// <summary>Lists episodes in pages: <c>GET /episodes?status=open&amp;location=ward</c>.</summary>
/// <remarks>A page goes on behind the last episode of the one before, so that what is opened meanwhile moves nothing.</remarks>
internal static class EpisodeList
{
    private const int Usual = 50;
    private const int Most = 500;

    /// <summary>A page, or what is wrong with the question.</summary>
    public static async Task<IResult> Of(
        HttpContext http,
        EpisodeStore store,
        (IReadOnlyList<string>? Facilities, Instant Now) seen,
        string? status,
        string? location,
        int? count,
        string? after,
        CancellationToken stop
    )
    {
        var problems = new List<EntryProblem>();
        var listing = Listing(seen.Now, status, location, count, after, problems);
        if (problems.Count > 0)
            return OutcomeResult.Refused(StatusCodes.Status400BadRequest, problems);
        var rows = await store.List(listing with { AtMost = listing.AtMost + 1, Facilities = seen.Facilities }, stop);
        var page = rows.Take(listing.AtMost).ToList();
        var next = rows.Count > page.Count ? Address(status, location, count, page[^1]) : null;
        http.Shows(page.Select(row => row.Id));
        return Results.Json(new EpisodesReply([.. page.Select(EpisodesApi.Reply)], next));
    }

    private static EpisodeListing Listing(
        Instant now,
        string? status,
        string? location,
        int? count,
        string? after,
        List<EntryProblem> problems
    )
    {
        if (status is not (null or "open" or "ended"))
            problems.Add(EntryProblem.UnknownWord("status", status, ["open", "ended"]));
        if (count is < 1 or > Most)
            problems.Add(EntryProblem.OutOfRange("count", FormattableString.Invariant($"{count}"), $"1 to {Most}"));
        var place = LocationQuery.Read(location, problems);
        return new(status is null ? null : status == "open", place.Ward, place.Room, place.Bed, count ?? Usual)
        {
            Now = now,
            After = after is null ? null : Cursor(after, problems),
        };
    }

    private static string Address(string? status, string? location, int? count, EpisodeRow last)
    {
        (string Name, string? Value)[] query =
        [
            ("status", status),
            ("location", location),
            ("count", count?.ToString(CultureInfo.InvariantCulture)),
            ("after", FormattableString.Invariant($"{UnixNanoseconds.Of(last.OpenedAt)}.{last.Id}")),
        ];
        return "/episodes?"
            + string.Join('&', query.Where(q => q.Value is not null).Select(q => $"{q.Name}={Uri.EscapeDataString(q.Value!)}"));
    }

    private static (Instant, string)? Cursor(string after, List<EntryProblem> problems)
    {
        if (
            after.Split('.') is [var opened, { Length: > 0 } id]
            && long.TryParse(opened, NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out var at)
        )
            return (UnixNanoseconds.ToInstant(at), id);
        problems.Add(EntryProblem.UnknownWord("after", after, ["what `next` of the page before says"]));
        return null;
    }
}
