using IrrigationFhir.Rest;

namespace IrrigationFhir.Entries;

/// <summary>What the service answers to entries.</summary>
/// <param name="Episode">The episode's id.</param>
/// <param name="Version">The episode's version now.</param>
/// <param name="Entries">One for each entry sent, in their order.</param>
/// <param name="Recalculated">Closed intervals that are new or became others: old value, new value, and the entries that did it.</param>
/// <param name="Changed">Resources that got a new version.</param>
/// <param name="Withheld">Resources of ours that failed their own profile: the entries are kept, these are not published.</param>
internal sealed record EntriesReply(
    string Episode,
    long Version,
    IReadOnlyList<EntryResult> Entries,
    IReadOnlyList<RecalculatedInterval> Recalculated,
    IReadOnlyList<ChangedResource> Changed,
    IReadOnlyList<WithheldResource> Withheld
);

/// <summary>What became of one entry.</summary>
/// <param name="Source">Its source; null where a refused entry does not say it.</param>
/// <param name="Id">Its id.</param>
/// <param name="Outcome">recorded, repeated, confirmed, amended, retracted, outdated, or refused.</param>
/// <param name="Sequence">Its place in the order of arrival.</param>
/// <param name="Revision">Which version of its id.</param>
/// <param name="Problems">Why it was refused; at most 20 reasons.</param>
/// <param name="Doubts">
/// What cannot be taken as it stands now that it is there: of its own reading, or of an earlier one that it makes doubtful. Nothing is
/// refused for it; look again, then confirm the reading (<c>reading-confirmed</c>) or correct it. Null where nothing is doubted.
/// </param>
/// <param name="Drips">
/// What to count for what was ordered or set (<c>order-set</c>, <c>flow-set</c>), and how far what was counted is from it, as of the
/// entry's own time; of an order one for each line. Null where nothing drips, or a pump runs it.
/// </param>
internal sealed record EntryResult(
    string? Source,
    string? Id,
    string Outcome,
    long? Sequence,
    int? Revision,
    IReadOnlyList<ProblemReply>? Problems,
    IReadOnlyList<DoubtReport>? Doubts,
    IReadOnlyList<LineDripReport>? Drips
);

/// <summary>One problem.</summary>
/// <param name="Code">Stable; software may rely on it.</param>
/// <param name="Where">A path into what was sent, e.g. <c>entries[3].volume</c>.</param>
/// <param name="Saw">What was seen.</param>
/// <param name="Expected">What is expected.</param>
internal sealed record ProblemReply(string Code, string Where, string Saw, string Expected);

/// <summary>A closed interval that is new or became another one.</summary>
/// <param name="Stream">bladder, or the route.</param>
/// <param name="Start">Its start now, or before where it is gone.</param>
/// <param name="End">Its end.</param>
/// <param name="Before">Corrected output before; null where there was none.</param>
/// <param name="After">Corrected output now; null where there is none.</param>
/// <param name="Status">How firm it is; null where the interval is gone.</param>
/// <param name="Because">The entries (source/id) of this request that could touch it, those that it rests on first.</param>
internal sealed record RecalculatedInterval(
    string Stream,
    string Start,
    string End,
    Amount? Before,
    Amount? After,
    string? Status,
    IReadOnlyList<string> Because
);

/// <summary>A resource that got a new version.</summary>
/// <param name="Type">Observation, Procedure or Provenance.</param>
/// <param name="Id">Its id: <c>/fhir/{type}/{id}</c>.</param>
/// <param name="Version">The new version: <c>/fhir/{type}/{id}/_history/{version}</c>.</param>
internal sealed record ChangedResource(string Type, string Id, long Version);

/// <summary>A resource that is withheld, and the rules it failed.</summary>
/// <param name="Type">Its type.</param>
/// <param name="Id">The id it would have had.</param>
/// <param name="Faults">The rules' keys, separated by spaces.</param>
internal sealed record WithheldResource(string Type, string Id, string Faults);
