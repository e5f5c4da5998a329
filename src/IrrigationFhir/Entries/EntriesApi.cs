using System.ComponentModel;
using Irrigation;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Record;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;

namespace IrrigationFhir.Entries;

/// <summary>POST: what was instilled, drained, seen, ordered.</summary>
internal static class EntriesApi
{
    /// <summary>Problems of one refused entry that a lenient reply repeats: whoever mends these meets the others next.</summary>
    private const int MostProblems = 20;

    /// <summary>Maps the routes.</summary>
    public static void MapEntries(this IEndpointRouteBuilder app)
    {
        app.MapPost("/episodes/{id}/entries", Post)
            .Needs(AccessNeeds.AnyOf(("Observation", Letters.Create), ("Observation", Letters.Update), ("Flag", Letters.Update)))
            .Changes()
            .OfSeenFacility()
            .Accepts<EntryDocument>("application/json", "application/x-ndjson")
            .AcceptsOneOrMany()
            .PrefersHandling()
            .Answers<EntriesReply>(StatusCodes.Status200OK, "What became of each entry, and which resources changed.")
            .Fails(
                StatusCodes.Status400BadRequest,
                StatusCodes.Status404NotFound,
                StatusCodes.Status413PayloadTooLarge,
                StatusCodes.Status415UnsupportedMediaType,
                StatusCodes.Status422UnprocessableEntity
            )
            .WithName("recordEntries")
            .WithTags("Entries")
            .WithSummary("Record what happened: one entry, a list, or one entry a line (NDJSON).")
            .WithDescription(
                "All entries are recorded or none. With `Prefer: handling=lenient` those that can be are recorded, and the "
                    + "reply says of each what became of it. "
                    + "Idempotent by source and id: the same content again changes nothing; other content under the same id is an "
                    + "amendment, which supersedes and never overwrites; "
                    + "status `entered-in-error` withdraws. What is implausible is recorded and marked; "
                    + "what follows from a reading and cannot be is named in the reply at once (`doubts`). "
                    + Texts.Caution
            );
        app.MapGet("/episodes/{id}/entries", Get)
            .Needs(AccessNeeds.Whole(("Observation", Letters.Read | Letters.Search)))
            .ShowsEpisode()
            .OfSeenFacility()
            .Answers<EntryLog>(StatusCodes.Status200OK, "The log.")
            .Fails(StatusCodes.Status404NotFound)
            .WithName("readEntries")
            .WithTags("Entries")
            .WithSummary("The log: every version of every entry, in order of arrival, as sent.");
    }

    private static async Task<IResult> Post(
        [Description("The episode's id.")] string id,
        HttpRequest request,
        RecordEntries record,
        EntrySettings settings,
        CancellationToken stop
    )
    {
        var type = BodyMediaType.Of(request);
        var body = type switch
        {
            "application/json" => await JsonBody.ReadJson(request, stop),
            "application/x-ndjson" => await JsonBody.ReadLines(request, stop),
            _ => null,
        };
        if (body is null)
            return OutcomeResult.Refused(
                StatusCodes.Status415UnsupportedMediaType,
                [new("unsupported-media-type", "Content-Type", type ?? "none", "application/json or application/x-ndjson")]
            );
        if (body.Problem is { } problem)
            return OutcomeResult.Refused(StatusCodes.Status400BadRequest, [problem]);
        if (body.Items.Count > settings.Most)
            return OutcomeResult.Refused(
                StatusCodes.Status413PayloadTooLarge,
                [new("too-many-entries", "body", $"{body.Items.Count} entries", $"at most {settings.Most}; send several requests")]
            );

        List<SentEntry> sent;
        using (Steps.From("read"))
            sent = [.. body.Items.Select((item, index) => SentEntry.Read(item, $"entries[{index}]"))];
        return await record.Handle(id, sent, Caller.Of(request.HttpContext), Preferences.Lenient(request), stop) switch
        {
            EntriesOutcome.UnknownEpisode => OutcomeResult.UnknownEpisode(id),
            EntriesOutcome.Rejected rejected => OutcomeResult.Refused(rejected.Problems.Max(Forbidden.StatusOf), rejected.Problems),
            EntriesOutcome.Recorded recorded => Answer(request.HttpContext, id, recorded),
            _ => throw new InvalidOperationException("an outcome without a reply"),
        };
    }

    private static IResult Answer(HttpContext http, string id, EntriesOutcome.Recorded recorded)
    {
        http.Shows([id]);
        return Results.Json(Reply(id, recorded, recorded.Zone));
    }

    private static async Task<IResult> Get(
        [Description("The episode's id.")] string id,
        EpisodesInMemory episodes,
        EpisodeStore store,
        CancellationToken stop
    )
    {
        if (await episodes.Find(id, stop) is not { } episode)
            return OutcomeResult.UnknownEpisode(id);
        var rows = await store.LoadEntries(episode.Row.PatientKey, id, 0, stop);
        return Results.Json(EntryLog.Of(episode, rows));
    }

    private static EntriesReply Reply(string id, EntriesOutcome.Recorded recorded, NodaTime.DateTimeZone zone) =>
        new(
            id,
            recorded.Version,
            [
                .. recorded.Entries.Select(e => new EntryResult(
                    e.Key?.Source,
                    e.Key?.Id,
                    e.Disposition is { } disposition ? Slug.Of(disposition) : "refused",
                    e.Logged?.Sequence,
                    e.Logged?.Revision,
                    e.Problems.Count == 0
                        ? null
                        : [.. e.Problems.Take(MostProblems).Select(p => new ProblemReply(p.Code, p.Where, p.Saw, p.Expected))],
                    e.Doubts.Count == 0 ? null : [.. e.Doubts.Select(DoubtReport.Of)],
                    e.Drips.Count == 0 ? null : [.. e.Drips.Select(drip => LineDripReport.Of(drip, zone))]
                )),
            ],
            [
                .. recorded.Recalculated.Select(c => new RecalculatedInterval(
                    c.Interval.Stream,
                    FhirValues.Time(c.Interval.Start, zone),
                    FhirValues.Time(c.Interval.End, zone),
                    Amount.Of(c.Before?.Output?.Headline),
                    Amount.Of(c.After?.Output?.Headline),
                    c.After is { } stands ? Slug.Of(stands.Status) : null,
                    [.. c.Because.Select(key => key.ToString())]
                )),
            ],
            [.. recorded.Changed.Select(r => new ChangedResource(r.Type, r.Id, r.VersionId))],
            [.. recorded.Withheld.Select(w => new WithheldResource(w.Type, w.Id, w.Faults))]
        );
}
