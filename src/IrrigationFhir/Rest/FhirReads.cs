using IrrigationFhir.Access;
using IrrigationFhir.Audit;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Routing.Template;

namespace IrrigationFhir.Rest;

/// <summary>What a read may bring with a POST.</summary>
internal enum PostedBody
{
    /// <summary>It is not asked by POST.</summary>
    Never,

    /// <summary>A form, and by POST alone: a search whose parameters stand in no address.</summary>
    Form,

    /// <summary>A form, or a Parameters resource.</summary>
    Parameters,

    /// <summary>The same, or nothing at all.</summary>
    ParametersOrNothing,
}

/// <summary>Something below the FHIR base that can be asked and changes nothing.</summary>
/// <param name="Address">Below the base, e.g. <c>Observation/{id}</c>; what is literal in it is case-sensitive.</param>
/// <param name="Answer">Answers it.</param>
/// <param name="Needs">What the caller has to be allowed.</param>
internal sealed record FhirRead(string Address, Func<FhirQuestion, Task<IFhirAnswer>> Answer, AccessNeeds Needs)
{
    /// <summary>What it may bring with a POST.</summary>
    public PostedBody Posted { get; init; }

    /// <summary>The interaction, as the audit has it; null for what it passes over.</summary>
    public string? Interaction { get; } = AuditedReads.Interaction(Address);

    /// <summary>Whether it is asked by GET, and so within a Bundle too.</summary>
    public bool ByGet => Posted != PostedBody.Form;

    /// <summary>The methods that ask it.</summary>
    public string[] Methods =>
        Posted switch
        {
            PostedBody.Never => [HttpMethods.Get, HttpMethods.Head],
            PostedBody.Form => [HttpMethods.Post],
            PostedBody.Parameters or PostedBody.ParametersOrNothing => [HttpMethods.Get, HttpMethods.Head, HttpMethods.Post],
        };
}

/// <summary>Who asks what, over HTTP or within a Bundle.</summary>
/// <param name="Caller">Who asks, and what may be shown.</param>
/// <param name="Base">The FHIR base as the caller sees it, for links.</param>
/// <param name="Strict">Whether what is not understood is an error.</param>
/// <param name="Query">What the address holds.</param>
/// <param name="Parameters">What address and body hold together.</param>
/// <param name="Parts">The parts of the address that are no literals: <c>id</c>, <c>version</c>.</param>
/// <param name="Stop">Gives up.</param>
internal sealed record FhirQuestion(
    Caller Caller,
    string Base,
    bool Strict,
    IQueryCollection Query,
    IReadOnlyList<KeyValuePair<string, string>> Parameters,
    RouteValueDictionary Parts,
    CancellationToken Stop
)
{
    /// <summary>The id in the address.</summary>
    public string Id => (string)Parts["id"]!;

    /// <summary>The version in the address.</summary>
    public string Version => (string)Parts["version"]!;

    /// <summary>The question as it came, for the audit: method, address and parameters.</summary>
    public required string Asked { get; init; }

    /// <summary>
    /// What the search for resources that this caller may be shown asks besides; null where none may be shown.
    /// </summary>
    public IReadOnlyList<SearchCriterion>? Shown(IndexedType type, Letters letters) => Caller.Shown(type, letters);
}

/// <summary>An answer that is FHIR JSON, whoever carries it.</summary>
internal interface IFhirAnswer : IResult
{
    /// <summary>The HTTP status.</summary>
    int StatusCode { get; }

    /// <summary>The resource, in the words of the service.</summary>
    ReadOnlyMemory<byte> Json(Vocabulary vocabulary);

    /// <summary>The version of what is answered; null where it has none.</summary>
    string? ETag => null;

    /// <summary>What is shown of what is stored, for the audit.</summary>
    IReadOnlyList<ShownVersion> Shown => [];

    /// <summary>The patients that are shown, where no episode tells them.</summary>
    IReadOnlyList<AuditedPatient> Patients => [];
}

/// <summary>What one room lets be read.</summary>
internal sealed record ReadableFhir(IReadOnlyList<FhirRead> Reads);

/// <summary>
/// The table of everything that can be read below the FHIR base. Over HTTP and within a Bundle a question takes the same way,
/// <see cref="Answer"/>: what keeps somebody out has to stand there, and in no middleware alone.
/// </summary>
internal sealed class FhirReads(IEnumerable<ReadableFhir> rooms, FhirSettings settings, AuditTrail audit)
{
    /// <summary>Everything that is in it.</summary>
    public IReadOnlyList<FhirRead> All { get; } = [.. rooms.SelectMany(room => room.Reads)];

    // What is most literal goes first.
    private readonly Lazy<IReadOnlyList<(TemplateMatcher Matcher, FhirRead Read)>> byAddress = new(() =>
        [
            .. rooms
                .SelectMany(room => room.Reads)
                .Where(read => read.ByGet)
                .Select(read => (Template: TemplateParser.Parse(read.Address), read))
                .OrderBy(pair => pair.Template.Parameters.Count)
                .Select(pair => (new TemplateMatcher(pair.Template, []), pair.read)),
        ]
    );

    /// <summary>Maps a route for each.</summary>
    public void Map(IEndpointRouteBuilder app)
    {
        var fhir = app.MapGroup(FhirBase.Path)
            .AddEndpointFilter(Negotiation.RequireJson)
            .AddEndpointFilter(FhirApi.RequireExactCase)
            .ExcludeFromDescription();
        foreach (var read in All)
        {
            var route = fhir.MapMethods($"/{read.Address}", read.Methods, (HttpContext http, FhirReads reads) => reads.OverHttp(http, read))
                .Needs(read.Needs);
            if (read.Interaction is { } interaction)
                route.WithMetadata(new AuditedAs(AuditedReads.DeedOf(interaction), interaction));
            if (read.Posted is PostedBody.Form or PostedBody.Parameters)
                route.TakesLittle(app.ServiceProvider);
        }
    }

    /// <summary>What a GET finds at an address below the base, with the parts of it that are no literals; null for nothing.</summary>
    /// <param name="path">Decoded, without query.</param>
    public (FhirRead Read, RouteValueDictionary Parts)? At(string path)
    {
        foreach (var (matcher, read) in byAddress.Value)
        {
            var parts = new RouteValueDictionary();
            if (matcher.TryMatch($"/{path}", parts))
                return (read, parts);
        }

        return null;
    }

    /// <summary>Answers a question, whichever way it came, to whom it may be answered; and has that recorded before it leaves.</summary>
    public async Task<IFhirAnswer> Answer(FhirRead read, FhirQuestion question)
    {
        var answer = question.Caller.Covers(read.Needs) ? await read.Answer(question) : Forbidden;
        if (read.Interaction is { } interaction && audit.RecordsReads)
            audit.Record(AuditedReads.Of(interaction, read.Address, question, answer));
        return answer;
    }

    /// <summary>The answer to whom something is not allowed.</summary>
    public static OutcomeResult Forbidden =>
        new(
            StatusCodes.Status403Forbidden,
            Outcome.Problem("not-allowed", "an access token without the scope for this", "a token whose scopes cover this request", null)
        );

    private async Task<IResult> OverHttp(HttpContext http, FhirRead read)
    {
        var (request, stop) = (http.Request, http.RequestAborted);
        var (parameters, refused) = await OperationParameters.Read(request, read.Posted, stop);
        return refused
            ?? (IResult)
                await Answer(
                    read,
                    new(
                        Caller.Of(http),
                        FhirBase.Of(request, settings),
                        Preferences.Strict(request),
                        request.Query,
                        parameters!,
                        request.RouteValues,
                        stop
                    )
                    {
                        Asked = OperationParameters.Asked(request, parameters!),
                    }
                );
    }
}
