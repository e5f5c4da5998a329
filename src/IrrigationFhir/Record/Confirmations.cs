using Irrigation.Episodes;

namespace IrrigationFhir.Record;

/// <summary>Whether what is confirmed is there: a mistyped id would leave the doubt, and nobody would know.</summary>
internal static class Confirmations
{
    /// <summary>The problem of a confirmation whose reading does not stand in the log; null for any other entry.</summary>
    /// <remarks>A confirmation is no reading: confirming one, itself too, would confirm nothing.</remarks>
    public static EntryProblem? Of(Entry entry, EpisodeLog log, string where) =>
        entry is ReadingConfirmed confirmed && log.Current(confirmed.Reading)?.Entry is null or EnteredInError or ReadingConfirmed
            ? EntryProblem.UnknownReading($"{where}.reading", confirmed.Reading)
            : null;
}
