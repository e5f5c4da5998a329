using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Http.Extensions;
using NodaTime;

namespace IrrigationFhir.Rest;

/// <summary>Answers a search of one type.</summary>
internal static class Searching
{
    /// <summary>By address, or by address and form.</summary>
    public static async Task<IResult> Search(HttpContext http, IndexedType type, ResourceStore store, CancellationToken stop)
    {
        var (pairs, refused) = await OperationParameters.Read(http.Request, withResource: false, stop);
        if (pairs is null)
            return refused!;
        var context = Context(http);
        var (search, problems) = SearchReader.Read(type, pairs, context);
        if (search is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        var page = await store.Search(search.Query, stop);
        var self = Address(context.Base, search, search.Query.After);
        var next = page.Next is { } position ? Address(context.Base, search, position) : null;
        return new BundleResult(Bundles.Search(context.Base, page, self, next, search.Shape, search.PassedOver));
    }

    /// <summary>What reading a search depends on.</summary>
    public static SearchContext Context(HttpContext http)
    {
        var services = http.RequestServices;
        var settings = services.GetRequiredService<FhirSettings>();
        return new(
            Preferences.Strict(http.Request),
            FhirBase.Of(http.Request, settings),
            Instant.FromDateTimeOffset(services.GetRequiredService<TimeProvider>().GetUtcNow()),
            services.GetRequiredService<StoreSettings>().TimeZone,
            settings.DefaultCount,
            settings.MaxCount
        );
    }

    private static string Address(string at, SearchRequest search, SearchPosition? after)
    {
        var query = new QueryBuilder(search.Honoured);
        if (after is not null)
            query.Add(SearchRequest.PageParameter, PageMark.Write(PageMark.OrderOf(search.Query.Order), after));
        return $"{at}/{search.Query.Type.Name}{query}";
    }
}
