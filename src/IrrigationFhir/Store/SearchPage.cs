using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>One page of a search.</summary>
/// <param name="Resources">In the order asked for.</param>
/// <param name="Next">Where the next page begins; null when this is the last.</param>
/// <param name="Total">All matches at the moment of this page, or null when not asked for.</param>
/// <param name="Included">What comes along, none of it among the matches of this page.</param>
/// <param name="IncludedAll">False when more would have come along than is sent.</param>
internal sealed record SearchPage(
    IReadOnlyList<ResourceVersion> Resources,
    SearchPosition? Next,
    long? Total,
    IReadOnlyList<ResourceVersion> Included,
    bool IncludedAll
);
