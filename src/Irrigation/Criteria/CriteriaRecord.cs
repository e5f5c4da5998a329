using System.Collections.Immutable;
using Irrigation.Balance;
using NodaTime;

namespace Irrigation.Criteria;

/// <summary>
/// The criteria of an episode in the course of time: judged at the last closing of each clock hour, and told where an answer changes.
/// </summary>
/// <remarks>
/// A function of balance, patient and settings: in whatever order entries arrive, the record is the same. One judgement a clock hour,
/// however often the drainage is read in it, so that what an entry costs stays bounded.
/// </remarks>
public sealed class CriteriaRecord
{
    private readonly double likelyFrom;
    private readonly ImmutableList<Hour> hours;
    private readonly Instant knownFrom; // hours before are judged again where something reaches back to them

    private CriteriaRecord(
        CriteriaSettings settings,
        double likelyFrom,
        ImmutableList<Hour> hours,
        ImmutableSortedDictionary<string, CriterionHistory> histories,
        Instant knownFrom
    )
    {
        (Settings, this.likelyFrom, this.hours, Histories, this.knownFrom) = (settings, likelyFrom, hours, histories, knownFrom);
    }

    /// <summary>The longest window there is: so far a change can reach forward.</summary>
    public static Duration LongestWindow { get; } =
        Duration.Max(Duration.FromHours(24), UrineOutputCriteria.All.Max(criterion => criterion.Window));

    /// <summary>Thresholds, and what weights are plausible.</summary>
    public CriteriaSettings Settings { get; }

    /// <summary>What every criterion answered that has said something, by its slug.</summary>
    public ImmutableSortedDictionary<string, CriterionHistory> Histories { get; }

    /// <summary>The record of a balance, from its beginning.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="patient">Whose.</param>
    /// <param name="settings">Thresholds.</param>
    /// <param name="likelyFrom">
    /// The probability, 0.5 to 1, from which a criterion that is not decided is likely: that it has become so is told like another answer.
    /// </param>
    public static CriteriaRecord Of(FluidBalance balance, Patient patient, CriteriaSettings settings, double likelyFrom)
    {
        var nothing = new CriteriaRecord(
            settings,
            likelyFrom,
            [],
            ImmutableSortedDictionary.Create<string, CriterionHistory>(StringComparer.Ordinal),
            Instant.MinValue
        );
        return balance[FluidBalance.Bladder] is { IsEmpty: false } intervals
            ? nothing.Judged(balance, patient, [new(intervals[0].End, intervals[^1].End + Duration.Epsilon)])
            : nothing;
    }

    /// <summary>The record whose histories were remembered, of the same balance: what they say was judged is not judged again.</summary>
    /// <param name="histories">What every criterion answered.</param>
    /// <param name="settings">The thresholds by which it was judged.</param>
    /// <param name="likelyFrom">As for <see cref="Of"/>.</param>
    public static CriteriaRecord Recalled(IEnumerable<CriterionHistory> histories, CriteriaSettings settings, double likelyFrom) =>
        new(
            settings,
            likelyFrom,
            [],
            histories.ToImmutableSortedDictionary(history => history.Slug, history => history, StringComparer.Ordinal),
            Instant.MaxValue
        );

    /// <summary>The record of another patient, or of the same one described otherwise, from its beginning.</summary>
    /// <param name="balance">The balance as it is now.</param>
    /// <param name="patient">As described now.</param>
    public CriteriaRecord Anew(FluidBalance balance, Patient patient) => Of(balance, patient, Settings, likelyFrom);

    /// <summary>The record after a change.</summary>
    /// <param name="balance">The balance as it is now.</param>
    /// <param name="patient">Whose.</param>
    /// <param name="changes">Closed intervals that are new or became others.</param>
    /// <param name="weighed">Times for which another weight is in force.</param>
    public CriteriaRecord After(FluidBalance balance, Patient patient, IEnumerable<IntervalChange> changes, IEnumerable<Interval> weighed)
    {
        var last = Instant.Max(balance.LastClosing, hours.IsEmpty ? Instant.MinValue : hours[^1].Start) + Duration.Epsilon;
        var reached = changes
            .Select(change => balance.Touched(change))
            .Select(time => new Interval(Instant.Min(time.Start, last), Instant.Min(time.End + LongestWindow, last)));
        return Judged(balance, patient, reached.Concat(weighed));
    }

    /// <summary>Judges again at the last closing of each clock hour that a time reaches into.</summary>
    private CriteriaRecord Judged(FluidBalance balance, Patient patient, IEnumerable<Interval> times)
    {
        var windows = Hours(balance, times);
        if (windows is [var earliest, ..] && earliest.Start < knownFrom)
        {
            // All from there on has to be known: what is told of an hour rests on what was told before it.
            var last = Instant.Max(balance.LastClosing + Duration.Epsilon, windows[^1].End);
            windows = Hours(balance, [new(earliest.Start, Instant.Min(knownFrom, last)), .. windows]);
        }

        var (again, first) = (hours.ToBuilder(), hours.Count);
        foreach (var window in windows)
        {
            var closings = balance
                .Reaching(FluidBalance.Bladder, window.Start - Duration.Epsilon, window.End)
                .Where(interval => interval.End >= window.Start && interval.End < window.End);
            var at = again.BinarySearch(new(window.Start, []), Hour.ByStart);
            if (closings.LastOrDefault() is { } closing)
            {
                var judged = new Hour(window.Start, UrineOutputCriteria.Judge(balance, patient, closing.End, Settings));
                if (at >= 0)
                    again[at] = judged;
                else
                    again.Insert(at = ~at, judged);
            }
            else if (at >= 0)
                again.RemoveAt(at);
            else if (window.Start >= knownFrom)
                continue;
            else
                at = ~at;
            first = Math.Min(first, at);
        }

        if (windows.Count == 0)
            return this;
        var (now, from) = (again.ToImmutable(), windows[0].Start);
        var same = ReferenceEquals(now, hours) && from >= knownFrom;
        return new(Settings, likelyFrom, now, same ? Histories : Told(now, first, from), Instant.Min(knownFrom, from));
    }

    private static List<Interval> Hours(FluidBalance balance, IEnumerable<Interval> times) =>
        [
            .. times
                .SelectMany(time => Calendar.Windows(WindowKind.ClockHour, balance.Log.Frame, time.Start, time.End))
                .Distinct()
                .OrderBy(hour => hour.Start),
        ];

    /// <summary>Criteria whose history differs between two records: null where there was, or is, none.</summary>
    public static IEnumerable<(CriterionHistory? Before, CriterionHistory? After)> Changes(CriteriaRecord before, CriteriaRecord after) =>
        before
            .Histories.Keys.Union(after.Histories.Keys, StringComparer.Ordinal)
            .Order(StringComparer.Ordinal)
            .Select(slug => (before.Histories.GetValueOrDefault(slug), after.Histories.GetValueOrDefault(slug)))
            .Where(pair => !ReferenceEquals(pair.Item1, pair.Item2));

    /// <summary>What is told, from an hour on anew.</summary>
    private ImmutableSortedDictionary<string, CriterionHistory> Told(ImmutableList<Hour> now, int first, Instant from)
    {
        var told = Histories.ToDictionary(
            pair => pair.Key,
            pair => pair.Value.Answers.TakeWhile(judgement => judgement.At < from).ToList(),
            StringComparer.Ordinal
        );
        for (var i = first; i < now.Count; i++)
        {
            foreach (var judgement in now[i].Judgements)
            {
                if (!told.TryGetValue(judgement.Slug, out var answers))
                    told[judgement.Slug] = answers = [];
                var says = answers.Count == 0 ? !judgement.SaysNothing : !judgement.SaysTheSame(answers[^1], likelyFrom);
                if (says)
                    answers.Add(judgement);
            }
        }

        return told.Where(pair => pair.Value.Count > 0)
            .ToImmutableSortedDictionary(pair => pair.Key, pair => Kept(pair.Key, pair.Value), StringComparer.Ordinal);
    }

    /// <summary>The history that is there, where nothing of it was judged anew.</summary>
    private CriterionHistory Kept(string slug, List<CriterionJudgement> answers) =>
        Histories.TryGetValue(slug, out var known)
        && known.Answers.Length == answers.Count
        && answers.Zip(known.Answers).All(pair => ReferenceEquals(pair.First, pair.Second))
            ? known
            : new(slug, [.. answers]);

    private sealed record Hour(Instant Start, ImmutableArray<CriterionJudgement> Judgements)
    {
        public static readonly IComparer<Hour> ByStart = Comparer<Hour>.Create((one, other) => one.Start.CompareTo(other.Start));
    }
}
