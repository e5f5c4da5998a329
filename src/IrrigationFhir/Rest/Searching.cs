using IrrigationFhir.Access;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Http.Extensions;
using NodaTime;

namespace IrrigationFhir.Rest;

/// <summary>Answers a search of one type.</summary>
internal sealed class Searching(ResourceStore store, FhirSettings settings, StoreSettings kept, TimeProvider clock)
{
    /// <summary>By address, or by address and form.</summary>
    public async Task<IFhirAnswer> Search(FhirQuestion asked, IndexedType type)
    {
        var context = Context(asked);
        var (search, problems) = SearchReader.Read(type, asked.Parameters, context);
        if (search is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        // A number alone is what s is enough for; resources are sent to whom they may be read by.
        var letters = search.Query.Count == 0 ? Letters.Search : Letters.Search | Letters.Read;
        if (asked.Shown(type, letters) is not { } within)
            return FhirReads.Forbidden;
        var query = search.Query with
        {
            Criteria = [.. search.Query.Criteria, .. within],
            Shown = included => asked.Shown(included, Letters.Read),
        };
        var page = await store.Search(query, asked.Stop);
        var self = Address(context.Base, search, search.Query.After);
        var next = page.Next is { } position ? Address(context.Base, search, position) : null;
        return new BundleResult(words => Bundles.Search(context.Base, page, self, next, search.Shape, search.PassedOver, words))
        {
            Shown = [.. page.Resources.Concat(page.Included).Select(ShownVersion.Of)],
        };
    }

    /// <summary>What reading a search depends on.</summary>
    public SearchContext Context(FhirQuestion asked) => Context(asked.Strict, asked.Base);

    /// <summary>The same, of a search that is part of something else.</summary>
    /// <param name="strict">Whether what is not understood is an error.</param>
    /// <param name="at">The FHIR base, for links.</param>
    public SearchContext Context(bool strict, string at) =>
        new(strict, at, Instant.FromDateTimeOffset(clock.GetUtcNow()), kept.TimeZone, settings.DefaultCount, settings.MaxCount);

    private static string Address(string at, SearchRequest search, SearchPosition? after)
    {
        var query = new QueryBuilder(search.Honoured);
        if (after is not null)
            query.Add(SearchRequest.PageParameter, PageMark.Write(PageMark.OrderOf(search.Query.Order), after));
        return $"{at}/{search.Query.Type.Name}{query}";
    }
}
