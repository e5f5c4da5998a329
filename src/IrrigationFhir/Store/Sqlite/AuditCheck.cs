using System.Globalization;
using Microsoft.Data.Sqlite;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>What a look through the whole audit found.</summary>
/// <param name="Rows">How many rows there are.</param>
/// <param name="Head">The hash that the chain ends with, in hexadecimal: noted elsewhere, it shows later that nothing before was changed.</param>
/// <param name="Faults">What is not as it was written, in words without any content; empty where the chain holds.</param>
/// <param name="Holds">Whether a hash that was noted earlier is in the chain; null where none was asked for.</param>
internal sealed record AuditCheckResult(long Rows, string Head, IReadOnlyList<string> Faults, bool? Holds);

/// <summary>Goes through the chain of the audit from its beginning, or from the last day that was taken away, to its end.</summary>
internal static class AuditCheck
{
    private const int MostFaults = 100;

    /// <summary>Checks every row.</summary>
    /// <param name="store">A connection for reading.</param>
    /// <param name="noted">A hash that was noted earlier, or null.</param>
    public static AuditCheckResult Run(SqliteConnection store, string? noted)
    {
        using var snapshot = store.BeginTransaction(deferred: true);
        var (faults, more) = (new List<string>(), 0);
        void Fault(string text)
        {
            if (faults.Count < MostFaults)
                faults.Add(text);
            else
                more++;
        }

        var seals = Seals(store, snapshot);
        var (number, day, hash, rows) = (0L, long.MinValue, AuditSql.Beginning, 0L);
        var holds = false;
        void Note(byte[] link) => holds |= Convert.ToHexString(link).Equals(noted, StringComparison.OrdinalIgnoreCase);

        // What was taken away: whole days from the old end, each of which left its last hash. Of the day that is going some rows may be
        // there still.
        foreach (var gone in seals.Where(seal => seal.Removed))
        {
            if (gone.First != number + 1)
                Fault($"rows {number + 1} to {gone.First - 1} are missing before {Date(gone.Day)}");
            (number, day, hash) = (gone.Last, gone.Day, gone.Hash);
            Note(hash);
        }

        var kept = seals.Where(seal => !seal.Removed).ToDictionary(seal => seal.Day);
        var upTo = number;
        using var command = store.CreateCommand();
        command.Transaction = snapshot;
        command.CommandText =
            "select number, day, recorded, patient, deed, client, content, hash from audit where number > @from order by number";
        command.Parameters.AddWithValue("@from", upTo);
        using var reader = command.ExecuteReader();
        while (reader.Read())
        {
            rows++;
            var (next, itsDay, itsHash) = (reader.GetInt64(0), reader.GetInt64(1), (byte[])reader[7]);
            if (next != number + 1)
                Fault(next == number + 2 ? $"row {number + 1} is missing" : $"rows {number + 1} to {next - 1} are missing");
            if (itsDay != day && rows > 1)
                Ended(day, number, hash, kept, Fault);
            if (itsDay < day)
                Fault($"row {next} is of an earlier day than the row before");
            Judge(reader, next, itsDay, hash, itsHash, next == number + 1, Fault);
            (number, day, hash) = (next, itsDay, itsHash);
            Note(hash);
        }

        foreach (var seal in kept.Values.Where(seal => seal.Last > number))
            Fault($"rows {number + 1} to {seal.Last} are missing at the end of {Date(seal.Day)}");
        if (more > 0)
            faults.Add($"and {more.ToString(CultureInfo.InvariantCulture)} faults more");
        return new(rows, Convert.ToHexStringLower(hash), faults, noted is null ? null : holds);
    }

    private static void Judge(SqliteDataReader row, long number, long day, byte[] before, byte[] hash, bool follows, Action<string> fault)
    {
        AuditEntry entry;
        byte[] json;
        try
        {
            json = StoredJson.UnpackUtf8((byte[])row[6]);
            entry = AuditEntry.Read(json);
        }
        catch (Exception unreadable) when (unreadable is InvalidDataException or System.Text.Json.JsonException or ZstdSharp.ZstdException)
        {
            fault($"row {number} cannot be read");
            return;
        }

        // Behind a gap the row cannot be judged: what it hung on is not there.
        if (follows && !AuditSql.HashOf(before, number, day, json).AsSpan().SequenceEqual(hash))
            fault($"row {number} is not as it was written");
        long? patient = entry.Patient is { } named ? PatientNumber.Of(named.Key) : null;
        var columns = (row.GetInt64(2), row.IsDBNull(3) ? (long?)null : row.GetInt64(3), row.GetInt64(4), row.GetString(5));
        if (columns != (entry.At, patient, (long)entry.Deed, entry.Client))
            fault($"row {number} is found by something else than it says");
    }

    private static void Ended(long day, long last, byte[] hash, Dictionary<long, Sealed> kept, Action<string> fault)
    {
        if (!kept.TryGetValue(day, out var seal))
            fault($"the end of {Date(day)} is not noted");
        else if (seal.Last != last || !seal.Hash.AsSpan().SequenceEqual(hash))
            fault($"{Date(day)} does not end as was noted");
    }

    private sealed record Sealed(long Day, long First, long Last, byte[] Hash, bool Removed);

    private static List<Sealed> Seals(SqliteConnection store, SqliteTransaction snapshot)
    {
        using var command = store.CreateCommand();
        command.Transaction = snapshot;
        command.CommandText = "select day, first, last, hash, removed_at from audit_day order by day";
        using var reader = command.ExecuteReader();
        var seals = new List<Sealed>();
        while (reader.Read())
            seals.Add(new(reader.GetInt64(0), reader.GetInt64(1), reader.GetInt64(2), (byte[])reader[3], !reader.IsDBNull(4)));
        return seals;
    }

    private static string Date(long day) => LocalDatePattern.Iso.Format(NodaConstants.UnixEpoch.Plus(Duration.FromDays(day)).InUtc().Date);
}
