using System.Data.Common;
using System.Threading.Channels;
using IrrigationFhir.Search;
using IrrigationFhir.Store.Sqlite;
using Microsoft.Extensions.Logging.Abstractions;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>The database: its connections for reading, and the single line of those who write.</summary>
/// <remarks>
/// Writers wait in one line and never meet a locked database. Whoever waits when a transaction begins rides along in it, each
/// behind a savepoint of its own, so that many small commits share one flush to disk and one's failure is not another's.
/// A write is answered only after the commit.
/// </remarks>
internal sealed class Database : IAsyncDisposable
{
    /// <summary>Most units of writing in one transaction: bounds how long the first of them waits.</summary>
    private const int MostTogether = 64;

    private readonly string _folder;
    private readonly TimeProvider _clock;
    private readonly ILogger _log;
    private readonly Channel<Waiting> _line = Channel.CreateBounded<Waiting>(new BoundedChannelOptions(4096) { SingleReader = true });
    private StoreFolder? _place;
    private Task _writer = Task.CompletedTask;
    private readonly long _leastFree;
    private long _lastAt;
    private bool _unsettled;
    private StoreFailure? _failed; // of the last transaction; null where it was committed
    private bool _damaged;
    private (long At, StoreTrouble? Trouble) _looked = (long.MinValue, null);

    /// <summary>Describes the database; nothing is opened before <see cref="Start"/>.</summary>
    public Database(StoreSettings settings, TimeProvider clock, ILogger<Database>? log = null)
    {
        _folder = settings.Folder;
        _clock = clock;
        _log = log ?? NullLogger<Database>.Instance;
        TimeZone = settings.TimeZone;
        _leastFree = settings.LeastFreeMegabytes * 1_000_000L;
    }

    /// <summary>After so long a query is given up: nobody waits for it, and it would keep the log from being emptied.</summary>
    public static TimeSpan LongestQuery { get; } = TimeSpan.FromSeconds(20);

    private const string ProbeSql =
        "insert into lease (name, holder, until) values ('probe', '', @at) on conflict (name) do update set until = excluded.until";

    /// <summary>How far the clock may stand before what was stored last: clocks are set right by some seconds now and then.</summary>
    private static readonly Duration ClockTolerance = Duration.FromMinutes(1);

    /// <summary>The zone of dates that carry no offset.</summary>
    public DateTimeZone TimeZone { get; }

    /// <summary>Signalled after each commit that subscribers are to be notified of.</summary>
    public CommitSignal Commits { get; } = new();

    /// <summary>The folder the database lies in.</summary>
    public string Folder => _folder;

    /// <summary>True between <see cref="Start"/> and disposal, while reading and writing can work.</summary>
    public bool IsReady { get; private set; }

    /// <summary>
    /// After so long without a write what is in the log is moved into the database file, so that the file of a quiet store holds it all.
    /// Long enough that it costs nothing while a ward charts, short enough that nobody who looks at the file meets an empty one.
    /// </summary>
    public TimeSpan Rest { get; init; } = TimeSpan.FromSeconds(5);

    /// <summary>Takes the folder, brings the schema up to date and begins to take writes. A second call does nothing.</summary>
    /// <exception cref="StoreFault">What lies there cannot be served, or another process serves it; nothing was changed.</exception>
    public void Start()
    {
        if (_place is not null)
            return;
        _place = StoreFolder.Open(_folder, TimeZone, _log);
        using (var connection = OpenForReading())
        using (var statements = new PreparedStatements(connection))
        {
            _lastAt = ResourceSql.LastStored(statements);
        }

        _writer = Task.Factory.StartNew(WriteUntilClosed, CancellationToken.None, TaskCreationOptions.LongRunning, TaskScheduler.Default);
        IsReady = true;
    }

    /// <summary>A connection for reading; the caller disposes it.</summary>
    public DbConnection OpenForReading() => Dialect.OpenForReading(_folder);

    /// <summary>
    /// Why nothing can be stored just now; null where it can. What failed last is tried again first, by a write that changes nothing of
    /// the ward: the service becomes ready again by itself.
    /// </summary>
    public async Task<StoreFailure?> Trouble(CancellationToken stop)
    {
        _looked = (long.MinValue, null);
        if (_damaged)
            return new(StoreTrouble.Damaged);
        if (Hindrance() is { } hindrance)
            return new(hindrance);
        if (!CanWriteFolder())
            return new(StoreTrouble.NotWritable);
        if (_failed is null)
            return null;
        try
        {
            await Write(transaction => transaction.Statements.Execute(ProbeSql, ("at", UnixNanoseconds.Of(transaction.At))), stop);
            return _failed;
        }
        catch (DbException failure)
        {
            return Dialect.FailureOf(failure) ?? new(StoreTrouble.Unavailable);
        }
    }

    /// <summary>
    /// Remembers what a reader met: a damaged page is a matter of all, until somebody has put the store right and starts again.
    /// </summary>
    public void Notice(StoreFailure failure) => _damaged |= failure.Trouble == StoreTrouble.Damaged;

    /// <summary>Does one unit of writing, wholly or not at all.</summary>
    /// <param name="work">Runs on the writing thread. Its exception undoes this unit only and comes out here.</param>
    /// <param name="stop">Gives up while still in line; from the moment the unit begins it runs to its end.</param>
    public async Task<T> Write<T>(Func<WriteTransaction, T> work, CancellationToken stop)
    {
        if (_damaged)
            throw new StoreFailure(StoreTrouble.Damaged);
        if (Looked() is { } hindrance)
            throw new StoreFailure(hindrance);
        var waiting = new Waiting<T>(work, stop);
        await _line.Writer.WriteAsync(waiting, stop);
        try
        {
            return await waiting.Answer;
        }
        catch (Exception failure) when (failure is not StoreFailure && Dialect.FailureOf(failure) is { } meant)
        {
            Notice(meant);
            throw meant;
        }
    }

    /// <summary>What stands against writing, looked at once a second at most.</summary>
    private StoreTrouble? Looked()
    {
        var (now, (at, trouble)) = (Environment.TickCount64, _looked);
        if (at != long.MinValue && now - at < 1000)
            return trouble;
        trouble = Hindrance();
        _looked = (now, trouble);
        return trouble;
    }

    private StoreTrouble? Hindrance()
    {
        if (_place is null)
            return null;
        if (!File.Exists(Dialect.FileIn(_folder)))
            return StoreTrouble.Gone;
        if (_leastFree > 0 && new DriveInfo(Path.GetFullPath(_folder)).AvailableFreeSpace < _leastFree)
            return StoreTrouble.Full;
        var last = Volatile.Read(ref _lastAt);
        if (last <= 0)
            return null;
        var now = Instant.FromDateTimeOffset(_clock.GetUtcNow());
        return now < UnixNanoseconds.ToInstant(last) - ClockTolerance ? StoreTrouble.ClockBehind : null;
    }

    private bool CanWriteFolder()
    {
        var probe = Path.Combine(_folder, "irrigation.probe");
        try
        {
            File.WriteAllBytes(probe, [0]);
            File.Delete(probe);
            return true;
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
        {
            return false;
        }
    }

    /// <inheritdoc/>
    public async ValueTask DisposeAsync()
    {
        IsReady = false;
        _line.Writer.TryComplete();
        await _writer;
        Dialect.ReleasePool(_folder);
        if (_place is { } place)
        {
            Settle(place);
            place.Dispose();
        }
    }

    /// <summary>At the end the one file is to hold everything. What hinders it loses nothing: the next start reads the log.</summary>
    private void Settle(StoreFolder place)
    {
        try
        {
            if (!place.Settle())
                _log.LogInformation("The log of the store could not be emptied while others read it: irrigation.db-wal belongs to it");
        }
        catch (Exception failure) when (failure is DbException or IOException)
        {
            _log.LogWarning("The log of the store could not be emptied: irrigation.db-wal belongs to it ({Reason})", failure.Message);
        }
    }

    private void WriteUntilClosed()
    {
        var together = new List<Waiting>(MostTogether);
        // A thread of its own may block: the calls below are synchronous in SQLite anyway.
        while (_line.Reader.WaitToReadAsync().AsTask().GetAwaiter().GetResult())
        {
            try
            {
                using var connection = Dialect.OpenForWriting(_folder);
                using var statements = new PreparedStatements(connection);
                _lastAt = Math.Max(_lastAt, ResourceSql.LastStored(statements));
                while (WaitForNext(connection))
                {
                    together.Clear();
                    while (together.Count < MostTogether && _line.Reader.TryRead(out var next))
                        together.Add(next);
                    WriteTogether(connection, statements, together);
                }
            }
            catch (Exception failure)
            {
                _failed = Dialect.FailureOf(failure) ?? new(StoreTrouble.Unavailable, 0, failure);
                Notice(_failed);

                // Those who waited are told; the connection is given up and a new one opened: a full disk may have room again.
                together.ForEach(waiting => waiting.Fail(failure));
                while (together.Count == 0 && _line.Reader.TryRead(out var next))
                    next.Fail(failure);
                together.Clear();
            }
        }
    }

    /// <summary>Waits until somebody is in line; false when nobody will be. Whoever waits long enough settles what was written.</summary>
    private bool WaitForNext(DbConnection connection)
    {
        var next = _line.Reader.WaitToReadAsync().AsTask();
        // A reader may hold on to the log: then it is tried again after as long.
        while (_unsettled && !next.Wait(Rest))
            _unsettled = !Dialect.Checkpoint(connection);
        return next.GetAwaiter().GetResult();
    }

    private void WriteTogether(DbConnection connection, PreparedStatements statements, List<Waiting> together)
    {
        using (var shared = Dialect.BeginWriting(connection))
        {
            statements.Transaction = shared;
            foreach (var waiting in together)
            {
                var transaction = new WriteTransaction(statements, NextInstant());
                shared.Save("unit");
                if (!waiting.Do(transaction) || transaction.Discarded)
                    shared.Rollback("unit");
                shared.Release("unit");
            }

            shared.Commit();
            (_unsettled, _failed) = (true, null);
        }

        together.ForEach(waiting => waiting.Finish());
    }

    private Instant NextInstant()
    {
        var now = UnixNanoseconds.Of(Instant.FromDateTimeOffset(_clock.GetUtcNow()));
        _lastAt = Math.Max(now / 1000 * 1000, _lastAt + 1000);
        return UnixNanoseconds.ToInstant(_lastAt);
    }

    private abstract class Waiting
    {
        /// <summary>Runs the work; false when it failed or nobody waits for it any more.</summary>
        public abstract bool Do(WriteTransaction transaction);

        /// <summary>Hands out the answer, after the commit.</summary>
        public abstract void Finish();

        /// <summary>Hands out a failure of the whole transaction, unless there is an answer already.</summary>
        public abstract void Fail(Exception failure);
    }

    private sealed class Waiting<T>(Func<WriteTransaction, T> work, CancellationToken stop) : Waiting
    {
        private readonly TaskCompletionSource<T> _answer = new(TaskCreationOptions.RunContinuationsAsynchronously);
        private Action _finish = () => { };

        public Task<T> Answer => _answer.Task;

        public override bool Do(WriteTransaction transaction)
        {
            if (stop.IsCancellationRequested)
            {
                _finish = () => _answer.TrySetCanceled(stop);
                return false;
            }

            try
            {
                var result = work(transaction);
                _finish = () => _answer.TrySetResult(result);
                return true;
            }
            catch (Exception failure)
            {
                _finish = () => _answer.TrySetException(failure);
                return false;
            }
        }

        public override void Finish() => _finish();

        public override void Fail(Exception failure) => _answer.TrySetException(failure);
    }
}
