using IrrigationFhir.Access;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Subscriptions;

/// <summary>Which events of a subscription its client may be told of: those of resources that a search would show it now.</summary>
internal sealed class ToldEvents(ResourceStore resources)
{
    /// <summary>Those of some events, in their order.</summary>
    /// <param name="events">Events of one subscription.</param>
    /// <param name="client">Its client, with what it may have now.</param>
    /// <param name="content">How much of the resources it is told.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<IReadOnlyList<SubscriptionEventRow>> Of(
        IReadOnlyList<SubscriptionEventRow> events,
        Caller client,
        PayloadContent content,
        CancellationToken stop
    )
    {
        var shown = new HashSet<(string, string)>();
        foreach (var ofType in events.GroupBy(one => one.Type))
        {
            var ids = ofType.Select(one => one.Id).Distinct().ToList();
            if (IndexedTypes.Find(ofType.Key) is not { } type || client.Shown(type, SubscriptionRequest.Needed(content)) is not { } within)
                continue;
            var found =
                within.Count == 0
                    ? ids
                    : (await resources.Search(new(type, [new SearchCriterion.Ids(ids), .. within], [], ids.Count), stop)).Resources.Select(
                        resource => resource.Id
                    );
            shown.UnionWith(found.Select(id => (ofType.Key, id)));
        }

        return [.. events.Where(one => shown.Contains((one.Type, one.Id)))];
    }
}
