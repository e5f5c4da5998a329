using System.Globalization;
using System.Text.Json.Nodes;
using Irrigation.Balance;
using Irrigation.Flags;
using IrrigationFhir.Demo;
using IrrigationFhir.Record;
using IrrigationFhir.Settings;
using IrrigationFhir.Store;
using Microsoft.Extensions.Configuration;
using Microsoft.Extensions.DependencyInjection;
using NodaTime;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>
/// What an episode remembers beside its log is what going through the log from its beginning finds; and where anything is another that
/// it follows from, the log is gone through.
/// </summary>
public class RestartTests
{
    // Some zone that is not the service's: what was remembered under another one is not believed.
    private static readonly DateTimeZone Elsewhere = DateTimeZoneProviders.Tzdb["Pacific/Kiritimati"];

    public static TheoryData<string> Stories => [.. InventedStory.All.Select(story => story.Slug)];

    [Theory]
    [MemberData(nameof(Stories))]
    public async Task Whenever_it_starts_anew_the_flags_are_those_of_the_whole_log(string slug)
    {
        var story = InventedStory.All.Single(story => story.Slug == slug);
        await using var service = RunningService.Start("2026-01-01T00:00:00Z");
        string? episode = null;
        var recalled = 0;
        foreach (var charted in story.AsCharted())
        {
            var at = charted.Max(entry =>
                DateTimeOffset.Parse((string)(entry!["recordedAt"] ?? entry["to"] ?? entry["at"])!, CultureInfo.InvariantCulture)
            );
            service.Clock.SetUtcNow(at);
            episode ??= await service.Open(story.Episode(null));
            await service.Record(episode, [.. charted.OfType<JsonNode>()]);
            var (remembered, anew) = await BothWays(service, episode);
            AssertSame(anew, remembered);
            recalled += remembered.RememberedUpTo > 0 ? 1 : 0;
        }

        Assert.True(recalled > 3, $"remembered {recalled} times: that says little");
    }

    [Fact]
    public async Task After_a_start_it_goes_on_with_what_comes_late_corrected_and_with_silence()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        await using (var before = RunningService.Start("2026-03-14T12:00:00Z", folder))
        {
            var episode = await before.Open(RunningService.Episode("R-1", "2026-03-14T07:00:00Z"));
            for (var n = 0; n < 20; n++)
                await before.Record(episode, Level(n, $"2026-03-14T{7 + (n / 4):00}:{n % 4 * 15:00}:00Z", 100 * n));
            var moved = RunningService.Episode("R-1", "2026-03-14T07:00:00Z");
            moved["location"] = new JsonObject { ["ward"] = "7", ["bed"] = "2" };
            Assert.Equal(System.Net.HttpStatusCode.OK, (await before.Post("/episodes", moved)).Status);
        }

        await using var after = RunningService.Start("2026-03-14T12:05:00Z", folder);
        var same = (string)(await after.Read("/episodes"))["episodes"]![0]!["id"]!;
        Assert.True((await BothWays(after, same)).Remembered.RememberedUpTo > 8);
        JsonNode[] later =
        [
            Level(20, "2026-03-14T12:00:00Z", 2000),
            Level(21, "2026-03-14T09:05:00Z", 850),
            Level(3, "2026-03-14T07:45:00Z", 290),
        ];
        foreach (var entry in later)
        {
            await after.Record(same, entry);
            var (remembered, anew) = await BothWays(after, same);
            AssertSame(anew, remembered);
        }

        after.Clock.SetUtcNow(new(2026, 3, 14, 21, 0, 0, TimeSpan.Zero));
        await after.Services.GetRequiredService<WatchEpisodes>().Look(CancellationToken.None);
        var (silent, gone) = await BothWays(after, same);
        AssertSame(gone, silent);
    }

    [Fact]
    public async Task Under_another_setting_nothing_that_was_remembered_is_believed()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        string episode;
        await using (var before = RunningService.Start("2026-03-14T12:00:00Z", folder))
        {
            episode = await before.Open(RunningService.Episode("R-2", "2026-03-14T07:00:00Z"));
            for (var n = 0; n < 10; n++)
                await before.Record(episode, Level(n, $"2026-03-14T{7 + (n / 4):00}:{n % 4 * 15:00}:00Z", 100 * n));
            Assert.True((await BothWays(before, episode)).Remembered.RememberedUpTo > 0);
        }

        await using var after = RunningService.Start("2026-03-14T12:05:00Z", folder, ("Flags:DeficitWarning", "250 mL"));
        Assert.Equal(0, (await BothWays(after, episode)).Remembered.RememberedUpTo);
    }

    [Fact]
    public void Every_setting_of_the_arithmetic_tells_programs_apart()
    {
        var site = SiteSettings.Read(new ConfigurationBuilder().Build());
        string By(SiteSettings now) =>
            new EpisodeMemory(now.Balance, new(now.Flags, now.Criteria, now.Forecasts), DateTimeZone.Utc).SavedBy;
        var usual = By(site);
        var told = 0;
        foreach (var setting in site.All.Where(setting => !setting.Key.StartsWith("Entries:", StringComparison.Ordinal)))
        {
            var number = setting.Value.Split(' ')[0];
            var other = decimal.TryParse(number, CultureInfo.InvariantCulture, out var value) ? value : (decimal?)null;
            var changed = new[] { other * 1.1m, other * 0.9m, other + 1, other - 1, 1, 0 }
                .Select(now => now?.ToString(CultureInfo.InvariantCulture) + setting.Value[number.Length..])
                .Append("true")
                .Select(now => Read((setting.Key, now)))
                .FirstOrDefault(now => now is not null && now.All.Any(s => s.Key == setting.Key && s.Value != setting.Value));
            if (changed is null)
                continue;
            told++;
            Assert.True(By(changed) != usual, setting.Key);
        }

        Assert.True(told > 50, $"only {told} settings were set otherwise");

        static SiteSettings? Read((string Key, string? Value) setting)
        {
            try
            {
                return SiteSettings.Read(new ConfigurationBuilder().AddInMemoryCollection([new(setting.Key, setting.Value)]).Build());
            }
            catch (SettingsFault)
            {
                return null;
            }
        }
    }

    /// <summary>An episode as it is loaded with what was remembered, and as it is worked out from its whole log.</summary>
    private static async Task<(StoredEpisode Remembered, StoredEpisode Anew)> BothWays(RunningService service, string id)
    {
        var (settings, limits) = (
            service.Services.GetRequiredService<BalanceSettings>(),
            service.Services.GetRequiredService<FlagLimits>()
        );
        var (store, kept) = (service.Services.GetRequiredService<EpisodeStore>(), service.Services.GetRequiredService<StoreSettings>());
        async Task<StoredEpisode> By(EpisodeMemory memory)
        {
            using var fresh = new EpisodesInMemory(store, memory, settings, limits, kept);
            return await fresh.Watched((await fresh.Find(id, CancellationToken.None))!, CancellationToken.None);
        }

        return (await By(service.Services.GetRequiredService<EpisodeMemory>()), await By(new(settings, limits, Elsewhere)));
    }

    private static void AssertSame(StoredEpisode expected, StoredEpisode actual)
    {
        Assert.Equal(Told(expected), Told(actual));
        Assert.Equal((expected.Flags!.AsOf, expected.Flags.Next), (actual.Flags!.AsOf, actual.Flags.Next));
        Assert.Equal(expected.Log.LastSequence, actual.Log.LastSequence);
        Assert.Equal(expected.FlagsNoLongerRaised, actual.FlagsNoLongerRaised);
        Assert.Equal(expected.PublishedOtherwise, actual.PublishedOtherwise);
    }

    /// <summary>Everything that is remembered but where a late entry begins again, of which a longer way has others.</summary>
    private static string Told(StoredEpisode episode) =>
        RememberedJson.Text(new(episode.Flags!.Remembered with { Earlier = [] }, [.. episode.Criteria!.Histories.Values]));

    private static JsonObject Level(int id, string at, int millilitres) =>
        new()
        {
            ["source"] = "ward",
            ["id"] = $"level {id}",
            ["kind"] = "drainage-level-read",
            ["at"] = at,
            ["level"] = new JsonObject { ["value"] = millilitres, ["unit"] = "mL" },
        };
}
