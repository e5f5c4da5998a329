using System.Collections.Concurrent;
using System.Globalization;
using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Store.Sqlite;
using IrrigationFhir.Tests.Audit;
using IrrigationFhir.Tests.Entries;
using IrrigationFhir.Tests.Repository;
using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Tests.Store;

/// <summary>A service that is stopped in order while it is worked with: its one file holds all, and may be carried away.</summary>
public class StoppedServiceTests
{
    private const string Moment = "yyyy-MM-dd'T'HH:mm:ss'Z'";

    [SkippableFact]
    public async Task Whatever_was_acknowledged_by_then_is_in_the_database_file_alone()
    {
        Skip.IfNot(Shell.IsThere, Shell.Absent);
        var folder = Directory.CreateTempSubdirectory("stopped-").FullName;
        var (posted, read) = (new ConcurrentBag<(string Episode, string Entry)>(), new ConcurrentBag<int>());
        await using (var service = await ProgramProcess.Serve(AppContext.BaseDirectory, "--Data:Folder", folder))
        {
            var enough = new TaskCompletionSource();
            var posting = Enumerable.Range(0, 3).Select(stay => Post(service.Http, $"stay-{stay}", posted, enough)).ToList();
            var reading = Read(service.Http, read);
            await Task.WhenAny(enough.Task, Task.Delay(TimeSpan.FromMinutes(1)));
            await service.Terminate(); // in the middle of it
            await Task.WhenAll([.. posting, reading]);
        }

        Assert.True(posted.Count >= 30 && !read.IsEmpty, $"{posted.Count} posted and {read.Count} read: nothing was tried");
        Assert.False(File.Exists(Dialect.FileIn(folder) + "-wal"), "the log was left");
        Assert.Empty(Directory.GetFiles(folder, "audit-waiting-*"));
        var moved = Directory.CreateTempSubdirectory("moved-").FullName;
        File.Copy(Dialect.FileIn(folder), Dialect.FileIn(moved));
        using (var store = Dialect.Open(Dialect.FileIn(moved), SqliteOpenMode.ReadOnly))
        {
            var held = Dialect.Texts(store, "select episode_id || ' ' || entry_id from entry").ToHashSet();
            Assert.All(posted, one => Assert.Contains($"{one.Episode} {one.Entry}", held));
            Assert.Equal(["ok"], Dialect.Texts(store, "pragma integrity_check"));
        }

        // Who read it is in that file too.
        await using (
            var ward = RunningService.Start(DateTimeOffset.UtcNow.AddMinutes(1).ToString(Moment, CultureInfo.InvariantCulture), moved)
        )
        {
            var asked = (await ward.All()).Select(row => row.Entry.Query).OfType<string>().ToHashSet();
            Assert.All(read, number => Assert.Contains($"GET /fhir/Flag?_id=asked-{number}", asked));
        }

        await RunningService.Remove(folder);
        await RunningService.Remove(moved);
    }

    private static async Task Post(
        HttpClient http,
        string stay,
        ConcurrentBag<(string Episode, string Entry)> posted,
        TaskCompletionSource enough
    )
    {
        try
        {
            var opened = await Send(http, "/episodes", RunningService.Episode(stay, "2026-03-14T08:00:00Z", "2026-03-14T20:00:00Z"));
            var episode = (string)opened["id"]!;
            for (var i = 0; i < 600; i++)
            {
                var emptied = Charted.Emptied($"{i}", $"{9 + (i / 60):00}:{i % 60:00}", 30);
                await Send(http, $"/episodes/{episode}/entries", new JsonArray(emptied));
                posted.Add((episode, $"{i}"));
                if (posted.Count >= 60)
                    enough.TrySetResult();
            }
        }
        catch (Exception died) when (died is HttpRequestException or TaskCanceledException or IOException)
        {
            // As it was meant to.
        }
    }

    private static async Task Read(HttpClient http, ConcurrentBag<int> read)
    {
        try
        {
            for (var number = 0; ; number++)
            {
                using var reply = await http.GetAsync(new Uri($"/fhir/Flag?_id=asked-{number}", UriKind.Relative));
                if (reply.StatusCode != HttpStatusCode.OK)
                    return;
                await reply.Content.ReadAsByteArrayAsync();
                read.Add(number);
            }
        }
        catch (Exception died) when (died is HttpRequestException or TaskCanceledException or IOException)
        {
            // As it was meant to.
        }
    }

    private static async Task<JsonNode> Send(HttpClient http, string address, JsonNode body)
    {
        using var content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json");
        using var reply = await http.PostAsync(new Uri(address, UriKind.Relative), content);
        if (!reply.IsSuccessStatusCode)
            throw new HttpRequestException($"{reply.StatusCode}");
        return JsonNode.Parse(await reply.Content.ReadAsStringAsync())!;
    }
}
