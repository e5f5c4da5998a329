using System.Data.Common;
using IrrigationFhir.Search;
using IrrigationFhir.Store.Sqlite;
using Microsoft.Extensions.Logging.Abstractions;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>The database: its connections for reading, the one way to write, and whether it can do either.</summary>
/// <remarks>Writers wait in one line (<see cref="WriteQueue"/>) and never meet a locked database.</remarks>
internal sealed class Database : IAsyncDisposable
{
    private const string ProbeSql =
        "insert into lease (name, holder, until) values ('probe', '', @at) on conflict (name) do update set until = excluded.until";

    private readonly ILogger _log;
    private readonly WriteQueue _queue;
    private readonly WriteObstacles _obstacles;
    private StoreFolder? _storeFolder;
    private bool _damaged;

    /// <summary>Describes the database; nothing is opened before <see cref="Start"/>.</summary>
    public Database(StoreSettings settings, TimeProvider clock, ILogger<Database>? log = null)
    {
        Folder = settings.Folder;
        TimeZone = settings.TimeZone;
        _log = log ?? NullLogger<Database>.Instance;
        _queue = new(settings.Folder, clock);
        _obstacles = new(settings.Folder, settings.LeastFreeMegabytes * 1_000_000L, clock);
    }

    /// <summary>After so long a query is given up: nobody waits for it, and it would keep the log from being emptied.</summary>
    public static TimeSpan LongestQuery { get; } = TimeSpan.FromSeconds(20);

    /// <summary>The zone of dates that carry no offset.</summary>
    public DateTimeZone TimeZone { get; }

    /// <summary>Signalled after each commit that subscribers are to be notified of.</summary>
    public CommitSignal Commits { get; } = new();

    /// <summary>The folder the database lies in.</summary>
    public string Folder { get; }

    /// <summary>True between <see cref="Start"/> and disposal, while reading and writing can work.</summary>
    public bool IsReady { get; private set; }

    /// <inheritdoc cref="WriteQueue.IdleBeforeCheckpoint"/>
    public TimeSpan IdleBeforeCheckpoint
    {
        get => _queue.IdleBeforeCheckpoint;
        init => _queue.IdleBeforeCheckpoint = value;
    }

    /// <summary>Takes the folder, brings the schema up to date and begins to take writes. A second call does nothing.</summary>
    /// <exception cref="StoreFault">What lies there cannot be served, or another process serves it; nothing was changed.</exception>
    public void Start()
    {
        if (_storeFolder is not null)
            return;
        _storeFolder = StoreFolder.Open(Folder, TimeZone, _log);
        _queue.Start();
        IsReady = true;
    }

    /// <summary>A connection for reading; the caller disposes it.</summary>
    public DbConnection OpenForReading() => Dialect.OpenForReading(Folder);

    /// <summary>What a failure of the engine means; null for one that is no matter of disk or file but of what was asked.</summary>
    public static StoreFailure? FailureOf(Exception failure) => Dialect.FailureOf(failure);

    /// <summary>
    /// Why nothing can be stored just now; null where it can. What failed last is tried again first, by a write that changes nothing of
    /// the ward: the service becomes ready again by itself.
    /// </summary>
    public async Task<StoreFailure?> FindTrouble(CancellationToken stop)
    {
        if (IsDamaged)
            return new(StoreTrouble.Damaged);
        if (_storeFolder is not null && _obstacles.Find(_queue.LastStored) is { } obstacle)
            return new(obstacle);
        if (!_obstacles.CanWriteFolder())
            return new(StoreTrouble.NotWritable);
        if (_queue.LastFailure is null)
            return null;
        try
        {
            await Write(transaction => transaction.Statements.Execute(ProbeSql, ("at", UnixNanoseconds.Of(transaction.At))), stop);
            return _queue.LastFailure;
        }
        catch (DbException failure)
        {
            return FailureOf(failure) ?? new(StoreTrouble.Unavailable);
        }
    }

    /// <summary>
    /// Remembers what a reader met: a damaged page is a matter of all, until somebody has put the store right and starts again.
    /// </summary>
    public void Remember(StoreFailure failure) => _damaged |= failure.Trouble == StoreTrouble.Damaged;

    /// <summary>Does one unit of writing, wholly or not at all.</summary>
    /// <param name="work">Runs on the writing thread. Its exception undoes this unit only and comes out here.</param>
    /// <param name="stop">Gives up while still in line; from the moment the unit begins it runs to its end.</param>
    public async Task<T> Write<T>(Func<WriteTransaction, T> work, CancellationToken stop)
    {
        if (IsDamaged)
            throw new StoreFailure(StoreTrouble.Damaged);
        if (_storeFolder is not null && _obstacles.FindLately(_queue.LastStored) is { } obstacle)
            throw new StoreFailure(obstacle);
        try
        {
            return await _queue.Write(work, stop);
        }
        catch (Exception failure) when (failure is not StoreFailure && FailureOf(failure) is { } meant)
        {
            Remember(meant);
            throw meant;
        }
    }

    /// <inheritdoc/>
    public async ValueTask DisposeAsync()
    {
        IsReady = false;
        await _queue.Close();
        Dialect.ReleasePool(Folder);
        if (_storeFolder is { } storeFolder)
        {
            EmptyLog(storeFolder);
            storeFolder.Dispose();
        }
    }

    private bool IsDamaged => _damaged || _queue.MetDamage;

    /// <summary>At the end the one file is to hold everything. What hinders it loses nothing: the next start reads the log.</summary>
    private void EmptyLog(StoreFolder storeFolder)
    {
        try
        {
            if (!storeFolder.EmptyLog())
                _log.LogInformation("The log of the store could not be emptied while others read it: irrigation.db-wal belongs to it");
        }
        catch (Exception failure) when (failure is DbException or IOException)
        {
            _log.LogWarning("The log of the store could not be emptied: irrigation.db-wal belongs to it ({Reason})", failure.Message);
        }
    }
}
