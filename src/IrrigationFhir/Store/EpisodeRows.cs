using IrrigationFhir.Model;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>An episode as stored.</summary>
/// <param name="PatientKey">Keeps the rows of one patient together; opaque here, never shown to clients.</param>
/// <param name="Id">Unique among all episodes.</param>
/// <param name="Version">1 when opened, one more with every <see cref="EpisodeStore.Save"/> that changed something.</param>
/// <param name="LastSequence">Sequence of the latest entry; 0 before the first.</param>
/// <param name="Identifier">The business identifier, unique among the episodes of its facility, or null.</param>
/// <param name="Patient">The patient's identifier, or null.</param>
/// <param name="OpenedAt">When the episode began.</param>
/// <param name="ClosedAt">When it ended; null while it is open.</param>
/// <param name="Json">What the episode is, in the form the entries API chose.</param>
/// <param name="FlagsAsOf">Up to when its flags are worked out; null where they never were.</param>
internal sealed record EpisodeRow(
    string PatientKey,
    string Id,
    long Version,
    long LastSequence,
    Token? Identifier,
    Token? Patient,
    Instant OpenedAt,
    Instant? ClosedAt,
    string Json,
    Instant? FlagsAsOf = null
)
{
    /// <summary>Where the patient lies; null where nobody says.</summary>
    public Location? Location { get; init; }

    /// <summary>The facility that the patient is of; empty for the one without a name.</summary>
    public string Facility => PatientNumber.FacilityIn(PatientKey);

    /// <summary>By which program and settings which version was saved last; null where nobody said.</summary>
    public string? SavedBy { get; init; }
}

/// <summary>What is remembered of an episode beside its log, as stored.</summary>
/// <param name="MadeBy">A digest of everything that it follows from beside the log; opaque here.</param>
/// <param name="LastSequence">The last entry that it goes up to.</param>
/// <param name="Content">What is remembered; opaque here.</param>
internal sealed record RememberedRow(byte[] MadeBy, long LastSequence, byte[] Content);

/// <summary>Which episodes to list.</summary>
/// <param name="IsOpen">Only those that have not ended by now, or only those that have; null for both.</param>
/// <param name="Ward">Only of this ward; null for all.</param>
/// <param name="Room">Only of this room of the ward; null for all.</param>
/// <param name="Bed">Only of this bed of the room; null for all.</param>
/// <param name="AtMost">How many.</param>
internal sealed record EpisodeListing(bool? IsOpen, string? Ward, string? Room, string? Bed, int AtMost)
{
    /// <summary>Now: an end that lies ahead has not come.</summary>
    public required Instant Now { get; init; }

    /// <summary>Only of these facilities; null for all.</summary>
    public IReadOnlyList<string>? Facilities { get; init; }

    /// <summary>Only what follows this episode in the list; null for the first page.</summary>
    public (Instant OpenedAt, string Id)? After { get; init; }
}

/// <summary>One revision of one entry.</summary>
/// <param name="Sequence">Order of arrival within the episode, from 1, without gaps that mean anything.</param>
/// <param name="Source">Who sent it.</param>
/// <param name="EntryId">The sender's id. With source and revision it is single in the episode; the database sees to that.</param>
/// <param name="Revision">1 for the first content under that id, one more for each amendment.</param>
/// <param name="Kind">The slug of what it says happened.</param>
/// <param name="At">When it happened, or began to.</param>
/// <param name="ReceivedAt">When it arrived here.</param>
/// <param name="Json">The entry.</param>
internal sealed record EntryRow(
    long Sequence,
    string Source,
    string EntryId,
    int Revision,
    string Kind,
    Instant At,
    Instant ReceivedAt,
    string Json
);

/// <summary>A resource that failed its own profile and is not published.</summary>
/// <param name="Type">Its FHIR type.</param>
/// <param name="Id">Its id.</param>
/// <param name="Faults">The keys of the rules it broke; no values, no patient data.</param>
internal sealed record WithheldRow(string Type, string Id, string Faults);

/// <summary>An event of a resource that subscribers are notified of, if this change gives it a new version.</summary>
/// <param name="Type">Its FHIR type.</param>
/// <param name="Id">Its id.</param>
/// <param name="Event">What became of it: <c>raised</c>, <c>changed</c>, <c>cleared</c>, <c>retracted</c>, <c>amended</c>.</param>
internal sealed record OutboxEvent(string Type, string Id, string Event)
{
    /// <summary>Slugs of the topics that it is an event of.</summary>
    public IReadOnlyList<string> Topics { get; init; } = [];

    /// <summary>What filters compare: <c>parameter value</c>, with one blank between.</summary>
    public IReadOnlyList<string> Attributes { get; init; } = [];

    /// <summary>Whether all are notified who were notified of the resource before, whatever their topic and filters.</summary>
    public bool AlsoToEarlierRecipients { get; init; }
}

/// <summary>All that one request or one re-evaluation changes in an episode; stored wholly or not at all.</summary>
/// <param name="PatientKey">As in the episode.</param>
/// <param name="EpisodeId">Which episode.</param>
/// <param name="ExpectedVersion">The version the change was computed from.</param>
/// <param name="Entries">New entry rows, in sequence order.</param>
/// <param name="Resources">What the episode now says; drafts equal to what is stored change nothing.</param>
/// <param name="Withheld">What it would say, were it valid.</param>
/// <param name="Json">The new content of the episode, or null to leave it.</param>
/// <param name="ClosedAt">When it ended; null to leave that, and with new content, to say that it has not.</param>
internal sealed record EpisodeChange(
    string PatientKey,
    string EpisodeId,
    long ExpectedVersion,
    IReadOnlyList<EntryRow> Entries,
    IReadOnlyList<ResourceDraft> Resources,
    IReadOnlyList<WithheldRow> Withheld,
    string? Json = null,
    Instant? ClosedAt = null
)
{
    /// <summary>Where the patient lies now; counts where <see cref="Json"/> is new.</summary>
    public Location? Location { get; init; }

    /// <summary>The events of the resources that change.</summary>
    public IReadOnlyList<OutboxEvent> Events { get; init; } = [];

    /// <summary>Up to when the flags are worked out; null to leave that and <see cref="NextFlagCheck"/>.</summary>
    public Instant? FlagsAsOf { get; init; }

    /// <summary>When time alone may change a flag; null where it cannot.</summary>
    public Instant? NextFlagCheck { get; init; }

    /// <summary>By which program and settings it is saved; null to say nothing of it.</summary>
    public string? SavedBy { get; init; }

    /// <summary>What is to be remembered from here on; null to leave what is.</summary>
    public RememberedRow? Remembered { get; init; }

    /// <summary>Whether it is all new: nothing in it amends or withdraws what was there.</summary>
    public bool Creates { get; init; }

    /// <summary>
    /// The addresses of the resources that were meant, such as the Observations of entries; where there are none, those that changed.
    /// </summary>
    public IReadOnlyList<string> About { get; init; } = [];
}

/// <summary>What became of an <see cref="EpisodeChange"/>.</summary>
internal abstract record SaveOutcome
{
    /// <summary>It is on disk.</summary>
    /// <param name="Version">The episode's version now; the expected one if nothing had changed.</param>
    /// <param name="Changed">The resources that got a new version, in the order of the drafts.</param>
    public sealed record Saved(long Version, IReadOnlyList<ResourceVersion> Changed) : SaveOutcome;

    /// <summary>Somebody else was first; nothing is stored. Load and run again.</summary>
    public sealed record VersionConflict(long Expected, long Actual) : SaveOutcome;

    /// <summary>
    /// An entry of that source, id and revision, or that sequence, is there already; nothing is stored. Load and run again.
    /// </summary>
    public sealed record RepeatedEntry(string Source, string EntryId, int Revision) : SaveOutcome;
}

/// <summary>What became of an attempt to open an episode.</summary>
internal abstract record OpenOutcome
{
    /// <summary>It is on disk.</summary>
    public sealed record Opened(EpisodeRow Episode) : OpenOutcome;

    /// <summary>Its id or its business identifier belongs to this one; nothing is stored.</summary>
    public sealed record AlreadyThere(EpisodeRow Episode) : OpenOutcome;
}
