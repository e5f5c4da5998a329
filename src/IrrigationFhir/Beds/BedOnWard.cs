using System.Runtime.CompilerServices;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using Irrigation.Runs;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using NodaTime;

namespace IrrigationFhir.Beds;

/// <summary>Why a bed stands where it does in the list of a ward; the first that fits.</summary>
internal enum Attention
{
    /// <summary>An urgent flag stands.</summary>
    Urgent,

    /// <summary>The drainage is overdue to be read, so that nobody knows what runs.</summary>
    NotRead,

    /// <summary>A flag of high priority stands.</summary>
    High,

    /// <summary>Something is due within half an hour, or was already.</summary>
    Due,

    /// <summary>Nothing of the kind.</summary>
    Quiet,
}

/// <summary>Something that somebody has to do, and when.</summary>
/// <param name="What">In words.</param>
/// <param name="At">When.</param>
internal sealed record DueThing(string What, Instant At);

/// <summary>A flag that stands, and whether a person saw it.</summary>
/// <param name="Flag">The flag.</param>
/// <param name="Seen">When it was acknowledged; null where it was not.</param>
internal sealed record FlagAtBed(FlagPeriod Flag, Instant? Seen);

/// <summary>An irrigated bed at a moment: what somebody who takes over has to know of it in one line.</summary>
/// <param name="Episode">The episode.</param>
/// <param name="At">The moment.</param>
/// <param name="Flags">The flags that stand, the most urgent first, then the oldest.</param>
/// <param name="LastReading">When the drainage was read last; null where it never was.</param>
/// <param name="InSince">What ran in since then, as charted; null where that is not known.</param>
/// <param name="Due">What is due, the earliest first.</param>
internal sealed record BedOnWard(
    Episode Episode,
    Instant At,
    IReadOnlyList<FlagAtBed> Flags,
    Instant? LastReading,
    Volume? InSince,
    IReadOnlyList<DueThing> Due
)
{
    private static readonly Duration Soon = Duration.FromMinutes(30);

    // What no passing of time changes: worked out once for each state of an episode, and gone with it.
    private static readonly ConditionalWeakTable<FlagRecord, IReadOnlyList<DueThing>> WorkedOut = [];

    /// <summary>Why it stands where it does.</summary>
    public Attention Attention =>
        Flags is [{ Flag.Latest.Priority: FlagPriority.Urgent }, ..] ? Attention.Urgent
        : Flags.Any(f => f.Flag.Slug == DrainageReadingStale.Rule.Slug) ? Attention.NotRead
        : Flags is [{ Flag.Latest.Priority: FlagPriority.High }, ..] ? Attention.High
        : Due is [var first, ..] && first.At <= At + Soon ? Attention.Due
        : Attention.Quiet;

    /// <summary>Flags that nobody acknowledged.</summary>
    public int Unseen => Flags.Count(flag => flag.Seen is null);

    /// <summary>The day of the irrigation, by the ward's calendar: 1 on the day on which it began.</summary>
    public int Day
    {
        get
        {
            var frame = Episode.Definition.Frame;
            return 1 + Period.DaysBetween(frame.Start.InZone(frame.Zone).Date, At.InZone(frame.Zone).Date);
        }
    }

    /// <summary>A bed.</summary>
    /// <param name="episode">The episode.</param>
    /// <param name="flags">Its flags, as of the moment or earlier with nothing that time alone has changed since.</param>
    /// <param name="at">The moment.</param>
    public static BedOnWard Of(Episode episode, FlagRecord flags, Instant at)
    {
        var read = episode.Log[Channel.BladderOutput].LastAtOrBefore(at)?.At;
        var since = read ?? episode.Definition.Frame.Start;
        return new(
            episode,
            at,
            [
                .. flags
                    .Standing.OrderByDescending(flag => flag.Latest.Priority)
                    .ThenBy(flag => flag.Start)
                    .Select(flag => new FlagAtBed(flag, FlagRecord.Acknowledged(episode.Log, flag, FlagMapper.IdOf(episode, flag))?.At)),
            ],
            read,
            episode.Balance.InstilledCharted(since, at),
            WorkedOut.GetValue(flags, DueBy)
        );
    }

    /// <summary>The bag, the container, the clamp, the reading, the next irrigation: each with its time, where that can be told.</summary>
    private static List<DueThing> DueBy(FlagRecord flags)
    {
        var bedside = flags.Now;
        var forecasts = Forecasts.Of(
            bedside.Balance,
            bedside.Facts.Patient.YearsAt(bedside.At),
            bedside.Facts.BladderCapacity,
            bedside.At,
            bedside.Limits.Forecasts
        );
        var due = new List<DueThing>();
        foreach (var forecast in forecasts)
        {
            if (forecast is { Kind: "bag-empty", At: { } dry })
                due.Add(new("bag dry", dry));
            if (forecast is { Kind: "container-full", At: { } full })
                due.Add(new("container to empty", full));
        }

        if (bedside.Clamped is { } clamp && bedside.DwellOf(clamp) is { } dwell)
            due.Add(new("clamp to release", clamp.At + dwell));
        if (DrainageReadingStale.DueAt(bedside) is { } reading)
            due.Add(new("drainage to read", reading));
        if (NextIrrigation.Of(bedside.Balance, bedside.At) is { } next)
            due.Add(new("next irrigation", next.Due));
        due.Sort((one, other) => one.At.CompareTo(other.At));
        return due;
    }
}
