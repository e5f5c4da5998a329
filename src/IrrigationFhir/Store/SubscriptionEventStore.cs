using Dapper;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>The events of subscriptions: what is to be delivered, and what <c>$events</c> gives again.</summary>
internal sealed class SubscriptionEventStore(Database database)
{
    /// <summary>Events of a subscription in a range of numbers, both ends included, in their order.</summary>
    public async Task<IReadOnlyList<SubscriptionEventRow>> Read(string id, long from, long to, int atMost, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<StoredEvent>(
            new CommandDefinition(
                $"""
                select e.number as Number, e.at as At, e.event as Event, e.type as Type, e.id as Id, e.version_id as VersionId,
                    v.json as Json
                from subscription_event e
                left join resource r on r.type = case e.type {NumberOfType} end and r.id = e.id
                left join resource_version v on v.at = e.at and v.patient = r.patient and v.type = r.type and v.number = r.number
                where e.subscription_id = @id and e.number between @from and @to
                order by e.number limit @atMost
                """,
                new
                {
                    id,
                    from,
                    to,
                    atMost,
                },
                cancellationToken: stop
            )
        );
        return
        [
            .. rows.Select(row => new SubscriptionEventRow(
                row.Number,
                UnixNanoseconds.ToInstant(row.At),
                row.Event,
                row.Type,
                row.Id,
                row.VersionId,
                row.Json is null ? null : StoredJson.Unpack(row.Json)
            )),
        ];
    }

    /// <summary>The number of the oldest event that is kept; null where none is.</summary>
    public async Task<long?> FindOldest(string id, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return await connection.ExecuteScalarAsync<long?>(
            new CommandDefinition(
                "select min(number) from subscription_event where subscription_id = @id",
                new { id },
                cancellationToken: stop
            )
        );
    }

    /// <summary>Forgets events that are older than a moment, in steps that hold up nobody. Says how many went.</summary>
    /// <remarks>What is still to be delivered to an active subscription stays.</remarks>
    public async Task<int> DeleteBefore(Instant before, int atMost, CancellationToken stop) =>
        !await HasAnyBefore(before, stop)
            ? 0
            : await database.Write(
                transaction =>
                    transaction.Statements.Execute(
                        """
                        delete from subscription_event where (subscription_id, number) in
                            (select e.subscription_id, e.number from subscription_event e join subscription s on s.id = e.subscription_id
                             where e.at < @before and (e.number <= s.delivered or s.status in ('error', 'off')) order by e.at limit @most)
                        """,
                        ("before", UnixNanoseconds.Of(before)),
                        ("most", atMost)
                    )
                    + transaction.Statements.Execute(
                        // The latest one stays: the next takes its number from it.
                        """
                        delete from outbox where number in
                            (select number from outbox
                             where at < @before and number < (select max(number) from outbox) order by at limit @most)
                        """,
                        ("before", UnixNanoseconds.Of(before)),
                        ("most", atMost)
                    ),
                stop
            );

    // An event is stored with the version that it is about, and so under the same time.
    private static readonly string NumberOfType = string.Join(
        ' ',
        IndexedTypes.All.Select(type => $"when '{type.Name}' then {type.Number}")
    );

    // Read first, so that no write, and no time of storage, is used up for nothing.
    private async Task<bool> HasAnyBefore(Instant before, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        return await connection.ExecuteScalarAsync<bool>(
            new CommandDefinition(
                """
                select exists (select 1 from subscription_event where at < @before)
                    or exists (select 1 from outbox where at < @before and number < (select max(number) from outbox))
                """,
                new { before = UnixNanoseconds.Of(before) },
                cancellationToken: stop
            )
        );
    }

    private sealed class StoredEvent
    {
        public long Number { get; set; }

        public long At { get; set; }

        public string Event { get; set; } = "";

        public string Type { get; set; } = "";

        public string Id { get; set; } = "";

        public long VersionId { get; set; }

        public byte[]? Json { get; set; }
    }
}
