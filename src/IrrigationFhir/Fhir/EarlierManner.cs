using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using IrrigationFhir.Model;
using Interval = NodaTime.Interval;

namespace IrrigationFhir.Fhir;

/// <summary>
/// What an earlier version of the service published of an episode, and how it is brought to the manner of this one: with the episode's
/// first change, whole. An episode that does not change any more keeps what was published of it, as history.
/// </summary>
internal sealed class EarlierManner(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;
    private EntryMapper EntryMapper { get; } = new(vocabulary);
    private CorrectedUrineOutputMapper CorrectedUrineOutputMapper { get; } = new(vocabulary);
    private UrineOutputRateMapper UrineOutputRateMapper { get; } = new(vocabulary);
    private UrineOutputCriterionMapper UrineOutputCriterionMapper { get; } = new(vocabulary);

    /// <summary>What an Observation of the earlier manner says and none of this one: a component of every output and rate.</summary>
    public const string Mark = "corrected-volume";

    /// <summary>How the ids of the earlier criteria, one for each hour, go on after the episode's.</summary>
    public const string HourlyCriterion = $".{UrineOutputCriterionMapper.Slug}.h2";

    /// <summary>Everything that is worked out from the log, and urine by other routes, published anew.</summary>
    /// <param name="episode">The episode, with its criteria.</param>
    /// <param name="limits">Settings of the criteria.</param>
    public IEnumerable<Observation> Anew(Episode episode, CriteriaSettings limits)
    {
        foreach (var interval in episode.Balance[FluidBalance.Bladder])
        {
            yield return CorrectedUrineOutputMapper.ToObservation(interval, episode);
            if (UrineOutputRateMapper.ToObservation(interval, episode, limits) is { } rate)
                yield return rate;
        }

        var intervals = episode.Balance.Streams.SelectMany(stream => episode.Balance[stream]).ToList();
        if (intervals.Count > 0)
        {
            var time = new Interval(intervals.Min(interval => interval.Start), intervals.Max(interval => interval.End));
            var windows = EpisodeMapper.Windows(episode, time).Select(window => episode.Balance.Over(window.Kind, window.Window));
            foreach (var window in windows.Where(CorrectedUrineOutputMapper.IsPublished))
                yield return CorrectedUrineOutputMapper.ToObservation(window, episode);
        }

        // Urine by another route had the code that closed intervals alone have now.
        var standing = episode.Log.Arrivals.Select(logged => logged.Entry.Key).Distinct().Select(key => episode.Log.Current(key)?.Entry);
        foreach (var urine in standing.OfType<UrineCollected>())
        {
            var status = EntryMapper.StatusOf(episode, urine);
            if (EntryMapper.ToObservation(urine, episode, status) is { } collected)
                yield return collected;
        }

        foreach (var history in episode.Criteria!.Histories.Values)
            yield return UrineOutputCriterionMapper.ToObservation(history, episode);
    }

    /// <summary>An Observation that has no successor under its id: taken back, or it is counted beside what took its place.</summary>
    /// <param name="published">As it was published.</param>
    /// <param name="episode">Whose.</param>
    public Observation Withdrawn(Observation published, Episode episode)
    {
        published.PartOf = [BladderIrrigationMapper.Whole(episode)];
        if (published.Meta!.Profile.Contains(Profiles.CorrectedUrineOutput))
        {
            var window = Codes.WindowOf(published.Category);
            published.Category = Codes.OutputCategories(window);
            published.Code = Codes.CorrectedUrineOutput(window, null);
        }

        (published.Status, published.Value, published.DataAbsentReason) = (
            ObservationStatus.EnteredInError,
            null,
            Codes.DataAbsent("error")
        );
        published.Component.RemoveAll(part => part.Code!.Coding[0].Code != "criterion-threshold");
        published.Note = [new() { Text = Texts.PublishedOtherwise }];
        return published;
    }
}
