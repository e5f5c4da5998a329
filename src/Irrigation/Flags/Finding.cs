using System.Collections.Immutable;
using Irrigation.Criteria;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>How soon somebody should look. A default; local protocol prevails.</summary>
public enum FlagPriority
{
    /// <summary>Within the round.</summary>
    Low,

    /// <summary>Soon.</summary>
    Medium,

    /// <summary>Now.</summary>
    High,

    /// <summary>At once.</summary>
    Urgent,
}

/// <summary>What a finding rests on: an entry, or the closed interval that ends at a moment.</summary>
/// <param name="Entry">The entry; null for an interval.</param>
/// <param name="IntervalEnd">The end of a closed interval of the bladder; null for an entry.</param>
public readonly record struct Evidence(EntryKey? Entry, Instant? IntervalEnd)
{
    /// <summary>An entry.</summary>
    public static Evidence Of(Entry entry) => new(entry.Key, null);

    /// <summary>A closed interval of the bladder.</summary>
    public static Evidence Of(Balance.ClosedInterval interval) => new(null, interval.End);
}

/// <summary>What a rule says at a moment. It never says "all is well" for want of a measurement.</summary>
public abstract record Finding
{
    private Finding() { }

    /// <summary>The answer may change then though nothing is charted; null where it cannot.</summary>
    public Instant? LookAgain { get; init; }

    /// <summary>The pattern is there.</summary>
    /// <param name="Priority">How soon somebody should look.</param>
    /// <param name="Says">
    /// What a nurse reads: numbers, interval, threshold, since when. Times and no durations, so that it holds until something changes.
    /// </param>
    public sealed record Raised(FlagPriority Priority, string Says) : Finding
    {
        /// <summary>What it rests on; empty where it is raised by silence.</summary>
        public ImmutableArray<Evidence> Evidence { get; init; } = [];

        /// <summary>
        /// The criterion that it speaks of, with its probability and whether it is provisional; null where it speaks of none.
        /// </summary>
        public CriterionResult? Criterion { get; init; }

        /// <summary>Said of a criterion that is not certainly met: to confirm the measurement first.</summary>
        public bool Possible { get; init; }

        /// <inheritdoc/>
        /// <remarks>Of the criterion the probability alone: all else of it that can change is in the text.</remarks>
        public bool Equals(Raised? other) =>
            other is not null
            && (Priority, Says, LookAgain, Possible) == (other.Priority, other.Says, other.LookAgain, other.Possible)
            && Criterion?.Probability == other.Criterion?.Probability
            && Evidence.SequenceEqual(other.Evidence);

        /// <inheritdoc/>
        public override int GetHashCode() => HashCode.Combine(Priority, Says, LookAgain);
    }

    /// <summary>The pattern is not there.</summary>
    public sealed record NotRaised : Finding;

    /// <summary>Nobody can tell.</summary>
    /// <param name="Why">Why not.</param>
    /// <param name="Needs">What would decide it.</param>
    public sealed record Undecided(string Why, string Needs) : Finding;
}

/// <summary>A flag that stood, or stands.</summary>
/// <param name="Slug">The rule's slug.</param>
/// <param name="Start">When the pattern was there first.</param>
/// <param name="End">When it ended; null while it stands.</param>
/// <param name="Latest">What the rule said last while it stood.</param>
/// <param name="Ended">Why it ended; null while it stands.</param>
public sealed record FlagPeriod(string Slug, Instant Start, Instant? End, Finding.Raised Latest, string? Ended)
{
    /// <summary>What tells it from any other flag of the episode: a pattern begins once at a moment.</summary>
    public (string Slug, Instant Start) Identity => (Slug, Start);
}
