using Hl7.Fhir.Model;
using IrrigationFhir.Search;
using Microsoft.Data.Sqlite;
using DateTimeZone = NodaTime.DateTimeZone;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>Resources as they were stored up to script 0008, with texts for keys and JSON as it is: carried over, row by row.</summary>
/// <remarks>
/// What a resource is found by follows from its JSON, and is worked out from it, in the transaction of the scripts. Versions, times of
/// storing, fingerprints and the JSON stay.
/// </remarks>
internal static class WideRows
{
    private const int SayEvery = 10_000;

    private const string OfResource = "where patient_key = @patient and type = @type and id = @id";

    /// <summary>Carries over what is left from before; does nothing where nothing is.</summary>
    public static void Carry(SqliteConnection store, DateTimeZone zone, ILogger log)
    {
        if (Dialect.Texts(store, "select name from sqlite_master where name = 'resource_before'").Count == 0)
            return;
        using var statements = new PreparedStatements(store);
        var (all, done) = (Dialect.Number(store, "select count(*) from resource_before"), 0L);
        foreach (var patientKey in Dialect.Texts(store, "select distinct patient_key from resource_before"))
        {
            var partition = new PatientPartition(statements, patientKey);
            var addresses = statements.All(
                "select type, id from resource_before where patient_key = @patient order by rowid",
                row => (Type: row.Text(0), Id: row.Text(1)),
                ("patient", patientKey)
            );
            // Numbers first, so that whoever points at another of them finds it.
            var places = addresses.ConvertAll(address => partition.Next(address.Type, address.Id));
            foreach (var ((type, id), place) in addresses.Zip(places))
            {
                Carry(partition, patientKey, type, id, place, zone);
                if (++done % SayEvery == 0)
                    log.LogInformation("{Done} of {All} resources are carried over", done, all);
            }
        }

        Drop(store);
    }

    /// <summary>Removes what was carried over.</summary>
    public static void Drop(SqliteConnection store) =>
        Dialect.Run(store, "drop table if exists resource_before; drop table if exists resource_history_before");

    private static void Carry(PatientPartition partition, string patientKey, string type, string id, ResourcePlace place, DateTimeZone zone)
    {
        var statements = partition.Statements;
        (string, object?)[] key = [("patient", patientKey), ("type", type), ("id", id)];
        long? before = null;
        var versions = statements.All(
            $"""
            select version_id, last_updated, json from resource_history_before {OfResource}
            union all select version_id, last_updated, json from resource_before {OfResource} order by 1
            """,
            row => (Version: row.Number(0), At: row.Number(1), Json: row.Text(2)),
            key
        );
        foreach (var (version, at, text) in versions)
        {
            ResourceRows.WriteVersion(partition, IndexedTypes.NumberOf(type), place.Number, version, at, before, StoredJson.Pack(text));
            before = at;
        }

        var (hash, about) = statements.Find(
            $"select content_hash, subject_reference, subject_value, subject_system from resource_before {OfResource}",
            row =>
                (
                    row.Bytes(0),
                    (row.TextOrNull(1), row.TextOrNull(2)) is (null, null)
                        ? (ReferenceKey?)null
                        : new ReferenceKey(
                            row.TextOrNull(1) ?? "",
                            row.TextOrNull(2) is { } value ? new Token(row.TextOrNull(3) ?? "", value) : null
                        )
                ),
            key
        );
        (place.VersionId, place.LastUpdated, place.ContentHash) = (
            versions[^1].Version,
            versions[^1].At,
            hash[..ResourceDraft.FingerprintLength]
        );
        var draft = ResourceDraft.Of(FhirJson.Read<Resource>(versions[^1].Json));
        new ResourceRows(partition, draft, draft.Times(zone), about).WriteAgain(place);
    }
}
