using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>Makes a copy of a store in one file, while the service runs or not.</summary>
internal static class BackUp
{
    /// <summary>Copies a database in one read transaction and reads the copy through.</summary>
    /// <param name="folder">The folder of the store; whether it is served plays no part.</param>
    /// <param name="target">The file to write, which must not exist. It appears when it was found whole.</param>
    /// <exception cref="StoreFault">It cannot be read or written, or the copy is not whole.</exception>
    public static StoreContents Copy(string folder, string target) =>
        StoreFolder.OrFault(() => CopyFile(Dialect.FileIn(folder), target), target);

    /// <summary>Whether a folder holds a store that can be copied.</summary>
    public static bool HasStore(string folder) => File.Exists(Dialect.FileIn(folder));

    private static StoreContents CopyFile(string file, string target)
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

            var contents = CopyCheck.ReadThrough(unfinished);
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
}
