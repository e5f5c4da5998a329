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
    /// <summary>The latest moment a current resource was stored under, in nanoseconds; 0 when there is none.</summary>
    public static long LastStored(PreparedStatements statements) =>
        IndexedTypes.All.Max(type =>
            statements.First(
                "select coalesce(max(last_updated), 0) from resource where type = @type",
                row => row.GetInt64(0),
                ("type", type.Name)
            )
        );

    /// <summary>Stores a draft as a new version if its content differs from the current one.</summary>
    /// <param name="transaction">The unit of writing it is part of.</param>
    /// <param name="patientKey">Of the patient whose resource it is.</param>
    /// <param name="draft">The resource.</param>
    /// <param name="times">When it happened, and other times.</param>
    /// <param name="together">All drafts of this change: a Provenance is about the patient of its targets, which may be among them.</param>
    /// <returns>The new version, or null when there is nothing new.</returns>
    public static ResourceVersion? Store(
        WriteTransaction transaction,
        string patientKey,
        ResourceDraft draft,
        DraftTimes times,
        IReadOnlyList<ResourceDraft> together
    )
    {
        var current = transaction.Statements.First(
            """
            select version_id, content_hash, index_hash, date_from, date_to, status, subject_reference, subject_system, subject_value
            from resource where patient_key = @patient and type = @type and id = @id
            """,
            row => new Current(
                row.GetInt64(0),
                (byte[])row[1],
                (byte[])row[2],
                [.. Enumerable.Range(3, 6).Select(column => row.IsDBNull(column) ? null : row.GetValue(column))]
            ),
            ("patient", patientKey),
            ("type", draft.Type),
            ("id", draft.Id)
        );

        if (current is not null && current.ContentHash.AsSpan().SequenceEqual(draft.ContentHash))
            return null;

        var versionId = (current?.VersionId ?? 0) + 1;
        var version = new ResourceVersion(draft.Type, draft.Id, versionId, transaction.At, draft.Json(versionId, transaction.At));

        if (current is not null)
            MoveToHistory(transaction, patientKey, draft);
        var about = draft.Subject ?? SubjectThrough(transaction, patientKey, draft, together);
        var from = times.Date?.From ?? long.MaxValue;
        (string, object?)[] foundBy =
        [
            ("date_from", from),
            ("date_to", times.Date?.To),
            ("status", draft.Status),
            ("subject_reference", about is { Target.Length: > 0 } subject ? subject.Target : null),
            ("subject_system", about?.Identifier?.System),
            ("subject_value", about?.Identifier?.Value),
        ];
        // What stays as it is is not set again: each index of a column that is set is written, whatever the value.
        if (current is not null)
            foundBy = [.. foundBy.Zip(current.FoundBy).Where(pair => !Equals(pair.First.Item2, pair.Second)).Select(pair => pair.First)];
        (string, object?)[] values =
        [
            ("patient", patientKey),
            ("type", draft.Type),
            ("id", draft.Id),
            ("version_id", versionId),
            ("last_updated", UnixNanoseconds.Of(transaction.At)),
            ("content_hash", draft.ContentHash),
            ("index_hash", draft.IndexHash),
            ("json", version.Json),
            .. foundBy,
        ];
        transaction.Statements.Execute(
            current is null ? InsertResource : $"update resource set {Assignments(values)} where {ByKey}",
            values
        );

        var rows = new IndexRows(transaction.Statements, patientKey, draft, times, from);
        if (current is null)
            rows.Insert();
        else
            rows.Replace(current.IndexHash);
        return version;
    }

    /// <summary>Writes again what a current resource is found by; its version stays.</summary>
    public static void IndexAnew(PreparedStatements statements, string patientKey, ResourceDraft draft, DraftTimes times)
    {
        new IndexRows(statements, patientKey, draft, times, times.Date?.From ?? long.MaxValue).Replace([]);
        statements.Execute(
            "update resource set index_hash = @index where patient_key = @patient and type = @type and id = @id",
            ("index", draft.IndexHash),
            ("patient", patientKey),
            ("type", draft.Type),
            ("id", draft.Id)
        );
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

    private const string InsertResource = """
        insert into resource (patient_key, type, id, version_id, last_updated, date_from, date_to, status,
            subject_reference, subject_system, subject_value, content_hash, index_hash, json)
        values (@patient, @type, @id, @version_id, @last_updated, @date_from, @date_to, @status,
            @subject_reference, @subject_system, @subject_value, @content_hash, @index_hash, @json)
        """;

    private const string ByKey = "patient_key = @patient and type = @type and id = @id";

    private static string Assignments((string Name, object?)[] values) =>
        string.Join(", ", values.Skip(3).Select(value => $"{value.Name} = @{value.Name}"));

    private static void MoveToHistory(WriteTransaction transaction, string patientKey, ResourceDraft draft) =>
        transaction.Statements.Execute(
            """
            insert into resource_history (patient_key, type, id, version_id, last_updated, json)
            select patient_key, type, id, version_id, last_updated, json from resource
            where patient_key = @patient and type = @type and id = @id
            """,
            ("patient", patientKey),
            ("type", draft.Type),
            ("id", draft.Id)
        );

    private static ReferenceKey? SubjectThrough(
        WriteTransaction transaction,
        string patientKey,
        ResourceDraft draft,
        IReadOnlyList<ResourceDraft> together
    )
    {
        foreach (var address in draft.SubjectThrough)
        {
            if (address.Split('/') is not [var type, var id])
                continue;
            var subject =
                together.FirstOrDefault(other => other.Id == id && other.Type == type)?.Subject
                ?? transaction.Statements.First<ReferenceKey?>(
                    """
                    select subject_reference, subject_value, subject_system from resource
                    where patient_key = @patient and type = @type and id = @id
                    """,
                    row =>
                        new(
                            row.IsDBNull(0) ? "" : row.GetString(0),
                            row.IsDBNull(1) ? null : new Token(row.GetString(2), row.GetString(1))
                        ),
                    ("patient", patientKey),
                    ("type", type),
                    ("id", id)
                );
            if (subject is not null)
                return subject;
        }

        return null;
    }

    private sealed record Current(long VersionId, byte[] ContentHash, byte[] IndexHash, IReadOnlyList<object?> FoundBy);
}
