using Microsoft.Data.Sqlite;
using NodaTime;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>Reads a copy of a store through, and tries what a start would do with it.</summary>
internal static class CopyCheck
{
    /// <summary>Tries on a copy of a backup what a start would do with it, and says what it holds.</summary>
    /// <exception cref="StoreFault">It cannot be restored.</exception>
    public static string TryRestore(string source, DateTimeZone zone) => StoreFolder.OrFault(() => TryOnCopy(source, zone), source);

    private static string TryOnCopy(string source, DateTimeZone zone)
    {
        var folder = Directory.CreateTempSubdirectory("restore-check-");
        try
        {
            var copy = Path.Combine(folder.FullName, Dialect.FileName);
            File.Copy(source, copy);
            File.SetAttributes(copy, FileAttributes.Normal);
            var contents = ReadThrough(copy);
            int pending;
            using (var store = Dialect.Open(copy, SqliteOpenMode.ReadOnly))
                pending = Migration.Pending(store);
            Migration.Run(copy, zone);
            return pending == 0
                ? contents.ToString()
                : $"{contents}; made by an earlier version, brought up to date at the next start (tried on a copy)";
        }
        finally
        {
            folder.Delete(recursive: true);
        }
    }

    /// <summary>Everything there is to say against a file; then what it holds.</summary>
    /// <exception cref="StoreFault">It is not whole, or does not agree with itself.</exception>
    public static StoreContents ReadThrough(string file)
    {
        StoreFolder.Examine(file);
        using var store = Dialect.Open(file, SqliteOpenMode.ReadOnly);
        if (Dialect.Texts(store, "pragma integrity_check(1)") is [var fault] && fault != "ok")
            throw new StoreFault($"the copy is damaged: {fault.ReplaceLineEndings(" ")}");
        if (Dialect.Rows(store, "pragma foreign_key_check", row => 0).Count > 0)
            throw new StoreFault("the copy holds entries without their episode");
        const string Counted = """
            select 1 from episode e
            where last_sequence <> (select count(*) from entry n where n.patient_key = e.patient_key and n.episode_id = e.id) limit 1
            """;
        if (Dialect.Rows(store, Counted, row => 0).Count > 0)
            throw new StoreFault("the copy lacks entries that an episode counts");
        if (Migration.Pending(store) == 0 && SchemaCheck.Differences(store) is { Count: > 0 } differences)
            throw new StoreFault($"the copy does not have the schema that this version expects: {string.Join("; ", differences)}");
        return StoreContents.Of(store);
    }
}
