using System.Diagnostics;
using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Commands;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using IrrigationFhir.Tests.Repository;
using Microsoft.Data.Sqlite;
using static IrrigationFhir.Tests.Store.StoreOnDisk;

namespace IrrigationFhir.Tests.Store;

/// <summary>A store is copied while it is written to, checked, put back and served: compared by what it holds, row by row.</summary>
public class BackUpTests
{
    [Fact]
    public async Task A_backup_under_load_holds_everything_that_was_acknowledged_before_it_began()
    {
        var (folder, copiesFolder) = (Folder(), Folder());
        using var writer = KilledWriter.Start(folder);
        var acknowledged = 0L;
        var reading = Task.Run(async () =>
        {
            while (await writer.StandardOutput.ReadLineAsync() is { } line)
                Interlocked.Exchange(ref acknowledged, long.Parse(line, CultureInfo.InvariantCulture));
        });
        var copies = new List<(string File, long AtLeast)>();
        try
        {
            for (var n = 1; n <= 5; n++)
            {
                var before = Interlocked.Read(ref acknowledged);
                for (var since = Stopwatch.StartNew(); Interlocked.Read(ref acknowledged) < before + 30; await Task.Delay(5))
                    Assert.True(since.Elapsed < TimeSpan.FromMinutes(1));
                var target = Path.Combine(copiesFolder, $"copy-{n}.db");
                copies.Add((target, Interlocked.Read(ref acknowledged)));
                var (code, said) = Backup(folder, target);
                Assert.True(code == 0, said);
            }
        }
        finally
        {
            writer.Kill();
        }

        await writer.WaitForExitAsync();
        await reading;
        Assert.True(acknowledged >= 150, $"{acknowledged}");
        var all = Rows(folder).ToHashSet();

        foreach (var (file, atLeast) in copies)
        {
            var (code, said) = Restore("--check", file);
            Assert.True(code == 0, said);

            // Restored and served: the same rows as the store has up to there, and nothing else.
            var restored = Folder();
            Assert.Equal(0, Restore(file, "--Data:Folder", restored).Code);
            var copied = Rows(restored);
            Assert.All(copied, row => Assert.Contains(row, all));
            Assert.Equal(Entries(file), copied.Count(row => row.StartsWith("entry ", StringComparison.Ordinal)));
            await using var after = Reopen(restored);
            var episode = (await after.Episodes.Find("night", default))!;
            Assert.True(episode.LastSequence >= atLeast, $"{episode.LastSequence} of {atLeast}");
            Assert.Equal(episode.LastSequence, Entries(file));
            Assert.Equal(episode.LastSequence, (await after.Resources.Read("Observation", "total", default))!.VersionId);
        }
    }

    [Fact]
    public async Task A_store_that_is_restored_is_the_store_that_was_backed_up()
    {
        var folder = await StoreFolderTests.Stopped();
        var (target, restored) = (Path.Combine(folder, "copy.db"), Folder());

        const string Held = "1 episodes, 30 entries, 30 resources, last stored 2026-03-02T08:51:00Z\n";
        Assert.Equal((0, $"backed up to {target} and checked: {Held}"), Backup(folder, target));
        Assert.Equal((0, $"{target} can be restored: {Held}"), Restore("--check", target));
        Assert.Equal((0, $"restored {target} to {restored}: {Held}"), Restore(target, "--Data:Folder", restored));

        Assert.Equal(All(folder), All(restored));
        if (!OperatingSystem.IsWindows())
            Assert.Equal(UnixFileMode.UserRead | UnixFileMode.UserWrite, File.GetUnixFileMode(target));
        using (var store = Dialect.Open(Dialect.FileIn(restored), SqliteOpenMode.ReadOnly))
            Assert.Equal("wal", Dialect.Texts(store, "pragma journal_mode").Single());
        Assert.Empty(Directory.GetFiles(folder, "*unfinished*"));

        await using var again = Reopen(restored);
        await again.Save("night", [Entry(31, "one more")]);
        Assert.Equal(31, (await again.Episodes.Find("night", default))!.LastSequence);
    }

    [Fact]
    public async Task Where_a_database_vanished_a_backup_can_be_put_back()
    {
        var folder = await StoreFolderTests.Stopped();
        var target = Path.Combine(Folder(), "copy.db");
        Assert.Equal(0, Backup(folder, target).Code);
        File.Delete(Dialect.FileIn(folder));
        Assert.Throws<StoreFault>(() => Reopen(folder));

        Assert.Equal(0, Restore(target, "--Data:Folder", folder).Code);

        await using var again = Reopen(folder);
        Assert.Equal(30, (await again.Episodes.Find("night", default))!.LastSequence);
    }

    [Fact]
    public async Task Nothing_is_overwritten_and_every_refusal_is_one_line()
    {
        var folder = await StoreFolderTests.Stopped();
        var target = Path.Combine(folder, "copy.db");
        Assert.Equal(2, Backup(folder).Code);
        var empty = Folder();
        Assert.Equal((2, $"{empty} holds no store\n"), Backup(empty, target));
        Assert.Equal(0, Backup(folder, target).Code);
        Assert.Equal((2, $"{target} exists: a backup overwrites nothing\n"), Backup(folder, target));
        Assert.Equal(2, Restore().Code);
        Assert.Equal(2, Restore("--check").Code);
        Assert.Equal((2, $"{target}x is not there\n"), Restore("--check", target + "x"));
        var before = await File.ReadAllBytesAsync(Dialect.FileIn(folder));
        Assert.Equal((1, $"{folder} holds a store already: restore into an empty folder.\n"), Restore(target, "--Data:Folder", folder));
        Assert.Equal(before, await File.ReadAllBytesAsync(Dialect.FileIn(folder)));

        // What is left of another store would be read into this one.
        var left = Folder();
        await File.WriteAllTextAsync(Path.Combine(left, "irrigation.db-wal"), "pages");
        Assert.Equal(
            (1, $"{left} holds irrigation.db-wal of another store, which must not meet this one: move it away first.\n"),
            Restore(target, "--Data:Folder", left)
        );

        // A target in a folder that is not there, or cannot be written to.
        Assert.Equal(1, Backup(folder, Path.Combine(folder, "none", "copy.db")).Code);
    }

    [Fact]
    public async Task A_copy_of_the_running_file_alone_is_found_out()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        await store.Save("night", [Entry(1, "a")]);
        var copy = Path.Combine(Folder(), "copied.db");
        const FileShare Shared = FileShare.ReadWrite | FileShare.Delete;
        await using (var from = new FileStream(Dialect.FileIn(store.Folder), FileMode.Open, FileAccess.Read, Shared))
        await using (var to = File.Create(copy))
            await from.CopyToAsync(to);

        // It lacks what was written last, and nothing in it can tell; but it says what it holds.
        var (code, said) = Restore("--check", copy);
        Assert.Equal((0, $"{copy} can be restored: 0 episodes, 0 entries, 0 resources, nothing stored yet\n"), (code, said));

        await File.WriteAllTextAsync(copy + "-wal", "");
        (code, said) = Restore("--check", copy);
        Assert.Equal(2, code);
        Assert.Contains("it is a store and no backup: make one with backup", said, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("update episode set last_sequence = 31", "the copy lacks entries that an episode counts")]
    [InlineData("delete from entry where sequence = 30", "the copy lacks entries that an episode counts")]
    [InlineData("pragma foreign_keys = off; delete from episode", "the copy holds entries without their episode")]
    [InlineData(
        "drop index outbox_by_time",
        "the copy does not have the schema that this version expects: index outbox_by_time is missing"
    )]
    public async Task A_copy_that_does_not_agree_with_itself_is_found_out(string changed, string fault)
    {
        var folder = await StoreFolderTests.Stopped();
        using (var store = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadWrite))
            Dialect.Run(store, changed);
        Assert.Equal((1, fault + "\n"), Backup(folder, Path.Combine(folder, "copy.db")));
        Assert.Empty(Directory.GetFiles(folder, "copy*"));
    }

    [Fact]
    public async Task A_cut_or_damaged_backup_is_found_out()
    {
        var folder = await StoreFolderTests.Stopped();
        var target = Path.Combine(folder, "copy.db");
        Assert.Equal(0, Backup(folder, target).Code);
        var whole = await File.ReadAllBytesAsync(target);

        await File.WriteAllBytesAsync(target, whole[..^4096]);
        var (code, said) = Restore("--check", target);
        Assert.Equal(1, code);
        Assert.Contains("is cut off", said, StringComparison.Ordinal);

        whole.AsSpan(20 * 4096, 64).Fill(0xA5);
        await File.WriteAllBytesAsync(target, whole);
        (code, said) = Restore("--check", target);
        Assert.Equal(1, code);
        Assert.Contains("damaged", said, StringComparison.Ordinal);
    }

    [Fact]
    public void A_backup_of_an_earlier_version_is_tried_and_can_be_restored()
    {
        var source = Dialect.FileIn(Landed.Unpack("2026-11-25-9145603"));
        var before = File.ReadAllBytes(source);
        var (code, said) = Restore("--check", source);
        Assert.Equal(0, code);
        Assert.Contains("1 episodes, 33 entries", said, StringComparison.Ordinal);
        Assert.Contains("made by an earlier version", said, StringComparison.Ordinal);
        Assert.Equal(before, File.ReadAllBytes(source));
    }

    [SkippableFact]
    public async Task Beside_a_running_service_and_after_its_end_by_signal_nothing_is_lost()
    {
        Skip.IfNot(Shell.IsThere, Shell.Absent);
        var folder = Folder();
        await using (var service = await ProgramProcess.Serve(AppContext.BaseDirectory, "--Data:Folder", folder))
        {
            Assert.Equal(30, await WithEntries(service.Http, 30));

            // While it runs: a process of its own makes the copy.
            var target = Path.Combine(folder, "copy.db");
            var (code, said) = await Run("backup", target, "--Data:Folder", folder);
            Assert.True(code == 0, said);
            Assert.Contains("1 episodes, 30 entries", said, StringComparison.Ordinal);
            Assert.Equal(30, Entries(target));

            // A second service on the same folder ends with one line.
            (code, said) = await Run("--urls", "http://127.0.0.1:0", "--Data:Folder", folder);
            Assert.Equal((2, $"Another process serves the store in {folder}: a folder has one."), (code, said.Trim()));

            await service.Terminate();
        }

        // After the signal: the one file, moved elsewhere.
        var moved = Folder();
        File.Copy(Dialect.FileIn(folder), Dialect.FileIn(moved));
        Assert.Equal(30, Entries(Dialect.FileIn(moved)));
        Assert.False(File.Exists(Dialect.FileIn(folder) + "-wal"));
        Assert.Equal(All(folder), All(moved));
    }

    [SkippableFact]
    public async Task A_store_that_cannot_be_served_ends_the_start_with_one_line_and_no_trace()
    {
        Skip.IfNot(Shell.IsThere, Shell.Absent);
        var folder = await StoreFolderTests.Stopped();
        using (var store = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadWrite))
            Dialect.Run(store, "drop index outbox_by_time");
        var (code, said) = await Run("--urls", "http://127.0.0.1:0", "--Data:Folder", folder);
        Assert.Equal(2, code);
        Assert.Equal(
            "The store does not have the schema that this version expects, and was left as it was: "
                + "index outbox_by_time is missing. Start the version that made it, or restore a backup.",
            said.Trim()
        );
    }

    /// <summary>Opens an episode and records scans in it, each of which must be acknowledged; how many its log then holds.</summary>
    private static async Task<int> WithEntries(HttpClient http, int entries)
    {
        var stay = RunningService.Episode("stay-of-a-copy", "2026-03-14T08:00:00Z", "2026-03-14T20:00:00Z");
        var id = (string)(await Post(http, "/episodes", stay))["id"]!;
        for (var n = 1; n <= entries; n++)
        {
            await Post(
                http,
                $"/episodes/{id}/entries",
                new JsonObject
                {
                    ["source"] = "ward",
                    ["id"] = $"e{n}",
                    ["kind"] = "bladder-scanned",
                    ["at"] = $"2026-03-14T{9 + n / 10:00}:{n % 10:00}:00Z",
                    ["volume"] = new JsonObject { ["value"] = n, ["unit"] = "mL" },
                    ["how"] = "scan",
                }
            );
        }

        var log = JsonNode.Parse(await http.GetStringAsync(new Uri($"/episodes/{id}/entries", UriKind.Relative)))!;
        return log["entries"]!.AsArray().Count;
    }

    private static async Task<JsonNode> Post(HttpClient http, string address, JsonObject body)
    {
        using var content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json");
        using var reply = await http.PostAsync(new Uri(address, UriKind.Relative), content);
        var text = await reply.Content.ReadAsStringAsync();
        Assert.True(reply.IsSuccessStatusCode, text);
        return JsonNode.Parse(text)!;
    }

    /// <summary>Runs a command to its end; its exit code, and what it printed and complained.</summary>
    private static async Task<(int Code, string Said)> Run(params string[] args)
    {
        var (code, output, errors) = await ProgramProcess.Run(AppContext.BaseDirectory, args);
        return (code, output + errors);
    }

    private static string Folder() => Directory.CreateTempSubdirectory("backup-").FullName;

    private static long Entries(string file) => StoreFolderTests.Entries(file);

    private static (int Code, string Said) Backup(string folder, params string[] target) =>
        Said((output, errors) => BackUpCommand.Run([.. target, "--Data:Folder", folder], output, errors));

    private static (int Code, string Said) Restore(params string[] args) =>
        Said((output, errors) => RestoreCommand.Run(args, output, errors));

    private static (int Code, string Said) Said(Func<TextWriter, TextWriter, int> command)
    {
        using var said = new StringWriter { NewLine = "\n" };
        var code = command(said, said);
        return (code, said.ToString());
    }

    private static string All(string folder) => string.Join('\n', Rows(folder));

    /// <summary>Every row of every table that grows with charting, as text. Of resources all versions, current or not.</summary>
    private static List<string> Rows(string folder)
    {
        using var store = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadOnly);
        return
        [
            .. Dialect.Texts(
                store,
                """
                select 'entry ' || sequence || ' ' || source || entry_id || revision || kind || at || ' ' || received_at || json
                from entry order by 1
                """
            ),
            .. Dialect.Rows(
                store,
                """
                select r.type || '/' || r.id || '/' || v.version_id || ' ' || v.at, v.json
                from resource_version v join resource r on r.patient = v.patient and r.number = v.number order by 1
                """,
                row => row.GetString(0) + StoredJson.Unpack((byte[])row[1])
            ),
        ];
    }
}
