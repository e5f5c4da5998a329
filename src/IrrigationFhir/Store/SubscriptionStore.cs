using System.Text.Json;
using Dapper;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>Subscriptions: what their clients made of them, and how deliveries to them stand.</summary>
internal sealed class SubscriptionStore(Database database)
{
    /// <summary>The patient key of what is about no patient.</summary>
    public const string NoPatient = "";

    private const string Type = "Subscription";

    /// <summary>Stores a new one.</summary>
    /// <param name="row">What it is; counters begin at 0.</param>
    /// <param name="resource">What its client may see of it.</param>
    /// <param name="most">How many there may be that are not off.</param>
    /// <param name="stop">Gives up.</param>
    public Task<SubscriptionOutcome> Create(SubscriptionRow row, ResourceDraft resource, int most, CancellationToken stop) =>
        WriteAndNotify<SubscriptionOutcome>(
            transaction =>
            {
                if (CountNotOff(transaction) >= most)
                {
                    transaction.Discard();
                    return new SubscriptionOutcome.TooMany(most);
                }

                transaction.Statements.Execute(
                    """
                    insert into subscription (id, status, topic, filters, request, error, heartbeat, ends_at, client, scopes, facilities)
                    values (@id, @status, @topic, @filters, @request, @error, @heartbeat, @ends, @client, @scopes, @facilities)
                    """,
                    Values(row)
                );
                var version = StoreResource(transaction, resource)!;
                AuditSql.Append(transaction, AuditedWrite.Of(transaction, version, isNew: true));
                return new SubscriptionOutcome.Saved(version);
            },
            stop
        );

    /// <summary>Stores what a client made of one; what was counted so far stays.</summary>
    /// <param name="row">What it is now; its counters are ignored.</param>
    /// <param name="resource">What its client may see of it.</param>
    /// <param name="before">
    /// As it was read: it has to be so still, in its version and in what it holds that its client does not see.
    /// </param>
    /// <param name="most">How many there may be that are not off.</param>
    /// <param name="stop">Gives up.</param>
    /// <remarks>
    /// With other filters what waits is not delivered any more: the old ones chose it. <c>$events</c> still gives it.
    /// </remarks>
    public Task<SubscriptionOutcome> Update(
        SubscriptionRow row,
        ResourceDraft resource,
        SubscriptionRow before,
        int most,
        CancellationToken stop
    ) => WriteAndNotify(transaction => Update(transaction, row, resource, before, most), stop);

    /// <summary>Gives one another status, with what its client sees, unless it has changed meanwhile.</summary>
    /// <param name="id">Which.</param>
    /// <param name="version">The version that this was decided by.</param>
    /// <param name="status">The new status; with <c>active</c> events count, and failures are forgotten.</param>
    /// <param name="error">Why it is in error; null where it is not.</param>
    /// <param name="resource">What its client sees then.</param>
    /// <param name="stop">Gives up.</param>
    public Task<SubscriptionOutcome> ChangeStatus(
        string id,
        long version,
        string status,
        string? error,
        ResourceDraft resource,
        CancellationToken stop
    ) =>
        database.Write<SubscriptionOutcome>(
            transaction =>
            {
                if (CurrentVersion(transaction, id) is not { } actual)
                    return new SubscriptionOutcome.Unknown();
                if (actual != version)
                    return new SubscriptionOutcome.Conflict(actual);
                transaction.Statements.Execute(
                    """
                    update subscription set status = @status, error = @error,
                        started_at = case when @status = 'active' then coalesce(started_at, @now) else started_at end,
                        failing_since = case when @status = 'active' then null else failing_since end,
                        attempts = case when @status = 'active' then 0 else attempts end,
                        last_sent_at = case when @status = 'active' then @now else last_sent_at end
                    where id = @id
                    """,
                    ("id", id),
                    ("status", status),
                    ("error", error),
                    ("now", UnixNanoseconds.Of(transaction.At))
                );
                var changed =
                    StoreResource(transaction, resource) ?? throw new InvalidOperationException("a change of status that changed nothing");
                AuditSql.Append(transaction, AuditedWrite.Of(transaction, changed, isNew: false));
                return new SubscriptionOutcome.Saved(changed);
            },
            stop
        );

    /// <summary>The endpoint acknowledged everything up to an event; with null it acknowledged a heartbeat.</summary>
    public Task RecordAcknowledgement(string id, long? upTo, CancellationToken stop) =>
        database.Write(
            transaction =>
                transaction.Statements.Execute(
                    """
                    update subscription set delivered = case when @upTo > delivered then @upTo else delivered end,
                        failing_since = null, attempts = 0, last_failure = null, last_sent_at = @now
                    where id = @id
                    """,
                    ("id", id),
                    ("upTo", upTo ?? 0),
                    ("now", UnixNanoseconds.Of(transaction.At))
                ),
            stop
        );

    /// <summary>Events up to one are not told: nothing was sent, and nothing is left to send of them.</summary>
    public Task RecordPassedOver(string id, long upTo, CancellationToken stop) =>
        database.Write(
            transaction =>
                transaction.Statements.Execute(
                    "update subscription set delivered = @upTo where id = @id and delivered < @upTo",
                    ("id", id),
                    ("upTo", upTo)
                ),
            stop
        );

    /// <summary>An attempt failed.</summary>
    public Task RecordFailure(string id, string failure, CancellationToken stop) =>
        database.Write(
            transaction =>
                transaction.Statements.Execute(
                    """
                    update subscription set failing_since = coalesce(failing_since, @now), attempts = attempts + 1, last_failure = @failure
                    where id = @id
                    """,
                    ("id", id),
                    ("failure", failure),
                    ("now", UnixNanoseconds.Of(transaction.At))
                ),
            stop
        );

    /// <summary>The subscription of that id, or null.</summary>
    public async Task<SubscriptionRow?> Find(string id, CancellationToken stop) =>
        (await FindAll("id = @id", new { id }, stop)) is [var row] ? row : null;

    /// <summary>All of the given statuses, by id.</summary>
    public Task<IReadOnlyList<SubscriptionRow>> FindByStatus(IReadOnlyList<string> statuses, CancellationToken stop) =>
        FindAll("status in @statuses order by id", new { statuses }, stop);

    /// <summary>
    /// Those with something to do: a handshake, events that were not acknowledged, a heartbeat that is due, an end that has come.
    /// </summary>
    public async Task<IReadOnlyList<string>> FindWithWork(Instant now, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return
        [
            .. await connection.QueryAsync<string>(
                new CommandDefinition(
                    """
                    select id from subscription
                    where status <> 'off' and (status = 'requested' or ends_at <= @now
                        or (status = 'active' and (delivered < events or last_sent_at + heartbeat <= @now)))
                    order by id
                    """,
                    new { now = UnixNanoseconds.Of(now) },
                    cancellationToken: stop
                )
            ),
        ];
    }

    /// <summary>How deliveries stand.</summary>
    public async Task<DeliveryQueue> ReadQueue(CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var byStatus = await connection.QueryAsync<(string Status, long Count)>(
            new CommandDefinition("select status, count(*) from subscription group by status", cancellationToken: stop)
        );
        var waiting = await connection.QuerySingleAsync<(long Waiting, long Failing)>(
            new CommandDefinition(
                "select coalesce(sum(events - delivered), 0), count(failing_since) from subscription where status = 'active'",
                cancellationToken: stop
            )
        );
        var oldest = await connection.ExecuteScalarAsync<long?>(
            new CommandDefinition(
                """
                select min(e.at) from subscription s
                join subscription_event e on e.subscription_id = s.id and e.number = s.delivered + 1
                where s.status = 'active'
                """,
                cancellationToken: stop
            )
        );
        return new(
            waiting.Waiting,
            oldest is { } at ? UnixNanoseconds.ToInstant(at) : null,
            byStatus.ToDictionary(row => row.Status, row => row.Count),
            waiting.Failing
        );
    }

    private async Task<T> WriteAndNotify<T>(Func<WriteTransaction, T> work, CancellationToken stop)
    {
        var outcome = await database.Write(work, stop);
        database.Commits.Notify();
        return outcome;
    }

    private static SubscriptionOutcome Update(
        WriteTransaction transaction,
        SubscriptionRow row,
        ResourceDraft resource,
        SubscriptionRow before,
        int most
    )
    {
        if (CurrentVersion(transaction, row.Id) is not { } actual)
            return new SubscriptionOutcome.Unknown();
        if (before.Version != actual)
            return new SubscriptionOutcome.Conflict(actual);
        if (before.Status == "off" && row.Status != "off" && CountNotOff(transaction) >= most)
            return new SubscriptionOutcome.TooMany(most);
        var updated = transaction.Statements.Execute(
            """
            update subscription set status = @status, topic = @topic,
                delivered = case when filters = @filters then delivered else events end,
                filters = @filters, request = @request, error = @error, heartbeat = @heartbeat, ends_at = @ends,
                client = @client, scopes = @scopes, facilities = @facilities,
                failing_since = case when @status = 'requested' then null else failing_since end,
                attempts = case when @status = 'requested' then 0 else attempts end
            where id = @id and request = @before
            """,
            [.. Values(row), ("before", before.Request)]
        );
        if (updated == 0)
            return new SubscriptionOutcome.Conflict(actual);
        var version = StoreResource(transaction, resource);
        if (version is not null)
            AuditSql.Append(transaction, AuditedWrite.Of(transaction, version, isNew: false));
        return new SubscriptionOutcome.Saved(
            version
                ?? transaction.Statements.First(
                    $"select {StoredResource.Columns} from {StoredResource.From} and r.type = @type and r.id = @id",
                    StoredResource.Read,
                    ("type", IndexedTypes.NumberOf(Type)),
                    ("id", row.Id)
                )!
        );
    }

    private static ResourceVersion? StoreResource(WriteTransaction transaction, ResourceDraft resource) =>
        ResourceSql.Store(transaction, NoPatient, [resource], [resource.Times(DateTimeZone.Utc)]).SingleOrDefault();

    private static long CountNotOff(WriteTransaction transaction) =>
        transaction.Statements.First("select count(*) from subscription where status <> 'off'", found => found.GetInt64(0));

    private static (string, object?)[] Values(SubscriptionRow row) =>
        [
            ("id", row.Id),
            ("status", row.Status),
            ("topic", row.Topic),
            ("filters", row.Filters),
            ("request", row.Request),
            ("error", row.Error),
            ("heartbeat", row.Heartbeat?.ToInt64Nanoseconds()),
            ("ends", row.EndsAt is { } ends ? UnixNanoseconds.Of(ends) : null),
            ("client", row.Owner.Client),
            ("scopes", row.Owner.Scopes),
            ("facilities", row.Owner.Facilities is { } facilities ? JsonSerializer.Serialize(facilities) : null),
        ];

    private static long? CurrentVersion(WriteTransaction transaction, string id) =>
        transaction.Statements.First<long?>(
            "select version_id from resource where type = @type and id = @id",
            found => found.GetInt64(0),
            ("type", IndexedTypes.NumberOf(Type)),
            ("id", id)
        );

    private async Task<IReadOnlyList<SubscriptionRow>> FindAll(string condition, object values, CancellationToken stop)
    {
        var sql = $"select {StoredSubscription.Columns} from subscription where {condition}";
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<StoredSubscription>(new CommandDefinition(sql, values, cancellationToken: stop));
        return [.. rows.Select(row => row.ToRow())];
    }
}
