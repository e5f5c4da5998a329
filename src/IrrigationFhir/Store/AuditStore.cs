using System.Data.Common;
using Dapper;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>An entry of the audit as stored.</summary>
/// <param name="Number">Its place in the chain.</param>
/// <param name="Entry">What was done.</param>
internal sealed record AuditRow(long Number, AuditEntry Entry);

/// <summary>Which entries to find.</summary>
/// <param name="Recorded">Only those of a time within each of these.</param>
/// <param name="AtMost">How many.</param>
internal sealed record AuditQuery(IReadOnlyList<TimeRange> Recorded, int AtMost)
{
    /// <summary>Only of these facilities' patients; null for all, and for what is about no patient.</summary>
    public IReadOnlyList<string>? Facilities { get; init; }

    /// <summary>Only of these patients, by identifier; null for all.</summary>
    public IReadOnlyList<(string? System, string Value)>? Patients { get; init; }

    /// <summary>Only of patients of this episode, which is that of a resource; null for all.</summary>
    public string? Episode { get; init; }

    /// <summary>Only by these clients; null for all.</summary>
    public IReadOnlyList<string>? Clients { get; init; }

    /// <summary>Only such deeds; null for all.</summary>
    public IReadOnlyList<Deed>? Deeds { get; init; }

    /// <summary>Only these, by their place in the chain; null for all.</summary>
    public IReadOnlyList<long>? Numbers { get; init; }

    /// <summary>What no column tells: asked of each entry; null where the columns tell all.</summary>
    public Func<AuditRow, bool>? Matches { get; init; }

    /// <summary>Whether the oldest comes first, and not the latest.</summary>
    public bool OldestFirst { get; init; }

    /// <summary>Only what follows this one in that order; null for the first page.</summary>
    public (long Recorded, long Number)? After { get; init; }
}

/// <summary>A page of the audit.</summary>
/// <param name="Rows">In the order that was asked for.</param>
/// <param name="Next">Behind which the next page begins; null where there is none.</param>
internal sealed record AuditPage(IReadOnlyList<AuditRow> Rows, (long Recorded, long Number)? Next);

/// <summary>What was done by whom: it is added to and read. What has been kept long enough goes, whole days at a time.</summary>
internal sealed class AuditStore(Database database)
{
    /// <summary>So many rows are looked at for one page where no column tells what is looked for; then the page ends early.</summary>
    public const int MostLookedAt = 20_000;

    /// <summary>So many rows are looked at for a number where no column tells what is counted; with more there is none.</summary>
    public const int MostCounted = 200_000;

    private const int AtOnce = 500;

    /// <summary>Adds an entry that nothing else is written with.</summary>
    public Task Add(AuditEntry entry, CancellationToken stop) =>
        database.Write(
            transaction =>
            {
                AuditSql.Append(transaction, entry);
                return true;
            },
            stop
        );

    /// <summary>Adds entries, each for every patient that it is about, all or nothing; answers what was added.</summary>
    public Task<IReadOnlyList<AuditEntry>> Add(IReadOnlyList<AuditEntry> entries, CancellationToken stop) =>
        database.Write(transaction => Append(transaction, entries), stop);

    /// <summary>How far which file of waiting entries has been stored; null before the first.</summary>
    public async Task<(long File, long Lines)?> Taken(CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var rows = await connection.QueryAsync<(long, long)>(
            new CommandDefinition("select file, lines from audit_taken", cancellationToken: stop)
        );
        return rows.Select(row => ((long, long)?)row).FirstOrDefault();
    }

    /// <summary>
    /// Adds entries of a file of waiting ones, each for every patient that it is about, and how far that was, all or nothing. What was
    /// taken before is passed over.
    /// </summary>
    /// <param name="file">The file's number: files come in their order.</param>
    /// <param name="upTo">The number of its lines that are taken then.</param>
    /// <param name="entries">The entries of lines that were not.</param>
    /// <param name="stop">Gives up.</param>
    /// <returns>What was added.</returns>
    public Task<IReadOnlyList<AuditEntry>> Take(long file, long upTo, IReadOnlyList<AuditEntry> entries, CancellationToken stop) =>
        database.Write(
            transaction =>
            {
                var added = Append(transaction, entries);
                transaction.Statements.Execute(
                    """
                    insert into audit_taken (only_row, file, lines) values (1, @file, @lines)
                    on conflict (only_row) do update set file = excluded.file, lines = excluded.lines
                    """,
                    ("file", file),
                    ("lines", upTo)
                );
                return added;
            },
            stop
        );

    /// <summary>One of them; null where there is none, or where it is about a patient of another facility.</summary>
    public async Task<AuditRow?> Find(long number, IReadOnlyList<string>? facilities, CancellationToken stop)
    {
        await using var connection = database.OpenForReading();
        var rows = await Rows(connection, $"number = @number and {Within(facilities)}", new { number }, 1, stop);
        return rows is [var one] ? one.Row : null;
    }

    /// <summary>Some of them, the latest first or the oldest.</summary>
    public async Task<AuditPage> Search(AuditQuery query, CancellationToken stop)
    {
        var found = new List<AuditRow>();
        var (after, looked) = (query.After, 0);
        await foreach (var rows in Read(query, stop))
        {
            foreach (var (row, recorded) in rows)
            {
                if (query.Matches?.Invoke(row) != false)
                {
                    if (found.Count == query.AtMost)
                        return new(found, after);
                    found.Add(row);
                }

                after = (recorded, row.Number);
            }

            looked += rows.Count;
            if (looked >= MostLookedAt && rows.Count == AtOnce)
                return new(found, after);
        }

        return new(found, null);
    }

    /// <summary>How many there are, whatever the page; null where more than <see cref="MostCounted"/> would have to be looked at.</summary>
    public async Task<int?> Count(AuditQuery query, CancellationToken stop)
    {
        query = query with { After = null };
        if (query.Matches is not { } matches)
        {
            await using var connection = database.OpenForReading();
            if (await Where(connection, query, stop) is not var (condition, values))
                return 0;
            var sql = $"select count(*) from audit where {condition}";
            return await connection.ExecuteScalarAsync<int>(new CommandDefinition(sql, values, cancellationToken: stop));
        }

        var (count, looked) = (0, 0);
        await foreach (var rows in Read(query, stop))
        {
            looked += rows.Count;
            if (looked > MostCounted)
                return null;
            count += rows.Count(pair => matches(pair.Row));
        }

        return count;
    }

    // Everything that the columns let through, some at a time, until there is no more.
    private async IAsyncEnumerable<IReadOnlyList<(AuditRow Row, long Recorded)>> Read(
        AuditQuery query,
        [System.Runtime.CompilerServices.EnumeratorCancellation] CancellationToken stop
    )
    {
        await using var connection = database.OpenForReading();
        while (await Where(connection, query, stop) is var (condition, values))
        {
            var rows = await Rows(connection, condition, values, AtOnce, stop, query.OldestFirst);
            yield return rows;
            if (rows.Count < AtOnce)
                break;
            query = query with { After = (rows[^1].Recorded, rows[^1].Row.Number) };
        }
    }

    // The condition of a query that columns tell, with its values; null where no patient of those that are meant is known.
    private static async Task<(string Condition, object Values)?> Where(DbConnection connection, AuditQuery query, CancellationToken stop)
    {
        var patients = new List<long>();
        if (query.Patients is { } meant)
            patients.AddRange(await NumbersOf(connection, meant, stop));
        if (query.Episode is { } episode)
            patients.AddRange(await NumbersOfEpisode(connection, episode, stop));
        var byPatient = query.Patients is not null || query.Episode is not null;
        if (byPatient && patients.Count == 0)
            return null;

        var conditions = new List<string> { "recorded >= @from and recorded < @to", Within(query.Facilities) };
        if (byPatient)
            conditions.Add("patient in @patients");
        if (query.Clients is not null)
            conditions.Add("client in @clients");
        if (query.Deeds is not null)
            conditions.Add("deed in @deeds");
        if (query.Numbers is not null)
            conditions.Add("number in @numbers");
        if (query.After is not null)
            conditions.Add($"(recorded, number) {(query.OldestFirst ? ">" : "<")} (@recorded, @number)");
        return (
            string.Join(" and ", conditions),
            new
            {
                from = query.Recorded.Select(range => range.From).DefaultIfEmpty(long.MinValue).Max(),
                to = query.Recorded.Select(range => range.To).DefaultIfEmpty(long.MaxValue).Min(),
                patients,
                clients = query.Clients,
                deeds = query.Deeds?.Select(deed => (int)deed),
                numbers = query.Numbers,
                recorded = query.After?.Recorded,
                number = query.After?.Number,
            }
        );
    }

    /// <summary>Takes the oldest days away that ended before a moment, so many rows at a time; says how many went.</summary>
    /// <remarks>The row of a day that goes is marked first, and stays: the chain of what is left hangs on it.</remarks>
    public async Task<int> RemoveBefore(Instant before, int atMost, CancellationToken stop)
    {
        await using (var connection = database.OpenForReading())
        {
            var any = new CommandDefinition(OldestSql, new { day = AuditSql.DayOf(before) }, cancellationToken: stop);
            if (await connection.QueryFirstOrDefaultAsync<long?>(any) is null)
                return 0;
        }

        return await database.Write(
            transaction =>
            {
                var statements = transaction.Statements;
                if (statements.Find(OldestSql, row => (long?)row.Number(0), ("day", AuditSql.DayOf(before))) is not { } last)
                    return 0;
                statements.Execute(
                    "update audit_day set removed_at = @at where last = @last and removed_at is null",
                    ("at", UnixNanoseconds.Of(transaction.At)),
                    ("last", last)
                );
                return statements.Execute(
                    "delete from audit where number in (select number from audit where number <= @last order by number limit @most)",
                    ("last", last),
                    ("most", atMost)
                );
            },
            stop
        );
    }

    private static IReadOnlyList<AuditEntry> Append(WriteTransaction transaction, IReadOnlyList<AuditEntry> entries)
    {
        var patients = new Dictionary<string, AuditedPatient?>();
        List<AuditEntry> added = [.. entries.SelectMany(entry => ForEachPatient(transaction.Statements, entry, patients))];
        if (added.Count > 0)
            AuditSql.Append(transaction, added);
        return added;
    }

    // The oldest day of which rows are left.
    private const string OldestSql = """
        select d.last from audit_day d
        where d.day < @day and d.last >= (select min(number) from audit) order by d.day limit 1
        """;

    private static IEnumerable<AuditEntry> ForEachPatient(
        PreparedStatements statements,
        AuditEntry entry,
        Dictionary<string, AuditedPatient?> known
    )
    {
        if (entry.Episodes is not { Count: > 0 } episodes)
            return [entry];
        var patients = new Dictionary<string, AuditedPatient>();
        foreach (var episode in episodes)
        {
            if (!known.TryGetValue(episode, out var patient))
                known.Add(episode, patient = AuditSql.PatientOf(statements, episode));
            if (patient is not null)
                patients.TryAdd(patient.Key, patient);
        }

        return patients.Count == 0
            ? [entry with { Episodes = null }]
            : patients.Values.Select(patient => entry with { Episodes = null, Patient = patient });
    }

    private static string Within(IReadOnlyList<string>? facilities) =>
        facilities is null ? "1 = 1"
        : facilities.Count == 0 ? "1 = 0"
        : $"({string.Join(" or ", facilities.Select(PatientNumber.OfFacility).Select(all => $"patient between {all.From} and {all.To}"))})";

    private static async Task<IEnumerable<long>> NumbersOf(
        DbConnection connection,
        IReadOnlyList<(string? System, string Value)> patients,
        CancellationToken stop
    )
    {
        var keys = new HashSet<string>();
        foreach (var patient in patients)
        {
            var some = new CommandDefinition(
                "select distinct patient_key from episode where patient_value = @value and (@system is null or patient_system = @system)",
                new { value = patient.Value, system = patient.System },
                cancellationToken: stop
            );
            keys.UnionWith(await connection.QueryAsync<string>(some));
        }

        return keys.Select(PatientNumber.Of);
    }

    private static async Task<IEnumerable<long>> NumbersOfEpisode(DbConnection connection, string episode, CancellationToken stop)
    {
        var one = new CommandDefinition("select patient_key from episode where id = @episode", new { episode }, cancellationToken: stop);
        return (await connection.QueryAsync<string>(one)).Select(PatientNumber.Of);
    }

    private static async Task<IReadOnlyList<(AuditRow Row, long Recorded)>> Rows(
        DbConnection connection,
        string condition,
        object values,
        int atMost,
        CancellationToken stop,
        bool oldestFirst = false
    )
    {
        var how = oldestFirst ? "" : " desc";
        var rows = await connection.QueryAsync<(long Number, long Recorded, byte[] Content)>(
            new CommandDefinition(
                $"select number, recorded, content from audit where {condition} order by recorded{how}, number{how} limit {atMost}",
                values,
                cancellationToken: stop
            )
        );
        return [.. rows.Select(row => (new AuditRow(row.Number, AuditEntry.Read(StoredJson.UnpackUtf8(row.Content))), row.Recorded))];
    }
}
