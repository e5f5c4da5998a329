using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>What became of a request to record entries.</summary>
internal abstract record EntriesOutcome
{
    /// <summary>There is no such episode.</summary>
    public sealed record UnknownEpisode : EntriesOutcome;

    /// <summary>Nothing was stored.</summary>
    public sealed record Rejected(IReadOnlyList<EntryProblem> Problems) : EntriesOutcome;

    /// <summary>Stored, or there already; refused ones only where the sender allowed that.</summary>
    public sealed record Recorded(
        long Version,
        DateTimeZone Zone,
        IReadOnlyList<EntryReply> Entries,
        IReadOnlyList<IntervalChange> Recalculated,
        IReadOnlyList<ResourceVersion> Changed,
        IReadOnlyList<WithheldRow> Withheld
    ) : EntriesOutcome;
}

/// <summary>What became of one entry: logged, with what is doubted now and what drips, or refused with its problems.</summary>
internal sealed record EntryReply(
    EntryKey? Key,
    Disposition? Disposition,
    LoggedEntry? Logged,
    IReadOnlyList<EntryProblem> Problems,
    IReadOnlyList<Doubt> Doubts
)
{
    /// <summary>The drips that an order or a flow speaks of, each as of its time; empty for every other entry.</summary>
    public IReadOnlyList<LineDrip> Drips { get; init; } = [];
}
