using System.ComponentModel;
using Hl7.Fhir.Model;
using Irrigation;
using Irrigation.Episodes;
using IrrigationFhir.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;

namespace IrrigationFhir.Entries;

/// <summary>What the service answers to entries.</summary>
/// <param name="Episode">The episode's id.</param>
/// <param name="Version">The episode's version now.</param>
/// <param name="Entries">One for each entry sent, in their order.</param>
/// <param name="Recalculated">Closed intervals that are new or became others: old value, new value, and the entries that did it.</param>
/// <param name="Changed">Resources that got a new version.</param>
/// <param name="Withheld">Resources of ours that failed their own profile: the entries are kept, these are not published.</param>
internal sealed record EntriesReply(
    string Episode,
    long Version,
    IReadOnlyList<EntryResult> Entries,
    IReadOnlyList<RecalculatedInterval> Recalculated,
    IReadOnlyList<ChangedResource> Changed,
    IReadOnlyList<WithheldResource> Withheld
);

/// <summary>What became of one entry.</summary>
/// <param name="Source">Its source; null where a refused entry does not say it.</param>
/// <param name="Id">Its id.</param>
/// <param name="Outcome">recorded, repeated, confirmed, amended, retracted, outdated, or refused.</param>
/// <param name="Sequence">Its place in the order of arrival.</param>
/// <param name="Revision">Which version of its id.</param>
/// <param name="Problems">Why it was refused; at most 20 reasons.</param>
/// <param name="Doubts">
/// What cannot be taken as it stands now that it is there: of its own reading, or of an earlier one that it makes doubtful. Nothing is
/// refused for it; look again, then confirm the reading (<c>reading-confirmed</c>) or correct it. Null where nothing is doubted.
/// </param>
internal sealed record EntryResult(
    string? Source,
    string? Id,
    string Outcome,
    long? Sequence,
    int? Revision,
    IReadOnlyList<ProblemReply>? Problems,
    IReadOnlyList<DoubtReport>? Doubts
);

/// <summary>One problem.</summary>
/// <param name="Code">Stable; software may rely on it.</param>
/// <param name="Where">A path into what was sent, e.g. <c>entries[3].volume</c>.</param>
/// <param name="Saw">What was seen.</param>
/// <param name="Expected">What is expected.</param>
internal sealed record ProblemReply(string Code, string Where, string Saw, string Expected);

/// <summary>A closed interval that is new or became another one.</summary>
/// <param name="Stream">bladder, or the route.</param>
/// <param name="Start">Its start now, or before where it is gone.</param>
/// <param name="End">Its end.</param>
/// <param name="Before">Corrected output before; null where there was none.</param>
/// <param name="After">Corrected output now; null where there is none.</param>
/// <param name="Status">How firm it is; null where the interval is gone.</param>
/// <param name="Because">The entries (source/id) of this request that could touch it, those that it rests on first.</param>
internal sealed record RecalculatedInterval(
    string Stream,
    string Start,
    string End,
    Amount? Before,
    Amount? After,
    string? Status,
    IReadOnlyList<string> Because
);

/// <summary>A resource that got a new version.</summary>
/// <param name="Type">Observation, Procedure or Provenance.</param>
/// <param name="Id">Its id: <c>/fhir/{type}/{id}</c>.</param>
/// <param name="Version">The new version: <c>/fhir/{type}/{id}/_history/{version}</c>.</param>
internal sealed record ChangedResource(string Type, string Id, long Version);

/// <summary>A resource that is withheld, and the rules it failed.</summary>
/// <param name="Type">Its type.</param>
/// <param name="Id">The id it would have had.</param>
/// <param name="Faults">The rules' keys, separated by spaces.</param>
internal sealed record WithheldResource(string Type, string Id, string Faults);

/// <summary>POST: what was instilled, drained, seen, ordered.</summary>
internal static class EntriesApi
{
    /// <summary>Problems of one refused entry that a lenient reply repeats: whoever mends these meets the others next.</summary>
    private const int MostProblems = 20;

    /// <summary>Adds the main path.</summary>
    public static IServiceCollection AddEntries(this IServiceCollection services)
    {
        Places.KeepThreadsFree();
        return services.AddSingleton<RecordEntries>();
    }

    /// <summary>Maps the routes.</summary>
    public static void MapEntries(this IEndpointRouteBuilder app)
    {
        app.MapPost("/episodes/{id}/entries", Post)
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
                "All entries are recorded or none. With `Prefer: handling=lenient` those that can be are recorded, and the reply says of each what became of it. "
                    + "Idempotent by source and id: the same content again changes nothing; other content under the same id is an amendment, which supersedes and never overwrites; "
                    + "status `entered-in-error` withdraws. What is implausible is recorded and marked; "
                    + "what follows from a reading and cannot be is named in the reply at once (`doubts`). "
                    + Texts.Caution
            );
        app.MapGet("/episodes/{id}/entries", Get)
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
        var type = request.ContentType?.Split(';')[0].Trim().ToLowerInvariant();
        var body = type switch
        {
            "application/json" => await EntriesBody.ReadJson(request, stop),
            "application/x-ndjson" => await EntriesBody.ReadLines(request, stop),
            _ => null,
        };
        if (body is null)
            return Refused(
                StatusCodes.Status415UnsupportedMediaType,
                [new("unsupported-media-type", "Content-Type", type ?? "none", "application/json or application/x-ndjson")]
            );
        if (body.Problem is { } problem)
            return Refused(StatusCodes.Status400BadRequest, [problem]);
        if (body.Items.Count > settings.Most)
            return Refused(
                StatusCodes.Status413PayloadTooLarge,
                [new("too-many-entries", "body", $"{body.Items.Count} entries", $"at most {settings.Most}; send several requests")]
            );

        return await record.Handle(id, body.Items, Preferences.Lenient(request), stop) switch
        {
            EntriesOutcome.UnknownEpisode => EpisodesApi.Unknown(id),
            EntriesOutcome.Rejected rejected => Refused(StatusCodes.Status422UnprocessableEntity, rejected.Problems),
            EntriesOutcome.Recorded recorded => Results.Json(Reply(id, recorded, recorded.Zone)),
            _ => throw new InvalidOperationException("an outcome without a reply"),
        };
    }

    private static async Task<IResult> Get(
        [Description("The episode's id.")] string id,
        EpisodesInMemory episodes,
        EpisodeStore store,
        CancellationToken stop
    )
    {
        if (await episodes.Find(id, stop) is not { } episode)
            return EpisodesApi.Unknown(id);
        var rows = await store.LoadEntries(episode.Row.PatientKey, id, 0, stop);
        return Results.Json(EntryLog.Of(episode, rows));
    }

    /// <summary>A refusal, as an OperationOutcome.</summary>
    public static OutcomeResult Refused(int status, IEnumerable<EntryProblem> problems) =>
        new(status, Outcome.Of(problems.Select(p => Outcome.Problem(p.Code, p.Saw, p.Expected, p.Where, TypeOf(p.Code)))));

    /// <summary>The issue type that goes with a problem's code.</summary>
    public static OperationOutcome.IssueType TypeOf(string code) =>
        code switch
        {
            "conflicting-content" or "version-conflict" or "known-elsewhere" => OperationOutcome.IssueType.Conflict,
            "unknown-code" or "ambiguous-code" => OperationOutcome.IssueType.CodeInvalid,
            "no-episode" or "several-episodes" or "encounter-mismatch" or "not-yours" => OperationOutcome.IssueType.BusinessRule,
            "not-understood" or "method-not-allowed" or "unsupported-media-type" => OperationOutcome.IssueType.NotSupported,
            "unknown-resource" => OperationOutcome.IssueType.NotFound,
            "several-matches" => OperationOutcome.IssueType.MultipleMatches,
            "missing" or "missing-unit" => OperationOutcome.IssueType.Required,
            "malformed-json"
            or "half-character"
            or "too-deep"
            or "byte-order-mark"
            or "wrong-type"
            or "unknown-property"
            or "repeated-property" => OperationOutcome.IssueType.Structure,
            "unknown-kind" or "unknown-word" or "wrong-unit" => OperationOutcome.IssueType.CodeInvalid,
            "same-id-twice" => OperationOutcome.IssueType.Duplicate,
            "overlapping-bags"
            or "overlapping-totals"
            or "drainage-while-clamped"
            or "before-episode-start"
            or "after-episode-end"
            or "patient-mismatch" => OperationOutcome.IssueType.BusinessRule,
            "unknown-episode" or "unknown-reading" => OperationOutcome.IssueType.NotFound,
            "too-many-entries" => OperationOutcome.IssueType.TooLong,
            "subscription-topic-unknown"
            or "subscription-filter-unsupported"
            or "subscription-channel-unsupported"
            or "subscription-payload-unsupported"
            or "subscription-content-unsupported" => OperationOutcome.IssueType.NotSupported,
            "subscription-cross-version-extension" or "subscription-extension-unknown" => OperationOutcome.IssueType.Extension,
            "subscription-status-refused" or "subscription-ended" or "too-many-subscriptions" => OperationOutcome.IssueType.BusinessRule,
            "events-forgotten" => OperationOutcome.IssueType.Deleted,
            _ => OperationOutcome.IssueType.Value,
        };

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
                    e.Doubts.Count == 0 ? null : [.. e.Doubts.Select(DoubtReport.Of)]
                )),
            ],
            [
                .. recorded.Recalculated.Select(c => new RecalculatedInterval(
                    c.Interval.Stream,
                    Wire.Time(c.Interval.Start, zone),
                    Wire.Time(c.Interval.End, zone),
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
