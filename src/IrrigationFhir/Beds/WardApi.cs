using System.ComponentModel;
using Irrigation.Episodes;
using IrrigationFhir.Access;
using IrrigationFhir.Record;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Beds;

/// <summary>The list of a ward: every open irrigation, by who needs a person first.</summary>
internal static class WardApi
{
    // A page of rows; the list holds all of them.
    private const int AtOnce = 500;

    /// <summary>Maps the route.</summary>
    public static void MapWard(this IEndpointRouteBuilder app) =>
        app.MapGet("/ward", List)
            .Needs(
                AccessNeeds.Whole(
                    ("Observation", Letters.Read | Letters.Search),
                    ("Flag", Letters.Read | Letters.Search),
                    ("Procedure", Letters.Read | Letters.Search)
                )
            )
            .Answers<WardReport>(StatusCodes.Status200OK, "The beds in order; as text one line each.", "application/json", "text/plain")
            .Fails(StatusCodes.Status400BadRequest)
            .ShowsEpisodes()
            .WithName("readWard")
            .WithTags("Ward")
            .WithSummary("Every open irrigation of a ward, by who needs a person first.")
            .WithDescription(
                "First the beds with an urgent flag, then those whose drainage is overdue to be read by what ran in unseen, then those "
                    + "with a flag of high priority, then by what is due. JSON; with `Accept: text/plain` one line for each bed. "
                    + Texts.Caution
            );

    private static async Task<IResult> List(
        HttpRequest request,
        EpisodeStore store,
        EpisodesInMemory episodes,
        TimeProvider clock,
        [Description("Where: ward, ward|room or ward|room|bed. Default: everywhere.")] string? location,
        CancellationToken stop
    )
    {
        var problems = new List<EntryProblem>();
        var place = LocationQuery.Read(location, problems);
        if (problems.Count > 0)
            return OutcomeResult.Refused(StatusCodes.Status400BadRequest, problems);
        var at = Instant.FromUnixTimeSeconds(clock.GetUtcNow().ToUnixTimeSeconds());
        var listing = new EpisodeListing(IsOpen: true, place.Ward, place.Room, place.Bed, AtOnce)
        {
            Now = at,
            Facilities = Caller.Of(request.HttpContext).Facilities,
        };
        var (beds, notJudged) = (new List<BedOnWard>(), new List<string>());
        using (await Places.Reading.Enter(stop))
        {
            await foreach (var row in Rows(store, listing, stop))
            {
                if (row.OpenedAt > at)
                    continue;
                if (await Bed(episodes, row, at, stop) is { } bed)
                    beds.Add(bed);
                else
                    notJudged.Add(row.Id);
            }
        }

        request.HttpContext.Shows([.. beds.Select(bed => bed.Episode.Id), .. notJudged]);
        var ordered = WardList.InOrder(beds);
        var asText = request.GetTypedHeaders().Accept.FirstOrDefault()?.MediaType.Value == "text/plain";
        return asText
            ? Results.Text(WardInWords.Of(ordered, notJudged, location, at), "text/plain")
            : Results.Json(WardReport.Of(ordered, notJudged, at));
    }

    /// <summary>The bed of a row; null where it cannot be judged, for one bad episode must not hide the ward.</summary>
    private static async Task<BedOnWard?> Bed(EpisodesInMemory episodes, EpisodeRow row, Instant at, CancellationToken stop)
    {
        try
        {
            var episode = await episodes.Watched(await episodes.Load(row, stop), stop);
            var flags = episode.Flags!;
            if (flags.Next is { } next && next <= at)
                flags = flags.After(episode.Balance, [], at).Record;
            return BedOnWard.Of(episode, flags, at);
        }
        catch (Exception failure) when (failure is not (OperationCanceledException or System.Data.Common.DbException))
        {
            return null; // the watch names it in the log, and readiness counts it
        }
    }

    private static async IAsyncEnumerable<EpisodeRow> Rows(
        EpisodeStore store,
        EpisodeListing listing,
        [System.Runtime.CompilerServices.EnumeratorCancellation] CancellationToken stop
    )
    {
        while (true)
        {
            var page = await store.List(listing, stop);
            foreach (var row in page)
                yield return row;
            if (page.Count < listing.AtMost)
                yield break;
            listing = listing with { After = (page[^1].OpenedAt, page[^1].Id) };
        }
    }
}
