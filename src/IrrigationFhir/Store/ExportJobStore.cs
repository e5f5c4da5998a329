using Dapper;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>An export that was asked for.</summary>
/// <param name="Id">Its id, which nobody can guess.</param>
/// <param name="Request">What was asked for, as JSON.</param>
/// <param name="State"><c>waiting</c>, <c>running</c>, <c>done</c> or <c>failed</c>.</param>
/// <param name="CreatedAt">When it was asked for.</param>
/// <param name="TransactionTime">The moment that its files are of; null before it was begun.</param>
/// <param name="Progress">How far it is, in words.</param>
/// <param name="Files">What there is of it, as JSON.</param>
/// <param name="Error">Why it failed.</param>
/// <param name="ExpiresAt">When its files go; null before it has ended.</param>
/// <param name="Attempts">How often it was begun.</param>
internal sealed record ExportJob(
    string Id,
    string Request,
    string State,
    Instant CreatedAt,
    Instant? TransactionTime,
    string? Progress,
    string Files,
    string? Error,
    Instant? ExpiresAt,
    int Attempts
)
{
    /// <summary>Whether it has ended, well or not.</summary>
    public bool HasEnded => State is "done" or "failed";
}

/// <summary>Exports that were asked for. Whoever works on one holds it for a while, so that another goes on when a process dies.</summary>
internal sealed class ExportJobStore(Database database)
{
    private const string Columns =
        "id as Id, request as Request, state as State, created_at as CreatedAt, transaction_time as TransactionTime, progress as Progress, "
        + "files as Files, error as Error, expires_at as ExpiresAt, attempts as Attempts";

    /// <summary>Keeps a new one; false where as many wait or run as may.</summary>
    /// <param name="id">Its id.</param>
    /// <param name="request">What was asked for.</param>
    /// <param name="isOneTooMany">Whether it is, by the requests of those that wait or run.</param>
    /// <param name="stop">Gives up.</param>
    public Task<bool> Add(string id, string request, Func<IReadOnlyList<string>, bool> isOneTooMany, CancellationToken stop) =>
        database.Write(
            transaction =>
            {
                var unfinished = transaction.Statements.All(
                    "select request from export_job where state in ('waiting', 'running')",
                    row => row.Text(0)
                );
                if (isOneTooMany(unfinished))
                    return false;
                transaction.Statements.Execute(
                    "insert into export_job (id, request, state, created_at) values (@id, @request, 'waiting', @at)",
                    ("id", id),
                    ("request", request),
                    ("at", UnixNanoseconds.Of(transaction.At))
                );
                return true;
            },
            stop
        );

    /// <summary>One by its id, or null.</summary>
    public async Task<ExportJob?> Find(string id, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var row = await connection.QuerySingleOrDefaultAsync<Row>(
            new CommandDefinition($"select {Columns} from export_job where id = @id", new { id }, cancellationToken: stop)
        );
        return row?.ToJob();
    }

    private const string NextSql = """
        select id from export_job where state = 'waiting' or (state = 'running' and lease_until < @now)
        order by created_at, id limit 1
        """;

    /// <summary>Takes the oldest that waits, or that nobody works on any more, for a while; null where there is none.</summary>
    public async Task<ExportJob?> Claim(string holder, Instant now, Duration lease, CancellationToken stop)
    {
        // Mostly there is none, and then nobody's line of writing is stood in, every few seconds, for nothing.
        await using (var connection = database.OpenForReading())
        {
            var any = new CommandDefinition(NextSql, new { now = UnixNanoseconds.Of(now) }, cancellationToken: stop);
            if (await connection.QueryFirstOrDefaultAsync<string>(any) is null)
                return null;
        }

        var id = await database.Write(
            transaction =>
            {
                var id = transaction.Statements.First(NextSql, row => row.GetString(0), ("now", UnixNanoseconds.Of(now)));
                if (id is null)
                    return null;
                transaction.Statements.Execute(
                    """
                    update export_job set state = 'running', holder = @holder, lease_until = @until, attempts = attempts + 1 where id = @id
                    """,
                    ("holder", holder),
                    ("until", UnixNanoseconds.Of(now + lease)),
                    ("id", id)
                );
                return id;
            },
            stop
        );
        return id is null ? null : await Find(id, stop);
    }

    /// <summary>Says how far one is and holds it for longer; false where it was cancelled, or somebody else works on it.</summary>
    public Task<bool> Prolong(string id, string holder, Instant until, Instant transactionTime, string progress, CancellationToken stop) =>
        database.Write(
            transaction =>
                1
                == transaction.Statements.Execute(
                    """
                    update export_job set lease_until = @until, transaction_time = @time, progress = @progress
                    where id = @id and holder = @holder and state = 'running'
                    """,
                    ("until", UnixNanoseconds.Of(until)),
                    ("time", UnixNanoseconds.Of(transactionTime)),
                    ("progress", progress),
                    ("id", id),
                    ("holder", holder)
                ),
            stop
        );

    /// <summary>Ends one; false where it was cancelled, or somebody else works on it.</summary>
    /// <param name="id">Which.</param>
    /// <param name="holder">Who ends it.</param>
    /// <param name="files">What there is of it, as JSON.</param>
    /// <param name="error">Why it failed; null where it did not.</param>
    /// <param name="expiresAt">When its files go.</param>
    /// <param name="stop">Gives up.</param>
    public Task<bool> End(string id, string holder, string files, string? error, Instant expiresAt, CancellationToken stop) =>
        database.Write(
            transaction =>
                1
                == transaction.Statements.Execute(
                    """
                    update export_job set state = @state, files = @files, error = @error, expires_at = @expires, progress = null
                    where id = @id and holder = @holder and state = 'running'
                    """,
                    ("state", error is null ? "done" : "failed"),
                    ("files", files),
                    ("error", error),
                    ("expires", UnixNanoseconds.Of(expiresAt)),
                    ("id", id),
                    ("holder", holder)
                ),
            stop
        );

    /// <summary>Forgets one; false where there is none.</summary>
    public Task<bool> Delete(string id, CancellationToken stop) =>
        database.Write(transaction => 1 == transaction.Statements.Execute("delete from export_job where id = @id", ("id", id)), stop);

    /// <summary>The ids of all, and which of them have expired.</summary>
    public async Task<IReadOnlyDictionary<string, bool>> Expired(Instant now, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<Row>(new CommandDefinition($"select {Columns} from export_job", cancellationToken: stop));
        return rows.ToDictionary(row => row.Id, row => row.ExpiresAt is { } at && at < UnixNanoseconds.Of(now));
    }

    private sealed class Row
    {
        public string Id { get; set; } = "";

        public string Request { get; set; } = "";

        public string State { get; set; } = "";

        public long CreatedAt { get; set; }

        public long? TransactionTime { get; set; }

        public string? Progress { get; set; }

        public string Files { get; set; } = "[]";

        public string? Error { get; set; }

        public long? ExpiresAt { get; set; }

        public long Attempts { get; set; }

        public ExportJob ToJob() =>
            new(Id, Request, State, Time(CreatedAt)!.Value, Time(TransactionTime), Progress, Files, Error, Time(ExpiresAt), (int)Attempts);

        private static Instant? Time(long? stored) => stored is { } at ? UnixNanoseconds.ToInstant(at) : null;
    }
}
