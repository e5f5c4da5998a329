using System.Text;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>One version of a resource as stored.</summary>
/// <param name="Type">FHIR type name.</param>
/// <param name="Id">Logical id.</param>
/// <param name="VersionId">1 for the first version, one more for each change of content.</param>
/// <param name="LastUpdated">When this version was stored, to the microsecond; no two units of writing share one.</param>
/// <param name="Json">The resource with exactly these in its meta.</param>
internal sealed record ResourceVersion(string Type, string Id, long VersionId, Instant LastUpdated, string Json);

/// <summary>Which version of a resource is stored.</summary>
/// <param name="VersionId">Its number.</param>
/// <param name="ContentHash">Fingerprint of its content, as <see cref="ResourceDraft.ContentHash"/>.</param>
internal sealed record StoredContent(long VersionId, byte[] ContentHash);

/// <summary>The statements that write resources; they run inside a <see cref="WriteTransaction"/>.</summary>
internal static class ResourceSql
{
    /// <summary>The latest moment a resource was stored under, in nanoseconds; 0 when there is none.</summary>
    public static long LastStored(PreparedStatements statements) =>
        statements.First("select coalesce(max(at), 0) from resource_version", row => row.GetInt64(0));

    /// <summary>Stores each draft of a change whose content differs from the current version as a new version.</summary>
    /// <param name="transaction">The unit of writing it is part of.</param>
    /// <param name="patientKey">Of the patient whose resources they are.</param>
    /// <param name="drafts">The resources; they may point at each other.</param>
    /// <param name="times">When each happened, and other times.</param>
    /// <returns>The new versions, in the order of the drafts.</returns>
    public static List<ResourceVersion> Store(
        WriteTransaction transaction,
        string patientKey,
        IReadOnlyList<ResourceDraft> drafts,
        IReadOnlyList<DraftTimes> times
    )
    {
        var partition = new PatientPartition(transaction.Statements, patientKey);
        // Numbers first, so that whoever points at another of them finds it.
        var places = drafts.Select(draft => partition.Find(draft) ?? partition.Next(draft.Type, draft.Id)).ToList();
        var at = UnixNanoseconds.Of(transaction.At);
        var stored = new List<ResourceVersion>();
        for (var i = 0; i < drafts.Count; i++)
        {
            var (draft, place) = (drafts[i], places[i]);
            if (place.ContentHash.AsSpan().SequenceEqual(draft.ContentHash))
                continue;
            var before = place with { };
            place.VersionId++;
            place.LastUpdated = at;
            place.ContentHash = draft.ContentHash;
            var json = draft.Json(place.VersionId, transaction.At);
            var about = draft.Subject ?? SubjectThrough(partition, draft, drafts);
            new ResourceRows(partition, draft, times[i], about).Write(before, place, StoredJson.Pack(json));
            stored.Add(new(draft.Type, draft.Id, place.VersionId, transaction.At, Encoding.UTF8.GetString(json)));
        }

        return stored;
    }

    /// <summary>A draft that is valid is withheld no longer. Says how many rows that changed.</summary>
    public static int Release(WriteTransaction transaction, string patientKey, ResourceDraft draft) =>
        transaction.Statements.Execute(
            "delete from withheld where patient_key = @patient and type = @type and id = @id",
            ("patient", patientKey),
            ("type", draft.Type),
            ("id", draft.Id)
        );

    /// <summary>
    /// Remembers a resource that must not be published. Says how many rows that changed: 0 when it was known with the same faults.
    /// </summary>
    public static int Withhold(WriteTransaction transaction, string patientKey, WithheldRow row) =>
        transaction.Statements.Execute(
            """
            insert into withheld (patient_key, type, id, faults, at) values (@patient, @type, @id, @faults, @at)
            on conflict (patient_key, type, id) do update set faults = excluded.faults, at = excluded.at
            where withheld.faults <> excluded.faults
            """,
            ("patient", patientKey),
            ("type", row.Type),
            ("id", row.Id),
            ("faults", row.Faults),
            ("at", UnixNanoseconds.Of(transaction.At))
        );

    /// <summary>A Provenance is about the patient of its targets, which may be among the drafts of the same change.</summary>
    private static ReferenceKey? SubjectThrough(PatientPartition partition, ResourceDraft draft, IReadOnlyList<ResourceDraft> together)
    {
        foreach (var address in draft.SubjectThrough)
        {
            if (address.Split('/') is not [var type, var id])
                continue;
            var subject = together.FirstOrDefault(other => other.Id == id && other.Type == type)?.Subject ?? partition.SubjectOf(type, id);
            if (subject is not null)
                return subject;
        }

        return null;
    }
}
