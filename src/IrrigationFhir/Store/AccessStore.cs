using System.Text.Json;
using Dapper;
using IrrigationFhir.Search;
using IrrigationFhir.Store.Sqlite;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>A key that access tokens are signed with.</summary>
/// <param name="Kid">Its name.</param>
/// <param name="Sealed">The key itself, sealed.</param>
/// <param name="NotBefore">From when on it signs.</param>
/// <param name="RetireAt">When it is no longer published; null while no other follows.</param>
internal sealed record AccessKey(string Kid, byte[] Sealed, Instant NotBefore, Instant? RetireAt);

/// <summary>Keys of access tokens, and assertions that were used: shared by all who serve one store.</summary>
internal sealed class AccessStore(Database database)
{
    private const string KeysSql =
        "select kid as Kid, key as Sealed, not_before as NotBefore, retire_at as RetireAt from access_key order by not_before, kid";

    /// <summary>All keys, the one that begins first foremost.</summary>
    public async Task<IReadOnlyList<AccessKey>> Keys(CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<Row>(new CommandDefinition(KeysSql, cancellationToken: stop));
        return [.. rows.Select(row => row.ToKey())];
    }

    /// <summary>
    /// Keeps a new key unless one that begins later than a moment is there already: of several who find that it is time for the next, one
    /// makes it. Those before it retire some time after it has begun; those that have retired are forgotten.
    /// </summary>
    /// <param name="key">The new key.</param>
    /// <param name="unlessAfter">The moment.</param>
    /// <param name="lost">Keys that do not count, because nobody can open them any more.</param>
    /// <param name="overlap">For how long those before it are still published once it signs.</param>
    /// <param name="stop">Gives up.</param>
    public Task<bool> AddKey(
        AccessKey key,
        Instant unlessAfter,
        IReadOnlyCollection<string> lost,
        Duration overlap,
        CancellationToken stop
    ) =>
        database.Write(
            transaction =>
            {
                var added = transaction.Statements.Execute(
                    $"""
                    insert into access_key (kid, key, not_before)
                    select @kid, @key, @from
                    where not exists (select 1 from access_key where not_before > @unless and not {Dialect.Among("kid", "@lost")})
                    """,
                    ("kid", key.Kid),
                    ("key", key.Sealed),
                    ("from", UnixNanoseconds.Of(key.NotBefore)),
                    ("unless", UnixNanoseconds.Of(unlessAfter)),
                    ("lost", JsonSerializer.Serialize(lost))
                );
                if (added == 0)
                    return false;
                transaction.Statements.Execute(
                    "update access_key set retire_at = @at where kid <> @kid and retire_at is null",
                    ("at", UnixNanoseconds.Of(key.NotBefore + overlap)),
                    ("kid", key.Kid)
                );
                transaction.Statements.Execute("delete from access_key where retire_at < @now", ("now", UnixNanoseconds.Of(unlessAfter)));
                return true;
            },
            stop
        );

    /// <summary>Uses an assertion up; false where it was used before, whoever of those that share the store saw it.</summary>
    /// <param name="issuer">Who made it.</param>
    /// <param name="jti">Its id.</param>
    /// <param name="until">Until when it would be taken.</param>
    /// <param name="now">What has expired by now is forgotten.</param>
    /// <param name="stop">Gives up.</param>
    public Task<bool> UseUp(string issuer, string jti, Instant until, Instant now, CancellationToken stop) =>
        database.Write(
            transaction =>
            {
                transaction.Statements.Execute("delete from access_assertion where until < @now", ("now", UnixNanoseconds.Of(now)));
                return 1
                    == transaction.Statements.Execute(
                        "insert into access_assertion (issuer, jti, until) values (@issuer, @jti, @until) on conflict do nothing",
                        ("issuer", issuer),
                        ("jti", jti),
                        ("until", UnixNanoseconds.Of(until))
                    );
            },
            stop
        );

    private sealed class Row
    {
        public string Kid { get; set; } = "";

        public byte[] Sealed { get; set; } = [];

        public long NotBefore { get; set; }

        public long? RetireAt { get; set; }

        public AccessKey ToKey() =>
            new(Kid, Sealed, UnixNanoseconds.ToInstant(NotBefore), RetireAt is { } at ? UnixNanoseconds.ToInstant(at) : null);
    }
}
