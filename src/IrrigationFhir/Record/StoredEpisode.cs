using Irrigation.Balance;
using IrrigationFhir.Model;
using IrrigationFhir.Store;

namespace IrrigationFhir.Record;

/// <summary>An episode as it stands in the store.</summary>
/// <param name="Row">Its row.</param>
/// <param name="Definition">As its opener describes it.</param>
/// <param name="Balance">The balance of its log.</param>
internal sealed record StoredEpisode(EpisodeRow Row, EpisodeDefinition Definition, FluidBalance Balance)
    : Episode(Row.Id, Definition, Balance)
{
    /// <summary>
    /// Flags, as stored, that stand in the store and not by <see cref="Episode.Flags"/>, because a threshold was set otherwise since: the
    /// next change ends them.
    /// </summary>
    public IReadOnlyList<string> FlagsNoLongerRaised { get; init; } = [];

    /// <summary>
    /// Observations, as stored, by id, that an earlier version published in another manner (<see cref="Fhir.EarlierManner"/>): the next
    /// change brings all of them to that of this one.
    /// </summary>
    public IReadOnlyDictionary<string, string> PublishedOtherwise { get; init; } = new Dictionary<string, string>();

    /// <summary>The last entry up to which the store remembers how its rules stood; 0 where it remembers nothing.</summary>
    public long RememberedUpTo { get; init; }
}
