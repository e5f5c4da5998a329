using IrrigationFhir.Audit;
using IrrigationFhir.Model;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>Has what a route of our own answers recorded, before it leaves.</summary>
internal static class AuditedRoutes
{
    private static readonly object Place = new();

    /// <summary>The route shows the episode whose id is in its address.</summary>
    public static TBuilder ShowsEpisode<TBuilder>(this TBuilder route)
        where TBuilder : IEndpointConventionBuilder =>
        route.AddEndpointFilter(
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
        route.AddEndpointFilter(
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
        route.AddEndpointFilter(
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
                    var how = HttpMethods.IsPut(http.Request.Method) ? "update" : "create";
                    var deed = how == "update" ? Deed.Update : Deed.Create;
                    Record(http, answer, new(deed, how) { Query = Asked(http.Request) }, []);
                }

                return answer;
            }
        );

    /// <summary>Says whose patients an answer shows.</summary>
    public static void Shows(this HttpContext http, IEnumerable<string> episodes) =>
        http.Items[Place] = episodes.Concat(ShownTo(http)).ToList();

    /// <summary>A request in one line: method, address and parameters.</summary>
    public static string Asked(HttpRequest request) => $"{request.Method} {request.Path}{request.QueryString}";

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
