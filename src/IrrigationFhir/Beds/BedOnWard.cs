using System.Runtime.CompilerServices;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
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

    private static List<DueThing> DueBy(FlagRecord flags) => [.. DueThing.Of(flags.Now).Where(due => !due.Supposed).OrderBy(due => due.At)];
}
