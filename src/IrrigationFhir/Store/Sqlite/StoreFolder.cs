using System.Buffers.Binary;
using Microsoft.Data.Sqlite;
using NodaTime;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>The folder of a store: one process holds it, and what lies in it is looked at before anything is written.</summary>
/// <remarks>
/// It holds <c>irrigation.db</c>, beside it while it is served <c>-wal</c> and <c>-shm</c>, and <c>irrigation.lock</c>. The lock is the
/// system's and ends with the process, however that ends; the file stays, and from the first start on says that a store lies here, so
/// that one that vanished is missed and not begun anew.
/// </remarks>
internal sealed class StoreFolder : IDisposable
{
    private const string LockName = "irrigation.lock";

    /// <summary>A store is made under this name, and gets its own when it is whole.</summary>
    private const string UnfinishedName = Dialect.FileName + ".new";

    /// <summary>
    /// Up to so many bytes every page is looked at, at each start: a matter of a second or two. A larger file is judged by its header, its
    /// length and its schema alone, so that a restart takes no minutes; <c>restore --check</c> reads all of it, whatever its size.
    /// </summary>
    private const long ReadThroughUpTo = 256L << 20;

    // What SQLite keeps beside the database, and reads into it.
    private static readonly string[] Logs = [Dialect.FileName + "-wal", Dialect.FileName + "-journal"];

    // A lock is held by the process: several stores of one process may share a folder, as those of tests do.
    private static readonly Dictionary<string, (FileStream Lock, int Holders)> Held = [];

    private readonly string _folder;
    private readonly string _key;
    private bool _released;

    private StoreFolder(string folder)
    {
        _folder = folder;
        _key = Path.GetFullPath(folder);
        TakeLock();
    }

    /// <summary>Takes the folder, and brings the store in it up to date or begins a new one.</summary>
    /// <exception cref="StoreFault">It is taken, or what lies there cannot be served; nothing was changed.</exception>
    public static StoreFolder Open(string folder, DateTimeZone zone, ILogger log)
    {
        var place = OrFault(() => new StoreFolder(folder), folder);
        try
        {
            OrFault(() => place.BringUpToDate(zone, log), folder);
            return place;
        }
        catch
        {
            place.Dispose();
            throw;
        }
    }

    /// <summary>Takes a folder without a database and puts a copy of one into it.</summary>
    /// <param name="folder">Where it is to be served; made if it is missing.</param>
    /// <param name="source">A file that <see cref="Examine"/> finds nothing wrong with.</param>
    /// <exception cref="StoreFault">A database, or what is left of one, lies there already; nothing was changed.</exception>
    public static void Put(string folder, string source) =>
        OrFault(
            () =>
            {
                using var place = new StoreFolder(folder);
                if (File.Exists(Dialect.FileIn(folder)))
                    throw new StoreFault($"{folder} holds a store already: restore into an empty folder.");
                foreach (var name in Logs)
                {
                    // Who only reads leaves an empty log behind. One that is not empty would be read into this store.
                    var left = new FileInfo(Path.Combine(folder, name));
                    if (left is { Exists: true, Length: > 0 })
                        throw new StoreFault($"{folder} holds {name} of another store, which must not meet this one: move it away first.");
                    left.Delete();
                }

                var unfinished = place.ClearUnfinished();
                File.Copy(source, unfinished);
                Dialect.UseWriteAheadLog(unfinished);
                place.Finish(unfinished);
                return true;
            },
            folder
        );

    /// <summary>Looks at a database file without changing it.</summary>
    /// <exception cref="StoreFault">It is no database, not whole, or not one that this version can serve.</exception>
    /// <exception cref="SqliteException">It cannot be read.</exception>
    public static void Examine(string file)
    {
        var name = Path.GetFileName(file);
        var length = new FileInfo(file).Length;
        var log = new FileInfo(file + "-wal");
        if (length == 0)
            throw new StoreFault($"{name} is empty: restore a backup, or remove it to begin a new store.");
        if (Header(file) is not { } header)
            throw new StoreFault($"{name} is not a database: restore a backup.");

        // With a log beside it, pages at the end may still be there only.
        if ((!log.Exists || log.Length == 0) && length < header.Pages * header.PageSize)
            throw new StoreFault($"{name} is cut off: it holds {length} of {header.Pages * header.PageSize} bytes. Restore a backup.");

        using var store = Dialect.Open(file, SqliteOpenMode.ReadOnly);
        var tables = Dialect.Texts(store, "select name from sqlite_master where type = 'table' and name not like 'sqlite%' order by name");
        if (tables.Count == 0)
        {
            throw new StoreFault(
                $"{name} holds no table: was it copied without the {name}-wal beside it? "
                    + "Restore a backup, or remove it to begin a new store."
            );
        }

        if (!tables.Contains(Migration.JournalTable))
            throw new StoreFault($"{name} is a database, but none of this service: it holds {string.Join(", ", tables.Take(5))}.");
        if (Migration.Unknown(store) is { Count: > 0 } unknown)
        {
            throw new StoreFault(
                $"{name} was made by a newer version, or by another program: this one does not know {string.Join(", ", unknown)}."
            );
        }

        if (length <= ReadThroughUpTo && Dialect.Texts(store, "pragma quick_check(1)") is [var found] && found != "ok")
            throw new StoreFault($"{name} is damaged: {found.ReplaceLineEndings(" ")}. Restore a backup.");
    }

    /// <summary>Does it; what files and SQLite say against it becomes a <see cref="StoreFault"/>.</summary>
    /// <param name="work">What is to be done.</param>
    /// <param name="place">The folder or file it is about, as it was given.</param>
    public static T OrFault<T>(Func<T> work, string place)
    {
        try
        {
            return work();
        }
        catch (SqliteException failure) when (failure.SqliteErrorCode is 11 or 26)
        {
            throw new StoreFault($"The database in {place} is damaged, or none: {failure.Message} Restore a backup.", failure);
        }
        catch (SqliteException failure)
        {
            throw new StoreFault($"The database in {place} cannot be opened: {failure.Message}", failure);
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
        {
            throw new StoreFault($"{place} cannot be used: {failure.Message}", failure);
        }
    }

    /// <summary>
    /// Moves everything from the log into the database, so that the one file holds the store, where no other of this process holds the
    /// folder. True when the file holds it; false when somebody else still reads, or another holds the folder.
    /// </summary>
    public bool EmptyLog()
    {
        lock (Held)
        {
            if (_released || Held[_key].Holders > 1 || !File.Exists(Dialect.FileIn(_folder)))
                return _released;
            using var connection = Dialect.OpenForWriting(_folder);
            // A reader, such as a backup, is waited for a little.
            for (var tries = 0; tries < 50; tries++)
            {
                if (Dialect.Checkpoint(connection))
                    return true;
                Thread.Sleep(100);
            }

            return false;
        }
    }

    /// <inheritdoc/>
    public void Dispose()
    {
        lock (Held)
        {
            if (_released)
                return;
            _released = true;
            var (file, holders) = Held[_key];
            if (holders > 1)
            {
                Held[_key] = (file, holders - 1);
                return;
            }

            Held.Remove(_key);
            file.Dispose();
        }
    }

    private bool BringUpToDate(DateTimeZone zone, ILogger log)
    {
        var file = Dialect.FileIn(_folder);
        if (File.Exists(file))
        {
            Examine(file);
            var pending = Pending(file);
            // Minutes for a large store of an early version: whoever waits for the start is told why.
            if (pending > 0)
                log.LogInformation("The store in {Folder} is brought up to date: {Scripts} scripts to run", _folder, pending);
            Dialect.UseWriteAheadLog(file);
            Migration.Run(file, zone, log);
            MarkAsUsed();
            return true;
        }

        if (FindLeftover() is { } left)
        {
            throw new StoreFault(
                $"{_folder} held a store, and {Dialect.FileName} is gone: {left} is still there. "
                    + "Put it back or restore a backup; to begin a new store, empty the folder."
            );
        }

        var unfinished = ClearUnfinished();
        Dialect.Begin(unfinished);
        Migration.Run(unfinished, zone);
        Finish(unfinished);
        log.LogInformation("A new store was begun in {Folder}", _folder);
        return true;
    }

    private static int Pending(string file)
    {
        using var store = Dialect.Open(file, SqliteOpenMode.ReadOnly);
        return Migration.Pending(store);
    }

    private void TakeLock()
    {
        lock (Held)
        {
            if (Held.TryGetValue(_key, out var held))
            {
                Held[_key] = (held.Lock, held.Holders + 1);
                return;
            }

            Directory.CreateDirectory(_folder);
            var path = Path.Combine(_folder, LockName);
            try
            {
                Held[_key] = (new FileStream(path, FileMode.OpenOrCreate, FileAccess.ReadWrite, FileShare.None), 1);
            }
            catch (IOException failure) when (File.Exists(path))
            {
                throw new StoreFault($"Another process serves the store in {_folder}: a folder has one.", failure);
            }
        }
    }

    /// <summary>What tells that a store was here, when its file is not; null when nothing does.</summary>
    private string? FindLeftover()
    {
        if (Logs.FirstOrDefault(name => File.Exists(Path.Combine(_folder, name))) is { } log)
            return log;
        lock (Held)
            return Held[_key].Lock.Length > 0 ? LockName : null;
    }

    /// <summary>Says in the lock file that a store lies here.</summary>
    private void MarkAsUsed()
    {
        lock (Held)
        {
            var file = Held[_key].Lock;
            if (file.Length > 0)
                return;
            file.Write("A store lies here. Remove this file only together with it.\n"u8);
            file.Flush(flushToDisk: true);
        }
    }

    /// <summary>The name for a store that is not whole yet, free of what a start that was killed left there.</summary>
    private string ClearUnfinished()
    {
        var file = Path.Combine(_folder, UnfinishedName);
        foreach (var left in new[] { "", "-wal", "-shm", "-journal" })
            File.Delete(file + left);
        return file;
    }

    private void Finish(string unfinished)
    {
        Dialect.Flush(unfinished);
        File.Move(unfinished, Dialect.FileIn(_folder));
        MarkAsUsed();
    }

    /// <summary>
    /// Page size and number of pages as the header has them (https://www.sqlite.org/fileformat.html#the_database_header);
    /// null when it is none.
    /// </summary>
    private static (long PageSize, long Pages)? Header(string file)
    {
        Span<byte> header = stackalloc byte[100];
        using var stream = new FileStream(file, FileMode.Open, FileAccess.Read, FileShare.ReadWrite | FileShare.Delete);
        if (stream.ReadAtLeast(header, header.Length, throwOnEndOfStream: false) < header.Length)
            return null;
        if (!header.StartsWith("SQLite format 3\0"u8))
            return null;
        var size = BinaryPrimitives.ReadUInt16BigEndian(header[16..]);
        // The number is valid only if the two counters agree; versions before SQLite 3.7 did not write it.
        var valid = header[24..28].SequenceEqual(header[92..96]);
        return (size == 1 ? 65536 : size, valid ? BinaryPrimitives.ReadUInt32BigEndian(header[28..]) : 0);
    }
}
