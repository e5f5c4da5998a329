using System.Globalization;
using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Record;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Entries;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>An episode that cannot be judged stands in nobody's way, and says so.</summary>
public class WatchedEpisodesTests
{
    [Fact]
    public async Task One_episode_that_cannot_be_read_silences_no_other()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        string sound,
            broken;
        await using (var ward = RunningService.Start("2026-03-14T08:00:00Z", folder))
        {
            broken = await ward.Open(RunningService.Episode("broken", "2026-03-14T08:00:00Z"));
            sound = await ward.Open(RunningService.Episode("sound", "2026-03-14T08:00:00Z"));
            foreach (var episode in new[] { broken, sound })
            {
                await ward.Record(episode, Charted.BagHung("bag", "08:00", 3000), Charted.Flow("flow", "08:00", 600));
            }

            // As a damaged row would be: unreadable, and the longest due of all. A new process has not read it before.
            await Write(ward, "update episode set json = '{}', next_look = 1 where id = @id", ("id", broken));
        }

        await using var again = RunningService.Start("2026-03-14T12:30:00Z", folder);
        var watch = again.Services.GetRequiredService<WatchEpisodes>();
        Assert.NotNull(await watch.Look(default));

        var flags = await again.Read($"/episodes/{sound}/flags");
        Assert.Contains(flags["standing"]!.AsArray(), flag => (string)flag!["flag"]! == "drainage-reading-stale");
        Assert.Equal(1, watch.Failing);
        var ready = await again.Read("/health/ready");
        Assert.Equal("degraded", (string)ready["status"]!);
        Assert.Equal("1 episode cannot be judged; the log names them", (string)ready["checks"]!["episodes"]!["description"]!);

        // It is put back, and left alone for longer each time.
        Assert.Equal("12:32", await NextLook(again, broken));
        again.Clock.Advance(TimeSpan.FromMinutes(2)); // which wakes the service's own round
        Assert.Equal("12:36", await NextLook(again, broken, unless: "12:32"));
        await RunningService.Remove(folder);
    }

    [Theory]
    [InlineData("0")]
    [InlineData("1e-28")]
    [InlineData("0.99")]
    public async Task A_bladder_that_holds_nothing_is_refused(string capacity)
    {
        await using var ward = RunningService.Start("2026-03-14T08:00:00Z");
        var episode = RunningService.Episode("none", "2026-03-14T08:00:00Z");
        episode["bladderCapacity"] = JsonNode.Parse($$"""{"value": {{capacity}}, "unit": "mL"}""");
        var reply = await ward.Post("/episodes", episode);
        reply.Refuses(422, "out-of-range", "episode.bladderCapacity", "mL", "1 mL or more");
    }

    [Fact]
    public async Task An_episode_that_was_stored_with_such_a_bladder_opens_and_is_judged()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        var episode = RunningService.Episode("old", "2026-03-14T08:00:00Z");
        string id;
        await using (var ward = RunningService.Start("2026-03-14T12:00:00Z", folder))
        {
            id = await ward.Open(episode);
            episode["bladderCapacity"] = JsonNode.Parse("""{"value": 0, "unit": "mL"}""");
            await Write(ward, "update episode set json = @json where id = @id", ("json", episode.ToJsonString()), ("id", id));
        }

        await using var again = RunningService.Start("2026-03-14T12:00:00Z", folder);
        await again.Record(id, Charted.BagHung("bag", "08:00", 3000), Charted.Flow("flow", "08:00", 600));
        await again.Record(id, Charted.Emptied("one", "09:00", 700), Charted.Emptied("two", "10:00", 0));
        var flags = await again.Read($"/episodes/{id}/flags");
        Assert.Contains(flags["standing"]!.AsArray(), flag => (string)flag!["flag"]! == "outflow-deficit");
        Assert.Equal(HttpStatusCode.OK, (await again.Post("/episodes", episode)).Status);
        await RunningService.Remove(folder);
    }

    /// <summary>When the episode is looked at again, by the clock; waits while that is as it was.</summary>
    private static async Task<string> NextLook(RunningService ward, string id, string? unless = null)
    {
        for (var patience = 100; ; patience--)
        {
            var next = await ward
                .Services.GetRequiredService<Database>()
                .Write(
                    writing => writing.Statements.First("select next_look from episode where id = @id", row => row.GetInt64(0), ("id", id)),
                    default
                );
            var clock = DateTimeOffset.FromUnixTimeMilliseconds(next / 1_000_000).ToString("HH:mm", CultureInfo.InvariantCulture);
            if (clock != unless || patience == 0)
                return clock;
            await Task.Delay(50);
        }
    }

    private static Task Write(RunningService ward, string sql, params (string, object?)[] values) =>
        ward.Services.GetRequiredService<Database>().Write(writing => writing.Statements.Execute(sql, values), default);
}
