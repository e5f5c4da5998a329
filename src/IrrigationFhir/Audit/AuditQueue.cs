using System.Globalization;
using IrrigationFhir.Store;

namespace IrrigationFhir.Audit;

/// <summary>What was read cannot be recorded just now, and so is not shown.</summary>
internal sealed class AuditUnavailable(Exception? cause = null) : Exception("what is read cannot be recorded just now", cause);

/// <summary>A file of waiting entries, one a line.</summary>
/// <param name="Number">Its place among them.</param>
/// <param name="Path">Where it lies.</param>
internal sealed record AuditFile(long Number, string Path);

/// <summary>The reads that wait to be stored: files in the data folder, one entry a line, the newest of which is added to.</summary>
/// <remarks>
/// A line is handed to the operating system before the answer that it tells of leaves: a process that is killed loses none; a line costs
/// one call. A loss of power may lose lines of the last moments that were not stored yet: the disk is not waited for. Only where the file
/// takes no more (a full disk) lines are kept in memory, some of them, so that a ward can go on reading; a kill would lose those.
/// </remarks>
internal sealed class AuditQueue(string folder) : IDisposable
{
    private const string Prefix = "audit-waiting-";
    private const string Suffix = ".ndjson";
    private const string Left = "audit-left-";

    private readonly Lock _lock = new();
    private readonly Dictionary<long, long> _waiting = [];
    private readonly List<byte[]> _kept = [];
    private FileStream? _open;
    private long _number;

    /// <summary>Most bytes that wait: some 100,000 reads. With that many nothing more is shown.</summary>
    public long MostBytes { get; set; } = 32_000_000;

    /// <summary>Most lines that are kept in memory while the file takes none. With that many nothing more is shown.</summary>
    public int MostKept { get; set; } = 10_000;

    /// <summary>How many lines were added since the last <see cref="Seal"/>.</summary>
    public int Lines { get; private set; }

    /// <summary>Bytes that wait.</summary>
    public long Bytes
    {
        get
        {
            lock (_lock)
                return _waiting.Values.Sum();
        }
    }

    /// <summary>Files that other processes left and that may not be read here: they stay until somebody sees to it.</summary>
    public int Unreadable { get; private set; }

    /// <summary>Takes up what an earlier process left, and begins behind it.</summary>
    /// <param name="last">The number of the last file that anything was stored of; 0 before the first.</param>
    public void Start(long last)
    {
        lock (_lock)
        {
            _number = last;
            foreach (var path in Directory.EnumerateFiles(folder, $"{Prefix}*{Suffix}"))
            {
                var text = Path.GetFileName(path)[Prefix.Length..^Suffix.Length];
                if (!long.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var number))
                    continue;
                _waiting[number] = new FileInfo(path).Length;
                _number = Math.Max(_number, number);
            }
        }
    }

    /// <summary>Adds a line; when this returns, the operating system has it, or memory where the file takes none.</summary>
    /// <param name="line">With its end.</param>
    /// <exception cref="AuditUnavailable">As much waits as may.</exception>
    public void Add(ReadOnlySpan<byte> line)
    {
        lock (_lock)
        {
            if (_waiting.Values.Sum() + line.Length > MostBytes)
            {
                Keep(line, null);
                return;
            }

            try
            {
                if (_open is null)
                {
                    _open = New(PathOf(_number + 1));
                    _number++;
                    _waiting[_number] = 0;
                }

                _open.Write(line);
                _waiting[_number] += line.Length;
                Lines++;
            }
            catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
            {
                TakeBack();
                Keep(line, failure);
            }
        }
    }

    /// <summary>Leaves entries for the service of a data folder, from another process: all of them or none.</summary>
    /// <exception cref="IOException">The folder does not take them.</exception>
    /// <exception cref="UnauthorizedAccessException">The same.</exception>
    public static void Leave(string folder, IReadOnlyList<AuditEntry> entries)
    {
        var path = Path.Combine(folder, $"{Left}{Guid.NewGuid():N}{Suffix}");
        // By somebody else perhaps than the service, which has to read it: it names episodes by their ids, and no patient.
        const UnixFileMode Readable = UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.GroupRead | UnixFileMode.OtherRead;
        using (var file = New(path + ".unfinished", Readable))
        {
            foreach (var entry in entries)
                file.Write([.. entry.ToJson(), (byte)'\n']);
            file.Flush(flushToDisk: true);
        }

        File.Move(path + ".unfinished", path);
    }

    /// <summary>Ends the file that is added to, and says which wait, in their order; what other processes left comes last.</summary>
    public IReadOnlyList<AuditFile> Seal()
    {
        lock (_lock)
        {
            Close();
            Unreadable = 0;
            foreach (var left in Directory.EnumerateFiles(folder, $"{Left}*{Suffix}"))
            {
                if (!IsReadable(left))
                {
                    Unreadable++;
                    continue;
                }

                File.Move(left, PathOf(_number + 1));
                _number++;
                _waiting[_number] = new FileInfo(PathOf(_number)).Length;
            }

            Lines = 0;
            return [.. _waiting.Keys.Order().Select(number => new AuditFile(number, PathOf(number)))];
        }
    }

    /// <summary>Takes what is kept in memory: it has to be stored, or given back.</summary>
    public IReadOnlyList<byte[]> TakeKept()
    {
        lock (_lock)
        {
            byte[][] kept = [.. _kept];
            _kept.Clear();
            return kept;
        }
    }

    /// <summary>Gives back what could not be stored.</summary>
    public void GiveBack(IReadOnlyList<byte[]> kept)
    {
        lock (_lock)
            _kept.InsertRange(0, kept);
    }

    /// <summary>All of a file is stored: it goes.</summary>
    public void Done(AuditFile file)
    {
        File.Delete(file.Path);
        lock (_lock)
            _waiting.Remove(file.Number);
    }

    /// <inheritdoc/>
    public void Dispose()
    {
        lock (_lock)
            Close();
    }

    private void Keep(ReadOnlySpan<byte> line, Exception? why)
    {
        if (_kept.Count >= MostKept)
            throw new AuditUnavailable(why);
        _kept.Add(line.ToArray());
        Lines++;
    }

    private void Close()
    {
        _open?.Dispose();
        _open = null;
    }

    // Half a line would spoil the next one.
    private void TakeBack()
    {
        try
        {
            _open?.SetLength(_waiting[_number]);
        }
        catch (IOException)
        {
            Close(); // The next line begins a file of its own.
        }
    }

    private string PathOf(long number) =>
        Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"{Prefix}{number:D10}{Suffix}"));

    private static bool IsReadable(string path)
    {
        try
        {
            using var file = File.OpenRead(path);
            return true;
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
        {
            return false;
        }
    }

    // What is asked for names patients: nobody else's to read.
    private static FileStream New(string path, UnixFileMode mode = UnixFileMode.UserRead | UnixFileMode.UserWrite)
    {
        var options = new FileStreamOptions
        {
            Mode = FileMode.CreateNew,
            Access = FileAccess.Write,
            Share = FileShare.Read | FileShare.Delete,
            BufferSize = 0,
        };
        if (!OperatingSystem.IsWindows())
            options.UnixCreateMode = mode;
        return new(path, options);
    }
}
