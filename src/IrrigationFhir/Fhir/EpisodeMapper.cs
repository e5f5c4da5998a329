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
internal static class EpisodeMapper
{
    private static readonly ImmutableArray<WindowKind> CalendarKinds = [WindowKind.ClockHour, WindowKind.Shift, WindowKind.LocalDay];

    /// <summary>What an append changes.</summary>
    public static IEnumerable<Resource> ToResources(
        Episode before,
        Episode after,
        Appended appended,
        ImmutableArray<IntervalChange> changes,
        CriteriaSettings limits
    )
    {
        var weighings = Weighings(after, appended, limits).ToList();
        return RunMapper.With(
            before,
            after,
            [
                .. Measured(before, after, appended),
                .. Outputs(before, after, changes, []),
                .. Rates(before, after, changes, weighings, limits),
                .. Criteria(before, after, changes, weighings, limits),
                .. Irrigation(before, after),
                .. CorrectionMapper.ToProvenances(after, appended, changes),
            ]
        );
    }

    /// <summary>What a changed description of the episode changes.</summary>
    public static IEnumerable<Resource> ToResources(
        Episode before,
        Episode after,
        ImmutableArray<IntervalChange> changes,
        CriteriaSettings limits
    )
    {
        // Another date of birth is another age: thresholds and plausible weights are other ones.
        IReadOnlyList<Interval> ages =
            before.Definition.BirthDate == after.Definition.BirthDate ? [] : [Reach(after, after.Definition.Frame.Start, null)];
        return RunMapper.With(
            before,
            after,
            [
                .. Outputs(before, after, changes, Edges(before, after)),
                .. Rates(before, after, changes, ages, limits),
                .. Criteria(before, after, changes, ages, limits),
                .. Irrigation(before, after),
            ]
        );
    }

    /// <summary>What became of flags: every one that changed, and why one was withdrawn.</summary>
    /// <param name="after">The episode as it is now.</param>
    /// <param name="changes">What became of its flags.</param>
    /// <param name="cause">Why.</param>
    public static IEnumerable<Resource> Flags(Episode after, IEnumerable<FlagChange> changes, Cause cause)
    {
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

    private static IEnumerable<Resource> Measured(Episode before, Episode after, Appended appended)
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
                Publish(SentObservation.AsSent(left, before, withdrawn: true));
            }
        }

        var followers = appended.Changes.SelectMany(c => Followers(before, c.Before).Concat(Followers(after, c.After)).Prepend(c.After));
        foreach (var entry in followers)
        {
            if (entry is null || after.Log.Current(entry.Key)?.Entry != entry)
                continue;
            var status = after.Log.IsCorrected(entry.Key) ? ObservationStatus.Corrected : ObservationStatus.Final;
            Publish(EntryMapper.ToObservation(entry, after, status));
            Publish(SentObservation.AsSent(entry, after, withdrawn: false));
        }

        // Withdrawn before it ever arrived: the withdrawal is all there is to show.
        foreach (
            var entry in appended
                .Outcomes.Select(o => o.Logged.Entry)
                .OfType<EnteredInError>()
                .Where(e => after.Log.Versions(e.Key).TrueForAll(v => v.Entry is EnteredInError))
        )
        {
            Publish(SentObservation.AsSent(entry, after, withdrawn: true));
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

    private static IEnumerable<Resource> Outputs(
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
            if (!now.Intervals.IsEmpty)
            {
                yield return CorrectedUrineOutputMapper.ToObservation(now, after);
                continue;
            }

            var was = before.Balance.Over(kind, window);
            if (!was.Intervals.IsEmpty)
                yield return CorrectedUrineOutputMapper.ToObservation(was, before, withdrawn: true);
        }
    }

    /// <summary>The times for which the weights of an append are, or were, in force.</summary>
    private static IEnumerable<Interval> Weighings(Episode after, Appended appended, CriteriaSettings limits)
    {
        var patient = new Irrigation.Criteria.Patient(after.Definition.BirthDate, after.Definition.Frame.Zone);
        return appended
            .Changes.SelectMany(c => new[] { c.Before, c.After })
            .OfType<WeightMeasured>()
            .Select(weight => Reach(after, weight.At, WeightInForce.EndOfReach(after.Log, weight.At, patient, limits)));
    }

    /// <summary>
    /// From a moment to another, or to the last closing; at most the time over which windows are worked out again, counted back from its
    /// end. A result from before that keeps the weight it was published with, and names it.
    /// </summary>
    private static Interval Reach(Episode after, Instant from, Instant? to)
    {
        var last = after.Balance.LastClosing + NodaTime.Duration.Epsilon;
        var end = to is { } known ? Instant.Min(known, last) : last;
        var start = Instant.Max(from, end - after.Balance.Settings.LongestApportioned);
        return new(Instant.Min(start, end), end);
    }

    /// <summary>The rate of every interval that changed, or whose weight did; and what a scan at its end says the bladder held.</summary>
    private static IEnumerable<Resource> Rates(
        Episode before,
        Episode after,
        ImmutableArray<IntervalChange> changes,
        IReadOnlyList<Interval> weighings,
        CriteriaSettings limits
    )
    {
        var done = new HashSet<Instant>();
        foreach (var change in changes.Where(c => c.Interval.Stream == FluidBalance.Bladder))
        {
            var (episode, withdrawn) = change.After is null ? (before, true) : (after, false);
            done.Add(change.Interval.End);
            if (UrineOutputRateMapper.ToObservation(change.Interval, episode, limits, withdrawn) is { } rate)
                yield return rate;
            if (RetainedVolumeMapper.ToObservation(change.Interval, episode, withdrawn) is { } held)
                yield return held;
            else if (change.Before is { } was && RetainedVolumeMapper.ToObservation(was, before, withdrawn: true) is { } gone)
                yield return gone;
        }

        foreach (
            var interval in weighings
                .SelectMany(time => after.Balance.Reaching(FluidBalance.Bladder, time.Start - NodaTime.Duration.Epsilon, time.End))
                .Where(i => done.Add(i.End))
        )
        {
            if (UrineOutputRateMapper.ToObservation(interval, after, limits) is { } rate)
                yield return rate;
        }
    }

    /// <summary>The criteria of every clock hour with a closing whose trailing windows a change reaches, or whose weight changed.</summary>
    private static IEnumerable<Resource> Criteria(
        Episode before,
        Episode after,
        ImmutableArray<IntervalChange> changes,
        IReadOnlyList<Interval> weighings,
        CriteriaSettings limits
    )
    {
        var hours = changes
            .Select(change => after.Balance.Touched(change))
            .Select(time => new Interval(time.Start, time.End + UrineOutputCriterionMapper.LongestWindow))
            .Concat(weighings)
            .SelectMany(time =>
                Calendar.Windows(
                    WindowKind.ClockHour,
                    after.Definition.Frame,
                    time.Start,
                    Instant.Min(time.End, Last(before, after)) + NodaTime.Duration.Epsilon
                )
            )
            .Distinct()
            .OrderBy(hour => hour.Start);
        foreach (var hour in hours)
        {
            var now = UrineOutputCriterionMapper.ToObservations(after, hour, limits);
            foreach (var criterion in now)
                yield return criterion;

            // Another age, or no closing any more: what was said of that hour is taken back.
            if (now.Count > 0 && before.Definition.BirthDate == after.Definition.BirthDate)
                continue;
            var stands = now.Select(criterion => criterion.Id).ToHashSet();
            foreach (
                var gone in UrineOutputCriterionMapper
                    .ToObservations(before, hour, limits, withdrawn: true)
                    .Where(was => !stands.Contains(was.Id))
            )
                yield return gone;
        }
    }

    private static Instant Last(Episode before, Episode after) => Instant.Max(before.Balance.LastClosing, after.Balance.LastClosing);

    private static IEnumerable<(WindowKind Kind, Interval Window)> Windows(Episode episode, Interval touched) =>
        from kind in CalendarKinds
        from window in Calendar.Windows(kind, episode.Definition.Frame, touched.Start, touched.End)
        select (kind, window);

    private static IEnumerable<Resource> Irrigation(Episode before, Episode after)
    {
        var (was, now) = (IrrigationRun.Of(before), IrrigationRun.Of(after));
        if (now is not null && now != was)
            yield return BladderIrrigationMapper.ToProcedure(now, after, withdrawn: false);
        if (now is null && was is not null)
            yield return BladderIrrigationMapper.ToProcedure(was, before, withdrawn: true);
    }
}
