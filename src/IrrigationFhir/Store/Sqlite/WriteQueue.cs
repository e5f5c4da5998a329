using System.Data.Common;
using System.Threading.Channels;
using IrrigationFhir.Model;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>The single line of those who write, and the thread that writes for them.</summary>
/// <remarks>
/// Whoever waits when a transaction begins rides along in it, each behind a savepoint of its own, so that many small commits share one
/// flush to disk and one's failure is not another's. A write is answered only after the commit.
/// </remarks>
internal sealed class WriteQueue(string folder, TimeProvider clock)
{
    /// <summary>Most units of writing in one transaction: bounds how long the first of them waits.</summary>
    private const int MostTogether = 64;

    private readonly Channel<QueuedWrite> _queue = Channel.CreateBounded<QueuedWrite>(
        new BoundedChannelOptions(4096) { SingleReader = true }
    );

    private Task _writer = Task.CompletedTask;
    private long _lastStored;
    private bool _logHoldsCommits;

    /// <summary>Why the last transaction failed; null where it was committed.</summary>
    public StoreFailure? LastFailure { get; private set; }

    /// <summary>Whether a transaction met a damaged page; stays so.</summary>
    public bool MetDamage { get; private set; }

    /// <summary>
    /// After so long without a write what is in the log is moved into the database file, so that the file of a quiet store holds it all.
    /// Long enough that it costs nothing while a ward charts, short enough that nobody who looks at the file meets an empty one.
    /// </summary>
    public TimeSpan IdleBeforeCheckpoint { get; set; } = TimeSpan.FromSeconds(5);

    /// <summary>The latest moment that something was stored under, in nanoseconds; 0 where nothing was.</summary>
    public long LastStored => Volatile.Read(ref _lastStored);

    /// <summary>Begins to write what waits in line.</summary>
    public void Start()
    {
        using (var connection = Dialect.OpenForReading(folder))
        using (var statements = new PreparedStatements(connection))
        {
            _lastStored = ResourceSql.LastStored(statements);
        }

        _writer = Task.Factory.StartNew(WriteUntilClosed, CancellationToken.None, TaskCreationOptions.LongRunning, TaskScheduler.Default);
    }

    /// <summary>Does one unit of writing, wholly or not at all.</summary>
    /// <param name="work">Runs on the writing thread. Its exception undoes this unit only and comes out here.</param>
    /// <param name="stop">Gives up while still in line; from the moment the unit begins it runs to its end.</param>
    public async Task<T> Write<T>(Func<WriteTransaction, T> work, CancellationToken stop)
    {
        var queued = new QueuedWrite<T>(work, stop);
        await _queue.Writer.WriteAsync(queued, stop);
        return await queued.Answer;
    }

    /// <summary>Takes nothing more, and writes what is in line.</summary>
    public async Task Close()
    {
        _queue.Writer.TryComplete();
        await _writer;
    }

    private void WriteUntilClosed()
    {
        var together = new List<QueuedWrite>(MostTogether);
        // A thread of its own may block: the calls below are synchronous in SQLite anyway.
        while (_queue.Reader.WaitToReadAsync().AsTask().GetAwaiter().GetResult())
        {
            try
            {
                using var connection = Dialect.OpenForWriting(folder);
                using var statements = new PreparedStatements(connection);
                _lastStored = Math.Max(_lastStored, ResourceSql.LastStored(statements));
                while (WaitForNext(connection))
                {
                    together.Clear();
                    while (together.Count < MostTogether && _queue.Reader.TryRead(out var next))
                        together.Add(next);
                    WriteTogether(connection, statements, together);
                }
            }
            catch (Exception failure)
            {
                LastFailure = Dialect.FailureOf(failure) ?? new(StoreTrouble.Unavailable, 0, failure);
                MetDamage |= LastFailure.Trouble == StoreTrouble.Damaged;

                // Those who waited get the failure; the connection is given up and a new one opened: a full disk may have room again.
                together.ForEach(queued => queued.Fail(failure));
                while (together.Count == 0 && _queue.Reader.TryRead(out var next))
                    next.Fail(failure);
                together.Clear();
            }
        }
    }

    /// <summary>Waits until somebody is in line; false when nobody will be. After a while without writes the log is emptied.</summary>
    private bool WaitForNext(DbConnection connection)
    {
        var next = _queue.Reader.WaitToReadAsync().AsTask();
        // A reader may hold on to the log: then it is tried again after as long.
        while (_logHoldsCommits && !next.Wait(IdleBeforeCheckpoint))
            _logHoldsCommits = !Dialect.Checkpoint(connection);
        return next.GetAwaiter().GetResult();
    }

    private void WriteTogether(DbConnection connection, PreparedStatements statements, List<QueuedWrite> together)
    {
        using (var shared = Dialect.BeginWriting(connection))
        {
            statements.Transaction = shared;
            foreach (var queued in together)
            {
                var transaction = new WriteTransaction(statements, NextInstant, queued.By);
                shared.Save("unit");
                if (!queued.Run(transaction) || transaction.Discarded)
                    shared.Rollback("unit");
                else
                    queued.Audited = transaction.Audited;
                shared.Release("unit");
            }

            shared.Commit();
            (_logHoldsCommits, LastFailure) = (true, null);
        }

        foreach (var queued in together)
        {
            if (queued.Audited is { } episode)
                queued.By.Wrote(episode);
            queued.Finish();
        }
    }

    private Instant NextInstant()
    {
        var now = UnixNanoseconds.Of(Instant.FromDateTimeOffset(clock.GetUtcNow()));
        _lastStored = Math.Max(now / 1000 * 1000, _lastStored + 1000);
        return UnixNanoseconds.ToInstant(_lastStored);
    }

    private abstract class QueuedWrite
    {
        /// <summary>On whose behalf: told here, where it is asked for, because the thread that writes acts on nobody's.</summary>
        public Actor By { get; } = Actor.Current;

        /// <summary>What it changed, once that is sure; see <see cref="WriteTransaction.Audited"/>.</summary>
        public string? Audited { get; set; }

        /// <summary>Runs the work; false when it failed or nobody waits for it any more.</summary>
        public abstract bool Run(WriteTransaction transaction);

        /// <summary>Hands out the answer, after the commit.</summary>
        public abstract void Finish();

        /// <summary>Hands out a failure of the whole transaction, unless there is an answer already.</summary>
        public abstract void Fail(Exception failure);
    }

    private sealed class QueuedWrite<T>(Func<WriteTransaction, T> work, CancellationToken stop) : QueuedWrite
    {
        private readonly TaskCompletionSource<T> _answer = new(TaskCreationOptions.RunContinuationsAsynchronously);
        private Action _finish = () => { };

        public Task<T> Answer => _answer.Task;

        public override bool Run(WriteTransaction transaction)
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
