using System.Data.Common;
using IrrigationFhir.Audit;
using IrrigationFhir.Problems;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>The one place where a failure, from whatever layer, becomes an OperationOutcome.</summary>
/// <remarks>
/// Handlers answer the mistakes they know with an <see cref="OutcomeResult"/>. What is left arrives here: statuses that the
/// framework sets without a body (404, 405, 415 …), requests it cannot read, bodies over the limit, and our own exceptions.
/// An exception's text never reaches the client or the log, because it may quote a patient's data; the type and an id do.
/// </remarks>
internal static partial class OperationOutcomes
{
    /// <summary>Why nothing is deleted, and what to do instead.</summary>
    public const string InPlaceOfDelete =
        "PUT with status entered-in-error, of a Subscription off: what was believed once is kept, and leaves every number";

    /// <summary>Put this first, before access control and before any Map….</summary>
    public static WebApplication UseOperationOutcomes(this WebApplication app)
    {
        var log = app.Services.GetRequiredService<ILoggerFactory>().CreateLogger("IrrigationFhir.Failures");
        app.Use((context, next) => Guard(context, next, log));
        return app;
    }

    private static async Task Guard(HttpContext context, RequestDelegate next, ILogger log)
    {
        try
        {
            if (context.Request.ContentLength > RequestBodies.LimitOf(context))
            {
                await TooLarge(context).ExecuteAsync(context);
                return;
            }

            if (await RequestBodies.Read(context) is { } refused)
            {
                await refused.ExecuteAsync(context);
                return;
            }

            await next(context);

            if (context.Response is { HasStarted: false, StatusCode: >= 400, ContentLength: null, ContentType: null } bare)
                await ForStatus(context, bare.StatusCode).ExecuteAsync(context);
        }
        catch (OperationCanceledException) when (context.RequestAborted.IsCancellationRequested)
        {
            // Nobody is left to be told. 499 is what the access log of a proxy would say.
            if (!context.Response.HasStarted)
                context.Response.StatusCode = StatusCodes.Status499ClientClosedRequest;
        }
        catch (Exception failure) when (!context.Response.HasStarted)
        {
            context.Response.Clear();
            var outcome = ForException(context, failure, log);
            AuditedRoutes.Failed(context, outcome.StatusCode, outcome.Code!);
            await outcome.ExecuteAsync(context);
        }
        catch (Exception failure)
        {
            // Half an answer has gone out: the client sees it broken off. Let through, the server would log the exception with its text.
            LogFailure(log, Guid.NewGuid().ToString("N"), failure.GetType().FullName ?? "unknown", Origin(failure));
            AuditedRoutes.Failed(context, StatusCodes.Status500InternalServerError, "internal-error");
            context.Abort();
        }
    }

    private static OutcomeResult ForException(HttpContext context, Exception failure, ILogger log)
    {
        if (failure is BadHttpRequestException bad)
            return ForStatus(context, bad.StatusCode);

        if (failure is AuditUnavailable)
        {
            context.Response.Headers.RetryAfter = "5";
            const string Later = "the same request again after a pause; nothing was shown";
            return Problem(StatusCodes.Status503ServiceUnavailable, "audit-unavailable", failure.Message, Later);
        }

        if (failure is DbException && Database.FailureOf(failure) is { } store)
            return ForStore(context, store, log);

        var id = Guid.NewGuid().ToString("N");
        LogFailure(log, id, failure.GetType().FullName ?? "unknown", Origin(failure));
        return new(
            StatusCodes.Status500InternalServerError,
            Outcome.Problem(
                "internal-error",
                "the service failed while answering",
                $"a correct answer; the log holds this failure under {id}, and nothing was half-written",
                null
            )
        );
    }

    /// <summary>The store could not do it just now: no fault of the request, but for a query that asks too much.</summary>
    private static OutcomeResult ForStore(HttpContext context, StoreFailure failure, ILogger log)
    {
        context.RequestServices.GetRequiredService<Database>().Remember(failure);
        if (!context.RequestAborted.IsCancellationRequested)
            LogStoreFailure(log, failure.Trouble, failure.EngineCode);
        var saw = failure.Message;
        if (failure.Trouble == StoreTrouble.TooCostly)
        {
            const string narrower = "a narrower query: with a patient, a code or a time";
            return Problem(StatusCodes.Status400BadRequest, "query-too-costly", saw, narrower);
        }

        context.Response.Headers.RetryAfter = "5";
        const string later = "the same request again after a pause; nothing of it was kept";
        var status =
            failure.Trouble == StoreTrouble.Full ? StatusCodes.Status507InsufficientStorage : StatusCodes.Status503ServiceUnavailable;
        return Problem(status, "store-unavailable", saw, later);
    }

    /// <summary>Where it was thrown: method names are ours and hold no data, unlike the message.</summary>
    private static string Origin(Exception failure) =>
        failure.StackTrace?.Split('\n', StringSplitOptions.TrimEntries | StringSplitOptions.RemoveEmptyEntries) is { Length: > 0 } frames
            ? string.Join(" < ", frames.Take(8).Select(frame => frame.Split(" in ")[0]))
            : "unknown";

    private static OutcomeResult ForStatus(HttpContext context, int status) =>
        status switch
        {
            StatusCodes.Status401Unauthorized => Problem(
                status,
                "not-authenticated",
                "no valid access token",
                "a bearer token in the Authorization header"
            ),
            StatusCodes.Status403Forbidden => Problem(
                status,
                "not-allowed",
                "an access token without the scope for this",
                "a token whose scopes cover this request"
            ),
            StatusCodes.Status404NotFound => Problem(
                status,
                "unknown-address",
                context.Request.Path.Value ?? "/",
                "an address of this service: /fhir/metadata and /openapi list them"
            ),
            StatusCodes.Status405MethodNotAllowed => Problem(
                status,
                "method-not-allowed",
                context.Request.Method,
                HttpMethods.IsDelete(context.Request.Method) && context.Request.Path.StartsWithSegments(FhirBase.Path)
                    ? InPlaceOfDelete
                    : $"one of {context.Response.Headers.Allow} at this address"
            ),
            StatusCodes.Status406NotAcceptable => Problem(
                status,
                "not-acceptable",
                "a format this service does not write",
                $"Accept with {FhirReply.MediaType} or application/json"
            ),
            StatusCodes.Status413PayloadTooLarge => TooLarge(context),
            StatusCodes.Status415UnsupportedMediaType => Problem(
                status,
                "unsupported-media-type",
                context.Request.ContentType ?? "no Content-Type",
                "a Content-Type this address reads"
            ),
            StatusCodes.Status429TooManyRequests => Problem(
                status,
                "too-many-requests",
                "more requests than are served at once",
                "a pause and another try"
            ),
            >= 500 => Problem(status, "internal-error", "the service could not answer", "a correct answer"),
            _ => UnreadableRequests.For(status),
        };

    private static OutcomeResult TooLarge(HttpContext context) =>
        Problem(
            StatusCodes.Status413PayloadTooLarge,
            "body-too-large",
            "a request body over the limit",
            $"at most {RequestBodies.LimitOf(context)} bytes; send several smaller requests"
        );

    private static OutcomeResult Problem(int status, string code, string saw, string expected) =>
        new(status, Outcome.Problem(code, saw, expected, null));

    [LoggerMessage(2, LogLevel.Error, "The store failed: {Trouble}, the engine's code {EngineCode}")]
    private static partial void LogStoreFailure(ILogger log, StoreTrouble trouble, int engineCode);

    [LoggerMessage(1, LogLevel.Error, "Failure {Id}: {Kind} at {Origin}")]
    private static partial void LogFailure(ILogger log, string id, string kind, string origin);
}
