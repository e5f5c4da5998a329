using System.Diagnostics;
using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Store.Sqlite;
using IrrigationFhir.Tests.Entries;
using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Tests.Health;

/// <summary>While the store cannot do its work, readiness says why, writes are put off and no acknowledged entry is lost.</summary>
public class TroubleTests
{
    [Fact]
    public async Task With_little_room_on_the_disk_nothing_is_taken_and_everything_is_read()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        string episode;
        await using (var roomy = RunningService.Start("2026-03-14T22:00:00Z", folder))
            episode = await Stay(roomy);

        await using (var ward = RunningService.Start("2026-03-14T22:00:00Z", folder, ("Data:LeastFreeMegabytes", "1000000")))
        {
            await IsNotReady(ward, "the disk of the store is full, or nearly");
            await IsPutOff(ward, episode, 507, "full");
            Assert.Equal(2, (await ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray().Count);
        }

        await RunningService.Remove(folder);
    }

    [Fact]
    public async Task A_database_that_vanished_is_missed()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z");
        var episode = await Stay(ward);
        File.Delete(Path.Combine(ward.Folder, "irrigation.db"));
        await Task.Delay(1100); // it is looked for once a second
        await IsPutOff(ward, episode, 503, "not where it was");
        await IsNotReady(ward, "the database file is not where it was");
    }

    [Fact]
    public async Task A_clock_that_stands_before_what_was_stored_stores_nothing()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        string episode;
        await using (var ward = RunningService.Start("2026-03-14T22:00:00Z", folder))
            episode = await Stay(ward);

        await using (var early = RunningService.Start("2026-03-14T21:30:00Z", folder))
        {
            await IsNotReady(early, "the clock stands before the time of what was stored last");
            await IsPutOff(early, episode, 503, "clock");
            early.Clock.SetUtcNow(new(2026, 3, 14, 22, 0, 0, TimeSpan.Zero));
            Assert.Equal(HttpStatusCode.OK, (await early.Get("/health/ready")).Status);
            Assert.Equal(["recorded"], (await early.Record(episode, Charted.Emptied("after", "10:00", 300))).Outcomes);
        }

        await RunningService.Remove(folder);
    }

    [Fact]
    public async Task A_damaged_page_is_told_by_whoever_meets_it()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z");
        var episode = await Stay(ward);
        var file = Path.Combine(ward.Folder, "irrigation.db");
        using (var checkpoint = new SqliteConnection($"Data Source={file};Pooling=False"))
        {
            checkpoint.Open();
            using var command = checkpoint.CreateCommand();
            command.CommandText = "pragma wal_checkpoint(truncate)";
            command.ExecuteNonQuery();
        }

        Dialect.ReleasePool(ward.Folder);
        await using (var stream = new FileStream(file, FileMode.Open, FileAccess.ReadWrite, FileShare.ReadWrite))
        {
            stream.Position = 4096; // all but the first page, which holds the schema
            var noise = new byte[4096];
            Array.Fill(noise, (byte)0xA5);
            while (stream.Position < stream.Length)
                stream.Write(noise);
        }

        var read = await ward.Get($"/episodes/{episode}");
        Assert.Equal(HttpStatusCode.ServiceUnavailable, read.Status);
        read.Refuses(503, "store-unavailable", null, "damaged", "after a pause");
        await IsNotReady(ward, "the database is damaged");
        await IsPutOff(ward, episode, 503, "damaged");
    }

    /// <summary>Needs the right to mount.</summary>
    [SkippableFact]
    public async Task A_full_disk_loses_nothing_and_ends_when_there_is_room_again()
    {
        var folder = Directory.CreateTempSubdirectory("full-").FullName;
        Skip.IfNot(Mount("-t", "tmpfs", "-o", "size=4m", "tmpfs", folder), "a small disk cannot be mounted here");
        try
        {
            var acknowledged = 0;
            await using (var ward = RunningService.Start("2026-03-14T22:00:00Z", folder, ("Data:LeastFreeMegabytes", "0")))
            {
                var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
                var reply = await ward.Post($"/episodes/{episode}/entries", new JsonArray(Charted.Emptied("first", "08:30", 300)));
                Assert.Equal(HttpStatusCode.OK, reply.Status);
                acknowledged++;
                for (var i = 0; i < 500 && reply.Status == HttpStatusCode.OK; i++)
                {
                    var emptied = Charted.Emptied($"{i}", $"{9 + (i / 60):00}:{i % 60:00}", 30).With("note", new string('n', 900));
                    reply = await ward.Post($"/episodes/{episode}/entries", new JsonArray(emptied));
                    if (reply.Status == HttpStatusCode.OK)
                        acknowledged++;
                }

                reply.Refuses(507, "store-unavailable", null, "full", "after a pause");
                Assert.Equal(HttpStatusCode.ServiceUnavailable, (await ward.Get("/health/ready")).Status);
                Assert.Equal(acknowledged, (await ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray().Count);

                Assert.True(Mount("-o", "remount,size=64m", folder));
                Assert.Equal(HttpStatusCode.OK, (await ward.Get("/health/ready")).Status);
                Assert.Equal(["recorded"], (await ward.Record(episode, Charted.Emptied("last", "21:00", 300))).Outcomes);
                Assert.Equal(acknowledged + 1, (await ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray().Count);
            }
        }
        finally
        {
            using var unmount = Process.Start("umount", ["-l", folder]);
            await unmount.WaitForExitAsync();
            Directory.Delete(folder, recursive: true);
        }
    }

    private static bool Mount(params string[] arguments)
    {
        try
        {
            using var mount = Process.Start(new ProcessStartInfo("mount", arguments) { RedirectStandardError = true })!;
            mount.WaitForExit();
            return mount.ExitCode == 0;
        }
        catch (System.ComponentModel.Win32Exception)
        {
            return false;
        }
    }

    private static async Task<string> Stay(RunningService ward)
    {
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        await ward.Record(episode, Charted.BagHung("bag", "08:00", 3000), Charted.Emptied("one", "09:00", 400));
        return episode;
    }

    private static async Task IsNotReady(RunningService ward, string why)
    {
        var ready = await ward.Get("/health/ready");
        Assert.Equal(HttpStatusCode.ServiceUnavailable, ready.Status);
        Assert.Equal(why, (string)ready.Json["checks"]!["store"]!["description"]!);
        Assert.Equal(HttpStatusCode.OK, (await ward.Get("/health/live")).Status);
    }

    private static async Task IsPutOff(RunningService ward, string episode, int status, string why)
    {
        var late = new JsonArray(Charted.Emptied("late", "09:30", 100)).ToJsonString();
        using var content = new StringContent(late, System.Text.Encoding.UTF8, "application/json");
        using var response = await ward.Http.PostAsync(new Uri($"/episodes/{episode}/entries", UriKind.Relative), content);
        Assert.Equal(TimeSpan.FromSeconds(5), response.Headers.RetryAfter?.Delta);
        (await Reply.Of(response)).Refuses(status, "store-unavailable", null, why, "the same request again after a pause");
    }
}
