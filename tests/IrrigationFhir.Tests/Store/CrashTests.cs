using IrrigationFhir.Search;
using static IrrigationFhir.Tests.Store.StoreOnDisk;

namespace IrrigationFhir.Tests.Store;

/// <summary>What a loss of power leaves behind: the database file and a log cut off anywhere.</summary>
public class CrashTests
{
    [Fact]
    public async Task Wherever_the_write_ahead_log_is_cut_off_each_change_is_there_wholly_or_not_at_all()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        // Each change: one entry, two resources of which one is corrected again and again.
        for (var n = 1; n <= 12; n++)
            await store.Save(
                "night",
                [Entry(n, $"e{n}")],
                Drainage($"d{n}", "2026-03-02T08:50:00Z", null, n),
                Drainage("total", "2026-03-02T08:50:00Z", null, n)
            );

        var file = Path.Combine(store.Folder, "irrigation.db");
        var log = await ReadShared(file + "-wal");
        var whole = await ReadShared(file);
        Assert.True(log.Length > 50_000, "the log is what this test cuts, so it must hold the changes");

        var survived = new List<long>();
        // 37 cuts at odd places: in the middle of pages, headers and checksums.
        for (var cut = 0; cut < 37; cut++)
        {
            var folder = Directory.CreateTempSubdirectory("crash-").FullName;
            await File.WriteAllBytesAsync(Path.Combine(folder, "irrigation.db"), whole);
            await File.WriteAllBytesAsync(Path.Combine(folder, "irrigation.db-wal"), log[..(int)((long)log.Length * cut / 37 + cut % 7)]);
            await using var after = Reopen(folder);
            survived.Add(await WholeChanges(after));
        }

        Assert.Equal(survived.Order(), survived);
        Assert.True(survived.Distinct().Count() > 6, string.Join(' ', survived));

        // Nothing cut: all twelve, as acknowledged.
        Assert.Equal(12, await WholeChanges(store));
    }

    [Fact]
    public async Task A_killed_process_loses_nothing_it_acknowledged()
    {
        var folder = Directory.CreateTempSubdirectory("killed-").FullName;
        using var writer = KilledWriter.Start(folder);
        var acknowledged = 0L;
        using var patience = new CancellationTokenSource(TimeSpan.FromMinutes(1));
        try
        {
            while (acknowledged < 40 && await writer.StandardOutput.ReadLineAsync(patience.Token) is { } line)
                acknowledged = long.Parse(line, System.Globalization.CultureInfo.InvariantCulture);
        }
        finally
        {
            writer.Kill();
        }

        await writer.WaitForExitAsync();

        await using var after = Reopen(folder);

        Assert.Equal(40, acknowledged);
        // It may have stored more than it came to say.
        Assert.True(await WholeChanges(after) >= acknowledged);
    }

    [Fact]
    public async Task A_change_that_fails_in_its_middle_leaves_nothing()
    {
        await using var store = New();
        var opened = await store.OpenEpisode("night");
        await store.OpenEpisode("other", "P-2");
        await store.Save("other", [], Drainage("taken", "2026-03-02T08:50:00Z", null, 1, "P-2"));

        // By the time "taken" fails, the entry, the version and "first" with its index rows are written already.
        await Assert.ThrowsAnyAsync<System.Data.Common.DbException>(() =>
            store.Episodes.Save(
                Change(
                    opened,
                    [Entry(1, "e1")],
                    Drainage("first", "2026-03-02T08:50:00Z", null, 1),
                    Drainage("taken", "2026-03-02T08:50:00Z", null, 2)
                ),
                default
            )
        );

        Assert.Equal(opened, await store.Episodes.Find("night", default));
        Assert.Empty(await store.Episodes.LoadEntries("key-P-1", "night", 0, default));
        Assert.Null(await store.Resources.Read("Observation", "first", default));
        Assert.Equal(
            0L,
            await store.Database.Write(
                writing =>
                    writing.Statements.First(
                        """
                        select (select count(*) from resource where patient = @patient)
                            + (select count(*) from resource_version where patient = @patient)
                            + (select count(*) from resource_identifier where patient = @patient)
                        """,
                        row => row.GetInt64(0),
                        ("patient", IrrigationFhir.Store.PatientNumber.Of("key-P-1"))
                    ),
                default
            )
        );
    }

    /// <summary>How many changes are there, after checking that entries, versions, resources and index rows agree on it.</summary>
    private static async Task<long> WholeChanges(StoreOnDisk store)
    {
        if (await store.Episodes.Find("night", default) is not { } episode)
            return 0;
        var changes = episode.LastSequence;
        Assert.Equal(changes + 1, episode.Version);
        Assert.Equal(changes, (await store.Episodes.LoadEntries("key-P-1", "night", 0, default)).Count);
        Assert.Equal(changes, (await store.Resources.Read("Observation", "total", default))?.VersionId ?? 0);
        Assert.Equal(changes, (await store.Resources.History("Observation", "total", 100_000, null, null, default)).Count);
        var found = await store.Resources.Search(
            new(
                IndexedTypes.Find("Observation")!,
                [new SearchCriterion.Coded(["code"], [new(null, "drainage")], Not: false)],
                [],
                0,
                WithTotal: true
            ),
            default
        );
        Assert.Equal(changes == 0 ? 0 : changes + 1, found.Total);
        return changes;
    }

    private static async Task<byte[]> ReadShared(string path)
    {
        await using var file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.ReadWrite | FileShare.Delete);
        var bytes = new byte[file.Length];
        await file.ReadExactlyAsync(bytes);
        return bytes;
    }
}
