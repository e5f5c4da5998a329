using System.Collections.Immutable;
using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Model;
using NodaTime;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Fhir;

/// <summary>
/// The resources that an append changes: what was measured, what follows from it, the irrigation, and who corrected what.
/// </summary>
internal sealed class EpisodeMapper(Vocabulary vocabulary)
{
    private EntryMapper EntryMapper { get; } = new(vocabulary);
    private FlagMapper FlagMapper { get; } = new(vocabulary);
    private RunMapper RunMapper { get; } = new(vocabulary);
    private CorrectionMapper CorrectionMapper { get; } = new(vocabulary);
    private CorrectedUrineOutputMapper CorrectedUrineOutputMapper { get; } = new(vocabulary);
    private BladderIrrigationMapper BladderIrrigationMapper { get; } = new(vocabulary);
    private RetainedVolumeMapper RetainedVolumeMapper { get; } = new(vocabulary);
    private UrineOutputRateMapper UrineOutputRateMapper { get; } = new(vocabulary);
    private UrineOutputCriterionMapper UrineOutputCriterionMapper { get; } = new(vocabulary);

    private static readonly ImmutableArray<WindowKind> CalendarKinds = [WindowKind.ClockHour, WindowKind.Shift, WindowKind.LocalDay];

    /// <summary>What an append changes.</summary>
    /// <param name="before">The episode as it was, with its criteria.</param>
    /// <param name="after">As it is, with its criteria.</param>
    /// <param name="appended">What came into the log.</param>
    /// <param name="changes">Closed intervals that are new or became others.</param>
    /// <param name="weighed">The times for which weights of the append are, or were, in force.</param>
    /// <param name="limits">Settings of the criteria.</param>
    public IEnumerable<Resource> ToResources(
        Episode before,
        Episode after,
        Appended appended,
        ImmutableArray<IntervalChange> changes,
        IReadOnlyList<Interval> weighed,
        CriteriaSettings limits
    )
    {
        // One after the other as they are asked for: those of a large batch need not all be there at once.
        return RunMapper.With(
            before,
            after,
            Measured(before, after, appended)
                .Concat(Outputs(before, after, changes, []))
                .Concat(Rates(before, after, changes, weighed, limits))
                .Concat(Criteria(before, after))
                .Concat(Irrigation(before, after))
                .Concat(CorrectionMapper.ToProvenances(before, after, appended, changes))
        );
    }

    /// <summary>What a changed description of the episode changes.</summary>
    /// <param name="before">The episode as it was, with its criteria.</param>
    /// <param name="after">As it is, with its criteria.</param>
    /// <param name="changes">Closed intervals that are new or became others.</param>
    /// <param name="aged">The time for which another age changes what is plausible.</param>
    /// <param name="limits">Settings of the criteria.</param>
    public IEnumerable<Resource> ToResources(
        Episode before,
        Episode after,
        ImmutableArray<IntervalChange> changes,
        IReadOnlyList<Interval> aged,
        CriteriaSettings limits
    ) =>
        RunMapper.With(
            before,
            after,
            [
                .. Outputs(before, after, changes, Edges(before, after)),
                .. Rates(before, after, changes, aged, limits),
                .. Criteria(before, after),
                .. Irrigation(before, after),
            ]
        );

    /// <summary>What became of flags: every one that changed, and why one was withdrawn.</summary>
    /// <param name="after">The episode as it is now.</param>
    /// <param name="changes">What became of its flags.</param>
    /// <param name="cause">Why.</param>
    public IEnumerable<Resource> Flags(Episode after, IReadOnlyCollection<FlagChange> changes, Cause cause)
    {
        // A flag that silence raises may be the first that is published: the irrigation that it points at comes with it.
        if (changes.Count > 0 && after.Log.LastSequence == 0)
            yield return BladderIrrigationMapper.ToProcedure(IrrigationRun.AsFar(after), after, withdrawn: false);
        foreach (var change in changes)
        {
            if (change.After is { } flag)
            {
                yield return FlagMapper.ToFlag(flag, after);
                continue;
            }

            yield return FlagMapper.ToFlag(change.Before!, after, withdrawnBy: cause);
            if (FlagMapper.ToProvenance(change.Before!, after, cause) is { } provenance)
                yield return provenance;
        }
    }

    private IEnumerable<Resource> Measured(Episode before, Episode after, Appended appended)
    {
        var touched = new Dictionary<string, Resource>();
        void Publish(Resource? resource)
        {
            if (resource is not null)
                touched[resource.Id!] = resource;
        }

        foreach (var change in appended.Changes)
        {
            if (
                change.Before is { } gone
                && EntryMapper.IdOf(before, gone) is { } id
                && (change.After is null || EntryMapper.IdOf(after, change.After) != id)
            )
            {
                Publish(EntryMapper.ToObservation(gone, before, ObservationStatus.EnteredInError));
            }

            if (
                change.Before is { } left
                && SentObservation.AsSentId(before, left) is { } sent
                && (change.After is null || SentObservation.AsSentId(after, change.After) != sent)
            )
            {
                Publish(EntryMapper.AsSent(left, before, withdrawn: true));
            }
        }

        var followers = appended.Changes.SelectMany(c => Followers(before, c.Before).Concat(Followers(after, c.After)).Prepend(c.After));
        foreach (var entry in followers)
        {
            if (entry is null || after.Log.Current(entry.Key)?.Entry != entry)
                continue;
            var status = EntryMapper.StatusOf(after, entry);
            Publish(EntryMapper.ToObservation(entry, after, status));
            Publish(EntryMapper.AsSent(entry, after, withdrawn: false));
        }

        // Withdrawn before it ever arrived: the withdrawal is all there is to show.
        foreach (
            var entry in appended
                .Outcomes.Select(o => o.Logged.Entry)
                .OfType<EnteredInError>()
                .Where(e => after.Log.Versions(e.Key).TrueForAll(v => v.Entry is EnteredInError))
        )
        {
            Publish(EntryMapper.AsSent(entry, after, withdrawn: true));
        }

        return touched.Values;
    }

    /// <summary>The readings of a bag or pump whose difference an entry is the other end of, or lies in.</summary>
    private static IEnumerable<Entry> Followers(Episode episode, Entry? entry) =>
        entry switch
        {
            BagHung e => OfBag(episode.Log, e.Line, e.At, e.Bag),
            BagRead e => OfBag(episode.Log, e.Line, e.At, e.Bag),
            BagTakenDown e => OfBag(episode.Log, e.Line, e.At, e.Bag),
            PumpTotalRead e => OfPump(episode.Log, e.Line, e.At),
            ReadingConfirmed e => episode.Log.Current(e.Reading) is { Entry: var confirmed } ? [confirmed] : [],
            IrrigantDiscarded e => [.. OfBag(episode.Log, e.Line, e.At, null), .. OfPump(episode.Log, e.Line, e.At)],
            _ => [],
        };

    private static IEnumerable<Entry> OfPump(EpisodeLog log, string line, Instant at) =>
        log[Channel.Pump(line)].NextAfter(at) is { } next ? [next] : [];

    /// <summary>The next reading of a bag; where several hang side by side (a Y-set), of each up to that one.</summary>
    private static IEnumerable<Entry> OfBag(EpisodeLog log, string line, Instant at, string? bag)
    {
        foreach (var next in log[Channel.Bag(line)].After(at, Instant.MaxValue))
        {
            yield return next;
            if (next is not BagRead { Bag: { } named } || named == bag)
                yield break;
        }
    }

    /// <summary>A window that was open is complete once the episode ends within it, and open again when the end moves on.</summary>
    private static IEnumerable<Interval> Edges(Episode before, Episode after) =>
        new[] { before.Definition.Frame.End, after.Definition.Frame.End, after.Balance.LastClosing }
            .OfType<Instant>()
            .Select(edge => new Interval(edge - NodaTime.Duration.Epsilon, edge));

    private IEnumerable<Resource> Outputs(
        Episode before,
        Episode after,
        ImmutableArray<IntervalChange> changes,
        IEnumerable<Interval> edges
    )
    {
        foreach (var change in changes.Where(c => c.Interval.Stream == FluidBalance.Bladder))
        {
            yield return change.After is { } stands
                ? CorrectedUrineOutputMapper.ToObservation(stands, after)
                : CorrectedUrineOutputMapper.ToObservation(change.Before!, before, withdrawn: true);
        }

        var touched = changes.Select(change => after.Balance.Touched(change)).Concat(edges);
        var windows = touched.SelectMany(time => Windows(after, time)).Distinct().OrderBy(w => w.Kind).ThenBy(w => w.Window.Start);
        foreach (var (kind, window) in windows)
        {
            var now = after.Balance.Over(kind, window);
            if (CorrectedUrineOutputMapper.IsPublished(now))
            {
                yield return CorrectedUrineOutputMapper.ToObservation(now, after);
                continue;
            }

            var was = before.Balance.Over(kind, window);
            if (CorrectedUrineOutputMapper.IsPublished(was))
                yield return CorrectedUrineOutputMapper.ToObservation(was, before, withdrawn: true);
        }
    }

    /// <summary>The rate of every interval that changed, or whose weight did; and what a scan at its end says the bladder held.</summary>
    private IEnumerable<Resource> Rates(
        Episode before,
        Episode after,
        ImmutableArray<IntervalChange> changes,
        IReadOnlyList<Interval> weighed,
        CriteriaSettings limits
    )
    {
        var done = new HashSet<Instant>();
        foreach (var change in changes.Where(c => c.Interval.Stream == FluidBalance.Bladder))
        {
            var (episode, withdrawn) = change.After is null ? (before, true) : (after, false);
            done.Add(change.Interval.End);
            if (Rate(before, change.Before, after, change.After, limits) is { } rate)
                yield return rate;
            if (RetainedVolumeMapper.ToObservation(change.Interval, episode, withdrawn) is { } held)
                yield return held;
            else if (change.Before is { } was && RetainedVolumeMapper.ToObservation(was, before, withdrawn: true) is { } gone)
                yield return gone;
        }

        foreach (
            var interval in weighed
                .SelectMany(time => after.Balance.Reaching(FluidBalance.Bladder, time.Start - NodaTime.Duration.Epsilon, time.End))
                .Where(i => done.Add(i.End))
        )
        {
            if (Rate(before, interval, after, interval, limits) is { } rate)
                yield return rate;
        }
    }

    /// <summary>The rate of an interval as it is now; where it has none any more, its withdrawal.</summary>
    private Observation? Rate(Episode before, ClosedInterval? was, Episode after, ClosedInterval? now, CriteriaSettings limits) =>
        (now is null ? null : UrineOutputRateMapper.ToObservation(now, after, limits))
        ?? (was is null ? null : UrineOutputRateMapper.ToObservation(was, before, limits, withdrawn: true));

    /// <summary>The criteria whose answers became other ones, now or of an earlier time; one without any left is taken back.</summary>
    private IEnumerable<Resource> Criteria(Episode before, Episode after) =>
        CriteriaRecord
            .Changes(before.Criteria!, after.Criteria!)
            .Select(change =>
                change.After is { } stands
                    ? UrineOutputCriterionMapper.ToObservation(stands, after)
                    : UrineOutputCriterionMapper.ToObservation(change.Before!, before, withdrawn: true)
            );

    /// <summary>The windows of the calendar that a time reaches into.</summary>
    public static IEnumerable<(WindowKind Kind, Interval Window)> Windows(Episode episode, Interval touched) =>
        from kind in CalendarKinds
        from window in Calendar.Windows(kind, episode.Definition.Frame, touched.Start, touched.End)
        select (kind, window);

    private IEnumerable<Resource> Irrigation(Episode before, Episode after)
    {
        var (was, now) = (IrrigationRun.Of(before), IrrigationRun.Of(after));
        if (now is not null && now != was)
            yield return BladderIrrigationMapper.ToProcedure(now, after, withdrawn: false);
        if (now is null && was is not null)
            yield return BladderIrrigationMapper.ToProcedure(was, before, withdrawn: true);
    }
}
