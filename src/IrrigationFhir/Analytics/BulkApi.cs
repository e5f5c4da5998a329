using System.Collections.Concurrent;
using System.Globalization;
using System.IO.Compression;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using IrrigationFhir.Audit;
using IrrigationFhir.Model;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Analytics;

/// <summary>
/// <c>$export</c> at the base and at Patient, how an export stands, its files, and its end: Bulk Data Access 2.0.0
/// (https://hl7.org/fhir/uv/bulkdata) by the asynchronous pattern of FHIR.
/// </summary>
internal sealed class BulkApi(
    RunExports exports,
    ExportJobStore jobs,
    ResourceStore resources,
    Searching searching,
    DomainViews views,
    FhirSettings settings,
    AuditTrail audit
)
{
    private readonly ConcurrentDictionary<(string Client, string Job), bool> _disclosed = new();

    private const string Status = "exports";

    /// <summary>Said in the CapabilityStatement.</summary>
    public const string Policy =
        "Bulk Data Access 2.0.0: by GET, or by POST with Parameters, with Prefer: respond-async; ndjson. _since, _type, _typeFilter and "
        + "_elements are honoured; what is not is refused unless handling=lenient, and then named under error. "
        + "transactionTime is the moment of "
        + "the latest change that is in the files: the _since of the next export. A correction is a change, nothing is ever deleted. "
        + "Subscriptions are not exported. Files are kept for 24 hours.";

    /// <summary>Said in the CapabilityStatement of Patient.</summary>
    public const string PatientPolicy =
        Policy
        + " At Patient: what is about a patient; no Patient is among it, as none is held here. patient takes references and identifiers.";

    /// <summary>Begins an export of resources.</summary>
    public async Task<IResult> KickOff(HttpContext http, bool ofPatients)
    {
        var request = http.Request;
        if (RefusalOfPreference(request) is { } refused)
            return refused;
        var (parameters, unreadable) = await OperationParameters.Read(request, PostedBody.ParametersOrNothing, http.RequestAborted);
        if (parameters is null)
            return unreadable!;
        var at = FhirBase.Of(request, settings);
        var address = $"{at}{request.Path.Value![FhirBase.Path.Length..]}{request.QueryString}";
        var (bulk, problems) = BulkRequest.Read(
            parameters,
            ofPatients,
            Preferences.Lenient(request),
            HttpMethods.IsPost(request.Method) ? address.Split('?')[0] : address,
            searching.Context(strict: true, at)
        );
        if (bulk is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));
        // Of what is named all has to be allowed; where nothing is, what is not allowed is left out.
        var caller = Caller.Of(http);
        var named = parameters.Any(pair => pair.Key == "_type");
        var allowed = bulk.Types.Where(type => Exports.MayHave(caller, type)).ToList();
        if (named ? allowed.Count < bulk.Types.Count : allowed.Count == 0)
            return FhirReads.Forbidden;
        foreach (var patient in bulk.Patients)
        {
            if (!await IsKnown(patient, caller, http.RequestAborted))
                return new OutcomeResult(
                    StatusCodes.Status404NotFound,
                    Outcome.Problem(
                        "unknown-patient",
                        "a patient of whom nothing is held here",
                        "a patient that resources point at",
                        "patient"
                    )
                );
        }

        return await Begin(http, exports, new(bulk with { Types = allowed }, null), at);
    }

    /// <summary>
    /// Whether there is anything of a patient that a caller may have: who may have nothing of one is told what is told of nobody.
    /// </summary>
    private async Task<bool> IsKnown(ScannedPatient patient, Caller caller, CancellationToken stop)
    {
        ReferenceTest about = patient.Reference is { } reference
            ? new ReferenceTest.Target(reference)
            : new ReferenceTest.Identifier(new(patient.System, patient.Value));
        foreach (var type in IndexedTypes.OfPatients.Where(type => Exports.MayHave(caller, type.Name)))
        {
            if (await resources.IsKnown(type, about, Exports.Shown(caller, type.Name), stop))
                return true;
        }

        return false;
    }

    /// <summary>A group of patients means nothing here, and why.</summary>
    public static OutcomeResult OfGroup() =>
        new(
            StatusCodes.Status404NotFound,
            Outcome.Problem(
                "export-unknown",
                "an export of a Group",
                "no Group is held here, and none can be made: Patient/$export takes patient as often as there are members",
                null
            )
        );

    /// <summary>What stands against a request that does not ask to be answered later; null where it does.</summary>
    public static OutcomeResult? RefusalOfPreference(HttpRequest request) =>
        request
            .Headers["Prefer"]
            .Any(line =>
                (line ?? "").Split([',', ';'], StringSplitOptions.TrimEntries).Contains("respond-async", StringComparer.OrdinalIgnoreCase)
            )
            ? null
            : new(
                StatusCodes.Status400BadRequest,
                Outcome.Problem("export-synchronous", "a request that wants its answer at once", "Prefer: respond-async", "Prefer")
            );

    /// <summary>Keeps what was asked for: 202, and where it is asked how it stands.</summary>
    public static async Task<IResult> Begin(HttpContext http, RunExports exports, ExportRequest request, string at)
    {
        if (await exports.Ask(request with { Owner = LastingAccess.Of(Caller.Of(http)) }, http.RequestAborted) is not { } id)
        {
            http.Response.Headers.RetryAfter = "60";
            return new OutcomeResult(
                StatusCodes.Status429TooManyRequests,
                Outcome.Problem(
                    "too-many-requests",
                    "as many exports wait or run as may, of this client or of all",
                    "the same request again when one has ended",
                    null
                )
            );
        }

        http.Response.Headers["Content-Location"] = $"{at}/{Status}/{id}";
        return Results.StatusCode(StatusCodes.Status202Accepted);
    }

    /// <summary>How an export stands.</summary>
    public async Task<IResult> Ask(HttpContext http, string id)
    {
        if (await Own(http, id) is not { } job)
            return Unknown(id);
        var headers = http.Response.Headers;
        headers.CacheControl = "no-store";
        var at = $"{FhirBase.Of(http.Request, settings)}/{Status}/{id}";
        if (!job.HasEnded)
        {
            (headers.RetryAfter, headers["X-Progress"]) = ("2", job.Progress ?? "waits");
            return Results.StatusCode(StatusCodes.Status202Accepted);
        }

        if (job.ExpiresAt is { } expires)
            headers.Expires = expires.ToDateTimeUtc().ToString("R", CultureInfo.InvariantCulture);
        var request = RunExports.RequestOf(job);
        if (request.Views is not null)
        {
            // The pattern of SQL on FHIR: the result has an address of its own, whether it is one or a failure.
            headers.Location = $"{at}/result";
            return Results.StatusCode(StatusCodes.Status303SeeOther);
        }

        return job.Error is { } error
            ? Failed(error)
            : Json(BulkManifest.Of(request.Bulk!.Address, job.TransactionTime!.Value, BulkFile.Read(job.Files), name => $"{at}/{name}"));
    }

    /// <summary>A file of an export, or the result of one of views.</summary>
    public async Task<IResult> File(HttpContext http, string id, string name)
    {
        if (await Own(http, id) is not { HasEnded: true } job)
            return Unknown(id);
        var at = $"{FhirBase.Of(http.Request, settings)}/{Status}/{id}";
        if (name == "result" && RunExports.RequestOf(job).Views is { } views)
        {
            return job.Error is { } error
                ? Failed(error)
                : Json(ViewOperations.Result(job, views, file => file == "" ? at : $"{at}/{file}"), FhirReply.MediaType);
        }

        var path = Path.Combine(exports.FolderOf(id), name);
        if (BulkFile.Read(job.Files).FirstOrDefault(file => file.Name == name) is not { } found || !System.IO.File.Exists(path))
            return Unknown($"{id}/{name}");

        Disclose(http, id, name);
        var headers = http.Response.Headers;
        headers.CacheControl = "no-store";
        if (job.ExpiresAt is { } expires)
            headers.Expires = expires.ToDateTimeUtc().ToString("R", CultureInfo.InvariantCulture);
        headers.Vary = "Accept-Encoding";
        if (!found.IsPacked)
            return Ranged(path, found.MediaType, $"\"{id}-{name}\"");
        if (TakesGzip(http.Request))
        {
            headers.ContentEncoding = "gzip";
            return Ranged(path, found.MediaType, $"\"{id}-{name}-gzip\"");
        }

        return Results.Stream(
            async body =>
            {
                await using var packed = System.IO.File.OpenRead(path);
                await using var plain = new GZipStream(packed, CompressionMode.Decompress);
                await plain.CopyToAsync(body, http.RequestAborted);
            },
            found.MediaType
        );
    }

    /// <summary>Records that a file is fetched; and, the first time that somebody fetches one, every patient of the export.</summary>
    private void Disclose(HttpContext http, string id, string name)
    {
        audit.Record(new(Deed.Read, "read") { Resources = [$"{Status}/{id}/{name}"], Query = AuditedRoutes.Asked(http.Request) });
        var fetched = (Actor.Current.Client, id);
        if (_disclosed.ContainsKey(fetched))
            return;
        audit.Record(new(Deed.Disclose, "export") { Resources = [$"{Status}/{id}"], Episodes = exports.EpisodesOf(id) });
        _disclosed[fetched] = true;
    }

    /// <summary>Cancels an export, or takes its files away.</summary>
    public async Task<IResult> Delete(HttpContext http, string id) =>
        await Own(http, id) is not null && await exports.Delete(id, http.RequestAborted)
            ? Results.StatusCode(StatusCodes.Status202Accepted)
            : Unknown(id);

    /// <summary>An export that is the caller's own, and that it may still have; null for every other.</summary>
    private async Task<ExportJob?> Own(HttpContext http, string id)
    {
        if (await jobs.Find(id, http.RequestAborted) is not { } job)
            return null;
        var (request, caller) = (RunExports.RequestOf(job), Caller.Of(http));
        return request.Owner.IsOf(caller) && request.Owner.IsWithin(caller, request.Types(views), Exports.Letters) ? job : null;
    }

    private static IResult Ranged(string path, string mediaType, string tag) =>
        Results.File(Path.GetFullPath(path), mediaType, entityTag: new(tag), enableRangeProcessing: true);

    private static bool TakesGzip(HttpRequest request) =>
        request.GetTypedHeaders().AcceptEncoding.Any(coding => coding.Value.Value is "gzip" or "*" && coding.Quality is not 0);

    private static IResult Json(JsonObject json, string mediaType = "application/json") =>
        Results.Bytes(Encoding.UTF8.GetBytes(json.ToJsonString()), mediaType);

    private static OutcomeResult Failed(string error) =>
        new(StatusCodes.Status500InternalServerError, Outcome.Problem("export-failed", error, "an export that is asked for again", null));

    private static OutcomeResult Unknown(string id) =>
        new(
            StatusCodes.Status404NotFound,
            Outcome.Problem("export-unknown", $"'{id}'", "an export that was asked for here, was not cancelled and has not expired", null)
        );
}
