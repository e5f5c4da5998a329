using System.Data;
using System.Reflection;
using DbUp;
using DbUp.Engine;
using DbUp.Sqlite;
using DbUp.Support;
using Microsoft.Data.Sqlite;
using Microsoft.Extensions.Logging.Abstractions;
using DateTimeZone = NodaTime.DateTimeZone;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>A script as it is shipped.</summary>
/// <param name="Name">As the journal of a store has it.</param>
/// <param name="Sql">Its text, which never changes once it was shipped; a test holds the fingerprint of each.</param>
internal sealed record ShippedScript(string Name, string Sql);

/// <summary>Brings a store to today's schema, wholly or not at all: scripts, repairs and the last check share a transaction.</summary>
internal static class Migration
{
    /// <summary>The table in which DbUp notes what was run.</summary>
    public const string JournalTable = "SchemaVersions";

    private const string Folder = "IrrigationFhir.Store.Schema.sqlite.";

    /// <summary>The script that ends the time in which scripts were edited; what is older is prepared for them.</summary>
    private const string Repair = Folder + "0006-stores-made-in-between.sql";

    private const string Searches = Folder + "0002-searches-by-patient-and-status.sql";

    private const string ByStatus = Folder + "0002-resources-by-status.sql";

    /// <summary>Names under which scripts were once run, and what they are called now; null for one that is part of another.</summary>
    private static readonly Dictionary<string, string?> EarlierNames = new()
    {
        [Folder + "0002-flags.sql"] = Folder + "0003-flags.sql",
        [Folder + "0004-subscriptions.sql"] = Folder + "0005-subscriptions.sql",
        [ByStatus] = null,
    };

    /// <summary>The scripts, in the order in which they are run.</summary>
    public static IReadOnlyList<ShippedScript> Shipped { get; } =
    [
        .. from name in Assembly.GetExecutingAssembly().GetManifestResourceNames()
        where name.StartsWith(Folder, StringComparison.Ordinal)
        orderby name
        select new ShippedScript(name, Text(name)),
    ];

    /// <summary>The names in the journal of a store that are none of ours: a newer version's, or another program's.</summary>
    public static IReadOnlyList<string> Unknown(SqliteConnection store) =>
        [.. Journaled(store).Where(name => !EarlierNames.ContainsKey(name) && Shipped.All(script => script.Name != name)).Select(Short)];

    /// <summary>How many shipped scripts a store has not seen yet.</summary>
    public static int Pending(SqliteConnection store)
    {
        var run = Today(Journaled(store)).ToHashSet();
        return Shipped.Count(script => !run.Contains(script.Name));
    }

    /// <summary>Runs what is missing, and compares the outcome with what the service expects.</summary>
    /// <param name="file">The database file; made if it is missing.</param>
    /// <param name="zone">The zone of dates that carry no offset, for what is carried over.</param>
    /// <param name="log">Told how far it has come where that takes long.</param>
    /// <exception cref="StoreFault">A script failed, or the outcome is not what is expected; the file is as it was.</exception>
    public static void Run(string file, DateTimeZone zone, ILogger? log = null)
    {
        var upgrade = DeployChanges
            .To.SqliteDatabase(Dialect.Connection(file, SqliteOpenMode.ReadWriteCreate, pooling: false))
            .JournalTo((connections, log) => new Journal(new SqliteTableJournal(connections, log, JournalTable)))
            .WithScript("before", Step(Prepare), Always(order: 0))
            .WithScripts(Shipped.Select(script => new SqlScript(script.Name, script.Sql)))
            .WithScript(
                "after",
                Step(store =>
                {
                    WideRows.Carry(store, zone, log ?? NullLogger.Instance);
                    if (SchemaCheck.Differences(store) is { Count: > 0 } differences)
                        throw new StoreFault(Refusal(differences));
                }),
                Always(order: 1000)
            )
            .WithVariablesDisabled()
            .WithTransaction()
            .LogToNowhere()
            .Build();
        var result = upgrade.PerformUpgrade();
        if (result.Successful)
            return;
        throw result.Error as StoreFault
            ?? new StoreFault(
                $"The schema of the store could not be brought up to date, and nothing of it was changed: {result.Error.Message}",
                result.Error
            );
    }

    private static string Refusal(IReadOnlyList<string> differences) =>
        $"The store does not have the schema that this version expects, and was left as it was: {string.Join("; ", differences)}. "
        + "Start the version that made it, or restore a backup.";

    /// <summary>Makes room for the scripts in a store of the time in which they were still edited.</summary>
    private static void Prepare(SqliteConnection store)
    {
        var run = Journaled(store).ToHashSet();
        if (run.Count == 0 || run.Contains(Repair))
            return;

        // 0002-searches-by-patient-and-status took over what this one made.
        if (run.Contains(ByStatus) && !run.Contains(Searches))
            Dialect.Run(store, "drop index resource_by_status");

        if (Dialect.Texts(store, "select name from pragma_table_info('resource_token') where name = 'part'").Count == 0)
        {
            // 0001 knew neither parts nor measures: the table is made as it says now, for the scripts that follow. What stood in it is
            // worked out from the resources afterwards, as all that they are found by.
            using var first = SchemaCheck.Made(Shipped.Take(1));
            Dialect.Run(store, "drop table resource_token");
            const string Table = "select sql from sqlite_master where tbl_name = 'resource_token' and sql is not null order by type desc";
            foreach (var sql in Dialect.Texts(first, Table))
                Dialect.Run(store, sql);
        }
    }

    private static List<string> Journaled(SqliteConnection store) =>
        Dialect.Rows(store, $"select 1 from sqlite_master where name = '{JournalTable}'", row => row.GetInt64(0)).Count == 0
            ? []
            : Dialect.Texts(store, $"select ScriptName from {JournalTable}");

    /// <summary>Names as they are today; those of scripts that were renamed under both names.</summary>
    private static IEnumerable<string> Today(IEnumerable<string> journaled) =>
        journaled.SelectMany(name => EarlierNames.GetValueOrDefault(name) is { } today ? [name, today] : new[] { name });

    private static string Short(string name) => name.StartsWith(Folder, StringComparison.Ordinal) ? name[Folder.Length..] : name;

    private static string Text(string name)
    {
        using var reader = new StreamReader(Assembly.GetExecutingAssembly().GetManifestResourceStream(name)!);
        return reader.ReadToEnd();
    }

    private static SqlScriptOptions Always(int order) => new() { ScriptType = ScriptType.RunAlways, RunGroupOrder = order };

    private static CodeStep Step(Action<SqliteConnection> work) => new(work);

    /// <summary>A step in code, inside the transaction of the scripts.</summary>
    private sealed class CodeStep(Action<SqliteConnection> work) : IScript
    {
        public string ProvideScript(Func<IDbCommand> dbCommandFactory)
        {
            using var command = dbCommandFactory();
            work((SqliteConnection)command.Connection!);
            return "";
        }
    }

    /// <summary>The journal, with what was run under an earlier name known under today's.</summary>
    private sealed class Journal(IJournal table) : IJournal
    {
        public string[] GetExecutedScripts() => [.. Today(table.GetExecutedScripts())];

        public void StoreExecutedScript(SqlScript script, Func<IDbCommand> dbCommandFactory) =>
            table.StoreExecutedScript(script, dbCommandFactory);

        public void EnsureTableExistsAndIsLatestVersion(Func<IDbCommand> dbCommandFactory) =>
            table.EnsureTableExistsAndIsLatestVersion(dbCommandFactory);
    }
}
