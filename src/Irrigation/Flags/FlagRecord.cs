using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Runs;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>How a rule stands.</summary>
/// <param name="Latest">What it said last; null before it ever looked.</param>
/// <param name="Open">Its flag while it stands.</param>
/// <param name="LastEnded">When its last flag ended.</param>
public sealed record RuleState(Finding? Latest, FlagPeriod? Open, Instant? LastEnded);

/// <summary>A record of flags as plain values, from which it goes on without going through the log again.</summary>
/// <param name="AsOf">The moment up to which it goes.</param>
/// <param name="States">How each rule stands, in the order of <see cref="FlagRules.All"/>.</param>
/// <param name="Ended">Flags that ended, in the order in which they did.</param>
/// <param name="Earlier">Where a late entry begins again, the earliest first.</param>
public sealed record RememberedFlags(
    Instant AsOf,
    ImmutableArray<RuleState> States,
    ImmutableList<FlagPeriod> Ended,
    ImmutableArray<RememberedMoment> Earlier
);

/// <summary>An earlier moment of a record of flags.</summary>
/// <param name="AsOf">The moment.</param>
/// <param name="States">How each rule stood then.</param>
/// <param name="Ended">How many flags had ended by then.</param>
public sealed record RememberedMoment(Instant AsOf, ImmutableArray<RuleState> States, int Ended);

/// <summary>What became of a flag between two records: either null where there is or was none of that beginning.</summary>
/// <param name="Before">As it was.</param>
/// <param name="After">As it is.</param>
public sealed record FlagChange(FlagPeriod? Before, FlagPeriod? After);

/// <summary>The flags of an episode: every one that stood, and how each rule stands now.</summary>
/// <remarks>
/// <para>A function of the log, the patient's facts, the settings and the moment of asking. It is worked out by going through the log in
/// the order in which things happened, and at each moment seeing only what had happened by then. So whatever the order of arrival,
/// the flags are the same; a late entry goes back to before its own time and comes forward again, and a flag that does not turn up
/// again was never so.</para>
/// <para>Time alone raises flags too: a rule says when it has to look again, and is looked at then, to the minute and second.</para>
/// <para>Undecided never clears a flag that stands: what cannot be told has not ended.</para>
/// </remarks>
public sealed class FlagRecord
{
    private readonly ImmutableArray<RuleState> states;
    private readonly ImmutableList<FlagRecord> earlier; // where a late entry begins again
    private readonly PatientFacts facts;
    private readonly FlagLimits limits;
    private readonly FluidBalance? seen; // null only where it was recalled, and nothing went back to it yet

    private FlagRecord(
        FluidBalance? seen,
        PatientFacts facts,
        FlagLimits limits,
        Instant asOf,
        ImmutableArray<RuleState> states,
        ImmutableList<FlagPeriod> ended,
        ImmutableList<FlagRecord> earlier,
        Instant? next
    )
    {
        this.seen = seen;
        this.facts = facts;
        this.limits = limits;
        this.states = states;
        this.earlier = earlier;
        AsOf = asOf;
        Ended = ended;
        Next = next;
    }

    /// <summary>The moment up to which it goes.</summary>
    public Instant AsOf { get; }

    /// <summary>When something may change though nothing is charted; null where it cannot.</summary>
    public Instant? Next { get; }

    /// <summary>Flags that stood and ended, in the order in which they ended.</summary>
    public ImmutableList<FlagPeriod> Ended { get; }

    /// <summary>What a rule sees now: everything that has happened, and how every rule stands.</summary>
    public Bedside Now => new(seen!, AsOf, facts, limits, states);

    /// <summary>Flags that stand, in the order of <see cref="FlagRules.All"/>.</summary>
    public IEnumerable<FlagPeriod> Standing => states.Select(s => s.Open).OfType<FlagPeriod>();

    /// <summary>What each rule said last, in the order of <see cref="FlagRules.All"/>.</summary>
    public IEnumerable<(FlagRule Rule, Finding? Latest)> Findings => FlagRules.All.Zip(states, (rule, state) => (rule, state.Latest));

    /// <summary>The record of an episode up to a moment.</summary>
    public static FlagRecord Of(FluidBalance balance, PatientFacts facts, FlagLimits limits, Instant asOf)
    {
        return Beginning(balance, facts, limits).Forward(balance, asOf);
    }

    /// <summary>What it takes to go on from here (<see cref="Recalled"/>), as plain values.</summary>
    public RememberedFlags Remembered =>
        new(AsOf, states, Ended, [.. earlier.Select(kept => new RememberedMoment(kept.AsOf, kept.states, kept.Ended.Count))]);

    /// <summary>The record that was remembered, of the same log: the same as one worked out anew, without going through the log.</summary>
    /// <remarks>Beware: of another log, of other facts or limits, or by other rules it would tell what never was.</remarks>
    /// <param name="balance">The balance of the log that was there then, whole.</param>
    /// <param name="facts">The facts by which it was worked out.</param>
    /// <param name="limits">The limits by which it was worked out.</param>
    /// <param name="remembered">What was remembered.</param>
    /// <exception cref="ArgumentException">It is not of these rules.</exception>
    public static FlagRecord Recalled(FluidBalance balance, PatientFacts facts, FlagLimits limits, RememberedFlags remembered)
    {
        if (remembered.Earlier.Select(moment => moment.States).Append(remembered.States).Any(of => of.Length != FlagRules.All.Length))
            throw new ArgumentException("remembered by other rules", nameof(remembered));

        // What ended by an earlier moment is the beginning of what has ended by now.
        var (ended, earlier) = (remembered.Ended, new List<FlagRecord>());
        foreach (var moment in remembered.Earlier.Reverse())
        {
            ended = ended.RemoveRange(moment.Ended, ended.Count - moment.Ended);
            earlier.Add(new(null, facts, limits, moment.AsOf, moment.States, ended, [], null));
        }

        earlier.Reverse();
        var asOf = remembered.AsOf;
        var seen = SeesAll(balance, asOf) ? balance : balance.UpTo(asOf);
        FlagRecord Now(Instant? next) => new(seen, facts, limits, asOf, remembered.States, remembered.Ended, [.. earlier], next);
        return Now(Now(null).NextMoment(balance));
    }

    /// <summary>Just before the episode begins: what was charted from before that is there, and nobody has looked.</summary>
    private static FlagRecord Beginning(FluidBalance balance, PatientFacts facts, FlagLimits limits)
    {
        var justBefore = balance.Log.Frame.Start - Duration.Epsilon;
        return new(
            balance.UpTo(justBefore),
            facts,
            limits,
            justBefore,
            [.. FlagRules.All.Select(_ => new RuleState(null, null, null))],
            [],
            [],
            null
        );
    }

    /// <summary>The record after an append, or after time has passed, and what changed.</summary>
    /// <param name="balance">The balance of the whole log.</param>
    /// <param name="changes">What came into force since, and what went out of it.</param>
    /// <param name="asOf">The moment of asking; not before <see cref="AsOf"/>.</param>
    public (FlagRecord Record, ImmutableArray<FlagChange> Changes) After(FluidBalance balance, IEnumerable<Change> changes, Instant asOf) =>
        Reconsidered(balance, changes).Until(balance, [], asOf);

    /// <summary>The record up to the same moment, by what arrived since. Costs one look back to before the earliest change.</summary>
    /// <param name="balance">The balance of the whole log.</param>
    /// <param name="changes">What came into force since, and what went out of it.</param>
    public Reconsidered Reconsidered(FluidBalance balance, IEnumerable<Change> changes)
    {
        var from = From(balance, changes);
        return new(this, from == this ? this : from.Forward(balance, AsOf), from.AsOf);
    }

    /// <summary>The record up to the same moment, by other facts about the patient or the episode. Costs a look at the whole log.</summary>
    /// <param name="balance">The balance of the whole log, in the episode's time as it is described now.</param>
    /// <param name="described">The facts as they are described now.</param>
    public Reconsidered Reconsidered(FluidBalance balance, PatientFacts described) =>
        new(this, Of(balance, described, limits, AsOf), Instant.MinValue);

    /// <summary>What changed against a record from before, and the record itself, once more has arrived and time has passed.</summary>
    internal (FlagRecord Record, ImmutableArray<FlagChange> Changes) Against(
        FlagRecord said,
        Instant since,
        FluidBalance balance,
        IEnumerable<Change> more,
        Instant asOf
    )
    {
        var from = From(balance, more);
        var after = from.Forward(balance, Instant.Max(asOf, AsOf));
        return (after, Compare(said, after, Instant.Min(since, from.AsOf)));
    }

    /// <summary>The record as it was known at an earlier moment: the same as one that is worked out anew of what was known then.</summary>
    /// <remarks>
    /// Goes on from what is kept before the first entry that was not known yet: of the last week that is a day of the log at most.
    /// </remarks>
    /// <param name="full">The whole log that this record is of.</param>
    /// <param name="known">The balance of what was known (<see cref="EpisodeLog.KnownAt"/>).</param>
    /// <param name="asOf">The moment.</param>
    /// <param name="stop">Gives up.</param>
    public FlagRecord AsKnown(EpisodeLog full, FluidBalance known, Instant asOf, CancellationToken stop)
    {
        // An entry of which a version was not known yet counts from the earliest time that any of its versions says.
        var first = asOf + Duration.Epsilon;
        foreach (var versions in full.Arrivals.GroupBy(logged => logged.Entry.Key))
        {
            if (known.Log.Versions(versions.Key).Count != versions.Count())
                first = Instant.Min(first, versions.Min(version => version.Entry.At));
        }

        return (Before(first, known) ?? Beginning(known, facts, limits)).Forward(known, asOf, stop);
    }

    /// <summary>The record from before the earliest change; this one where all changes lie ahead.</summary>
    private FlagRecord From(FluidBalance balance, IEnumerable<Change> changes)
    {
        Instant? first = null;
        foreach (var change in changes)
        {
            foreach (var entry in new[] { change.Before, change.After })
            {
                if (entry is not null)
                    first = first is { } so ? Instant.Min(so, entry.At) : entry.At;
            }
        }

        return first <= AsOf ? Before(first.Value, balance) ?? Beginning(balance, facts, limits) : this;
    }

    /// <summary>What differs between two records of one episode.</summary>
    public static ImmutableArray<FlagChange> Compare(FlagRecord before, FlagRecord after) => Compare(before, after, Instant.MinValue);

    /// <summary>
    /// When somebody first saw a flag: the first acknowledgement while it stood that names its slug or its id; null where nobody did.
    /// </summary>
    public static FlagAcknowledged? Acknowledged(EpisodeLog log, FlagPeriod flag, string id) =>
        While<FlagAcknowledged>(log, flag).FirstOrDefault(seen => Names(seen.Flag, flag, id));

    /// <summary>Calls about a flag while it stood: those that name its slug or its id.</summary>
    public static IEnumerable<Escalated> Escalations(EpisodeLog log, FlagPeriod flag, string id) =>
        While<Escalated>(log, flag).Where(call => call.Flag is not null && Names(call.Flag, flag, id));

    private static IEnumerable<T> While<T>(EpisodeLog log, FlagPeriod flag)
        where T : Entry => log[Slug.Of(typeof(T).Name)].After(flag.Start - Duration.Epsilon, flag.End ?? Instant.MaxValue).Cast<T>();

    /// <summary>Whether what was said of a flag names this one: its slug, its id, or an address that ends with it.</summary>
    public static bool Names(string said, FlagPeriod flag, string id) =>
        said == flag.Slug || said == id || said.EndsWith($"/{id}", StringComparison.Ordinal);

    /// <summary>What differs of flags that stood after a moment.</summary>
    internal static ImmutableArray<FlagChange> Compare(FlagRecord before, FlagRecord after, Instant since)
    {
        var old = Since(before, since).ToDictionary(flag => flag.Identity);
        var changes = ImmutableArray.CreateBuilder<FlagChange>();
        foreach (var flag in Since(after, since))
        {
            old.Remove(flag.Identity, out var was);
            if (flag != was)
                changes.Add(new(was, flag));
        }

        changes.AddRange(old.Values.OrderBy(flag => flag.Start).Select(gone => new FlagChange(gone, null)));
        return changes.ToImmutable();
    }

    /// <summary>Flags that ended after a moment, and those that stand.</summary>
    private static IEnumerable<FlagPeriod> Since(FlagRecord record, Instant since)
    {
        for (var i = record.Ended.Count - 1; i >= 0 && record.Ended[i].End > since; i--)
            yield return record.Ended[i];
        foreach (var flag in record.Standing)
            yield return flag;
    }

    /// <summary>The latest record kept from before a moment; null where none is.</summary>
    private FlagRecord? Before(Instant moment, FluidBalance whole)
    {
        for (var i = earlier.Count - 1; i >= 0; i--)
        {
            if (earlier[i].AsOf < moment)
                return earlier[i].Seeing(whole).With(earlier.RemoveRange(i, earlier.Count - i));
        }

        return null;
    }

    private FlagRecord With(ImmutableList<FlagRecord> before) => new(seen, facts, limits, AsOf, states, Ended, before, null);

    /// <summary>With what was seen then, which is not remembered: it follows from a log that is the same up to this moment.</summary>
    private FlagRecord Seeing(FluidBalance whole) =>
        seen is not null ? this : new(whole.UpTo(AsOf), facts, limits, AsOf, states, Ended, earlier, null);

    /// <summary>Whether nothing is still to come, so that the whole balance is what was seen.</summary>
    private static bool SeesAll(FluidBalance whole, Instant asOf) =>
        whole.Log[Channel.Everything].NextAfter(asOf) is null && !(whole.Log.Frame.End <= asOf);

    private FlagRecord Forward(FluidBalance whole, Instant asOf, CancellationToken stop = default)
    {
        var at = this;
        while (at.NextMoment(whole) is { } moment && moment <= asOf)
        {
            stop.ThrowIfCancellationRequested();
            at = at.Step(whole, moment);
        }

        var next = at.NextMoment(whole);

        // Where nothing is still to come the whole balance is what was seen, and need not be held twice. Else what was withdrawn since the
        // last step is seen too.
        var last = Instant.Max(asOf, at.AsOf);
        var seen = SeesAll(whole, last) ? whole : at.seen!.After(at.seen.Log.Unfolded(whole.Log, at.AsOf, last)).Balance;
        return new(seen, facts, limits, last, at.states, at.Ended, at.earlier, next);
    }

    /// <summary>The next moment at which something happened, a rule looks again, or the episode ends.</summary>
    private Instant? NextMoment(FluidBalance whole)
    {
        var ends = whole.Log.Frame.End;
        if (ends <= AsOf)
            return null;
        Instant?[] moments = [whole.Log[Channel.Everything].NextAfter(AsOf)?.At, LooksAgain, ends];
        return moments.Min();
    }

    /// <remarks>On the whole second, not before: nobody reads a clock finer.</remarks>
    private Instant? LooksAgain => states.Select(s => OnTheSecond(s.Latest?.LookAgain)).Where(look => look > AsOf).Min();

    private static Instant? OnTheSecond(Instant? look) =>
        look is { } at ? Instant.FromUnixTimeSeconds((at - Duration.Epsilon).ToUnixTimeSeconds() + 1) : null;

    private FlagRecord Step(FluidBalance whole, Instant moment)
    {
        var unfolded = seen!.Log.Unfolded(whole.Log, AsOf, moment);
        var (balance, closings) = seen.After(unfolded);
        if (whole.Log.Frame.End <= moment)
            return Ending(balance, moment);

        var (next, ended, cycled) = (states, Ended, new RunsSeen(balance, moment));
        var outputs = new OutputsSeen(balance);
        for (var i = 0; i < FlagRules.All.Length; i++)
        {
            var rule = FlagRules.All[i];
            if (rule.Looks == Looks.AtClosings && closings.IsEmpty && next[i].Latest is not null)
                continue;
            var state = Applied(
                next[i],
                rule.Slug,
                FlagRules.Judge(rule, new(balance, moment, facts, limits, next) { Cycled = cycled, Outputs = outputs }),
                moment
            );
            if (next[i].Open is not null && state.Open is null)
                ended = ended.Add(next[i].Open! with { End = moment, Ended = "the pattern has ended" });
            next = next.SetItem(i, state);
        }

        return new(balance, facts, limits, moment, next, ended, Kept(moment), null);
    }

    private static RuleState Applied(RuleState state, string slug, Finding finding, Instant moment) =>
        (finding, state.Open) switch
        {
            (Finding.Raised raised, null) => state with
            {
                Latest = finding,
                Open = new(slug, moment, null, raised with { LookAgain = null }, null),
            },
            (Finding.Raised raised, { } open) => state with
            {
                Latest = finding,
                Open = open with { Latest = raised with { LookAgain = null } },
            },
            (Finding.NotRaised, { }) => new(finding, null, moment),
            _ => state with { Latest = finding },
        };

    /// <summary>With the episode every flag ends.</summary>
    private FlagRecord Ending(FluidBalance balance, Instant moment) =>
        new(
            balance,
            facts,
            limits,
            moment,
            [.. states.Select(s => new RuleState(null, null, s.Open is null ? s.LastEnded : moment))],
            Ended.AddRange(Standing.Select(flag => flag with { End = moment, Ended = "the episode has ended" })),
            Kept(moment),
            null
        );

    /// <summary>
    /// The records kept, this one too: of the last hour one in ten minutes, of the last day one an hour, of the last eight days one a day,
    /// of the last 64 one in eight days, before that one in 64.
    /// </summary>
    private ImmutableList<FlagRecord> Kept(Instant moment)
    {
        var kept = earlier.Count > 0 && Spell(this) == Spell(earlier[^1]) ? earlier : earlier.Add(With([]));
        for (var i = kept.Count - 1; i > 0; i--)
        {
            if (Spell(kept[i]) == Spell(kept[i - 1]))
                kept = kept.RemoveAt(i);
            else if (moment - kept[i].AsOf > Duration.FromDays(64))
                break;
        }

        return kept;

        (Duration, long) Spell(FlagRecord record)
        {
            var length = (moment - record.AsOf) switch
            {
                var age when age <= Duration.FromHours(1) => Duration.FromMinutes(10),
                var age when age <= Duration.FromDays(1) => Duration.FromHours(1),
                var age when age <= Duration.FromDays(8) => Duration.FromDays(1),
                var age when age <= Duration.FromDays(64) => Duration.FromDays(8),
                _ => Duration.FromDays(64),
            };
            return (length, (long)((record.AsOf - Instant.MinValue) / length));
        }
    }
}
