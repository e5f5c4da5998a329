using System.ComponentModel;
using System.Globalization;
using System.Text.Json.Nodes;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Health;
using IrrigationFhir.Model;
using IrrigationFhir.Record;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using IrrigationFhir.Validation;
using Microsoft.OpenApi;
using NodaTime;

namespace IrrigationFhir.Episodes;

/// <summary>Episodes: open, amend, find, read, and the balance of their log.</summary>
internal static class EpisodesApi
{
    /// <summary>Adds what answers questions about an episode.</summary>
    public static IServiceCollection AddEpisodes(this IServiceCollection services) =>
        services.AddSingleton<EpisodeAsOf>().AddSingleton<HandoverMapper>();

    // What a record or a handover tells is told by all of them together.
    private static readonly AccessNeeds Everything = AccessNeeds.Whole(
        ("Observation", Letters.Read | Letters.Search),
        ("Flag", Letters.Read | Letters.Search),
        ("Procedure", Letters.Read)
    );

    /// <summary>Maps the routes.</summary>
    public static void MapEpisodes(this IEndpointRouteBuilder app)
    {
        var watch = app.ServiceProvider.GetRequiredService<WatchEpisodes>();
        app.ServiceProvider.GetRequiredService<Figures>()
            .Read(
                _ => Task.FromResult<WatchEpisodes?>(watch),
                new Figure<WatchEpisodes>(
                    "irrigationfhir.episodes.failing",
                    "{episode}",
                    "Episodes that cannot be judged.",
                    now => now.Failing
                )
            );
        app.MapPost("/episodes", Open)
            .Needs(AccessNeeds.AnyOf(("Procedure", Letters.Create), ("Procedure", Letters.Update)))
            .TakesLittle(app.ServiceProvider)
            .Accepts<EpisodeDocument>("application/json")
            .Answers<EpisodeReply>(StatusCodes.Status201Created, "Opened; `Location` is its address.")
            .Answers<EpisodeReply>(StatusCodes.Status200OK, "Known already: unchanged if the content is the same, else amended.")
            .Fails(
                StatusCodes.Status400BadRequest,
                StatusCodes.Status409Conflict,
                StatusCodes.Status413PayloadTooLarge,
                StatusCodes.Status415UnsupportedMediaType,
                StatusCodes.Status422UnprocessableEntity
            )
            .Changes()
            .WithName("openEpisode")
            .WithTags("Episodes")
            .WithSummary("Open an episode of irrigation, or amend or end the one with this identifier.")
            .WithDescription(
                "201 for a new one. 200 where the identifier is known: nothing changes if the content is the same, else it is "
                    + "amended and all that follows is worked out again. Patient, time zone and shifts cannot change."
            );
        app.MapGet("/episodes", Find)
            .Needs(AccessNeeds.Whole(("Procedure", Letters.Read | Letters.Search)))
            .Answers<EpisodesReply>(StatusCodes.Status200OK, "The episodes; an empty list where there is none.")
            .Fails(StatusCodes.Status400BadRequest)
            .ShowsEpisodes()
            .WithName("findEpisodes")
            .WithTags("Episodes")
            .WithSummary("Episodes of a patient, the one with an identifier, or all that are open or lie somewhere.")
            .WithDescription("Without an identifier a list in pages, the earliest begun first: follow `next` to its end.");
        app.MapGet("/episodes/{id}", Read)
            .Needs(AccessNeeds.Whole(("Procedure", Letters.Read)))
            .ShowsEpisode()
            .OfSeenFacility()
            .Answers<EpisodeReply>(StatusCodes.Status200OK, "The episode.")
            .Fails(StatusCodes.Status404NotFound)
            .WithName("readEpisode")
            .WithTags("Episodes")
            .WithSummary("The episode as it was described.");
        app.MapGet("/episodes/{id}/balance", Balance)
            .Needs(AccessNeeds.Whole(("Observation", Letters.Read | Letters.Search)))
            .ShowsEpisode()
            .OfSeenFacility()
            .Answers<BalanceReport>(
                StatusCodes.Status200OK,
                "The balance: intervals with the entries they rest on (`parts`), windows with the intervals they take their "
                    + "share of (`shares`), criteria, forecasts, the time still open, and the numbers of a ward round (`numbers`).",
                "application/json",
                "text/plain"
            )
            .Fails(StatusCodes.Status400BadRequest, StatusCodes.Status404NotFound)
            .WithName("readBalance")
            .WithTags("Episodes")
            .WithSummary("The fluid balance with every intermediate step.")
            .WithDescription(
                "JSON; with `Accept: text/plain` in words. With `since` irrigant and output since that moment stand in `numbers`. "
                    + "With `asOf` as it was known at that moment: entries that had happened and, where the sender tells, were charted "
                    + "by then. "
                    + Texts.Caution
            );
        app.MapGet("/episodes/{id}/flags", Flags)
            .Needs(AccessNeeds.Of("Flag", Letters.Read | Letters.Search))
            .ShowsEpisode()
            .OfSeenFacility()
            .Answers<FlagsReport>(StatusCodes.Status200OK, "What stands, what cannot be told and what would decide it, and what stood.")
            .Fails(StatusCodes.Status400BadRequest, StatusCodes.Status404NotFound)
            .WithName("readFlags")
            .WithTags("Episodes")
            .WithSummary("The flags: what stands, what nobody can tell, what was.")
            .WithDescription(
                "With `asOf` as it was known at that moment. The same flags are Flag resources under /fhir. "
                    + "To a token that may have a part of them, that part, and `partial` says so. "
                    + Texts.Caution
            );
        app.MapGet("/episodes/{id}/record", Record)
            .Needs(Everything)
            .ShowsEpisode()
            .OfSeenFacility()
            .Answers<RecordReport>(StatusCodes.Status200OK, "Whether the record is complete, and what is missing.")
            .Fails(StatusCodes.Status400BadRequest, StatusCodes.Status404NotFound)
            .WithName("readRecord")
            .WithTags("Episodes")
            .WithSummary(
                "The record: what is missing or contradicts itself, changes of flow, clamps, trials to do without irrigation, "
                    + "catheter days."
            )
            .WithDescription("With `asOf` as it was known at that moment.");
        app.MapGet("/episodes/{id}/handover", ReadHandover)
            .Needs(Everything)
            .ShowsEpisode()
            .OfSeenFacility()
            .Answers<string>(StatusCodes.Status200OK, "The handover, in the form that was asked for.", "text/plain", FhirReply.MediaType)
            .Fails(StatusCodes.Status400BadRequest, StatusCodes.Status404NotFound)
            .WithName("readHandover")
            .WithTags("Episodes")
            .AddOpenApiOperationTransformer(
                (operation, _, _) =>
                {
                    var answer = operation.Responses!["200"].Content![FhirReply.MediaType];
                    answer.Schema = new OpenApiSchema { Type = JsonSchemaType.Object, Description = "A FHIR R4 Bundle of type document." };
                    return Task.CompletedTask;
                }
            )
            .WithSummary("The handover: as text for a person, or as a FHIR document.")
            .WithDescription(
                "Plain text, short unless `form=long`; with `Accept: application/fhir+json` a document Bundle of a Composition and what "
                    + "it points at. "
                    + "With `asOf` as it was known at that moment. "
                    + Texts.Caution
            );
    }

    private static async Task<IResult> Open(HttpRequest request, OpenEpisode open, CancellationToken stop)
    {
        if (BodyMediaType.Of(request) is not "application/json")
        {
            return OutcomeResult.Refused(
                StatusCodes.Status415UnsupportedMediaType,
                [new("unsupported-media-type", "Content-Type", request.ContentType ?? "none", "application/json")]
            );
        }

        var body = await JsonBody.ReadJson(request, stop);
        if (body.Problem is { } problem)
            return OutcomeResult.Refused(StatusCodes.Status400BadRequest, [problem]);
        if (body.Items is not [var json])
            return OutcomeResult.Refused(
                StatusCodes.Status400BadRequest,
                [EntryProblem.WrongType("body", "a list", "one episode: a JSON object")]
            );
        var outcome = await open.Handle(json, Caller.Of(request.HttpContext), stop);
        if (outcome is OpenedEpisode.Stands known)
            request.HttpContext.Shows([known.Episode.Id]);
        return outcome switch
        {
            OpenedEpisode.Rejected rejected => OutcomeResult.Refused(rejected.Status, rejected.Problems),
            OpenedEpisode.Stands { IsNew: true } opened => Results.Created($"/episodes/{opened.Episode.Id}", Reply(opened.Episode.Row)),
            OpenedEpisode.Stands stands => Results.Json(Reply(stands.Episode.Row)),
            _ => throw new InvalidOperationException("an outcome without a reply"),
        };
    }

    private static async Task<IResult> Find(
        HttpContext http,
        EpisodeStore store,
        TimeProvider clock,
        [FromQueryName("patient.identifier"), Description("The patient's identifier: system|value, or a value alone.")]
            string? patientIdentifier,
        [Description("The episode's identifier: system|value.")] string? identifier,
        [Description("open: those that have not ended; ended: the others. Default: both.")] string? status,
        [Description("Where the patient lies: ward, ward|room or ward|room|bed.")] string? location,
        [Description("How many at most: 1 to 500. Default: 50.")] int? count,
        [Description("Those that follow: as `next` of the page before says it.")] string? after,
        CancellationToken stop
    )
    {
        if (patientIdentifier is null && identifier is null)
        {
            var seen = (Caller.Of(http).Facilities, Instant.FromDateTimeOffset(clock.GetUtcNow()));
            return await EpisodeList.Of(http, store, seen, status, location, count, after, stop);
        }

        var (system, value) = Token(patientIdentifier ?? identifier);
        if (value is null || (patientIdentifier is null && system is null))
        {
            return OutcomeResult.Refused(
                StatusCodes.Status400BadRequest,
                [EntryProblem.Missing("query", "patient.identifier=system|value, or identifier=system|value")]
            );
        }

        if ((status ?? location ?? after) is not null || count is not null)
        {
            return OutcomeResult.Refused(
                StatusCodes.Status400BadRequest,
                [EntryProblem.OneOrOther("query", "an identifier and status, location, count or after", "either the one or the others")]
            );
        }

        IReadOnlyList<EpisodeRow> rows = patientIdentifier is not null
            ? await store.FindByPatient(system, value, Caller.Of(http).Facilities, stop)
            : await store.FindByIdentifier(system!, value, Caller.Of(http).Facilities, stop);
        http.Shows(rows.Select(row => row.Id));
        return Results.Json(new EpisodesReply([.. rows.Select(Reply)]));
    }

    private static async Task<IResult> Read([Description("The episode's id.")] string id, EpisodeStore store, CancellationToken stop) =>
        await store.Find(id, stop) is { } row ? Results.Json(Reply(row)) : OutcomeResult.UnknownEpisode(id);

    private static async Task<IResult> Balance(
        [Description("The episode's id.")] string id,
        HttpRequest request,
        EpisodeAsOf episode,
        CriteriaSettings limits,
        ForecastSettings forecasts,
        [Description("A moment (RFC 3339, with seconds and offset). Default: now.")] string? asOf,
        [Description("Numbers since then too, e.g. the end of theatre (RFC 3339, with seconds and offset).")] string? since,
        CancellationToken stop
    )
    {
        var (from, problem) = since is null ? default : EntryJson.Moment("since", since);
        if (problem is not null)
            return OutcomeResult.Refused(StatusCodes.Status400BadRequest, [problem]);
        return await episode.Answer(
            id,
            asOf,
            (Episode episode, FlagRecord flags) =>
            {
                var report = BalanceReport.Of(episode.Balance, id, episode.Definition, flags.AsOf, limits, forecasts) with
                {
                    Numbers = NumbersReport.Of(flags, from),
                };
                if (request.GetTypedHeaders().Accept.FirstOrDefault()?.MediaType.Value != "text/plain")
                    return Results.Json(report);
                using var text = new StringWriter(CultureInfo.InvariantCulture) { NewLine = "\n" };
                BalanceInWords.Write(report, text);
                return Results.Text(text.ToString(), "text/plain");
            },
            stop
        );
    }

    private static async Task<IResult> Flags(
        [Description("The episode's id.")] string id,
        HttpContext http,
        EpisodeAsOf episode,
        ResourceStore resources,
        [Description("A moment (RFC 3339, with seconds and offset). Default: now.")] string? asOf,
        CancellationToken stop
    )
    {
        FlagsReport? report = null;
        var answer = await episode.Answer(
            id,
            asOf,
            (Episode episode, FlagRecord flags) => Results.Json(report = FlagsReport.Of(episode, flags)),
            stop
        );
        if (report is null || Caller.Of(http).Within("Flag", Letters.Read | Letters.Search) is not { Count: > 0 } within)
            return answer;
        var ids = report.Standing.Concat(report.Ended).Select(flag => flag.Id).ToList();
        var query = new SearchQuery(IndexedTypes.Find("Flag")!, [new SearchCriterion.Ids(ids), .. within], [], Math.Max(1, ids.Count));
        return Results.Json(report.Of((await resources.Search(query, stop)).Resources.Select(flag => flag.Id).ToHashSet()));
    }

    private static async Task<IResult> Record(
        [Description("The episode's id.")] string id,
        EpisodeAsOf episode,
        [Description("A moment (RFC 3339, with seconds and offset). Default: now.")] string? asOf,
        CancellationToken stop
    ) => await episode.Answer(id, asOf, (Episode episode, FlagRecord flags) => Results.Json(RecordReport.Of(episode, flags)), stop);

    private static async Task<IResult> ReadHandover(
        [Description("The episode's id.")] string id,
        HttpRequest request,
        EpisodeAsOf episode,
        ResourceStore resources,
        FhirSettings fhir,
        ProfileValidator profiles,
        HandoverMapper mapper,
        [Description("A moment (RFC 3339, with seconds and offset). Default: now.")] string? asOf,
        [Description("As text: short, what a nurse says in two minutes, or long, section by section. Default: short.")] string? form,
        CancellationToken stop
    )
    {
        if (form is not (null or "short" or "long"))
        {
            return OutcomeResult.Refused(StatusCodes.Status400BadRequest, [EntryProblem.UnknownWord("form", form, ["short", "long"])]);
        }

        Handover? handover = null;
        var answer = await episode.Answer(
            id,
            asOf,
            (Episode episode, FlagRecord flags) =>
            {
                handover = Handover.Of(episode, flags);
                return Results.Text(form == "long" ? handover.InWords() : HandoverNote.Of(handover), "text/plain");
            },
            stop
        );
        if (
            handover is null
            || !request.GetTypedHeaders().Accept.Any(type => type.MediaType.Value is FhirReply.MediaType or "application/json")
        )
            return answer;

        List<Hl7.Fhir.Model.Resource> about = [];
        var whole = BladderIrrigationMapper.Whole(handover.Episode).Reference!;
        foreach (
            var address in handover
                .Sections.SelectMany(section => section.About)
                .Prepend(whole)
                .Distinct()
                .Select(address => address.Split('/'))
        )
        {
            if (await resources.Read(address[0], address[1], stop) is { } stored)
                about.Add(FhirJson.Read<Hl7.Fhir.Model.Resource>(stored.Json));
        }

        var document = mapper.ToDocument(handover, about, FhirBase.Of(request, fhir));
        if (profiles.Validate(document.Entry[0].Resource!).Count > 0)
            throw new InvalidOperationException("a handover that breaks its own profile");
        return new FhirResult(document);
    }

    internal static EpisodeReply Reply(EpisodeRow row) => new(row.Id, row.Version, row.LastSequence, JsonNode.Parse(row.Json)!);

    private static (string? System, string? Value) Token(string? text)
    {
        if (string.IsNullOrEmpty(text))
            return (null, null);
        var bar = text.IndexOf('|', StringComparison.Ordinal);
        return bar < 0 ? (null, text) : (text[..bar], text[(bar + 1)..]);
    }
}
