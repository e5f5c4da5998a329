using IrrigationFhir.Audit;
using IrrigationFhir.Model;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>Stands with a route that is audited: as what its failing is recorded.</summary>
/// <param name="Deed">What was tried.</param>
/// <param name="How">The interaction; null where the method says it.</param>
internal sealed record AuditedAs(Deed Deed, string? How);

/// <summary>Has what a route of our own answers recorded, before it leaves.</summary>
internal static class AuditedRoutes
{
    private static readonly object Place = new();

    /// <summary>The route shows the episode whose id is in its address.</summary>
    public static TBuilder ShowsEpisode<TBuilder>(this TBuilder route)
        where TBuilder : IEndpointConventionBuilder =>
        route.Audited(
            new(Deed.Read, "read"),
            async (context, next) =>
            {
                var (http, answer) = (context.HttpContext, await next(context));
                Record(http, answer, new(Deed.Read, "read") { Query = Asked(http.Request) }, [(string)http.GetRouteValue("id")!]);
                return answer;
            }
        );

    /// <summary>The route shows what it finds: the handler says whom by <see cref="Shows"/>.</summary>
    public static TBuilder ShowsEpisodes<TBuilder>(this TBuilder route)
        where TBuilder : IEndpointConventionBuilder =>
        route.Audited(
            new(Deed.Query, "search-type"),
            async (context, next) =>
            {
                var (http, answer) = (context.HttpContext, await next(context));
                Record(http, answer, new(Deed.Query, "search-type") { Query = Asked(http.Request) }, ShownTo(http));
                return answer;
            }
        );

    /// <summary>
    /// The route changes something, which is recorded with the change. Where nothing was changed, what it shows is a read, and what it
    /// refuses is recorded as an attempt.
    /// </summary>
    public static TBuilder Changes<TBuilder>(this TBuilder route)
        where TBuilder : IEndpointConventionBuilder =>
        route.Audited(
            new(Deed.Update, null),
            async (context, next) =>
            {
                var (http, answer) = (context.HttpContext, await next(context));
                var written = Actor.Current.Written;
                List<string> shown = [.. ShownTo(http).Except(written)];
                if (StatusOf(answer) < 400)
                {
                    if (shown.Count > 0)
                        Record(http, answer, new(Deed.Read, "read") { Query = Asked(http.Request) }, shown);
                }
                else if (written.Count == 0)
                {
                    Record(http, answer, Tried(http.Request), []);
                }

                return answer;
            }
        );

    /// <summary>The route records by itself what it shows, as that leaves; here is recorded that it was refused.</summary>
    public static TBuilder ShowsByItself<TBuilder>(this TBuilder route, Deed deed, string how)
        where TBuilder : IEndpointConventionBuilder =>
        route.Audited(
            new(deed, how),
            async (context, next) =>
            {
                var (http, answer) = (context.HttpContext, await next(context));
                if (StatusOf(answer) >= 400)
                    Record(http, answer, new(deed, how) { Query = Asked(http.Request) }, []);
                return answer;
            }
        );

    /// <summary>
    /// Records that a request failed, as far as a record can be written: whatever the reason, the failure is answered. What of it is about
    /// no patient is not recorded.
    /// </summary>
    /// <param name="http">The request.</param>
    /// <param name="status">The status that it is answered with.</param>
    /// <param name="code">Why: the code of a problem.</param>
    public static void Failed(HttpContext http, int status, string code)
    {
        if (http.GetEndpoint()?.Metadata.GetMetadata<AuditedAs>() is not { } audited)
            return;
        var tried = audited.How is { } how ? new(audited.Deed, how) { Query = Asked(http.Request) } : Tried(http.Request);
        http.RequestServices.GetRequiredService<AuditTrail>()
            .Failed(http, tried with { Outcome = AuditedReads.OutcomeOf(status), Code = code });
    }

    /// <summary>Says whose patients an answer shows.</summary>
    public static void Shows(this HttpContext http, IEnumerable<string> episodes) =>
        http.Items[Place] = episodes.Concat(ShownTo(http)).ToList();

    /// <summary>A request in one line: method, address and parameters.</summary>
    public static string Asked(HttpRequest request) => $"{request.Method} {request.Path}{request.QueryString}";

    private static Shown Tried(HttpRequest request)
    {
        var isUpdate = HttpMethods.IsPut(request.Method);
        return new(isUpdate ? Deed.Update : Deed.Create, isUpdate ? "update" : "create") { Query = Asked(request) };
    }

    private static TBuilder Audited<TBuilder>(
        this TBuilder route,
        AuditedAs audited,
        Func<EndpointFilterInvocationContext, EndpointFilterDelegate, ValueTask<object?>> filter
    )
        where TBuilder : IEndpointConventionBuilder => route.WithMetadata(audited).AddEndpointFilter(filter);

    private static void Record(HttpContext http, object? answer, Shown shown, IReadOnlyList<string> episodes)
    {
        var status = StatusOf(answer);
        var isShown = status < 400;
        http.RequestServices.GetRequiredService<AuditTrail>()
            .Record(
                shown with
                {
                    Resources = isShown && shown.Deed == Deed.Read ? [.. episodes.Select(AuditedWrite.Whole)] : [],
                    Episodes = isShown ? [.. episodes.Distinct()] : [],
                    Outcome = AuditedReads.OutcomeOf(status),
                    Code = isShown ? null : (answer as OutcomeResult)?.Code,
                }
            );
    }

    private static IReadOnlyList<string> ShownTo(HttpContext http) => http.Items[Place] as IReadOnlyList<string> ?? [];

    private static int StatusOf(object? answer) =>
        answer switch
        {
            IStatusCodeHttpResult { StatusCode: { } status } => status,
            IFhirAnswer fhir => fhir.StatusCode,
            _ => StatusCodes.Status200OK,
        };
}
