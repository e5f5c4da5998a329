using System.Buffers.Binary;
using System.Security.Cryptography;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>The statements that keep the audit; they run inside a <see cref="WriteTransaction"/>, that of what they tell.</summary>
internal static class AuditSql
{
    /// <summary>What the first row of all hangs on.</summary>
    public static byte[] Beginning { get; } = new byte[SHA256.HashSizeInBytes];

    /// <summary>The end of the chain: the row that the next one hangs on.</summary>
    private sealed record Link(long Number, long Day, byte[] Hash);

    /// <summary>Adds an entry. Nothing of it is ever changed.</summary>
    public static void Append(WriteTransaction transaction, AuditEntry entry) => Append(transaction, [entry]);

    /// <summary>Adds entries, in their order.</summary>
    public static void Append(WriteTransaction transaction, IReadOnlyList<AuditEntry> entries)
    {
        var statements = transaction.Statements;
        var last =
            statements.Find(
                "select number, day, hash from audit order by number desc limit 1",
                row => new Link(row.Number(0), row.Number(1), row.Bytes(2))
            )
            ?? statements.Find(
                "select last, day, hash from audit_day order by day desc limit 1",
                row => new Link(row.Number(0), row.Number(1), row.Bytes(2))
            )
            ?? new Link(0, long.MinValue, Beginning);
        foreach (var entry in entries)
            last = Add(statements, last, entry);
    }

    private static Link Add(PreparedStatements statements, Link last, AuditEntry entry)
    {
        // Of what was recorded: what waited is stored later, and uses up no time of storing. A clock that was put back does not open a day
        // again that has ended.
        var day = Math.Max(DayOf(UnixNanoseconds.ToInstant(entry.At)), last.Day);
        if (day > last.Day && last.Number > 0)
            Seal(statements, last);

        var (number, json) = (last.Number + 1, entry.ToJson());
        var hash = HashOf(last.Hash, number, day, json);
        statements.Execute(
            """
            insert into audit (number, day, recorded, patient, deed, client, content, hash)
            values (@number, @day, @recorded, @patient, @deed, @client, @content, @hash)
            """,
            ("number", number),
            ("day", day),
            ("recorded", entry.At),
            ("patient", entry.Patient is { } patient ? PatientNumber.Of(patient.Key) : null),
            ("deed", (int)entry.Deed),
            ("client", entry.Client),
            ("content", StoredJson.Pack(json)),
            ("hash", hash)
        );
        return new(number, day, hash);
    }

    /// <summary>The hash of a row, which holds the one before it in place.</summary>
    public static byte[] HashOf(ReadOnlySpan<byte> before, long number, long day, ReadOnlySpan<byte> json)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        Span<byte> place = stackalloc byte[16];
        BinaryPrimitives.WriteInt64BigEndian(place, number);
        BinaryPrimitives.WriteInt64BigEndian(place[8..], day);
        hash.AppendData(before);
        hash.AppendData(place);
        hash.AppendData(json);
        return hash.GetHashAndReset();
    }

    /// <summary>The day of a moment: days since 1970, UTC.</summary>
    public static long DayOf(Instant at) => (long)Math.Floor((at - NodaConstants.UnixEpoch).TotalDays);

    /// <summary>The patient of an episode as the audit names them; null where there is no such episode.</summary>
    public static AuditedPatient? PatientOf(PreparedStatements statements, string episode) =>
        statements.Find(
            $"select patient_key, patient_system, patient_value, {Sqlite.Dialect.PatientAddress} from episode where id = @id",
            row => new AuditedPatient(row.Text(0), row.TextOrNull(1), row.TextOrNull(2), row.TextOrNull(3)),
            ("id", episode)
        );

    // The day before may have been sealed already, and its rows be gone.
    private static void Seal(PreparedStatements statements, Link last) =>
        statements.Execute(
            """
            insert into audit_day (day, first, last, hash)
            select @day, min(number), max(number), @hash from audit where day = @day and number <= @last having count(*) > 0
            on conflict do nothing
            """,
            ("day", last.Day),
            ("last", last.Number),
            ("hash", last.Hash)
        );
}
