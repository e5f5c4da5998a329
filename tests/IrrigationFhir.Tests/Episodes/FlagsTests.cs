using System.Net;
using System.Text.Json.Nodes;
using Dapper;
using IrrigationFhir.Record;
using Microsoft.Data.Sqlite;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>Flags as others meet them: raised by silence, told once, seen, withdrawn, and the same whoever writes in what order.</summary>
public class FlagsTests
{
    private const string Start = "2026-03-14T18:00:00Z";

    private static JsonObject Entry(string kind, string clock, string content, string? id = null, string? recordedAt = null)
    {
        var more = content.Length > 0 ? ", " + content : "";
        var entry = JsonNode
            .Parse(
                $$"""
                {"source": "ward", "id": "{{id ?? $"{kind} {clock}"}}", "kind": "{{kind}}", "at": "2026-03-14T{{clock}}:00Z",
                "performer": "N-31 (invented)"{{more}}}
                """
            )!
            .AsObject();
        if (recordedAt is not null)
            entry["recordedAt"] = $"2026-03-14T{recordedAt}:00Z";
        return entry;
    }

    private static JsonObject Level(string clock, int ml, string? recordedAt = null) =>
        Entry(
            "drainage-level-read",
            clock,
            $$"""
            "level": {"value": {{ml}}, "unit": "mL"}
            """,
            recordedAt: recordedAt
        );

    private static JsonObject Bag(string clock) =>
        Entry(
            "bag-hung",
            clock,
            """
            "volume": {"value": 3000, "unit": "mL"}, "tubingPrime": {"value": 0, "unit": "mL"}
            """
        );

    private static JsonObject Flow(string clock, int rate) =>
        Entry(
            "flow-set",
            clock,
            $$"""
            "rate": {"value": {{rate}}, "unit": "mL/h"}
            """
        );

    private static async Task<List<JsonNode>> Active(RunningService ward, string code = "") =>
        [
            .. (
                (await ward.Read($"/fhir/Flag?status=active{(code.Length > 0 ? $"&code={code}" : "")}&_count=1000"))["entry"]?.AsArray()
                ?? []
            ).Select(e => e!["resource"]!),
        ];

    /// <summary>An episode whose drainage was not read since 19:00, and the id of the flag that says so.</summary>
    private static async Task<(string Episode, string Flag)> Unread(RunningService ward)
    {
        var episode = await ward.Open(RunningService.Episode("stay", Start));
        await ward.Record(episode, Bag("18:00"), Flow("18:00", 300), Level("18:00", 0), Level("19:00", 350));
        return (episode, (string)Assert.Single(await Active(ward, "drainage-reading-stale"))["id"]!);
    }

    private static Task Watch(RunningService ward) => ward.Services.GetRequiredService<WatchEpisodes>().Look(default);

    [Fact]
    public async Task Silence_raises_a_flag_and_a_reading_clears_it()
    {
        await using var ward = RunningService.Start("2026-03-14T19:05:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", Start));
        await ward.Record(episode, Bag("18:00"), Flow("18:00", 300), Level("18:00", 0), Level("19:00", 350));
        Assert.Empty(await Active(ward, "drainage-reading-stale"));

        ward.Clock.SetUtcNow(new(2026, 3, 14, 19, 59, 0, TimeSpan.Zero));
        await Watch(ward);
        Assert.Empty(await Active(ward, "drainage-reading-stale"));
        ward.Clock.SetUtcNow(new(2026, 3, 14, 20, 7, 0, TimeSpan.Zero)); // however late the round comes
        await Watch(ward);
        var stale = Assert.Single(await Active(ward, "drainage-reading-stale"));
        Assert.Equal("2026-03-14T20:00:00Z", (string)stale["period"]!["start"]!);

        // A sender whose clock is a minute ahead: it counts when that minute has come.
        await ward.Record(episode, Level("20:08", 700));
        Assert.NotEmpty(await Active(ward, "drainage-reading-stale"));
        ward.Clock.SetUtcNow(new(2026, 3, 14, 20, 8, 0, TimeSpan.Zero));
        await Watch(ward);
        Assert.Empty(await Active(ward, "drainage-reading-stale"));
        var cleared = await ward.Read($"/fhir/Flag/{stale["id"]}");
        Assert.Equal(("inactive", "2026-03-14T20:08:00Z"), ((string)cleared["status"]!, (string)cleared["period"]!["end"]!));
        Assert.Equal(["raised", "cleared"], Told(ward, (string)stale["id"]!));
    }

    [Fact]
    public async Task A_round_in_which_nothing_changes_leaves_no_version_and_comes_no_sooner_than_it_has_to()
    {
        await using var ward = RunningService.Start("2026-03-14T18:01:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", Start));
        await ward.Record(episode, Bag("18:00"), Flow("18:00", 300), Level("18:00", 0));
        var version = (int)(await ward.Read($"/episodes/{episode}"))["version"]!;
        var watch = ward.Services.GetRequiredService<WatchEpisodes>();
        Assert.Equal(0, await watch.Look(default)); // nothing is due before 19:00
        ward.Clock.SetUtcNow(new(2026, 3, 14, 18, 59, 59, TimeSpan.Zero));
        Assert.Equal(0, await watch.Look(default));
        ward.Clock.SetUtcNow(new(2026, 3, 14, 19, 0, 0, TimeSpan.Zero));
        Assert.Equal(1, await watch.Look(default));
        Assert.Equal(version + 1, (int)(await ward.Read($"/episodes/{episode}"))["version"]!);
    }

    [Fact]
    public async Task One_replica_watches_at_a_time()
    {
        await using var ward = RunningService.Start("2026-03-14T19:05:00Z");
        await using var other = RunningService.Start("2026-03-14T19:05:00Z", ward.Folder);
        Assert.NotNull(await ward.Services.GetRequiredService<WatchEpisodes>().Look(default));
        Assert.Null(await other.Services.GetRequiredService<WatchEpisodes>().Look(default));
        other.Clock.SetUtcNow(new(2026, 3, 14, 19, 7, 1, TimeSpan.Zero)); // the lease has run out
        Assert.NotNull(await other.Services.GetRequiredService<WatchEpisodes>().Look(default));
    }

    [Fact]
    public async Task After_a_restart_the_flags_go_on_as_they_were()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        string id;
        await using (var ward = RunningService.Start("2026-03-14T20:05:00Z", folder))
        {
            (_, id) = await Unread(ward);
        }

        await using (var ward = RunningService.Start("2026-03-14T20:10:00Z", folder))
        {
            await Watch(ward);
            Assert.Equal("1", (string)(await ward.Read($"/fhir/Flag/{id}"))["meta"]!["versionId"]!);
            var episode = (string)
                (await ward.Read($"/episodes?identifier={Uri.EscapeDataString(RunningService.EpisodeSystem + "|stay")}"))["episodes"]![0]![
                    "id"
                ]!;
            await ward.Record(episode, Level("20:10", 700));
            Assert.Equal(["raised", "cleared"], Told(ward, id));
        }

        Directory.Delete(folder, true);
    }

    [Fact]
    public async Task A_threshold_set_otherwise_ends_what_would_not_be_raised_now()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        string id;
        await using (var ward = RunningService.Start("2026-03-14T20:05:00Z", folder))
        {
            (_, id) = await Unread(ward);
        }

        await using (var ward = RunningService.Start("2026-03-14T20:06:00Z", folder, ("Flags:StaleAfter", "120 min")))
        {
            var episode = (string)
                (await ward.Read($"/episodes?identifier={Uri.EscapeDataString(RunningService.EpisodeSystem + "|stay")}"))["episodes"]![0]![
                    "id"
                ]!;
            // Asking changes nothing and forgets nothing.
            Assert.DoesNotContain((await ward.Read($"/episodes/{episode}/flags"))["standing"]!.AsArray(), f => (string)f!["id"]! == id);
            await ward.Record(episode, Entry("tolerance-noted", "20:05", "\"pain\": 1"));
            var flag = await ward.Read($"/fhir/Flag/{id}");
            Assert.Equal("inactive", (string)flag["status"]!);
            Assert.Contains("settings in force", Statement(flag), StringComparison.Ordinal);
        }

        Directory.Delete(folder, true);
    }

    [Fact]
    public async Task What_was_seen_and_who_was_called_belongs_to_the_flag()
    {
        await using var ward = RunningService.Start("2026-03-14T20:05:00Z");
        var (episode, id) = await Unread(ward);
        await ward.Record(
            episode,
            Entry("flag-acknowledged", "20:04", $"\"flag\": \"{id}\""),
            Entry("escalated", "20:05", "\"flag\": \"drainage-reading-stale\", \"whom\": \"the doctor on call (invented)\"")
        );

        var flag = (await ward.Read($"/episodes/{episode}/flags"))["standing"]!
            .AsArray()
            .Single(f => (string)f!["flag"]! == "drainage-reading-stale")!;
        Assert.Equal(
            ("2026-03-14T20:04:00Z", 4m, "N-31 (invented)"),
            ((string)flag["acknowledged"]!, (decimal)flag["minutesToAcknowledge"]!, (string)flag["acknowledgedBy"]!)
        );
        Assert.Equal("the doctor on call (invented)", (string)flag["escalations"]![0]!["whom"]!);
        var resource = await ward.Read($"/fhir/Flag/{id}");
        Assert.Contains(
            resource["extension"]!.AsArray(),
            e =>
                ((string)e!["url"]!).EndsWith("/flag-acknowledged", StringComparison.Ordinal)
                && (string)e["valueDateTime"]! == "2026-03-14T20:04:00Z"
        );
        Assert.Contains(
            resource["extension"]!.AsArray(),
            e =>
                ((string)e!["url"]!).EndsWith("/flag-time-to-acknowledge", StringComparison.Ordinal)
                && ((decimal)e["valueQuantity"]!["value"]!, (string)e["valueQuantity"]!["code"]!) == (4m, "min")
        );
    }

    [Fact]
    public async Task A_flag_that_was_never_there_cannot_have_been_seen()
    {
        await using var ward = RunningService.Start("2026-03-14T20:05:00Z");
        var (episode, id) = await Unread(ward);
        foreach (
            var (kind, flag) in new[]
            {
                ("flag-acknowledged", "no-drainage"), // a rule that was not raised
                ("flag-acknowledged", "no-such-rule"),
                ("flag-acknowledged", $"{id}x"),
                ("escalated", $"{id}x"),
            }
        )
        {
            var refused = await ward.Post(
                $"/episodes/{episode}/entries",
                new JsonArray(Entry("tolerance-noted", "20:03", "\"pain\": 1"), Entry(kind, "20:04", $"\"flag\": \"{flag}\""))
            );
            refused.Refuses(422, "unknown-flag", "entries[1].flag", flag, "a flag of this episode");
        }

        // Called about by its code, before a rule says it: so it is. And lenient, the rest is taken.
        await ward.Record(episode, Entry("escalated", "20:04", "\"flag\": \"no-drainage\", \"whom\": \"the doctor on call (invented)\""));
        var lenient = await ward.Post(
            $"/episodes/{episode}/entries",
            new JsonArray(
                Entry("flag-acknowledged", "20:04", "\"flag\": \"no-drainage\"", id: "wrong"),
                Entry("flag-acknowledged", "20:04", $"\"flag\": \"{id}\"", id: "right")
            ),
            "handling=lenient"
        );
        Assert.Equal(["refused", "recorded"], lenient.Outcomes);

        // Taken back since, it was seen all the same.
        ward.Clock.SetUtcNow(new(2026, 3, 14, 20, 30, 0, TimeSpan.Zero));
        await ward.Record(episode, Level("19:55", 700));
        Assert.Equal("entered-in-error", Status(await ward.Read($"/fhir/Flag/{id}")));
        await ward.Record(episode, Entry("flag-acknowledged", "20:05", $"\"flag\": \"Flag/{id}\"", id: "late"));

        static string Status(JsonNode flag) =>
            ((string)flag["status"]!) is var status
            && flag["extension"]?.ToJsonString().Contains("entered-in-error", StringComparison.Ordinal) == true
                ? "entered-in-error"
                : status;
    }

    [Fact]
    public async Task Flags_are_found_by_when_they_were_seen_and_how_long_that_took()
    {
        await using var ward = RunningService.Start("2026-03-14T20:05:00Z");
        var (episode, id) = await Unread(ward);
        async Task<List<string>> Found(string query) =>
            [
                .. ((await ward.Read($"/fhir/Flag?{query}&_count=1000"))["entry"]?.AsArray() ?? []).Select(e =>
                    (string)e!["resource"]!["id"]!
                ),
            ];
        Assert.Contains(id, await Found("acknowledged:missing=true&status=active"));

        await ward.Record(episode, Entry("flag-acknowledged", "20:04", $"\"flag\": \"{id}\"")); // raised at 20:00
        Assert.Equal([id], await Found("acknowledged=2026-03-14"));
        Assert.Equal([id], await Found("acknowledged=ge2026-03-14T20:04:00Z"));
        Assert.Empty(await Found("acknowledged=lt2026-03-14T20:04:00Z"));
        Assert.Equal([id], await Found("time-to-acknowledge=le4||min&_sort=-acknowledged"));
        Assert.Equal([id], await Found("time-to-acknowledge=240||s"));
        Assert.Empty(await Found("time-to-acknowledge=gt4||min"));

        // Seen earlier than was charted first: the same flag, found by the new time alone.
        await ward.Record(episode, Entry("flag-acknowledged", "20:02", $"\"flag\": \"{id}\"", id: "earlier"));
        Assert.Equal([id], await Found("time-to-acknowledge=2||min"));
        Assert.Empty(await Found("time-to-acknowledge=4||min"));
        Assert.Empty(await Found("acknowledged=2026-03-14T20:04:00Z"));
        Assert.DoesNotContain(id, await Found("acknowledged:missing=true"));
    }

    [Fact]
    public async Task A_flag_told_and_taken_back_is_told_once_in_words_and_outlives_a_restart()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        string episode;
        const string told = "Told otherwise before: drainage not read since 20:00 was never so, as what arrived at 22:05 shows.";
        await using (var ward = RunningService.Start("2026-03-14T20:05:00Z", folder))
        {
            (episode, var id) = await Unread(ward);
            ward.Clock.SetUtcNow(new(2026, 3, 14, 22, 5, 0, TimeSpan.Zero));
            await ward.Record(episode, Level("19:55", 700));
            Assert.Equal("retracted", Told(ward, id).Last());
            Assert.Contains(told, Statement(Assert.Single(await Active(ward, "late-entry"))), StringComparison.Ordinal);
            await ward.Record(episode, Level("19:55", 700)); // again: nothing new
            var log = (await ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray();
            Assert.Single(
                log,
                e => (string)e!["entry"]!["kind"]! == "flag-revised" && (string)e["entry"]!["flag"]! == "drainage-reading-stale"
            );
        }

        await using (var ward = RunningService.Start("2026-03-14T22:10:00Z", folder))
        {
            await Watch(ward);
            var flag = Assert.Single(await Active(ward, "late-entry"));
            Assert.Equal(("1", "2026-03-14T22:05:00Z"), ((string)flag["meta"]!["versionId"]!, (string)flag["period"]!["start"]!));
            ward.Clock.SetUtcNow(new(2026, 3, 15, 10, 5, 0, TimeSpan.Zero)); // a shift later
            await Watch(ward);
            Assert.Empty(await Active(ward, "late-entry"));
        }

        Directory.Delete(folder, true);
    }

    [Fact]
    public async Task A_systolic_pressure_over_the_baseline_of_the_episode_raises_the_risk_of_dysreflexia_and_is_published_as_nothing_else()
    {
        await using var ward = RunningService.Start("2026-03-14T18:31:00Z");
        var injured = RunningService.Episode("stay", Start);
        (injured["birthDate"], injured["spinalLevel"]) = ("1970-01-01", "T4");
        var episode = await ward.Open(injured);
        await ward.Record(episode, Pressure("18:30", 150, 80));
        Assert.Empty(await Active(ward, "dysreflexia-risk"));

        injured["baselineSystolic"] = new JsonObject { ["value"] = 110, ["unit"] = "mm[Hg]" };
        Assert.Equal(HttpStatusCode.OK, (await ward.Post("/episodes", injured)).Status);
        var flag = Assert.Single(await Active(ward, "dysreflexia-risk"));
        Assert.StartsWith(
            "Urgent: spinal cord injury at T4, " + "and systolic 150 mmHg at 18:30, more than 20 mmHg over the baseline of 110 mmHg.",
            Statement(flag),
            StringComparison.Ordinal
        );
        Assert.Empty(await ward.Resources(episode, "Observation"));

        var upsideDown = await ward.Post($"/episodes/{episode}/entries", new JsonArray(Pressure("18:31", 80, 150)));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, upsideDown.Status);
        Assert.Contains("at most the systolic pressure, 80 mmHg", upsideDown.Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_flag_that_another_description_takes_back_says_so_with_its_Provenance_and_is_told_for_a_shift()
    {
        await using var ward = RunningService.Start("2026-03-14T18:31:00Z");
        var injured = RunningService.Episode("stay", Start);
        (injured["birthDate"], injured["spinalLevel"]) = ("1970-01-01", "T4");
        injured["baselineSystolic"] = new JsonObject { ["value"] = 110, ["unit"] = "mm[Hg]" };
        var episode = await ward.Open(injured);
        await ward.Record(episode, Pressure("18:30", 150, 80));
        var id = (string)Assert.Single(await Active(ward, "dysreflexia-risk"))["id"]!;

        // 110 was another patient's: hers is 145.
        ward.Clock.SetUtcNow(new(2026, 3, 14, 18, 40, 0, TimeSpan.Zero));
        injured["baselineSystolic"] = new JsonObject { ["value"] = 145, ["unit"] = "mm[Hg]" };
        Assert.Equal(HttpStatusCode.OK, (await ward.Post("/episodes", injured)).Status);

        var flag = await ward.Read($"/fhir/Flag/{id}");
        Assert.Equal("entered-in-error", (string)flag["status"]!);
        Assert.StartsWith(
            "Withdrawn: the episode as it is described now shows that it was never so. It had said: Urgent: ",
            Statement(flag),
            StringComparison.Ordinal
        );
        var why = Assert.Single((await ward.Read($"/fhir/Provenance?target=Flag/{id}"))["entry"]!.AsArray())!["resource"]!;
        Assert.Equal(
            "The episode as it is described now shows that it was never so.",
            (string)Assert.Single(why["reason"]!.AsArray())!["text"]!
        );
        Assert.Equal("2026-03-14T18:40:00+00:00", (string)why["recorded"]!);

        const string told =
            "Told otherwise before: risk of autonomic dysreflexia since 18:30 was never so, as what arrived at 18:40 shows.";
        Assert.Contains(told, Statement(Assert.Single(await Active(ward, "late-entry"))), StringComparison.Ordinal);
        var revised = (await ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray().Last()!["entry"]!;
        Assert.Equal(
            ("flag-revised", "dysreflexia-risk", "never-so"),
            ((string)revised["kind"]!, (string)revised["flag"]!, (string)revised["revision"]!)
        );

        // The same description again changes nothing, and entries go on after what the service wrote itself.
        Assert.Equal(HttpStatusCode.OK, (await ward.Post("/episodes", injured)).Status);
        await ward.Record(episode, Pressure("18:39", 140, 80));
        Assert.Equal(3, (await ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray().Count);
    }

    private static JsonObject Pressure(string clock, int systolic, int diastolic) =>
        Entry(
            "blood-pressure-measured",
            clock,
            $$"""
            "systolic": {"value": {{systolic}}, "unit": "mm[Hg]"}, "diastolic": {"value": {{diastolic}}, "unit": "mm[Hg]"}
            """
        );

    [Fact]
    public async Task What_the_service_writes_itself_is_taken_from_nobody_else()
    {
        await using var ward = RunningService.Start("2026-03-14T20:05:00Z");
        var (episode, _) = await Unread(ward);
        var forged = Entry(
            "flag-revised",
            "20:04",
            "\"flag\": \"drainage-reading-stale\", \"since\": \"2026-03-14T20:00:00Z\", \"revision\": \"never-so\""
        );
        var reply = await ward.Post($"/episodes/{episode}/entries", new JsonArray(forged));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, reply.Status);
        Assert.Contains("written-here", reply.Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Eight_writers_of_late_entries_end_in_what_a_replay_in_order_says()
    {
        const string now = "2026-03-14T23:30:00Z";
        List<JsonObject> entries =
        [
            Bag("18:00"),
            Flow("18:00", 600),
            Level("18:00", 0),
            Flow("20:45", 0),
            Entry("washout-performed", "21:20", "\"cleared\": true"),
            Flow("21:40", 300),
        ];
        foreach (
            var (minute, ml) in new[]
            {
                (20, 210),
                (40, 430),
                (60, 650),
                (80, 880),
                (100, 1100),
                (120, 1300),
                (140, 1300),
                (160, 1310),
                (210, 2500),
            }
        )
            entries.Add(Level($"{18 + (minute / 60)}:{minute % 60:00}", ml));
        entries.Add(
            Entry(
                "drainage-emptied",
                "21:35",
                """
                "volume": {"value": 2600, "unit": "mL"}
                """
            )
        );
        entries.AddRange(Enumerable.Range(0, 8).Select(i => Level($"22:{i * 5:00}", 100 + (i * 30))));
        entries.Add(Entry("drainage-appearance", "19:10", "\"grade\": 2, \"scale\": \"card (invented)\", \"clots\": \"none\""));
        entries.Add(Entry("drainage-appearance", "20:50", "\"grade\": 4, \"scale\": \"card (invented)\", \"clots\": \"many\""));

        await using var ordered = RunningService.Start(now);
        var replay = await ordered.Open(RunningService.Episode("stay", Start));
        foreach (var entry in entries.OrderBy(e => (string)e["at"]!, StringComparer.Ordinal))
            await ordered.Record(replay, entry);

        await using var late = RunningService.Start(now);
        var episode = await late.Open(RunningService.Episode("stay", Start));
        var random = new Random(8);
        var shuffled = entries.OrderBy(_ => random.Next()).ToList();
        await Task.WhenAll(
            Enumerable
                .Range(0, 8)
                .Select(async writer =>
                {
                    foreach (var entry in shuffled.Where((_, i) => i % 8 == writer))
                        Assert.Equal(
                            HttpStatusCode.OK,
                            (await late.Post($"/episodes/{episode}/entries", new JsonArray(entry.DeepClone()))).Status
                        );
                })
        );

        Assert.Equal(await Standing(ordered, replay), await Standing(late, episode));
        var active = await Active(late);
        Assert.Equal(active.Count, active.Select(flag => (string)flag["code"]!["coding"]![0]!["code"]!).Distinct().Count());

        // Nobody who was told of a flag is left with less than the truth.
        foreach (var flag in (await late.Resources(episode, "Flag")).Values)
        {
            var last = Told(late, (string)flag["id"]!).Last();
            Assert.Equal(
                (string)flag["status"]! switch
                {
                    "active" => "raised",
                    "inactive" => "cleared",
                    _ => "retracted",
                },
                last == "changed" ? "raised" : last
            );
        }
    }

    /// <summary>Every flag that is not withdrawn, in words.</summary>
    private static async Task<List<string>> Standing(RunningService ward, string episode) =>
        [
            .. (await ward.Resources(episode, "Flag"))
                .Values.Where(flag =>
                    (string)flag["status"]! != "entered-in-error" && (string)flag["code"]!["coding"]![0]!["code"]! != "late-entry"
                ) // what had been told depends on the order of arrival
                .Select(flag =>
                    $"{((string)flag["id"]!)[episode.Length..]} {flag["status"]} {flag["period"]!.ToJsonString()} {Statement(flag)}"
                )
                .Order(StringComparer.Ordinal),
        ];

    /// <summary>What the outbox says of a flag, in order; its numbers leave no gap.</summary>
    private static string Statement(JsonNode flag) =>
        (string)
            flag["extension"]!
                .AsArray()
                .Single(extension => ((string)extension!["url"]!).EndsWith("/flag-statement", StringComparison.Ordinal))!["valueString"]!;

    private static List<string> Told(RunningService ward, string id)
    {
        var file = Directory.GetFiles(ward.Folder, "*.db").Concat(Directory.GetFiles(ward.Folder, "*.sqlite")).First();
        using var store = new SqliteConnection($"Data Source={file};Mode=ReadOnly;Pooling=False");
        var numbers = store.Query<long>("select number from outbox order by number").ToList();
        Assert.Equal(Enumerable.Range(1, numbers.Count).Select(n => (long)n), numbers);
        return [.. store.Query<string>("select event from outbox where type = 'Flag' and id = @id order by number", new { id })];
    }
}
