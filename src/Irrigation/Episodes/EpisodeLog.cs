using System.Collections.Immutable;
using NodaTime;

namespace Irrigation.Episodes;

/// <summary>What the log made of an entry that arrived.</summary>
public enum Disposition
{
    /// <summary>New.</summary>
    Recorded,

    /// <summary>Same id and same content as before: nothing new.</summary>
    Repeated,

    /// <summary>Same id and same content, charted again later: the same fact, dated anew.</summary>
    Confirmed,

    /// <summary>Same id, other content: supersedes the earlier version, which stays in the log.</summary>
    Amended,

    /// <summary>Entered in error: leaves every sum, stays in the log.</summary>
    Retracted,

    /// <summary>An older version of an entry that came after a newer one: kept in the log, without effect.</summary>
    Outdated,
}

/// <summary>An entry as it arrived.</summary>
/// <param name="Sequence">Order of arrival in the episode, from 1, without gaps.</param>
/// <param name="Revision">Which version of its id, from 1.</param>
/// <param name="Entry">What it says.</param>
/// <param name="ReceivedAt">When it arrived. Arrival order and happening order are two things.</param>
/// <param name="Disposition">What became of it; never <see cref="Disposition.Repeated"/>, which leaves no trace.</param>
public sealed record LoggedEntry(long Sequence, int Revision, Entry Entry, Instant ReceivedAt, Disposition Disposition)
{
    /// <summary>When the ward could know it: charted, or else received.</summary>
    public Instant KnownAt => Entry.Header.RecordedAt ?? ReceivedAt;
}

/// <summary>What an append did.</summary>
/// <param name="Log">The log afterwards.</param>
/// <param name="Outcomes">One for each entry given, in their order; the logged entry, or for a repetition the one already there.</param>
/// <param name="Changes">What came into force and what went out of it.</param>
public sealed record Appended(
    EpisodeLog Log,
    ImmutableArray<(Disposition Disposition, LoggedEntry Logged)> Outcomes,
    ImmutableArray<Change> Changes
);

/// <summary>
/// A change to what is in force: <paramref name="Before"/> null for a new entry, <paramref name="After"/> null for one withdrawn.
/// For an outdated version, which arrives withdrawn, it and the version that stands.
/// </summary>
public sealed record Change(Entry? Before, Entry? After);

/// <summary>Everything that was charted in an episode: append, repeat, amend, retract. Nothing is ever overwritten or removed.</summary>
/// <remarks>
/// <para>Which version of an id is in force does not depend on the order of arrival where both versions say when they were
/// charted: the later charted one is. Otherwise the later arrived one is, except that a retraction stands until a version
/// arrives that says it was charted later.</para>
/// <para>A version equal to any earlier one is a repetition (devices resend what they stored), unless it says that it was
/// charted after the one in force: then it confirms that one, or is an amendment back.</para>
/// </remarks>
public sealed class EpisodeLog
{
    private readonly ImmutableDictionary<EntryKey, ImmutableList<LoggedEntry>> versions;
    private readonly ImmutableDictionary<EntryKey, LoggedEntry> current;
    private readonly ImmutableDictionary<string, Timeline> channels;
    private ChannelNames? names;

    private EpisodeLog(
        EpisodeFrame frame,
        long lastSequence,
        ImmutableDictionary<EntryKey, ImmutableList<LoggedEntry>> versions,
        ImmutableDictionary<EntryKey, LoggedEntry> current,
        ImmutableDictionary<string, Timeline> channels
    )
    {
        Frame = frame;
        LastSequence = lastSequence;
        this.versions = versions;
        this.current = current;
        this.channels = channels;
    }

    /// <summary>The episode's start, end, zone and shifts.</summary>
    public EpisodeFrame Frame { get; }

    /// <summary>The sequence number of the newest arrival; 0 for an empty log.</summary>
    public long LastSequence { get; }

    /// <summary>Every version of every entry, in order of arrival. O(n log n): for reading a whole log, not for the main path.</summary>
    public IEnumerable<LoggedEntry> Arrivals => versions.Values.SelectMany(v => v).OrderBy(v => v.Sequence);

    /// <summary>Names of the channels that hold something.</summary>
    public IEnumerable<string> Channels => channels.Where(c => c.Value.Count > 0).Select(c => c.Key);

    /// <summary>The lines and containers that have entries; found once and handed on while they stay the same.</summary>
    internal ChannelNames Names => names ??= new(Channels);

    /// <summary>An empty log.</summary>
    public static EpisodeLog Empty(EpisodeFrame frame) =>
        new(
            frame,
            0,
            ImmutableDictionary<EntryKey, ImmutableList<LoggedEntry>>.Empty,
            ImmutableDictionary<EntryKey, LoggedEntry>.Empty,
            ImmutableDictionary<string, Timeline>.Empty
        );

    /// <summary>The same log in another frame (an episode that was ended, or its start corrected).</summary>
    public EpisodeLog In(EpisodeFrame frame) => new(frame, LastSequence, versions, current, channels) { names = names };

    /// <summary>Everything in force in a channel, in the order in which it happened.</summary>
    public Timeline this[string channel] => channels.GetValueOrDefault(channel, Timeline.Empty);

    /// <summary>The version of an entry that is in force or was retracted; null where the id is unknown.</summary>
    public LoggedEntry? Current(EntryKey key) => current.GetValueOrDefault(key);

    /// <summary>All versions of an entry, oldest arrival first.</summary>
    public ImmutableList<LoggedEntry> Versions(EntryKey key) => versions.GetValueOrDefault(key, []);

    /// <summary>Whether other content was ever sent under the id of an entry that is in force.</summary>
    public bool IsCorrected(EntryKey key) =>
        Versions(key) is { Count: > 1 } all && Current(key) is { } stands && all.Any(v => !SameContent(v.Entry, stands.Entry));

    /// <summary>Adds entries as they arrived.</summary>
    /// <param name="entries">What arrived, in the order in which it did.</param>
    /// <param name="receivedAt">When.</param>
    public Appended Append(IEnumerable<Entry> entries, Instant receivedAt)
    {
        var log = this;
        var outcomes = ImmutableArray.CreateBuilder<(Disposition, LoggedEntry)>();
        var changes = ImmutableArray.CreateBuilder<Change>();
        foreach (var entry in entries)
        {
            (log, var disposition, var logged, var change) = log.Append(entry, receivedAt);
            outcomes.Add((disposition, logged));
            if (change is not null)
                changes.Add(change);
        }

        return new(log, outcomes.ToImmutable(), changes.ToImmutable());
    }

    /// <summary>The log as it was known at a moment: entries that had happened and, where the sender tells, were charted by then.</summary>
    public EpisodeLog KnownAt(Instant asOf)
    {
        var log = Empty(Frame);
        foreach (var logged in Arrivals.Where(l => l.Entry.At <= asOf && !(l.Entry.Header.RecordedAt > asOf)))
        {
            log = log.Append(logged.Entry, logged.ReceivedAt).Log;
        }

        return log;
    }

    /// <summary>Nothing of a log yet: where <see cref="Unfolded"/> begins.</summary>
    public EpisodeLog Folded() => new(Frame, LastSequence, versions, current, ImmutableDictionary<string, Timeline>.Empty);

    /// <summary>
    /// This log, which shows a fuller one up to some moment, with what happened since then up to another: what stands in the end, and no
    /// version that was superseded or withdrawn. Costs what is let in, not what is there.
    /// </summary>
    /// <param name="full">The fuller log.</param>
    /// <param name="after">What had happened by then is here already.</param>
    /// <param name="upTo">What happened by then is let in.</param>
    public Appended Unfolded(EpisodeLog full, Instant after, Instant upTo)
    {
        var shown = channels;
        var changes = ImmutableArray.CreateBuilder<Change>();
        foreach (var entry in full[Channel.Everything].After(after, upTo))
        {
            changes.Add(new(null, entry));
            shown = With(shown, changes[^1]);
        }

        foreach (var entry in full[Channel.Withdrawn].After(after, upTo))
            shown = Withdraw(shown, entry);
        var log = new EpisodeLog(full.Frame, full.LastSequence, full.versions, full.current, shown)
        {
            names = shown.Count == channels.Count ? names : null,
        };
        return new(log, [], changes.ToImmutable());
    }

    private static bool SameContent(Entry left, Entry right) => left with { Header = Bare(left) } == right with { Header = Bare(right) };

    private static EntryHeader Bare(Entry entry) => entry.Header with { RecordedAt = null };

    private (EpisodeLog Log, Disposition Disposition, LoggedEntry Logged, Change? Change) Append(Entry entry, Instant receivedAt)
    {
        var earlier = Versions(entry.Key);
        var inForce = Current(entry.Key);
        var chartedLater =
            inForce?.Entry.Header.RecordedAt is { } before && entry.Header.RecordedAt is { } now ? now > before : (bool?)null;

        var same = earlier.FirstOrDefault(v => SameContent(v.Entry, entry));
        if (same is not null && chartedLater != true)
            return (this, Disposition.Repeated, same, null);

        var stands = inForce is null || (chartedLater ?? inForce.Entry is not EnteredInError);
        var disposition =
            !stands ? Disposition.Outdated
            : entry is EnteredInError && inForce?.Entry is not EnteredInError ? Disposition.Retracted
            : inForce is null ? Disposition.Recorded
            : SameContent(inForce.Entry, entry) ? Disposition.Confirmed
            : Disposition.Amended;
        var logged = new LoggedEntry(LastSequence + 1, earlier.Count + 1, entry, receivedAt, disposition);

        var change = stands ? new Change(InForce(inForce?.Entry), InForce(entry)) : null;
        var next = new EpisodeLog(
            Frame,
            logged.Sequence,
            versions.SetItem(entry.Key, earlier.Add(logged)),
            stands ? current.SetItem(entry.Key, logged) : current,
            change is null
                ? Withdraw(channels, entry)
                : Restored(With(channels, change), earlier.Select(v => v.Entry).Where(e => SameContent(e, entry)))
        );
        if (change is null || (change.Before is null && Channel.Of(change.After).All(c => this[c].Count > 0)))
            next.names = names;
        change ??= new(InForce(entry), InForce(inForce?.Entry));
        return (next, disposition, logged, change is { Before: null, After: null } ? null : change);
    }

    private static Entry? InForce(Entry? entry) => entry is null or EnteredInError ? null : entry;

    private static ImmutableDictionary<string, Timeline> Withdraw(ImmutableDictionary<string, Timeline> channels, Entry? entry) =>
        entry is null or EnteredInError
            ? channels
            : channels.SetItem(Channel.Withdrawn, channels.GetValueOrDefault(Channel.Withdrawn, Timeline.Empty).With(entry));

    /// <summary>What stands again is not withdrawn, so that amending there and back ends the same in any order of arrival.</summary>
    private static ImmutableDictionary<string, Timeline> Restored(
        ImmutableDictionary<string, Timeline> channels,
        IEnumerable<Entry> standing
    ) =>
        standing.Aggregate(
            channels,
            (all, entry) =>
                all.TryGetValue(Channel.Withdrawn, out var withdrawn) ? all.SetItem(Channel.Withdrawn, withdrawn.Without(entry)) : all
        );

    private static ImmutableDictionary<string, Timeline> With(ImmutableDictionary<string, Timeline> channels, Change change)
    {
        foreach (var channel in Channel.Of(change.Before))
        {
            channels = channels.SetItem(channel, channels[channel].Without(change.Before!));
        }

        channels = Withdraw(channels, change.Before);

        foreach (var channel in Channel.Of(change.After))
        {
            channels = channels.SetItem(channel, channels.GetValueOrDefault(channel, Timeline.Empty).With(change.After!));
        }

        return channels;
    }
}
