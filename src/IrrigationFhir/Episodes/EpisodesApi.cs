using System.ComponentModel;
using System.Security.Cryptography;
using System.Text.Json.Nodes;
using System.Text.Json.Serialization;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Entries;
using IrrigationFhir.Fhir;
using IrrigationFhir.Health;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using Microsoft.OpenApi;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Episodes;

/// <summary>An episode as the service answers it.</summary>
/// <param name="Id">The service's id, the last part of its address.</param>
/// <param name="Version">1 when opened, one more with every change.</param>
/// <param name="Entries">How many versions of entries its log holds.</param>
/// <param name="Episode">As sent.</param>
internal sealed record EpisodeReply(string Id, long Version, long Entries, JsonNode Episode);

/// <summary>The episodes that were found.</summary>
internal sealed record EpisodesReply(IReadOnlyList<EpisodeReply> Episodes);

/// <summary>An episode: one stretch of irrigation of one patient, with its clock and its shifts. Another property is refused.</summary>
/// <remarks>The shape for the contract; reading is done by <see cref="EpisodeReader"/>.</remarks>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record EpisodeDocument
{
    [Description(
        "The episode's own identifier. Posting it again amends the same episode: its start, end, encounter, catheter and the like."
    )]
    public required IdentifierDocument Identifier { get; init; }

    [Description("The patient, by identifier, reference or both. Cannot be amended.")]
    public required PointerDocument Patient { get; init; }

    [Description("The encounter, if known.")]
    public PointerDocument? Encounter { get; init; }

    [Description("The patient's date of birth (1951-07-30), if known: unknown is not adult.")]
    public string? BirthDate { get; init; }

    [Description("The catheter at the start.")]
    public CatheterDocument? Catheter { get; init; }

    [Description("The bladder's capacity, if known: mL, L.")]
    public QuantityDocument? BladderCapacity { get; init; }

    [Description("Level of a spinal cord injury, e.g. T4, if there is one.")]
    public string? SpinalLevel { get; init; }

    [Description(
        "The systolic blood pressure that is usual for the patient, in mm[Hg], if known: with a spinal cord injury at or above T6 a rise above it counts."
    )]
    public QuantityDocument? BaselineSystolic { get; init; }

    [Description(
        "True where the bladder is irrigated during an endoscopic procedure: the limits for irrigant that is not accounted for apply then."
    )]
    public bool? DuringProcedure { get; init; }

    [Description("The facility's IANA time zone. Default: the configured one. Cannot be amended.")]
    public string? TimeZone { get; init; }

    [Description("When shifts begin by the wall clock, e.g. 07:00. Cannot be amended.")]
    public IReadOnlyList<string>? ShiftStarts { get; init; }

    [Description("When the balance begins (RFC 3339, with seconds and offset).")]
    public required string Start { get; init; }

    [Description("When the episode ended, once it has.")]
    public string? End { get; init; }
}

/// <summary>An identifier with its system.</summary>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record IdentifierDocument
{
    [Description("The system the value is unique in, a URI.")]
    public required string System { get; init; }

    [Description("The value.")]
    public required string Value { get; init; }
}

/// <summary>A reference by identifier, by address, or both.</summary>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record PointerDocument
{
    [Description("A logical reference; enough on its own.")]
    public IdentifierDocument? Identifier { get; init; }

    [Description("An address, absolute or as the receiving FHIR server knows it.")]
    public string? Reference { get; init; }

    [Description("Text for people.")]
    public string? Display { get; init; }
}

/// <summary>A catheter.</summary>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record CatheterDocument
{
    [Description("The kind of catheter, in words.")]
    public string? Type { get; init; }

    [Description("Size in [Ch] (French).")]
    public QuantityDocument? Size { get; init; }

    [Description("1 to 3.")]
    public int? Lumens { get; init; }

    [Description("When it was inserted (RFC 3339, with seconds and offset).")]
    public string? InsertedAt { get; init; }
}

/// <summary>Episodes: open, amend, find, read, and the balance of their log.</summary>
internal static class EpisodesApi
{
    /// <summary>Adds the episodes.</summary>
    public static IServiceCollection AddEpisodes(this IServiceCollection services)
    {
        services.AddHealthChecks().AddCheck<EpisodesCheck>("episodes", tags: [HealthApi.Ready]);
        return services
            .AddSingleton(provider => new EpisodesInMemory(
                provider.GetRequiredService<EpisodeStore>(),
                provider.GetRequiredService<BalanceSettings>(),
                provider.GetRequiredService<FlagLimits>(),
                provider.GetRequiredService<StoreSettings>().TimeZone
            ))
            .AddSingleton<OpenEpisode>()
            .AddSingleton<Asked>()
            .AddSingleton<WatchEpisodes>()
            .AddHostedService(provider => provider.GetRequiredService<WatchEpisodes>());
    }

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
            .WithName("openEpisode")
            .WithTags("Episodes")
            .WithSummary("Open an episode of irrigation, or amend or end the one with this identifier.")
            .WithDescription(
                "201 for a new one. 200 where the identifier is known: nothing changes if the content is the same, else it is amended and all that follows is worked out again. Patient, time zone and shifts cannot change."
            );
        app.MapGet("/episodes", Find)
            .Answers<EpisodesReply>(StatusCodes.Status200OK, "The episodes; an empty list where there is none.")
            .Fails(StatusCodes.Status400BadRequest)
            .WithName("findEpisodes")
            .WithTags("Episodes")
            .WithSummary("Episodes of a patient, or the one with an identifier.");
        app.MapGet("/episodes/{id}", Read)
            .Answers<EpisodeReply>(StatusCodes.Status200OK, "The episode.")
            .Fails(StatusCodes.Status404NotFound)
            .WithName("readEpisode")
            .WithTags("Episodes")
            .WithSummary("The episode as it was described.");
        app.MapGet("/episodes/{id}/balance", Balance)
            .Answers<BalanceReport>(
                StatusCodes.Status200OK,
                "The balance: intervals with the entries they rest on (`parts`), windows with the intervals they take their share of (`shares`), criteria, forecasts, and the time still open."
            )
            .Fails(StatusCodes.Status400BadRequest, StatusCodes.Status404NotFound)
            .WithName("readBalance")
            .WithTags("Episodes")
            .WithSummary("The fluid balance with every intermediate step.")
            .WithDescription(
                "With `asOf` as it was known at that moment: entries that had happened and, where the sender tells, were charted by then. "
                    + Texts.Caution
            );
        app.MapGet("/episodes/{id}/flags", Flags)
            .Answers<FlagsReport>(StatusCodes.Status200OK, "What stands, what cannot be told and what would decide it, and what stood.")
            .Fails(StatusCodes.Status400BadRequest, StatusCodes.Status404NotFound)
            .WithName("readFlags")
            .WithTags("Episodes")
            .WithSummary("The flags: what stands, what nobody can tell, what was.")
            .WithDescription("With `asOf` as it was known at that moment. The same flags are Flag resources under /fhir. " + Texts.Caution);
        app.MapGet("/episodes/{id}/record", Record)
            .Answers<RecordReport>(StatusCodes.Status200OK, "Whether the record is complete, and what is missing.")
            .Fails(StatusCodes.Status400BadRequest, StatusCodes.Status404NotFound)
            .WithName("readRecord")
            .WithTags("Episodes")
            .WithSummary(
                "The record: what is missing or contradicts itself, changes of flow, clamps, trials to do without irrigation, catheter days."
            )
            .WithDescription("With `asOf` as it was known at that moment.");
        app.MapGet("/episodes/{id}/handover", ReadHandover)
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
                "Plain text; with `Accept: application/fhir+json` a document Bundle of a Composition and what it points at. With `asOf` as it was known at that moment. "
                    + Texts.Caution
            );
    }

    /// <summary>The answer for an id that names no episode.</summary>
    public static OutcomeResult Unknown(string id) =>
        EntriesApi.Refused(
            StatusCodes.Status404NotFound,
            [
                new(
                    "unknown-episode",
                    "id",
                    $"'{(id.Length > 64 ? id[..64] + "…" : id)}'",
                    "the id of an episode, as POST /episodes answered it"
                ),
            ]
        );

    private static async Task<IResult> Open(HttpRequest request, OpenEpisode open, CancellationToken stop)
    {
        if (request.ContentType?.Split(';')[0].Trim().ToLowerInvariant() is not "application/json")
        {
            return EntriesApi.Refused(
                StatusCodes.Status415UnsupportedMediaType,
                [new("unsupported-media-type", "Content-Type", request.ContentType ?? "none", "application/json")]
            );
        }

        var body = await EntriesBody.ReadJson(request, stop);
        if (body.Problem is { } problem)
            return EntriesApi.Refused(StatusCodes.Status400BadRequest, [problem]);
        if (body.Items is not [var json])
            return EntriesApi.Refused(
                StatusCodes.Status400BadRequest,
                [EntryProblem.WrongType("body", "a list", "one episode: a JSON object")]
            );
        return await open.Handle(json, stop) switch
        {
            OpenedEpisode.Rejected rejected => EntriesApi.Refused(rejected.Status, rejected.Problems),
            OpenedEpisode.Stands { IsNew: true } opened => Results.Created($"/episodes/{opened.Episode.Id}", Reply(opened.Episode.Row)),
            OpenedEpisode.Stands stands => Results.Json(Reply(stands.Episode.Row)),
            _ => throw new InvalidOperationException("an outcome without a reply"),
        };
    }

    private static async Task<IResult> Find(
        EpisodeStore store,
        [FromQueryName("patient.identifier"), Description("The patient's identifier: system|value, or a value alone.")]
            string? patientIdentifier,
        [Description("The episode's identifier: system|value.")] string? identifier,
        CancellationToken stop
    )
    {
        var (system, value) = Token(patientIdentifier ?? identifier);
        if (value is null || (patientIdentifier is null && system is null))
        {
            return EntriesApi.Refused(
                StatusCodes.Status400BadRequest,
                [EntryProblem.Missing("query", "patient.identifier=system|value, or identifier=system|value")]
            );
        }

        IReadOnlyList<EpisodeRow> rows =
            patientIdentifier is not null ? await store.FindByPatient(system, value, stop)
            : await store.FindByIdentifier(system!, value, stop) is { } row ? [row]
            : [];
        return Results.Json(new EpisodesReply([.. rows.Select(Reply)]));
    }

    private static async Task<IResult> Read([Description("The episode's id.")] string id, EpisodeStore store, CancellationToken stop) =>
        await store.Find(id, stop) is { } row ? Results.Json(Reply(row)) : Unknown(id);

    private static Task<IResult> Balance(
        [Description("The episode's id.")] string id,
        Asked asked,
        CriteriaSettings limits,
        ForecastSettings forecasts,
        [Description("A moment (RFC 3339, with seconds and offset). Default: now.")] string? asOf,
        CancellationToken stop
    ) =>
        asked.For(
            id,
            asOf,
            (Episode episode, Instant at) => Results.Json(BalanceReport.Of(episode.Balance, id, episode.Definition, at, limits, forecasts)),
            stop
        );

    private static async Task<IResult> Flags(
        [Description("The episode's id.")] string id,
        Asked asked,
        [Description("A moment (RFC 3339, with seconds and offset). Default: now.")] string? asOf,
        CancellationToken stop
    ) => await asked.For(id, asOf, (Episode episode, FlagRecord flags) => Results.Json(FlagsReport.Of(episode, flags)), stop);

    private static async Task<IResult> Record(
        [Description("The episode's id.")] string id,
        Asked asked,
        [Description("A moment (RFC 3339, with seconds and offset). Default: now.")] string? asOf,
        CancellationToken stop
    ) => await asked.For(id, asOf, (Episode episode, FlagRecord flags) => Results.Json(RecordReport.Of(episode, flags)), stop);

    private static async Task<IResult> ReadHandover(
        [Description("The episode's id.")] string id,
        HttpRequest request,
        Asked asked,
        ResourceStore resources,
        FhirSettings fhir,
        ProfileValidator profiles,
        [Description("A moment (RFC 3339, with seconds and offset). Default: now.")] string? asOf,
        CancellationToken stop
    )
    {
        Handover? handover = null;
        var answer = await asked.For(
            id,
            asOf,
            (Episode episode, FlagRecord flags) =>
            {
                handover = Handover.Of(episode, flags);
                return Results.Text(handover.InWords(), "text/plain");
            },
            stop
        );
        if (
            handover is null
            || !request.GetTypedHeaders().Accept.Any(type => type.MediaType.Value is FhirReply.MediaType or "application/json")
        )
            return answer;

        List<Hl7.Fhir.Model.Resource> about = [];
        foreach (var address in handover.Sections.SelectMany(section => section.About).Distinct().Select(address => address.Split('/')))
        {
            if (await resources.Read(address[0], address[1], stop) is { } stored)
                about.Add(FhirJson.Read<Hl7.Fhir.Model.Resource>(stored.Json));
        }

        var document = HandoverMapper.ToDocument(handover, about, FhirBase.Of(request, fhir));
        if (profiles.Sort([document.Entry[0].Resource!]).Withheld.Count > 0)
            throw new InvalidOperationException("a handover that breaks its own profile");
        return new FhirResult(document);
    }

    private static EpisodeReply Reply(EpisodeRow row) => new(row.Id, row.Version, row.LastSequence, JsonNode.Parse(row.Json)!);

    private static (string? System, string? Value) Token(string? text)
    {
        if (string.IsNullOrEmpty(text))
            return (null, null);
        var bar = text.IndexOf('|', StringComparison.Ordinal);
        return bar < 0 ? (null, text) : (text[..bar], text[(bar + 1)..]);
    }
}

/// <summary>Answers what is asked of an episode, now or as it was known at a moment.</summary>
internal sealed class Asked(EpisodesInMemory episodes, TimeProvider clock)
{
    /// <summary>The answer, or why there is none.</summary>
    /// <param name="id">The episode.</param>
    /// <param name="asOf">The moment as it was asked; null for now.</param>
    /// <param name="answer">From the episode as it was known then, and the moment.</param>
    /// <param name="stop">Gives up.</param>
    public Task<IResult> For(string id, string? asOf, Func<Episode, Instant, IResult> answer, CancellationToken stop) =>
        Known(id, asOf, (_, episode, at) => Task.FromResult(answer(episode, at)), stop);

    /// <summary>The same from its flags as well, to the second.</summary>
    public Task<IResult> For(string id, string? asOf, Func<Episode, FlagRecord, IResult> answer, CancellationToken stop) =>
        Known(
            id,
            asOf,
            async (stands, known, at) =>
            {
                var watched = await episodes.Watched(stands, stop);
                if (asOf is not null)
                    return answer(known, watched.Flags!.AsKnown(watched.Log, known.Balance, at, stop));
                return answer(
                    watched,
                    watched.Flags!.After(watched.Balance, [], Instant.FromUnixTimeSeconds(at.ToUnixTimeSeconds())).Record
                );
            },
            stop
        );

    /// <summary>Asks for the answer with the episode as it stands, as it was known at the moment, and the moment.</summary>
    private async Task<IResult> Known(
        string id,
        string? asOf,
        Func<Episode, Episode, Instant, Task<IResult>> answer,
        CancellationToken stop
    )
    {
        using var place = await Places.Reading.Enter(stop);
        if (await episodes.Find(id, stop) is not { } found)
            return EpisodesApi.Unknown(id);
        if (asOf is null)
            return await answer(found, found, Instant.FromDateTimeOffset(clock.GetUtcNow()));
        var (moment, problem) = EntryJson.Moment("asOf", asOf);
        if (moment is not { } at)
            return EntriesApi.Refused(StatusCodes.Status400BadRequest, [problem!]);
        stop.ThrowIfCancellationRequested();
        return await answer(found, found with { Balance = FluidBalance.Of(found.Log.KnownAt(at), found.Balance.Settings) }, at);
    }
}

/// <summary>What became of an attempt to open or amend an episode.</summary>
internal abstract record OpenedEpisode
{
    /// <summary>It stands.</summary>
    public sealed record Stands(Episode Episode, bool IsNew) : OpenedEpisode;

    /// <summary>Nothing was stored.</summary>
    public sealed record Rejected(int Status, IReadOnlyList<EntryProblem> Problems) : OpenedEpisode;
}

/// <summary>Opens an episode, or amends the one with its identifier.</summary>
internal sealed class OpenEpisode(
    EpisodesInMemory episodes,
    EpisodeStore store,
    ProfileValidator profiles,
    StoreSettings settings,
    FlagLimits limits,
    TimeProvider clock
)
{
    /// <summary>Opens or amends.</summary>
    public async Task<OpenedEpisode> Handle(System.Text.Json.JsonElement json, CancellationToken stop)
    {
        var problems = new List<EntryProblem>();
        if (EpisodeReader.Read(json, settings.TimeZone, problems) is not { } definition)
            return new OpenedEpisode.Rejected(StatusCodes.Status422UnprocessableEntity, problems);
        if (EpisodeReader.NoCapacity(definition) is { } none && !await Stands(definition, stop))
        {
            return new OpenedEpisode.Rejected(StatusCodes.Status422UnprocessableEntity, [none]);
        }

        var row = new EpisodeRow(
            PatientKey(definition),
            NewId(),
            1,
            0,
            Token(definition.Identifier),
            Token(definition.Patient.Identifier),
            definition.Frame.Start,
            definition.Frame.End,
            definition.Json
        );
        switch (await store.Open(row, stop))
        {
            case OpenOutcome.Opened opened:
                return new OpenedEpisode.Stands(await episodes.Load(opened.Episode, stop), true);
            case OpenOutcome.AlreadyThere there:
                return await Turns.UntilSaved(there.Episode.Id, token => Amend(there.Episode.Id, definition, token), stop);
            default:
                throw new InvalidOperationException("an outcome without a reply");
        }
    }

    /// <summary>Whether the episode was taken with that capacity before such a one was refused: sent again it is still known.</summary>
    private async Task<bool> Stands(EpisodeDefinition definition, CancellationToken stop) =>
        await store.FindByIdentifier(definition.Identifier.System, definition.Identifier.Value, stop) is { } row
        && episodes.Read(row.Json).BladderCapacity == definition.BladderCapacity;

    /// <summary>One attempt; null where somebody else was first.</summary>
    private async ValueTask<OpenedEpisode?> Amend(string id, EpisodeDefinition definition, CancellationToken stop)
    {
        var episode = await episodes.Watched(
            await episodes.Find(id, stop) ?? throw new InvalidOperationException("an episode that was there a moment ago"),
            stop
        );
        if (episode.Definition.SaysTheSame(definition))
            return new OpenedEpisode.Stands(episode, false);
        if (!episode.Definition.SameBedside(definition))
        {
            return new OpenedEpisode.Rejected(
                StatusCodes.Status409Conflict,
                [
                    new(
                        "patient-mismatch",
                        "episode",
                        "another patient, time zone or other shifts under a known identifier",
                        "what the episode was opened with, or another identifier"
                    ),
                ]
            );
        }

        var (balance, changes) = episode.Balance.In(definition.Frame);
        var outside = balance
            .Log.Channels.SelectMany(c => Enumerable.Range(0, balance.Log[c].Count).Select(i => balance.Log[c][i]))
            .Distinct()
            .Select(entry => Contradictions.OfFrame(entry, definition.Frame, "episode"))
            .FirstOrDefault(p => p is not null);
        if (outside is not null)
            return new OpenedEpisode.Rejected(StatusCodes.Status409Conflict, [outside]);

        var flags = FlagRecord.Of(
            balance,
            definition.Facts,
            limits,
            Instant.Max(Instant.FromDateTimeOffset(clock.GetUtcNow()), episode.Flags!.AsOf)
        );
        var after = new Episode(episode.Row with { Json = definition.Json, ClosedAt = definition.Frame.End }, definition, balance)
        {
            Flags = flags,
            Strays = episode.Strays,
        };
        var news = FlagNews.Of(after, FlagRecord.Compare(episode.Flags, flags), [], []);
        var (valid, faulty) = profiles.Sort([.. EpisodeMapper.ToResources(episode, after, changes, limits.Criteria), .. news.Resources]);
        var withheld = faulty.ToRows();
        var change = news.In(
            new(
                episode.Row.PatientKey,
                id,
                episode.Row.Version,
                [],
                [.. valid.Select(ResourceDraft.Of)],
                withheld,
                definition.Json,
                definition.Frame.End
            ),
            flags,
            valid
        );
        return await store.Save(change, stop) is SaveOutcome.Saved saved
            ? new OpenedEpisode.Stands(
                episodes.Keep(after with { Strays = [], Row = after.Row with { Version = saved.Version, FlagsAsOf = flags.AsOf } }),
                false
            )
            : null;
    }

    private static Token? Token(BusinessIdentifier? identifier) => identifier is null ? null : new(identifier.System, identifier.Value);

    /// <summary>Keeps one patient's rows together without storing who it is in every key.</summary>
    private static string PatientKey(EpisodeDefinition definition) =>
        Wire.Digest(definition.Patient.Identifier is { } id ? $"{id.System}|{id.Value}" : definition.Patient.Reference!, 24);

    private static string NewId() => Wire.Digest(Convert.ToHexString(RandomNumberGenerator.GetBytes(32)), 16);
}
