using System.Text;
using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Entries;

/// <summary>
/// Entries may come twice, late, changed, withdrawn, at once and in any shape: nothing is lost and nothing counts double.
/// </summary>
[Collection(EveningOnTheWard.Name)]
public sealed class RecordingTests(EveningOnTheWard evening)
{
    /// <summary>A bag of 3000 mL run in by 12:00, 3400 mL drained by then; 700 mL more by 15:00 from half a bag of 1000 mL.</summary>
    private static readonly JsonObject[] Day =
    [
        BagHung("bag-1", "08:00", 3000),
        BagTakenDown("down-1", "12:00", 0),
        Emptied("drain-1", "12:00", 3400),
        BagHung("bag-2", "12:00", 1000),
        BagTakenDown("down-2", "15:00", 500),
        Emptied("drain-2", "15:00", 700),
    ];

    [Fact]
    public async Task The_same_entry_again_changes_nothing()
    {
        var episode = await evening.Open();
        var first = await evening.Service.Record(episode, Day);
        Assert.All(first.Outcomes, outcome => Assert.Equal("recorded", outcome));
        Assert.Equal(600m, await Output(episode)); // 3400 − 3000 + 700 − 500
        var before = (await evening.Service.Everything(episode), await Versions(episode));

        var again = await evening.Service.Record(episode, Day);

        Assert.All(again.Outcomes, outcome => Assert.Equal("repeated", outcome));
        Assert.Empty(again.Changed);
        Assert.Empty(again.Json["recalculated"]!.AsArray());
        Assert.Equal(before, (await evening.Service.Everything(episode), await Versions(episode)));
    }

    [Fact]
    public async Task Another_unit_or_offset_for_the_same_fact_is_the_same_fact()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Emptied("d", "12:00", 1500));
        var said = Emptied("d", "12:00", 0)
            .With("at", "2026-03-14T13:00:00+01:00")
            .With("volume", new JsonObject { ["value"] = 1.5m, ["unit"] = "L" });
        Assert.Equal(["repeated"], (await evening.Service.Record(episode, said)).Outcomes);
    }

    [Fact]
    public async Task Irrigant_that_is_charted_as_spilt_afterwards_lowers_what_the_next_reading_of_the_bag_measured()
    {
        var episode = await evening.Open();
        var read = Of("bag-read", "r", "10:00", ("remaining", Millilitres(2000)));
        await evening.Service.Record(episode, BagHung("bag", "08:00", 3000), read);
        Assert.Equal(1000m, await Instilled(episode));

        await evening.Service.Record(episode, Of("irrigant-discarded", "spilt", "09:00", ("volume", Millilitres(60))));
        Assert.Equal(940m, await Instilled(episode)); // 3000 − 2000 − 60
        await evening.Service.Record(episode, Withdrawn("spilt"));
        Assert.Equal(1000m, await Instilled(episode));
    }

    [Fact]
    public async Task Two_bags_of_a_Y_set_hang_on_one_line_and_each_is_measured_by_its_own_readings()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, BagHung("a", "08:00", 3000).With("bag", "A"), BagHung("b", "08:00", 3000).With("bag", "B"));
        var readB = Left("read-b", "bag-read", "11:00", 2600, "B");
        await evening.Service.Record(episode, Left("down-a", "bag-taken-down", "10:00", 0, "A"), readB);
        Assert.Equal([400m, 3000m], await AllInstilled(episode)); // B runs once A is down

        // A is found to have held 500 mL yet: that says nothing of B.
        await evening.Service.Record(episode, Left("down-a", "bag-taken-down", "10:00", 500, "A"));
        Assert.Equal([400m, 2500m], await AllInstilled(episode));
    }

    [Fact]
    public async Task One_id_of_two_senders_is_two_entries()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Emptied("d", "12:00", 300));
        Assert.Equal(["recorded"], (await evening.Service.Record(episode, Emptied("d", "13:00", 200).With("source", "scale"))).Outcomes);
        Assert.Equal(500m, await Output(episode));
    }

    [Fact]
    public async Task Other_content_under_the_same_id_supersedes_and_the_history_shows_what_was()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Day);
        var drainage = await Published(episode, "bladder-drainage", 700);

        var amended = await evening.Service.Record(episode, Emptied("drain-2", "15:00", 650).With("performer", "nurse-7"));

        Assert.Equal(["amended"], amended.Outcomes);
        Assert.Equal(550m, await Output(episode)); // 3400 − 3000 + 650 − 500
        Assert.Contains(drainage, amended.Changed);
        var now = await evening.Service.Read($"/fhir/{drainage}");
        Assert.Equal(("corrected", "2", 650m), Seen(now));
        var history = (await evening.Service.Read($"/fhir/{drainage}/_history"))["entry"]!.AsArray().Select(e => e!["resource"]!).ToList();
        Assert.Equal([("corrected", "2", 650m), ("final", "1", 700m)], history.Select(Seen));

        var recalculated = amended.Json["recalculated"]!.AsArray().Single()!;
        // 700 − 500, 650 − 500.
        Assert.Equal((200m, 150m), ((decimal)recalculated["before"]!["value"]!, (decimal)recalculated["after"]!["value"]!));
        Assert.Equal("corrected", (string)recalculated["status"]!);

        var provenance = await Provenance(drainage);
        Assert.Equal("UPDATE", (string)provenance["activity"]!["coding"]![0]!["code"]!);
        Assert.Equal("nurse-7", (string)provenance["agent"]![0]!["who"]!["identifier"]!["value"]!);
        Assert.Contains(
            provenance["target"]!.AsArray(),
            t => ((string)t!["reference"]!).Contains("corrected-urine-output", StringComparison.Ordinal)
        );
    }

    [Fact]
    public async Task What_was_entered_in_error_leaves_every_sum_and_stays_on_record()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Day);
        var before = await Sums(episode);
        await evening.Service.Record(episode, Emptied("slip", "13:00", 5000));
        Assert.Equal(5600m, await Output(episode)); // 600 + 5000
        var slip = await Published(episode, "bladder-drainage", 5000);

        var withdrawn = await evening.Service.Record(episode, Withdrawn("slip", "charted on the wrong patient"));

        Assert.Equal(["retracted"], withdrawn.Outcomes);
        Assert.Equal(before, await Sums(episode));
        Assert.Equal("entered-in-error", (string)(await evening.Service.Read($"/fhir/{slip}"))["status"]!);
        var provenance = await Provenance(slip);
        Assert.Equal("NULLIFY", (string)provenance["activity"]!["coding"]![0]!["code"]!);
        Assert.Equal("charted on the wrong patient", (string)provenance["reason"]![0]!["text"]!);
        var log = await Log(episode);
        Assert.Equal(
            [("recorded", false), ("retracted", true)],
            log.Where(e => (string)e["entry"]!["id"]! == "slip").Select(e => ((string)e["outcome"]!, (bool)e["stands"]!))
        );

        // The interval that it had closed is withdrawn too: nothing current rests on it.
        var resting = (await evening.Service.Resources(episode))
            .Values.Where(r => (string?)r["status"] != "entered-in-error" && r["derivedFrom"] is not null)
            .Where(r => r["derivedFrom"]!.AsArray().Any(d => (string)d!["reference"]! == slip));
        Assert.Empty(resting);
        Assert.Equal(["repeated"], (await evening.Service.Record(episode, Withdrawn("slip", "charted on the wrong patient"))).Outcomes);
    }

    [Fact]
    public async Task A_withdrawal_that_comes_before_its_entry_holds()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Emptied("d", "12:00", 300));
        Assert.Equal(["retracted"], (await evening.Service.Record(episode, Withdrawn("slip").With("at", At("13:00")))).Outcomes);
        Assert.Equal(["outdated"], (await evening.Service.Record(episode, Emptied("slip", "13:00", 5000))).Outcomes);
        Assert.Equal(300m, await Output(episode));
    }

    [Fact]
    public async Task A_late_entry_splits_the_interval_it_falls_into_and_says_that_it_is_late()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Day);
        var late = await evening.Service.Record(episode, Emptied("forgotten", "14:00", 300).With("recordedAt", At("18:00")));

        // 500 mL ran from 12:00 to 15:00: two thirds, 333.333 mL, by 14:00.
        var intervals = await Intervals(episode);
        Assert.Equal([At("12:00"), At("14:00"), At("15:00")], intervals.Select(i => (string)i["end"]!));
        Assert.Equal([400m, -33.333m, 533.333m], intervals.Select(Headline)); // 300 − 333.333; 700 − 166.667
        Assert.Contains("late-entry", intervals[1]["caveats"]!.AsArray().Select(c => (string)c!));
        Assert.Contains("irrigant-interpolated", intervals[1]["caveats"]!.AsArray().Select(c => (string)c!));
        Assert.Equal(900m, await Output(episode)); // 600 + 300
        Assert.Equal(2, late.Json["recalculated"]!.AsArray().Count);
    }

    [Fact]
    public async Task Fifty_at_once_of_the_same_leave_one()
    {
        var episode = await evening.Open();
        var replies = await Task.WhenAll(Enumerable.Range(0, 50).Select(_ => evening.Service.Record(episode, Emptied("d", "12:00", 300))));
        Assert.Equal(1, replies.Count(r => r.Outcomes is ["recorded"]));
        Assert.Equal(49, replies.Count(r => r.Outcomes is ["repeated"]));
        Assert.Single(await Log(episode));
        Assert.Equal(300m, await Output(episode));
        Assert.Equal(
            "1",
            (string)(await evening.Service.Read($"/fhir/{await Published(episode, "bladder-drainage", 300)}"))["meta"]!["versionId"]!
        );
    }

    [Fact]
    public async Task Eight_writers_at_once_lose_nothing()
    {
        var episode = await evening.Open();
        var opened = (long)(await evening.Service.Read($"/episodes/{episode}"))["version"]!;
        await Task.WhenAll(
            Enumerable
                .Range(0, 8)
                .Select(async writer =>
                {
                    for (var i = 0; i < 6; i++)
                        await evening.Service.Record(episode, Emptied($"w{writer}-{i}", $"{9 + writer:00}:{10 * i + 5:00}", 10 + writer));
                })
        );

        var log = await Log(episode);
        Assert.Equal(Enumerable.Range(1, 48).Select(i => (long)i), log.Select(e => (long)e["sequence"]!));
        Assert.Equal(48, log.Select(e => (string)e["entry"]!["id"]!).Distinct().Count());
        Assert.Equal(opened + 48, (long)(await evening.Service.Read($"/episodes/{episode}"))["version"]!);
        Assert.Equal(648m, await Output(episode)); // 6 × (10 + 11 + … + 17)
    }

    [Fact]
    public async Task A_list_lines_and_single_entries_give_the_same_resources()
    {
        var (list, lines, singles) = (await evening.Open(), await evening.Open(), await evening.Open());
        await evening.Service.Record(list, Day);
        var body = Encoding.UTF8.GetBytes(string.Join('\n', Day.Select(e => e.ToJsonString())) + "\n\n");
        var reply = await evening.Service.Post($"/episodes/{lines}/entries", body, "application/x-ndjson; charset=utf-8");
        Assert.All(reply.Outcomes, outcome => Assert.Equal("recorded", outcome));
        foreach (var entry in Day)
            Assert.Equal(["recorded"], (await evening.Service.Post($"/episodes/{singles}/entries", entry)).Outcomes);

        var facts = await evening.Service.Facts(list);
        Assert.True(facts.Count >= 13, "seven entries of volume, two intervals, their hours, a day, the irrigation");
        Assert.Equal(facts, await evening.Service.Facts(lines));

        // One by one in the evening, flags of the morning were told between them and taken back: that alone depends on the order of
        // arrival.
        Assert.Equal(
            facts,
            (await evening.Service.Facts(singles)).Where(fact => !fact.Key.Contains(".late-entry.", StringComparison.Ordinal))
        );
    }

    [Fact]
    public async Task A_restart_on_the_same_folder_keeps_everything()
    {
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        try
        {
            string episode,
                log,
                balance;
            SortedDictionary<string, JsonNode> resources;
            await using (var first = RunningService.Start(EveningOnTheWard.Now, folder))
            {
                episode = await first.Open(RunningService.Episode("kept", "2026-03-14T08:00:00Z"));
                await first.Record(episode, Day);
                await first.Record(episode, Emptied("drain-2", "15:00", 650));
                await first.Record(episode, Withdrawn("drain-1"));
                (log, balance, resources) = (
                    await first.Everything(episode),
                    (await first.Get($"/episodes/{episode}/balance")).Text,
                    await first.Resources(episode)
                );
            }

            await using var second = RunningService.Start(EveningOnTheWard.Now, folder);
            Assert.Equal(log, await second.Everything(episode));
            Assert.Equal(balance, (await second.Get($"/episodes/{episode}/balance")).Text);
            var kept = await second.Resources(episode);
            Assert.Equal(resources.Select(r => (r.Key, r.Value.ToJsonString())), kept.Select(r => (r.Key, r.Value.ToJsonString())));
            Assert.Equal(["repeated"], (await second.Record(episode, Emptied("drain-2", "15:00", 650))).Outcomes);
            Assert.Equal(["recorded"], (await second.Record(episode, Emptied("drain-3", "17:00", 100))).Outcomes);
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    [Fact]
    public async Task What_is_not_about_the_patient_alters_no_total()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Day);
        var before = await Sums(episode);
        var reply = await evening.Service.Record(
            episode,
            Emptied("trial", "13:00", 5000).With("purpose", "test"),
            BagHung("demo", "13:00", 3000).With("purpose", "demo")
        );
        Assert.Equal(["recorded", "recorded"], reply.Outcomes);
        Assert.Empty(reply.Changed);
        Assert.Equal(before, await Sums(episode));
    }

    private static (string Status, string Version, decimal Value) Seen(JsonNode resource) =>
        ((string)resource["status"]!, (string)resource["meta"]!["versionId"]!, (decimal)resource["valueQuantity"]!["value"]!);

    private static JsonObject Left(string id, string kind, string clock, decimal remaining, string bag) =>
        Of(kind, id, clock, ("remaining", Millilitres(remaining)), ("bag", bag));

    private async Task<decimal> Instilled(string episode) => (await AllInstilled(episode)).Single();

    /// <summary>What each reading of a bag says ran in, as it is published; the least first.</summary>
    private async Task<IReadOnlyList<decimal>> AllInstilled(string episode) =>
        [
            .. (await evening.Service.Resources(episode, "Observation"))
                .Where(r => r.Key.Contains(".irrigant-instilled.", StringComparison.Ordinal))
                .Select(r => (decimal)r.Value["valueQuantity"]!["value"]!)
                .Order(),
        ];

    private static decimal Headline(JsonNode interval) => (decimal)interval["correctedUrineOutput"]!["headline"]!["value"]!;

    private async Task<List<JsonNode>> Intervals(string episode) =>
        [.. (await evening.Service.Read($"/episodes/{episode}/balance"))["intervals"]!.AsArray().Select(i => i!)];

    private async Task<decimal> Output(string episode) => (await Intervals(episode)).Sum(Headline);

    /// <summary>Every number of the balance, without caveats and statuses, which a correction does change.</summary>
    private async Task<string> Sums(string episode)
    {
        var balance = await evening.Service.Read($"/episodes/{episode}/balance");
        return string.Join(
            '\n',
            new[] { "intervals", "hours", "shifts", "days" }.SelectMany(kind => balance[kind]!.AsArray().Select(w => Line(kind, w!)))
        );

        static string Line(string kind, JsonNode window)
        {
            var (output, simple) = (window["correctedUrineOutput"]?["headline"]?["value"], window["simpleOutput"]?["value"]);
            return $"{kind} {window["start"]} {window["end"]} {output} {simple} {window["irrigantInstilled"]?["value"]}";
        }
    }

    private async Task<string> Published(string episode, string slug, decimal millilitres) =>
        (await evening.Service.Resources(episode))
            .Single(r =>
                r.Key.Contains($".{slug}.", StringComparison.Ordinal) && (decimal?)r.Value["valueQuantity"]?["value"] == millilitres
            )
            .Key;

    private async Task<string> Versions(string episode) =>
        string.Join('\n', (await evening.Service.Resources(episode)).Select(r => $"{r.Key} {r.Value["meta"]!["versionId"]}"));

    private async Task<JsonNode> Provenance(string target) =>
        (await evening.Service.Read($"/fhir/Provenance?target={Uri.EscapeDataString(target)}"))["entry"]!.AsArray().Single()!["resource"]!;

    private async Task<List<JsonNode>> Log(string episode) =>
        [.. (await evening.Service.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray().Select(e => e!)];
}
