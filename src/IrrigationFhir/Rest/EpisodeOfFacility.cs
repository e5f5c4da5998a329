using IrrigationFhir.Access;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>An episode of another facility is answered as one that is not there.</summary>
internal static class EpisodeOfFacility
{
    /// <summary>Looks, for addresses with an episode's id, whether the caller sees the facility that it is of.</summary>
    public static RouteHandlerBuilder OfSeenFacility(this RouteHandlerBuilder route) =>
        route.AddEndpointFilter(
            async (context, next) =>
            {
                var http = context.HttpContext;
                if (Caller.Of(http).Facilities is null || http.GetRouteValue("id") is not string id)
                    return await next(context);
                var store = http.RequestServices.GetRequiredService<EpisodeStore>();
                return await store.FacilityOf(id, http.RequestAborted) is { } facility && Caller.Of(http).Sees(facility)
                    ? await next(context)
                    : OutcomeResult.UnknownEpisode(id);
            }
        );
}
