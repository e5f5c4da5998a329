using System.Globalization;

namespace IrrigationFhir.Audit;

/// <summary>What was read cannot be recorded just now, and so is not shown.</summary>
internal sealed class AuditUnavailable(Exception? cause = null) : Exception("what is read cannot be recorded just now", cause);

/// <summary>A file of waiting entries, one a line.</summary>
/// <param name="Number">Its place among them.</param>
/// <param name="Path">Where it lies.</param>
internal sealed record AuditFile(long Number, string Path);

/// <summary>The reads that wait to be stored: files in the data folder, one entry a line, the newest of which is added to.</summary>
/// <remarks>
/// A line is handed to the operating system before the answer that it tells of leaves: a process that is killed loses none. There is no
/// queue in memory beside it, which would lose what it holds; a line costs one call. A loss of power may lose lines of the last moments
/// that were not stored yet: the disk is not waited for.
/// </remarks>
internal sealed class AuditQueue(string folder) : IDisposable
{
    private const string Prefix = "audit-waiting-";
    private const string Suffix = ".ndjson";

    private readonly Lock _lock = new();
    private readonly Dictionary<long, long> _waiting = [];
    private FileStream? _open;
    private long _number;

    /// <summary>Most bytes that wait: some 100,000 reads. With that many nothing more is shown.</summary>
    public long MostBytes { get; set; } = 32_000_000;

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

    /// <summary>Adds a line; when this returns, the operating system has it.</summary>
    /// <param name="line">With its end.</param>
    /// <exception cref="AuditUnavailable">As much waits as may, or the file cannot be written.</exception>
    public void Add(ReadOnlySpan<byte> line)
    {
        lock (_lock)
        {
            if (_waiting.Values.Sum() + line.Length > MostBytes)
                throw new AuditUnavailable();
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
                throw new AuditUnavailable(failure);
            }
        }
    }

    /// <summary>Ends the file that is added to, and says which wait, in their order.</summary>
    public IReadOnlyList<AuditFile> Seal()
    {
        lock (_lock)
        {
            Close();
            Lines = 0;
            return [.. _waiting.Keys.Order().Select(number => new AuditFile(number, PathOf(number)))];
        }
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

    // What is asked for names patients: nobody else's to read.
    private static FileStream New(string path)
    {
        var options = new FileStreamOptions
        {
            Mode = FileMode.CreateNew,
            Access = FileAccess.Write,
            Share = FileShare.Read | FileShare.Delete,
            BufferSize = 0,
        };
        if (!OperatingSystem.IsWindows())
            options.UnixCreateMode = UnixFileMode.UserRead | UnixFileMode.UserWrite;
        return new(path, options);
    }
}
