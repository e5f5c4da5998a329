using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using NodaTime;

namespace IrrigationFhir.Model;

/// <summary>An identifier with its system, as a logical reference needs it.</summary>
internal sealed record BusinessIdentifier(string System, string Value);

/// <summary>A reference to something outside this service: by identifier, by address, or both.</summary>
internal sealed record Pointer(BusinessIdentifier? Identifier, string? Reference, string? Display);

/// <summary>Where a patient lies, by the ward's own names.</summary>
/// <param name="Ward">The ward.</param>
/// <param name="Room">The room; null where nobody says.</param>
/// <param name="Bed">The bed; null where nobody says.</param>
internal sealed record Location(string Ward, string? Room, string? Bed)
{
    private const string BeforeRoom = ", room ";
    private const string BeforeBed = ", bed ";

    /// <summary>In one line.</summary>
    public string Says => Ward + (Room is null ? "" : BeforeRoom + Room) + (Bed is null ? "" : BeforeBed + Bed);

    /// <summary>What <see cref="Says"/> says, and the room and the ward around it, so that each can be found by its whole name.</summary>
    public static IEnumerable<string> Around(string says)
    {
        yield return says;
        if (says.LastIndexOf(BeforeBed, StringComparison.Ordinal) is var bed and >= 0)
            yield return says = says[..bed];
        if (says.LastIndexOf(BeforeRoom, StringComparison.Ordinal) is var room and >= 0)
            yield return says[..room];
    }
}

/// <summary>An episode of irrigation as its opener describes it.</summary>
/// <param name="Identifier">The opener's own identifier; unique among all episodes.</param>
/// <param name="Patient">Who; a logical reference is enough.</param>
/// <param name="Encounter">Where it belongs, if told.</param>
/// <param name="BirthDate">Thresholds depend on age; unknown is not adult.</param>
/// <param name="Catheter">The catheter that was there at the start.</param>
/// <param name="BladderCapacity">If known: small, augmented and irradiated bladders differ.</param>
/// <param name="SpinalLevel">Level of a spinal cord injury, e.g. <c>T4</c>, if there is one.</param>
/// <param name="BaselineSystolic">The systolic blood pressure that is usual for the patient, if known.</param>
/// <param name="DuringProcedure">Irrigated during an endoscopic procedure.</param>
/// <param name="Frame">Start, end, zone, shifts.</param>
/// <param name="Json">As sent.</param>
internal sealed record EpisodeDefinition(
    BusinessIdentifier Identifier,
    Pointer Patient,
    Pointer? Encounter,
    LocalDate? BirthDate,
    Catheter? Catheter,
    Volume? BladderCapacity,
    string? SpinalLevel,
    Pressure? BaselineSystolic,
    bool DuringProcedure,
    EpisodeFrame Frame,
    string Json
)
{
    /// <summary>Where the patient lies; null where nobody says. Changes as the patient is moved.</summary>
    public Location? Location { get; init; }

    /// <summary>The facility that it names; null where it names none.</summary>
    public string? Facility { get; init; }

    /// <summary>Why the bladder is irrigated, in words; null where nobody says.</summary>
    public string? Reason { get; init; }

    /// <summary>
    /// What whoever takes over has to know of the patient, each in a few words: an anticoagulant, an allergy, isolation. Shown and never
    /// computed with.
    /// </summary>
    public IReadOnlyList<string> Risks { get; init; } = [];

    /// <summary>Whether two descriptions are of the same patient, in the same calendar: what cannot be amended.</summary>
    public bool SameBedside(EpisodeDefinition other) =>
        (Patient.Identifier, Patient.Reference, Frame.Zone) == (other.Patient.Identifier, other.Patient.Reference, other.Frame.Zone)
        && Frame.ShiftStarts.SequenceEqual(other.Frame.ShiftStarts);

    /// <summary>Whether two descriptions say the same.</summary>
    public bool SaysTheSame(EpisodeDefinition other) =>
        (
            Identifier,
            Patient,
            Encounter,
            BirthDate,
            Catheter,
            BladderCapacity,
            SpinalLevel,
            BaselineSystolic,
            DuringProcedure,
            Frame.Start,
            Frame.End,
            Location,
            Reason
        )
            == (
                other.Identifier,
                other.Patient,
                other.Encounter,
                other.BirthDate,
                other.Catheter,
                other.BladderCapacity,
                other.SpinalLevel,
                other.BaselineSystolic,
                other.DuringProcedure,
                other.Frame.Start,
                other.Frame.End,
                other.Location,
                other.Reason
            )
        && Risks.SequenceEqual(other.Risks)
        && SameBedside(other);

    /// <summary>What the rules of the flags have to know.</summary>
    public PatientFacts Facts =>
        new(
            new(BirthDate, Frame.Zone),
            BladderCapacity,
            SpinalLevel,
            Catheter?.InsertedAt,
            new(Catheter?.Type, Catheter?.French, Catheter?.Lumens),
            Encounter is not null,
            DuringProcedure
        )
        {
            BaselineSystolic = BaselineSystolic,
        };
}

/// <summary>The catheter at the start of an episode.</summary>
internal sealed record Catheter(string? Type, decimal? French, int? Lumens, Instant? InsertedAt);
