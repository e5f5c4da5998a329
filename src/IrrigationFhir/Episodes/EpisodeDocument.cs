using System.ComponentModel;
using System.Text.Json.Nodes;
using System.Text.Json.Serialization;
using IrrigationFhir.Record;
using IrrigationFhir.Rest;

namespace IrrigationFhir.Episodes;

/// <summary>An episode as the service answers it.</summary>
/// <param name="Id">The service's id, the last part of its address.</param>
/// <param name="Version">1 when opened, one more with every change.</param>
/// <param name="Entries">How many versions of entries its log holds.</param>
/// <param name="Episode">As sent.</param>
internal sealed record EpisodeReply(string Id, long Version, long Entries, JsonNode Episode);

/// <summary>The episodes that were found.</summary>
/// <param name="Episodes">At most as many as were asked for.</param>
/// <param name="Next">The address of those that follow; absent on the last page.</param>
internal sealed record EpisodesReply(IReadOnlyList<EpisodeReply> Episodes, string? Next = null);

/// <summary>An episode: one stretch of irrigation of one patient, with its clock and its shifts. Another property is refused.</summary>
/// <remarks>The shape for the contract; reading is done by <see cref="EpisodeReader"/>.</remarks>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record EpisodeDocument
{
    [Description(
        "The episode's own identifier. Posting it again amends the same episode: its start, end, encounter, catheter and the like."
    )]
    public required IdentifierDocument Identifier { get; init; }

    [Description("The patient, by identifier, reference or both. Cannot be amended.")]
    public required PointerDocument Patient { get; init; }

    [Description("The facility, where the service serves several and its client several of them. Cannot be amended.")]
    public string? Facility { get; init; }

    [Description("The encounter, if known.")]
    public PointerDocument? Encounter { get; init; }

    [Description("The patient's date of birth (1951-07-30), if known: unknown is not adult.")]
    public string? BirthDate { get; init; }

    [Description("The catheter at the start.")]
    public CatheterDocument? Catheter { get; init; }

    [Description("The bladder's capacity, if known: mL, L.")]
    public QuantityDocument? BladderCapacity { get; init; }

    [Description("Level of a spinal cord injury, e.g. T4, if there is one.")]
    public string? SpinalLevel { get; init; }

    [Description(
        "The systolic blood pressure that is usual for the patient, in mm[Hg], if known: with a spinal cord injury at or above "
            + "T6 a rise above it counts."
    )]
    public QuantityDocument? BaselineSystolic { get; init; }

    [Description(
        "True where the bladder is irrigated during an endoscopic procedure: the limits for irrigant that is not accounted for apply then."
    )]
    public bool? DuringProcedure { get; init; }

    [Description("The facility's IANA time zone. Default: the configured one. Cannot be amended.")]
    public string? TimeZone { get; init; }

    [Description("When shifts begin by the wall clock, e.g. 07:00. Cannot be amended.")]
    public IReadOnlyList<string>? ShiftStarts { get; init; }

    [Description("Where the patient lies. Sent again with another one, the patient was moved.")]
    public LocationDocument? Location { get; init; }

    [Description("Why the bladder is irrigated, in a few words.")]
    public string? Reason { get; init; }

    [Description(
        "What whoever takes over has to know of the patient, each in a few words: an anticoagulant, an allergy, isolation. "
            + "Shown, and never computed with."
    )]
    public IReadOnlyList<string>? Risks { get; init; }

    [Description("When the balance begins (RFC 3339, with seconds and offset).")]
    public required string Start { get; init; }

    [Description("When the episode ended, once it has.")]
    public string? End { get; init; }
}

/// <summary>An identifier with its system.</summary>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record IdentifierDocument
{
    [Description("The system the value is unique in, a URI.")]
    public required string System { get; init; }

    [Description("The value.")]
    public required string Value { get; init; }
}

/// <summary>A reference by identifier, by address, or both.</summary>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record PointerDocument
{
    [Description("A logical reference; enough on its own.")]
    public IdentifierDocument? Identifier { get; init; }

    [Description("An address, absolute or as the receiving FHIR server knows it.")]
    public string? Reference { get; init; }

    [Description("Text for people.")]
    public string? Display { get; init; }
}

/// <summary>Where a patient lies.</summary>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record LocationDocument
{
    [Description("The ward, by its own name.")]
    public required string Ward { get; init; }

    [Description("The room.")]
    public string? Room { get; init; }

    [Description("The bed.")]
    public string? Bed { get; init; }
}

/// <summary>A catheter.</summary>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record CatheterDocument
{
    [Description("The kind of catheter, in words.")]
    public string? Type { get; init; }

    [Description("Size in [Ch] (French).")]
    public QuantityDocument? Size { get; init; }

    [Description("1 to 3.")]
    public int? Lumens { get; init; }

    [Description("When it was inserted (RFC 3339, with seconds and offset).")]
    public string? InsertedAt { get; init; }
}
