using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Store;

namespace IrrigationFhir.Record;

/// <summary>Whether the flag that an entry speaks of was ever there: nobody can have seen one that was not.</summary>
/// <remarks>
/// It may stand, have ended, or have been taken back since: whoever saw it then did see it. Somebody may be called about a pattern by its
/// code before a rule raises it; who was called about one Flag names one that exists.
/// </remarks>
internal static class SpokenOf
{
    /// <summary>What is wrong with an entry; null where it speaks of none, or of one that was there.</summary>
    /// <param name="entry">The entry.</param>
    /// <param name="after">The episode with all that arrived, and its flags.</param>
    /// <param name="resources">Where those are that were taken back.</param>
    /// <param name="where">The entry's path in the request.</param>
    /// <param name="stop">Gives up.</param>
    public static async Task<EntryProblem?> Problem(
        Entry entry,
        Episode after,
        ResourceStore resources,
        string where,
        CancellationToken stop
    )
    {
        var said = entry switch
        {
            FlagAcknowledged seen => seen.Flag,
            Escalated { Flag: { } about } when FlagRules.Find(about) is null => about,
            _ => null,
        };
        if (said is null || IsThere(said, after))
            return null;
        var id = said[(said.LastIndexOf('/') + 1)..];
        if (id.StartsWith($"{after.Id}.", StringComparison.Ordinal) && await resources.Read("Flag", id, stop) is not null)
            return null;
        return EntryProblem.UnknownFlag($"{where}.flag", said);
    }

    private static bool IsThere(string said, Episode after) =>
        after.Flags!.Standing.Concat(after.Flags.Ended).Any(flag => FlagRecord.Names(said, flag, FlagMapper.IdOf(after, flag)));
}
