using System.Text.Json.Nodes;
using Irrigation;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Entries;

/// <summary>The log of an episode: every version of every entry, in order of arrival.</summary>
internal sealed record EntryLog(string Episode, IReadOnlyList<LoggedEntryReply> Entries)
{
    /// <summary>The log from its rows.</summary>
    public static EntryLog Of(Episode episode, IReadOnlyList<EntryRow> rows)
    {
        var logged = episode.Log.Arrivals.ToDictionary(l => l.Sequence);
        return new(
            episode.Id,
            [
                .. rows.Where(row => logged.ContainsKey(row.Sequence))
                    .Select(row => new LoggedEntryReply(
                        row.Sequence,
                        row.Revision,
                        Slug.Of(logged[row.Sequence].Disposition),
                        episode.Log.Current(logged[row.Sequence].Entry.Key)?.Sequence == row.Sequence,
                        FhirValues.Time(row.ReceivedAt, DateTimeZone.Utc),
                        JsonNode.Parse(row.Json)!
                    )),
            ]
        );
    }
}

/// <summary>One version of one entry.</summary>
/// <param name="Sequence">Order of arrival.</param>
/// <param name="Revision">Which version of its id.</param>
/// <param name="Outcome">recorded, confirmed, amended, retracted or outdated.</param>
/// <param name="Stands">Whether it is the version that stands.</param>
/// <param name="ReceivedAt">When it arrived, in UTC.</param>
/// <param name="Entry">As sent.</param>
internal sealed record LoggedEntryReply(long Sequence, int Revision, string Outcome, bool Stands, string ReceivedAt, JsonNode Entry);
