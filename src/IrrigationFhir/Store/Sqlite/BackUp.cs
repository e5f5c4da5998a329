using System.Globalization;
using IrrigationFhir.Search;
using Microsoft.Data.Sqlite;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>What a store holds, to tell one copy from another. Figures only.</summary>
/// <param name="Episodes">How many episodes.</param>
/// <param name="Entries">How many entries, all versions.</param>
/// <param name="Resources">How many resources, current versions.</param>
/// <param name="LastStored">When something was last stored; null in a store that holds nothing.</param>
internal sealed record StoreContents(long Episodes, long Entries, long Resources, Instant? LastStored)
{
    /// <summary>Counts.</summary>
    public static StoreContents Of(SqliteConnection store)
    {
        var last = Math.Max(
            Dialect.Number(store, "select max(received_at) from entry"),
            Dialect.Number(store, "select max(last_updated) from resource")
        );
        return new(
            Dialect.Number(store, "select count(*) from episode"),
            Dialect.Number(store, "select count(*) from entry"),
            Dialect.Number(store, "select count(*) from resource"),
            last == 0 ? null : UnixNanoseconds.ToInstant(last)
        );
    }

    /// <summary>In words.</summary>
    public override string ToString()
    {
        var last = LastStored is { } at ? $"last stored {InstantPattern.General.Format(at)}" : "nothing stored yet";
        return string.Create(CultureInfo.InvariantCulture, $"{Episodes} episodes, {Entries} entries, {Resources} resources, {last}");
    }
}

/// <summary>
/// The commands <c>backup</c> and <c>restore</c>: one line each, and 0 when done, 1 when it failed, 2 when it was asked for wrongly.
/// </summary>
internal static class BackUp
{
    /// <summary>
    /// <c>backup TARGET</c>: a copy of the store of the settings in one file, while the service runs or not. It holds everything that was
    /// acknowledged before it began, and appears under its name only when it was read through and found whole.
    /// </summary>
    /// <param name="args">The file to write, which must not exist; then settings, as the service takes them.</param>
    /// <param name="output">Gets the line that says what was copied.</param>
    /// <param name="errors">Gets the line that says what hindered it.</param>
    public static int Run(string[] args, TextWriter output, TextWriter errors)
    {
        if (args is not [{ Length: > 0 } target, .. var settings] || target.StartsWith('-'))
            return Wrongly(errors, "usage: IrrigationFhir backup TARGET [--Data:Folder FOLDER]");
        var folder = StoreSettings.Read(WebApplication.CreateBuilder(settings).Configuration).Folder;
        if (Path.Exists(target))
            return Wrongly(errors, $"{target} exists: a backup overwrites nothing");
        if (!File.Exists(Dialect.FileIn(folder)))
            return Wrongly(errors, $"{folder} holds no store");
        return Said(
            output,
            errors,
            () =>
            {
                var copied = StoreFolder.OrFault(() => Copy(Dialect.FileIn(folder), target), target);
                return $"backed up to {target} and checked: {copied}";
            }
        );
    }

    /// <summary>
    /// <c>restore SOURCE</c>: puts a backup into the folder of the settings, where no store may be. <c>restore --check SOURCE</c>: says
    /// whether that would do, and what the backup holds; it changes nothing.
    /// </summary>
    /// <param name="args">The backup, behind <c>--check</c> or not; then settings, as the service takes them.</param>
    /// <param name="output">Gets the line that says what was found or restored.</param>
    /// <param name="errors">Gets the line that says what hindered it.</param>
    public static int Restore(string[] args, TextWriter output, TextWriter errors)
    {
        var checkOnly = args is ["--check", ..];
        if ((checkOnly ? args[1..] : args) is not [{ Length: > 0 } source, .. var given] || source.StartsWith('-'))
            return Wrongly(errors, "usage: IrrigationFhir restore [--check] SOURCE [--Data:Folder FOLDER]");
        if (!File.Exists(source))
            return Wrongly(errors, $"{source} is not there");
        if (File.Exists(source + "-wal"))
            return Wrongly(errors, $"{source} has a log beside it ({source}-wal), so it is a store and no backup: make one with backup");
        var settings = StoreSettings.Read(WebApplication.CreateBuilder(given).Configuration);
        return Said(
            output,
            errors,
            () =>
            {
                var found = StoreFolder.OrFault(() => Checked(source, settings.TimeZone), source);
                if (checkOnly)
                    return $"{source} can be restored: {found}";
                StoreFolder.Put(settings.Folder, source);
                return $"restored {source} to {settings.Folder}: {found}";
            }
        );
    }

    /// <summary>Copies a database in one read transaction and reads the copy through.</summary>
    private static StoreContents Copy(string file, string target)
    {
        // In the folder of the target, so that giving it its name is one step of the file system.
        var unfinished = $"{target}.{Guid.NewGuid():N}.unfinished";
        try
        {
            Reserve(unfinished);
            using (var store = Dialect.Open(file, SqliteOpenMode.ReadOnly))
            {
                using var copy = store.CreateCommand();
                // Not the file itself: what was written last lies in the log beside it. Minutes for a large store: no time limit.
                (copy.CommandText, copy.CommandTimeout) = ("vacuum into @target", 0);
                copy.Parameters.AddWithValue("@target", unfinished);
                copy.ExecuteNonQuery();
            }

            var contents = ReadThrough(unfinished);
            Dialect.Flush(unfinished);
            File.Move(unfinished, target);
            return contents;
        }
        finally
        {
            foreach (var left in new[] { "", "-journal" })
                File.Delete(unfinished + left);
        }
    }

    /// <summary>An empty file that only its owner may read, which a copy may be written into: it holds what was charted.</summary>
    private static void Reserve(string file)
    {
        var options = new FileStreamOptions { Mode = FileMode.CreateNew, Access = FileAccess.Write };
        if (!OperatingSystem.IsWindows())
            options.UnixCreateMode = UnixFileMode.UserRead | UnixFileMode.UserWrite;
        new FileStream(file, options).Dispose();
    }

    /// <summary>Everything there is to say against a file; then what it holds.</summary>
    /// <exception cref="StoreFault">It is not whole, or does not agree with itself.</exception>
    private static StoreContents ReadThrough(string file)
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

    /// <summary>Tries on a copy of a backup what a start would do with it, and says what it holds.</summary>
    private static string Checked(string source, DateTimeZone zone)
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

    private static int Said(TextWriter output, TextWriter errors, Func<string> work)
    {
        try
        {
            output.WriteLine(work());
            return 0;
        }
        catch (StoreFault fault)
        {
            errors.WriteLine(fault.Message);
            return 1;
        }
    }

    private static int Wrongly(TextWriter errors, string why)
    {
        errors.WriteLine(why);
        return 2;
    }
}
