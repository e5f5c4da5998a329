using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>How firm a number is.</summary>
public enum OutputStatus
{
    /// <summary>Closed: every reading that it rests on is there.</summary>
    Final,

    /// <summary>Part is still open: the number will change.</summary>
    Preliminary,

    /// <summary>Closed, and changed by something that was charted after it had been complete.</summary>
    Amended,

    /// <summary>Closed, and rests on an entry that was amended or withdrawn.</summary>
    Corrected,
}

/// <summary>Why there is no number. Missing is not zero.</summary>
public enum AbsentReason
{
    /// <summary>The irrigant has not been read yet; the number will come.</summary>
    IrrigantNotReadYet,

    /// <summary>How much ran in is not known.</summary>
    IrrigantUnknown,

    /// <summary>A drainage container was taken away and has not been read yet; the number will come.</summary>
    DrainageNotReadYet,

    /// <summary>How much drained is not known.</summary>
    DrainageUnknown,

    /// <summary>No closed interval covers any of it.</summary>
    NotCovered,
}

/// <summary>What a part of the working stands for.</summary>
public enum PartKind
{
    /// <summary>Irrigant, its share of what a bag, pump or total measured.</summary>
    Irrigant,

    /// <summary>Irrigant worked out from a flow rate.</summary>
    IrrigantFromRate,

    /// <summary>Drainage that a reading added.</summary>
    Drainage,

    /// <summary>Urine, free of irrigant.</summary>
    Urine,

    /// <summary>A leak.</summary>
    Leak,

    /// <summary>Blood and clots removed.</summary>
    Blood,

    /// <summary>What the bladder held.</summary>
    Retained,
}

/// <summary>One line of the working: which entry gave how much.</summary>
/// <param name="Kind">What it stands for.</param>
/// <param name="Entry">The entry it rests on.</param>
/// <param name="Start">Start of the time that the entry measured.</param>
/// <param name="End">End of it.</param>
/// <param name="Whole">What the entry measured over that time; null where it does not say.</param>
/// <param name="Amount">The share that falls into the interval; null where unknown.</param>
public sealed record Part(PartKind Kind, EntryKey Entry, Instant Start, Instant End, Volume? Whole, Volume? Amount)
{
    /// <summary>
    /// The two readings of which <see cref="Whole"/> or <see cref="Amount"/> is the difference; null where one reading says it all.
    /// </summary>
    public Readings? Readings { get; init; }

    /// <summary>By what the share was taken of the whole; null where all of it falls into the interval.</summary>
    public Spread? Spread { get; init; }
}

/// <summary>Two readings of one bag, pump or container.</summary>
/// <param name="Before">
/// The one before: what the bag's label says or was left in it, what the counter showed, what the container held.
/// </param>
/// <param name="Tubing">What stayed in the tubing of a new bag; null where that was not charted or is another's.</param>
/// <param name="After">The one of the entry itself.</param>
public sealed record Readings(Volume Before, Volume? Tubing, Volume After)
{
    /// <summary>What left the bag in between and never reached the bladder; null where none did.</summary>
    public Volume? Discarded { get; init; }
}

/// <summary>By what an amount is spread over the time in which it was measured.</summary>
public enum SpreadBy
{
    /// <summary>By the charted flow: part and whole in mL.</summary>
    ChartedFlow,

    /// <summary>By the time that the drain was not clamped: part and whole in h.</summary>
    UnclampedTime,

    /// <summary>By elapsed time: part and whole in h.</summary>
    ElapsedTime,
}

/// <summary>A share: so much of so much.</summary>
/// <param name="By">Of what.</param>
/// <param name="Share">The part, in mL or h.</param>
/// <param name="Whole">The whole, in the same; more than 0.</param>
public sealed record Spread(SpreadBy By, decimal Share, decimal Whole);

/// <summary>Corrected urine output: the headline, and beside it the best estimate with its interval.</summary>
/// <param name="Headline">The trade's number: the mass balance on the volumes as charted. Any sign.</param>
/// <param name="BestEstimate">
/// With known bias taken out, and its standard uncertainty; null where something was not charted, so that its doubts are not known.
/// </param>
/// <param name="Interval95">The 95 % interval round the best estimate; null where that is.</param>
public sealed record UrineOutput(Volume Headline, Estimate? BestEstimate, VolumeRange? Interval95)
{
    /// <summary>Coverage factor of the interval (JCGM 100:2008, 6.2.1 and annex G: k = 2 for about 95 %).</summary>
    public const decimal CoverageFactor = 2;

    /// <summary>The output of a worked volume.</summary>
    /// <param name="worked">As charted and at its best.</param>
    /// <param name="estimable">Whether its doubts are known; where not, the headline stands alone.</param>
    /// <param name="settings">Which of the two is the headline.</param>
    internal static UrineOutput Of(Measured worked, bool estimable, BalanceSettings settings)
    {
        var headline = settings.BestEstimateIsHeadline && estimable ? worked.Best : worked.Charted;
        if (!estimable)
            return new(headline, null, null);
        var estimate = worked.Estimate;
        var half = estimate.StandardUncertainty * CoverageFactor;
        return new(headline, estimate, new(estimate.Value - half, estimate.Value + half));
    }
}

/// <summary>The time between two readings of what left the bladder, and the mass balance over it.</summary>
/// <remarks>
/// <para><c>U = D − I + (R1 − R0) + A + L − B</c> (src/Irrigation/README.md, section 1.1), half-open: [Start, End).
/// An amount charted at an instant has run before it, so it belongs to the interval that ends there.</para>
/// <para>For a stream outside the bladder U is what was collected.</para>
/// </remarks>
public sealed record ClosedInterval
{
    /// <summary><c>bladder</c>, or the slug of a route that does not pass the bladder.</summary>
    public required string Stream { get; init; }

    /// <summary>The reading before, or the start of the episode. Before the end.</summary>
    public required Instant Start { get; init; }

    /// <summary>The closing reading; the moment of clamping, where it was taken during a clamp.</summary>
    public required Instant End { get; init; }

    /// <summary>I: irrigant instilled; null where unknown.</summary>
    public required Volume? Instilled { get; init; }

    /// <summary>D: what left the bladder and was collected, urine from bladder routes included; null where unknown.</summary>
    public required Volume? Drained { get; init; }

    /// <summary>The part of <see cref="Drained"/> that was charted as urine, free of irrigant.</summary>
    public required Volume Urine { get; init; }

    /// <summary>R1 − R0, where bladder scans anchor both ends; null where it was taken as 0.</summary>
    public required Volume? RetainedChange { get; init; }

    /// <summary>L: leaks; null where none was charted and it was taken as 0.</summary>
    public required Volume? Leaked { get; init; }

    /// <summary>B: blood and clots; null where none was charted and it was taken as 0.</summary>
    public Volume? Blood { get; init; }

    /// <summary>
    /// Why it cannot be taken as it stands; empty where nothing speaks against it. Kept in every sum, and out of every decision until a
    /// person confirms or corrects the reading.
    /// </summary>
    public ImmutableArray<Doubt> Doubts { get; init; } = [];

    /// <summary>U; null where it cannot be worked out, and then <see cref="Absent"/> says why.</summary>
    public required UrineOutput? Output { get; init; }

    /// <summary>U as charted and at its best, with the doubts source by source; null where U is.</summary>
    public required Measured? Worked { get; init; }

    /// <summary>Why there is no number; null where there is one.</summary>
    public required AbsentReason? Absent { get; init; }

    /// <summary>
    /// Drainage minus irrigant as charted, at the times charted, nothing else taken into account. Null where a volume is unknown.
    /// </summary>
    public required Volume? Simple { get; init; }

    /// <summary>How firm it is.</summary>
    public required OutputStatus Status { get; init; }

    /// <summary>How firm it would be without <see cref="Doubts"/>.</summary>
    internal OutputStatus Undoubted { get; init; }

    /// <summary>What a reader should know, in the order of <see cref="Caveat"/>.</summary>
    public required ImmutableArray<Caveat> Caveats { get; init; }

    /// <summary>Terms of the mass balance that were taken as 0 because nobody measured them.</summary>
    public required ImmutableArray<BalanceTerm> AssumedZero { get; init; }

    /// <summary>The working, line by line.</summary>
    public required ImmutableArray<Part> Parts { get; init; }

    /// <summary>End less start.</summary>
    public Duration Length => End - Start;

    /// <summary>U as charted that falls to [from, to), by elapsed time; null where U is unknown.</summary>
    /// <remarks>
    /// The share of U, not of D (src/Irrigation/README.md, section 4). Worked as a difference of running shares, so that the
    /// shares of any partition add up to the whole.
    /// </remarks>
    public Volume? OutputBetween(Instant from, Instant to) =>
        Worked is { } worked ? Running(worked.Charted, to) - Running(worked.Charted, from) : null;

    /// <summary>
    /// The same with the best value and its doubts; where the interval is cut, the doubt about apportioning is one of them.
    /// </summary>
    /// <param name="from">First instant.</param>
    /// <param name="to">First instant after.</param>
    /// <param name="urineDrift">How far urine production may drift within the interval, relative (rectangular).</param>
    public Measured? WorkedBetween(Instant from, Instant to, decimal urineDrift)
    {
        if (Worked is not { } worked)
            return null;
        var (a, b) = (Fraction(from), Fraction(to));
        var share = new Measured(
            OutputBetween(from, to)!.Value,
            Running(worked.Best, to) - Running(worked.Best, from),
            worked.Errors * (double)(b - a)
        );
        return share.Doubting(
            new("apportioning of", Stream, At: End),
            ErrorBudget.Rectangular(urineDrift) * Math.Abs(worked.Best.Millilitres) * ((b * (1 - b)) - (a * (1 - a)))
        );
    }

    /// <inheritdoc/>
    public bool Equals(ClosedInterval? other) =>
        other is not null
        && (Stream, Start, End, Instilled, Drained, Urine, RetainedChange, Leaked, Output, Absent, Simple, Status)
            == (
                other.Stream,
                other.Start,
                other.End,
                other.Instilled,
                other.Drained,
                other.Urine,
                other.RetainedChange,
                other.Leaked,
                other.Output,
                other.Absent,
                other.Simple,
                other.Status
            )
        && Blood == other.Blood
        && Doubts.SequenceEqual(other.Doubts)
        && Caveats.SequenceEqual(other.Caveats)
        && AssumedZero.SequenceEqual(other.AssumedZero)
        && Parts.SequenceEqual(other.Parts);

    /// <inheritdoc/>
    public override int GetHashCode() => HashCode.Combine(Stream, Start, End, Output, Status);

    private Volume Running(Volume whole, Instant at) => whole.Share(Elapsed.Between(Start, Within(at)), Elapsed.Between(Start, End));

    private decimal Fraction(Instant at) => Elapsed.Between(Start, Within(at)) / Elapsed.Between(Start, End);

    private Instant Within(Instant at) => Instant.Max(Start, Instant.Min(End, at));
}
