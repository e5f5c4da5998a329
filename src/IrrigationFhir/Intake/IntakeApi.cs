using System.Text.Encodings.Web;
using System.Text.Json;
using Hl7.Fhir.Model;
using Irrigation.Episodes;
using IrrigationFhir.Access;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;

namespace IrrigationFhir.Intake;

/// <summary>The FHIR RESTful API, writing side: create and update of Observations, batch, transaction, $validate.</summary>
internal static class IntakeApi
{
    /// <summary>Said in the CapabilityStatement: what a sender has to know and FHIR leaves open.</summary>
    public const string Policy =
        "An Observation is a measurement at the bedside; its code becomes a kind of entry by a ConceptMap (Intake:ConceptMap), "
        + "an unknown one is refused with 422. "
        + "identifier[0] with system and value is its identity: the same content again answers 200 and changes nothing, other "
        + "content 409 unless status amended, corrected or entered-in-error says that it corrects. "
        + "subject names the patient by identifier or by the address that the episode was opened with (patients are not kept here). The "
        + "Observation belongs to the patient's episode of irrigation whose time covers effective[x], of several to the one of "
        + "its encounter; without one it is refused: open the episode first with POST /episodes. "
        + "It comes back as it was sent: what the service adds stands beside it, and what it leaves out (Prefer: handling=strict refuses "
        + "it) is named in the outcome as not-kept. Profiles that it declares keep nothing out. "
        + "effective[x] needs seconds and offset; -00:00 is UTC; second 60 is refused. issued is when it was charted. Units are "
        + "UCUM codes from a closed list for each kind. "
        + "A counter (pump total, container level, container mass) is another kind than an amount over time; readings of another "
        + "device begin a new series. A drip rate needs the component drop-factor. "
        + "dataAbsentReason in place of a value is refused: what was not read is not recorded, and what is not recorded is not "
        + "known, never 0. meta.security HTEST keeps an Observation out of every clinical number. "
        + "Device and DeviceMetric of a transaction are kept within the Observations that point at them. "
        + "A transaction concerns one episode; with Prefer: handling=lenient Observations of unknown code are reported in it and "
        + "the others recorded. Nothing is deleted: status entered-in-error withdraws.";

    /// <summary>JSON that people can read too.</summary>
    public static readonly JsonSerializerOptions Readable = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    /// <summary>Adds the intake.</summary>
    public static IServiceCollection AddIntake(this IServiceCollection services, IConfiguration configuration)
    {
        var settings = IntakeSettings.Read(configuration);
        return services
            .AddRateLimiter(limits => WritesAtOnce.Limit(limits, settings.MostAtOnce))
            .AddSingleton(settings)
            .AddSingleton(KindMap.Read(configuration, FhirSettings.Read(configuration).Vocabulary.Profiles))
            .AddSingleton<InnerRequests>()
            .AddSingleton<ObservationSearch>()
            .AddSingleton<WritesWithin>()
            .AddSingleton<RecordObservations>()
            .AddSingleton<RecordBundle>()
            .AddSingleton<ValidateOperation>()
            .AddSingleton<CapabilityClaim>(Claim);
    }

    /// <summary>Maps the routes.</summary>
    public static void MapIntake(this IEndpointRouteBuilder app)
    {
        var fhir = app.MapGroup(FhirBase.Path)
            .AddEndpointFilter(Negotiation.RequireJson)
            .AddEndpointFilter(FhirApi.RequireExactCase)
            .ExcludeFromDescription();
        var writing = fhir.MapGroup("").RequireRateLimiting(WritesAtOnce.Policy).Changes();
        writing.MapPost("", Bundle).Needs(AccessNeeds.AnyToken); // each entry by itself
        writing.MapPost("/Observation", Create).Needs(AccessNeeds.Of("Observation", Letters.Create));
        writing.MapPut("/Observation/{id}", Update).Needs(AccessNeeds.Of("Observation", Letters.Update));
        foreach (var type in IndexedTypes.OfPatients.Select(t => t.Name))
        {
            var writes = AccessNeeds.AnyPartOf(type, Letters.Create, Letters.Update);
            fhir.MapPost(
                    $"/{type}/$validate",
                    (HttpContext http, ValidateOperation validate, CancellationToken stop) => Validate(http, type, null, validate, stop)
                )
                .Needs(writes);
            fhir.MapPost(
                    $"/{type}/{{id}}/$validate",
                    (HttpContext http, string id, ValidateOperation validate, CancellationToken stop) =>
                        Validate(http, type, id, validate, stop)
                )
                .Needs(writes);
        }
    }

    /// <summary>Why nothing is deleted.</summary>
    public static EntryProblem NoDelete(string where) => new("method-not-allowed", where, "DELETE", OperationOutcomes.InPlaceOfDelete);

    private static async Task<IResult> Create(
        HttpContext http,
        RecordObservations observations,
        FhirSettings settings,
        CancellationToken stop
    )
    {
        var (json, refused) = await FhirBody.Read(http.Request, stop);
        return refused
            ?? Reply(
                await observations.One(
                    new(json, "Observation", null, null, http.Request.Headers["If-None-Exist"].FirstOrDefault()),
                    http,
                    stop
                ),
                http,
                settings
            );
    }

    private static async Task<IResult> Update(
        HttpContext http,
        string id,
        RecordObservations observations,
        FhirSettings settings,
        CancellationToken stop
    )
    {
        var (json, refused) = await FhirBody.Read(http.Request, stop);
        return refused
            ?? Reply(
                await observations.One(new(json, "Observation", id, EntityTags.Named(http.Request.Headers.IfMatch), null), http, stop),
                http,
                settings
            );
    }

    private static async Task<IResult> Bundle(HttpContext http, RecordBundle bundles, CancellationToken stop)
    {
        var (json, refused) = await FhirBody.Read(http.Request, stop);
        return refused ?? await bundles.Handle(json, http, stop);
    }

    private static async Task<IResult> Validate(
        HttpContext http,
        string type,
        string? id,
        ValidateOperation validate,
        CancellationToken stop
    )
    {
        if (id is not null && http.Request.ContentLength is null or 0)
            return await validate.Handle(type, id, null, http, stop);
        var (json, refused) = await FhirBody.Read(http.Request, stop);
        return refused ?? await validate.Handle(type, id, json, http, stop);
    }

    private static IResult Reply(Written written, HttpContext http, FhirSettings settings)
    {
        if (written is Written.Refused refused)
        {
            if (refused.Status == StatusCodes.Status405MethodNotAllowed)
                http.Response.Headers.Allow = "GET, HEAD";
            return new OutcomeResult(refused.Status, refused.Outcome);
        }

        var stands = (Written.Stands)written;
        http.Shows(stands.Episodes);
        return new WrittenResult(stands, FhirBase.Of(http.Request, settings));
    }

    private static void Claim(CapabilityStatement statement)
    {
        var rest = statement.Rest[0];
        rest.Documentation = $"{rest.Documentation} {Policy}";
        rest.Interaction =
        [
            new() { Code = CapabilityStatement.SystemRestfulInteraction.Batch },
            new() { Code = CapabilityStatement.SystemRestfulInteraction.Transaction, Documentation = "Of one episode of one patient." },
        ];
        foreach (
            var resource in rest.Resource.Where(r => IndexedTypes.OfPatients.Any(type => type.Name == (string?)r.TypeElement!.JsonValue))
        )
        {
            resource.Operation.Add(new() { Name = "validate", Definition = "http://hl7.org/fhir/OperationDefinition/Resource-validate" });
            if ((string?)resource.TypeElement!.JsonValue != "Observation")
                continue;
            resource.Interaction.Add(new() { Code = CapabilityStatement.TypeRestfulInteraction.Create });
            resource.Interaction.Add(
                new()
                {
                    Code = CapabilityStatement.TypeRestfulInteraction.Update,
                    Documentation =
                        "Of an Observation that came by create; what the service works out, or came by the entries API, is "
                        + "refused with 405.",
                }
            );
            resource.ConditionalCreate = true;
        }
    }
}
