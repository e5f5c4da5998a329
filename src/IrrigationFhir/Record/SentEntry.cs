using System.Text.Json;
using Irrigation.Episodes;

namespace IrrigationFhir.Record;

/// <summary>An entry as a sender sent it: what it says, or why it cannot be read.</summary>
/// <param name="Entry">What it says; null where it cannot be read.</param>
/// <param name="Json">What is kept of it: as sent, whatever its units and offsets.</param>
/// <param name="Key">What it is called, so that its sender finds it; null where it does not say.</param>
/// <param name="Problems">Why it is refused; empty where nothing speaks against it by itself.</param>
/// <param name="Where">Its path in the request.</param>
internal sealed record SentEntry(Entry? Entry, string? Json, EntryKey? Key, IReadOnlyList<EntryProblem> Problems, string Where)
{
    /// <summary>
    /// What its sender is promised besides: what it breaks by the very log that it would be appended to; null for nothing.
    /// </summary>
    public Func<Entry, EpisodeLog, EntryProblem?> Promise { get; init; } = static (_, _) => null;

    /// <summary>Where a problem lies in what was really sent, where that is no entry of ours.</summary>
    public Func<string, string> PlaceOf { get; init; } = static where => where;

    /// <summary>Reads one.</summary>
    /// <param name="json">The entry.</param>
    /// <param name="where">Its path in the request.</param>
    public static SentEntry Read(JsonElement json, string where)
    {
        var problems = new List<EntryProblem>();
        var read = EntryReader.Read(json, where, problems);
        return new(read?.Entry, read?.Json, read?.Entry.Key ?? KeyOf(json), problems, where);
    }

    /// <summary>The same, refused.</summary>
    public SentEntry Refused(params IEnumerable<EntryProblem> problems) =>
        this with
        {
            Problems = [.. problems.Select(problem => problem with { Where = PlaceOf(problem.Where) })],
        };

    private static EntryKey? KeyOf(JsonElement json) =>
        json.TextOf("source") is { Length: > 0 and <= EntryReader.LongestKey } source
        && json.TextOf("id") is { Length: > 0 and <= EntryReader.LongestKey } id
            ? new EntryKey(source, id)
            : null;
}
