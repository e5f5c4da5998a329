using System.Data.Common;
using Dapper;
using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>A row of <c>episode</c>, as it is read.</summary>
internal sealed class EpisodeRowReader
{
    /// <summary>The columns of an episode, under the names of the properties.</summary>
    public const string Columns = """
        patient_key as PatientKey, id as Id, version as Version, last_sequence as LastSequence,
        identifier_system as IdentifierSystem, identifier_value as IdentifierValue,
        patient_system as PatientSystem, patient_value as PatientValue,
        opened_at as OpenedAt, closed_at as ClosedAt, json as Json, flags_as_of as FlagsAsOf,
        ward as Ward, room as Room, bed as Bed, saved_by as SavedBy
        """;

    public string PatientKey { get; set; } = "";

    public string Id { get; set; } = "";

    public long Version { get; set; }

    public long LastSequence { get; set; }

    public string? IdentifierSystem { get; set; }

    public string? IdentifierValue { get; set; }

    public string? PatientSystem { get; set; }

    public string? PatientValue { get; set; }

    public long OpenedAt { get; set; }

    public long? ClosedAt { get; set; }

    public string Json { get; set; } = "";

    public long? FlagsAsOf { get; set; }

    public string? Ward { get; set; }

    public string? Room { get; set; }

    public string? Bed { get; set; }

    public string? SavedBy { get; set; }

    public static EpisodeRowReader Read(DbDataReader row) => row.GetRowParser<EpisodeRowReader>()(row);

    public EpisodeRow ToRow() =>
        new(
            PatientKey,
            Id,
            Version,
            LastSequence,
            IdentifierValue is null ? null : new(IdentifierSystem ?? "", IdentifierValue),
            PatientValue is null ? null : new(PatientSystem ?? "", PatientValue),
            UnixNanoseconds.ToInstant(OpenedAt),
            ClosedAt is { } closed ? UnixNanoseconds.ToInstant(closed) : null,
            Json,
            FlagsAsOf is { } asOf ? UnixNanoseconds.ToInstant(asOf) : null
        )
        {
            Location = Ward is null ? null : new(Ward, Room, Bed),
            SavedBy = SavedBy,
        };
}

/// <summary>A row of <c>entry</c>, as it is read.</summary>
internal sealed class StoredEntry
{
    public long Sequence { get; set; }

    public string Source { get; set; } = "";

    public string EntryId { get; set; } = "";

    public int Revision { get; set; }

    public string Kind { get; set; } = "";

    public long At { get; set; }

    public long ReceivedAt { get; set; }

    public string Json { get; set; } = "";

    public EntryRow ToRow() =>
        new(Sequence, Source, EntryId, Revision, Kind, UnixNanoseconds.ToInstant(At), UnixNanoseconds.ToInstant(ReceivedAt), Json);
}
