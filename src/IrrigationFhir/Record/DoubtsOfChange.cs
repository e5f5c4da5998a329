using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;

namespace IrrigationFhir.Record;

/// <summary>What is doubtful about what was sent: said in the reply, to whoever can still look at the scale.</summary>
/// <remarks>
/// An entry is told what is doubted of its own reading, when it comes and when it is sent again, for a reply may have been lost. What it
/// makes doubtful of a reading that came earlier is told to it too: nobody else is there to hear it.
/// </remarks>
internal static class DoubtsOfChange
{
    /// <summary>Doubts by the entry that is told of them.</summary>
    /// <param name="outcomes">What became of the entries that were sent.</param>
    /// <param name="changes">The intervals that they changed.</param>
    /// <param name="balance">The balance with them.</param>
    public static ILookup<EntryKey, Doubt> By(
        ImmutableArray<(Disposition Disposition, LoggedEntry Logged)> outcomes,
        ImmutableArray<IntervalChange> changes,
        FluidBalance balance
    )
    {
        var sent = outcomes.Select(o => o.Logged.Entry.Key).ToHashSet();
        var own = outcomes.Any(o => o.Disposition == Disposition.Repeated)
            ? balance.Streams.SelectMany(stream => balance[stream]).SelectMany(interval => interval.Doubts)
            : changes.SelectMany(change => change.After?.Doubts ?? []);
        var others =
            from change in changes
            where !change.Because.IsEmpty
            from doubt in change.After?.Doubts ?? []
            where !sent.Contains(doubt.Reading) && change.Before?.Doubts.Contains(doubt) is not true
            select (Told: change.Because[0], doubt);
        var implausible = outcomes
            .Select(outcome => balance.Log.Current(outcome.Logged.Entry.Key)?.Entry)
            .Select(entry => entry is null ? null : ImplausibleEntries.Of(entry, balance))
            .OfType<Doubt>();
        return own.Concat(implausible)
            .Where(doubt => sent.Contains(doubt.Reading))
            .Select(doubt => (Told: doubt.Reading, doubt))
            .Concat(others)
            .Distinct()
            .ToLookup(told => told.Told, told => told.doubt);
    }
}
