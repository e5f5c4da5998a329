using System.Text.Json.Nodes;
using System.Threading.RateLimiting;
using IrrigationFhir.Access;
using IrrigationFhir.Audit;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;

namespace IrrigationFhir.Analytics;

/// <summary>
/// <c>$viewdefinition-run</c>, also spelt <c>$run</c>: the rows of a view at once; and <c>$viewdefinition-export</c>: those of several, as
/// files (SQL on FHIR 2, operations).
/// </summary>
internal sealed class ViewOperations(
    DomainViews views,
    ResourceScan scan,
    RunExports exports,
    StoreSettings kept,
    AccessSettings access,
    AuditTrail audit
) : IDisposable
{
    /// <summary>How long rows are made for one request.</summary>
    public static readonly TimeSpan Longest = TimeSpan.FromSeconds(60);

    /// <summary>How many requests have rows made at once, of all clients together.</summary>
    public const int MostAtOnce = 4;

    private readonly SemaphoreSlim _places = new(MostAtOnce);

    private readonly PartitionedRateLimiter<string> _ofClient = PartitionedRateLimiter.Create<string, string>(client =>
        RateLimitPartition.GetConcurrencyLimiter(client, _ => new() { PermitLimit = access.ViewRunsAtOnce })
    );

    /// <inheritdoc/>
    public void Dispose()
    {
        _places.Dispose();
        _ofClient.Dispose();
    }

    /// <summary>The rows of a view.</summary>
    /// <param name="http">Who asks.</param>
    /// <param name="id">The view in the address; null for none.</param>
    public async Task<IResult> Run(HttpContext http, string? id)
    {
        var request = await ViewRequest.Read(http.Request, http.RequestAborted);
        if (request.Problems.Count > 0)
            return Refused(request);
        request.Only("viewReference", "viewResource", "resource", "_format", "header", "patient", "_since", "_limit");
        var format = request.Text("_format") is { } word ? ViewFormats.Named(word) : ViewFormats.Accepted(http.Request);
        var header = request.Boolean("header") ?? true;
        var (limit, since, patients) = (request.Number("_limit"), request.Moment("_since"), request.Patients("patient"));
        request.TakeResources();
        if (request.Resources.Count > 0 && (since is not null || patients.Count > 0))
            request.Problem(
                "resource",
                "resources together with _since or patient",
                "resources that are meant, or a choice among those held here"
            );
        var found = request.Views(views, id);
        if (request.Problems.Count > 0)
            return Refused(request);
        if (format is null)
            return NotAcceptable();
        var caller = Caller.Of(http);
        // Resources that were sent along are the sender's own.
        if (request.Resources.Count == 0 && !Exports.MayHave(caller, found[0].View.Resource))
            return FhirReads.Forbidden;

        using var place = Place(caller);
        if (place is null)
        {
            http.Response.Headers.RetryAfter = "2";
            return new OutcomeResult(
                StatusCodes.Status429TooManyRequests,
                Outcome.Problem(
                    "too-many-requests",
                    "more rows asked for than are made at once",
                    "the same request again after a pause",
                    null
                )
            );
        }

        try
        {
            using var bounded = CancellationTokenSource.CreateLinkedTokenSource(http.RequestAborted);
            bounded.CancelAfter(Longest);
            return await Send(
                http,
                found[0].View,
                new(Enum.Parse<TableFormat>(format, ignoreCase: true), header),
                Pages(
                    AuditedRoutes.Asked(http.Request),
                    new(found[0].View.Resource, default, since)
                    {
                        Patients = patients,
                        Within = request.Resources.Count > 0 ? [] : Exports.Shown(caller, found[0].View.Resource),
                    },
                    request.Resources,
                    bounded.Token
                ),
                limit,
                bounded.Token
            );
        }
        catch (OperationCanceledException) when (!http.RequestAborted.IsCancellationRequested)
        {
            return Broken(
                http,
                new(
                    StatusCodes.Status400BadRequest,
                    Outcome.Problem(
                        "query-too-costly",
                        $"rows that take longer than {Longest.TotalSeconds:0} s",
                        "$viewdefinition-export, or _limit",
                        null
                    )
                )
            );
        }
    }

    /// <summary>
    /// A place among those that have rows made, given back at its end; null where none is left, for all or for this client.
    /// </summary>
    public IDisposable? Place(Caller caller)
    {
        var own = caller.IsLocal ? null : _ofClient.AttemptAcquire(caller.Client);
        if (own is not { IsAcquired: false } && _places.Wait(0))
            return new Taken(own, _places);
        own?.Dispose();
        return null;
    }

    private sealed class Taken(RateLimitLease? own, SemaphoreSlim places) : IDisposable
    {
        public void Dispose()
        {
            own?.Dispose();
            places.Release();
        }
    }

    /// <summary>Begins an export of views.</summary>
    public async Task<IResult> Export(HttpContext http, string? id, string at)
    {
        if (BulkApi.RefusalOfPreference(http.Request) is { } refused)
            return refused;
        var request = await ViewRequest.Read(http.Request, http.RequestAborted);
        if (request.Problems.Count > 0)
            return Refused(request);
        request.Only("view", "viewReference", "viewResource", "clientTrackingId", "_format", "header", "patient", "_since");
        var word = request.Text("_format");
        var format = word is null ? "ndjson" : ViewFormats.Named(word);
        if (format is null)
            request.Problem("_format", $"'{word}'", $"one of {string.Join(", ", ViewFormats.Names)}");
        var header = request.Boolean("header") ?? true;
        var (since, patients, tracking) = (request.Moment("_since"), request.Patients("patient"), request.Text("clientTrackingId"));
        var found = request.Views(views, id);
        if (request.Problems.Count > 0)
            return Refused(request);
        if (found.Any(view => !Exports.MayHave(Caller.Of(http), view.View.Resource)))
            return FhirReads.Forbidden;
        return await BulkApi.Begin(
            http,
            exports,
            new(
                null,
                new(
                    $"{at}{http.Request.Path.Value![FhirBase.Path.Length..]}",
                    [.. found.Select(view => view.Named)],
                    format!,
                    header,
                    since,
                    patients,
                    tracking
                )
            ),
            at
        );
    }

    /// <summary>The answer at the end of an export of views.</summary>
    public static JsonObject Result(ExportJob job, ViewExport request, Func<string, string> address) =>
        new()
        {
            ["resourceType"] = "Parameters",
            ["parameter"] = new JsonArray([
                Parameter("exportId", "valueString", job.Id),
                .. request.TrackingId is { } tracking ? new[] { Parameter("clientTrackingId", "valueString", tracking) } : [],
                Parameter("status", "valueCode", "completed"),
                Parameter("_format", "valueCode", request.Format),
                Parameter("location", "valueUri", address("")),
                .. BulkFile
                    .Read(job.Files)
                    .Select(file => new JsonObject
                    {
                        ["name"] = "output",
                        ["part"] = new JsonArray(
                            Parameter("name", "valueString", file.Type),
                            Parameter("location", "valueUri", address(file.Name))
                        ),
                    }),
            ]),
        };

    private static JsonObject Parameter(string name, string type, string value) => new() { ["name"] = name, [type] = value };

    /// <summary>The resources, each page recorded before rows of it leave.</summary>
    private async IAsyncEnumerable<IReadOnlyList<ReadOnlyMemory<byte>>> Pages(
        string asked,
        ScanRequest request,
        IReadOnlyList<ReadOnlyMemory<byte>> sent,
        [System.Runtime.CompilerServices.EnumeratorCancellation] CancellationToken stop
    )
    {
        if (sent.Count > 0)
        {
            yield return sent;
            yield break;
        }

        var told = new HashSet<string>();
        var shown = new Shown(Deed.Query, "operation") { Query = asked };
        await foreach (var page in scan.Read(request with { Fence = await scan.Fence(stop) }, stop))
        {
            List<string> others = [.. page.Resources.Select(ShownVersion.Of).Select(one => one.Episode).OfType<string>().Where(told.Add)];
            if (others.Count > 0)
                audit.Record(shown with { Episodes = others });
            yield return [.. page.Resources.Select(resource => resource.Json)];
        }

        if (told.Count == 0)
            audit.Record(shown);
    }

    private async Task<IResult> Send(
        HttpContext http,
        ViewDefinition view,
        TableOptions options,
        IAsyncEnumerable<IReadOnlyList<ReadOnlyMemory<byte>>> pages,
        int? limit,
        CancellationToken stop
    )
    {
        // Parquet says at its end where everything is: it is made whole first.
        await using var file = options.Format == TableFormat.Parquet ? Unnamed() : null;
        var response = http.Response;
        await using var table = TableWriter.Of(TableColumn.Of(view), file ?? new OnceBegun(response, options).Body, options);
        try
        {
            var engine = Exports.Engine(view);
            await foreach (var page in pages)
            {
                foreach (var resource in page)
                {
                    if (table.Rows >= limit)
                        break;
                    engine.Rows(
                        resource,
                        row =>
                        {
                            if (!(table.Rows >= limit))
                                table.Add(row);
                        }
                    );
                }

                await table.Flush(stop);
                if (table.Rows >= limit)
                    break;
            }

            await table.Finish(stop);
        }
        catch (ViewFault fault)
        {
            return Broken(
                http,
                new(StatusCodes.Status422UnprocessableEntity, Outcome.Problem("view-invalid", fault.Saw, fault.Expected, "viewResource"))
            );
        }

        if (file is null)
            return Results.Empty;
        response.ContentType = ViewFormats.MediaTypeOf("parquet");
        response.ContentLength = file.Length;
        response.Headers.CacheControl = "no-store";
        file.Position = 0;
        await file.CopyToAsync(response.Body, stop);
        return Results.Empty;
    }

    /// <summary>The refusal, or, where rows have left already, the end of the connection: a short file would look whole.</summary>
    private static IResult Broken(HttpContext http, OutcomeResult refusal)
    {
        if (!http.Response.HasStarted)
        {
            http.Response.Clear();
            return refusal;
        }

        http.Abort();
        return Results.Empty;
    }

    private FileStream Unnamed() =>
        new(
            Path.Combine(kept.Folder, $"rows-{Guid.NewGuid():N}.unfinished"),
            new FileStreamOptions
            {
                Mode = FileMode.CreateNew,
                Access = FileAccess.ReadWrite,
                Options = FileOptions.DeleteOnClose,
            }
        );

    private static OutcomeResult Refused(ViewRequest request) =>
        new(
            request.ViewIsInvalid ? StatusCodes.Status422UnprocessableEntity
                : request.ViewIsUnknown ? StatusCodes.Status404NotFound
                : StatusCodes.Status400BadRequest,
            Outcome.Of(request.Problems)
        );

    private static OutcomeResult NotAcceptable() =>
        new(
            StatusCodes.Status406NotAcceptable,
            Outcome.Problem(
                "not-acceptable",
                "a format that is not written here",
                $"_format as {string.Join(", ", ViewFormats.Names)}",
                "_format"
            )
        );

    /// <summary>A body whose headers are said when its first bytes leave, so that a fault before can still be answered.</summary>
    private sealed class OnceBegun
    {
        public OnceBegun(HttpResponse response, TableOptions options)
        {
            Body = response.Body;
            response.ContentType =
                options.Format == TableFormat.Csv
                    ? $"text/csv; charset=utf-8; header={(options.Header ? "present" : "absent")}"
                    : ViewFormats.MediaTypeOf(options.Format == TableFormat.Json ? "json" : "ndjson");
            response.Headers.CacheControl = "no-store";
        }

        public Stream Body { get; }
    }
}
