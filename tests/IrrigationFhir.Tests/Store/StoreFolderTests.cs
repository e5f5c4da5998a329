using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using Microsoft.Data.Sqlite;
using Microsoft.Extensions.Logging;
using static IrrigationFhir.Tests.Store.StoreOnDisk;

namespace IrrigationFhir.Tests.Store;

/// <summary>What may lie where a store is expected, and what the start says of it in one line.</summary>
public class StoreFolderTests
{
    [Fact]
    public async Task A_folder_that_is_missing_or_empty_begins_a_new_store()
    {
        var folder = Path.Combine(Directory.CreateTempSubdirectory("new-").FullName, "below");
        await using var store = Reopen(folder);
        await store.OpenEpisode("night");
        Assert.True(File.Exists(Path.Combine(folder, "irrigation.db")));
    }

    [Fact]
    public async Task A_new_store_and_an_upgrade_say_so_in_the_log_and_a_usual_start_says_nothing()
    {
        var folder = Directory.CreateTempSubdirectory("new-").FullName;
        Assert.Equal([$"Information: A new store was begun in {folder}"], await Logged(folder));
        Assert.Empty(await Logged(folder));
        var landed = Landed.Unpack("2026-11-26-d74a6d3");
        Assert.Equal([$"Information: The store in {landed} is brought up to date: 9 scripts to run"], await Logged(landed));
        Assert.Empty(await Logged(landed));
    }

    [Fact]
    public async Task A_start_that_was_killed_while_it_began_a_store_is_begun_again()
    {
        var folder = Directory.CreateTempSubdirectory("new-").FullName;
        await File.WriteAllTextAsync(Path.Combine(folder, "irrigation.db.new"), "half of it");
        await File.WriteAllTextAsync(Path.Combine(folder, "irrigation.lock"), "");
        await using var store = Reopen(folder);
        Assert.False(File.Exists(Path.Combine(folder, "irrigation.db.new")));
    }

    [Theory]
    [InlineData("irrigation.db")]
    [InlineData("irrigation.db irrigation.db-wal irrigation.db-shm")]
    public async Task A_database_that_vanished_is_missed_and_not_begun_anew(string vanished)
    {
        var folder = await Stopped();
        foreach (var name in vanished.Split(' '))
            File.Delete(Path.Combine(folder, name));
        Refused(folder, "held a store, and irrigation.db is gone: irrigation.lock is still there");
        Assert.False(File.Exists(Path.Combine(folder, "irrigation.db")));
    }

    [Fact]
    public void A_log_without_its_database_is_refused()
    {
        var folder = Directory.CreateTempSubdirectory("log-").FullName;
        File.WriteAllText(Path.Combine(folder, "irrigation.db-wal"), "");
        Refused(folder, "irrigation.db-wal is still there");
    }

    [Fact]
    public async Task An_empty_file_is_refused()
    {
        var folder = await Stopped();
        await File.WriteAllBytesAsync(Path.Combine(folder, "irrigation.db"), []);
        Refused(folder, "irrigation.db is empty");
    }

    [Fact]
    public async Task A_file_that_is_no_database_is_refused()
    {
        var folder = await Stopped();
        await File.WriteAllTextAsync(Path.Combine(folder, "irrigation.db"), new string('x', 8192));
        Refused(folder, "irrigation.db is not a database");
    }

    [Fact]
    public void A_database_of_another_program_is_refused_and_left_alone()
    {
        var folder = Directory.CreateTempSubdirectory("foreign-").FullName;
        using (var foreign = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadWriteCreate))
            Dialect.Run(foreign, "create table bookmark (url text)");
        var before = File.ReadAllBytes(Dialect.FileIn(folder));
        Refused(folder, "is a database, but none of this service: it holds bookmark");
        Assert.Equal(before, File.ReadAllBytes(Dialect.FileIn(folder)));
    }

    [Fact]
    public void A_database_without_tables_is_refused()
    {
        var folder = Directory.CreateTempSubdirectory("foreign-").FullName;
        using (var empty = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadWriteCreate))
            Dialect.Run(empty, "pragma journal_mode = wal; create table t (a int); drop table t; vacuum");
        Refused(folder, "holds no table: was it copied without the irrigation.db-wal beside it?");
    }

    [Fact]
    public async Task A_store_of_a_newer_version_is_refused()
    {
        var folder = await Stopped();
        using (var store = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadWrite))
        {
            Dialect.Run(
                store,
                """
                insert into SchemaVersions (ScriptName, Applied)
                values ('IrrigationFhir.Store.Schema.sqlite.0099-of-tomorrow.sql', '2027-01-01')
                """
            );
        }

        Refused(folder, "was made by a newer version, or by another program: this one does not know 0099-of-tomorrow.sql");
    }

    [Theory]
    [InlineData(0.5)]
    [InlineData(0.999)]
    public async Task A_file_that_is_cut_off_is_refused(double kept)
    {
        var folder = await Stopped();
        using (var file = File.OpenWrite(Dialect.FileIn(folder)))
            file.SetLength((long)(file.Length * kept));
        Refused(folder, "is cut off");
    }

    [Fact]
    public async Task A_damaged_page_is_refused_wherever_it_lies()
    {
        var whole = await File.ReadAllBytesAsync(Dialect.FileIn(await Stopped()));
        const int Page = Dialect.PageSize;
        Assert.Equal(0, whole.Length % Page);
        foreach (var page in Enumerable.Range(1, whole.Length / Page - 1))
        {
            var folder = Directory.CreateTempSubdirectory("damaged-").FullName;
            var damaged = (byte[])whole.Clone();
            damaged.AsSpan(page * Page, 64).Fill(0xA5);
            await File.WriteAllBytesAsync(Dialect.FileIn(folder), damaged);
            var fault = Assert.Throws<StoreFault>(() => new Database(new(folder, NodaTime.DateTimeZone.Utc), TimeProvider.System).Start());
            Assert.Contains("damaged", fault.Message, StringComparison.Ordinal);
            Directory.Delete(folder, recursive: true);
        }
    }

    [Fact]
    public async Task A_folder_that_another_process_serves_is_refused()
    {
        var folder = Directory.CreateTempSubdirectory("served-").FullName;
        using var writer = KilledWriter.Start(folder);
        try
        {
            Assert.NotNull(await writer.StandardOutput.ReadLineAsync());
            Refused(folder, "Another process serves the store in");
        }
        finally
        {
            writer.Kill();
        }

        // Killed: the lock ended with it.
        await writer.WaitForExitAsync();
        await using var after = Reopen(folder);
        Assert.NotNull(await after.Episodes.Find("night", default));
    }

    [Fact]
    public async Task After_the_end_the_one_file_holds_everything()
    {
        var folder = await Stopped();
        var files = Directory.GetFiles(folder).Select(Path.GetFileName).Order(StringComparer.Ordinal);
        Assert.Equal(["irrigation.db", "irrigation.lock"], files);
        Assert.Equal(30, Entries(Dialect.FileIn(folder)));
    }

    [Fact]
    public async Task A_quiet_store_has_its_file_whole_while_it_is_served()
    {
        var folder = Directory.CreateTempSubdirectory("quiet-").FullName;
        await using var database = Restless(folder);
        database.Start();
        var episodes = new EpisodeStore(database);
        await episodes.Open(Episode("night"), default);
        await episodes.Save(Change(Episode("night"), [Entry(1, "a")]), default);

        var copy = Dialect.FileIn(Directory.CreateTempSubdirectory("copied-").FullName);
        for (var tries = 0; new FileInfo(Dialect.FileIn(folder) + "-wal").Length > 0; tries++)
        {
            Assert.True(tries < 200, "the log is never emptied");
            await Task.Delay(50);
        }

        File.Copy(Dialect.FileIn(folder), copy);
        Assert.Equal(1, Entries(copy));
    }

    [Fact]
    public async Task A_reader_holds_the_log_back_and_it_is_emptied_once_the_reader_ends()
    {
        var folder = Directory.CreateTempSubdirectory("quiet-").FullName;
        await using var database = Restless(folder);
        database.Start();
        var episodes = new EpisodeStore(database);
        long Log() => new FileInfo(Dialect.FileIn(folder) + "-wal").Length;
        using (var reader = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadOnly))
        {
            Dialect.Run(reader, "begin");
            Assert.Equal(0, Dialect.Number(reader, "select count(*) from episode"));
            await episodes.Open(Episode("night"), default);
            await Task.Delay(300);
            Assert.True(Log() > 0);

            // Nobody who writes waits for the reader.
            await episodes.Save(Change(Episode("night"), [Entry(1, "a")]), default).WaitAsync(TimeSpan.FromSeconds(20));
        }

        for (var tries = 0; Log() > 0; tries++)
        {
            Assert.True(tries < 200, "the log is never emptied");
            await Task.Delay(50);
        }
    }

    /// <summary>The folder of a store with 30 entries that was stopped.</summary>
    internal static async Task<string> Stopped()
    {
        var store = New();
        await store.OpenEpisode("night");
        for (var n = 1; n <= 30; n++)
            await store.Save("night", [Entry(n, $"e{n}")], Drainage($"d{n}", "2026-03-02T08:50:00Z", null, n));
        await store.Database.DisposeAsync();
        return store.Folder;
    }

    internal static long Entries(string file)
    {
        using var store = Dialect.Open(file, SqliteOpenMode.ReadOnly);
        return Dialect.Number(store, "select count(*) from entry");
    }

    /// <summary>A database that empties its log as soon as nobody has written for 50 ms.</summary>
    private static Database Restless(string folder) =>
        new(new(folder, NodaTime.DateTimeZone.Utc), TimeProvider.System) { IdleBeforeCheckpoint = TimeSpan.FromMilliseconds(50) };

    /// <summary>What a start and a stop write into the log.</summary>
    private static async Task<List<string>> Logged(string folder)
    {
        var log = new Lines();
        await using var database = new Database(new(folder, NodaTime.DateTimeZone.Utc), TimeProvider.System, log);
        database.Start();
        return log.Written;
    }

    private static void Refused(string folder, string why)
    {
        var fault = Assert.Throws<StoreFault>(() => new Database(new(folder, NodaTime.DateTimeZone.Utc), TimeProvider.System).Start());
        Assert.Contains(why, fault.Message, StringComparison.Ordinal);
        Assert.DoesNotContain('\n', fault.Message);
    }

    /// <summary>A log that is kept.</summary>
    private sealed class Lines : ILogger<Database>
    {
        public List<string> Written { get; } = [];

        public IDisposable? BeginScope<TState>(TState state)
            where TState : notnull => null;

        public bool IsEnabled(LogLevel logLevel) => true;

        public void Log<TState>(
            LogLevel logLevel,
            EventId eventId,
            TState state,
            Exception? exception,
            Func<TState, Exception?, string> formatter
        ) => Written.Add($"{logLevel}: {formatter(state, exception)}");
    }
}
