using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Tests.Entries;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>An episode is opened, amended, ended and found over HTTP, and its balance read as of any moment.</summary>
[Collection(EveningOnTheWard.Name)]
public sealed class EpisodesTests(EveningOnTheWard evening)
{
    private const string Start = "2026-03-14T08:00:00Z";

    [Fact]
    public async Task An_episode_is_opened_once_and_the_same_description_again_changes_nothing()
    {
        var described = RunningService.Episode(evening.NewIdentifier(), Start);
        var opened = await evening.Service.Post("/episodes", described);
        Assert.Equal(HttpStatusCode.Created, opened.Status);
        Assert.Equal($"/episodes/{opened.Json["id"]}", opened.Location);
        Assert.Equal((1L, 0L), ((long)opened.Json["version"]!, (long)opened.Json["entries"]!));
        Assert.Equal(described.ToJsonString(), opened.Json["episode"]!.ToJsonString());

        var again = await evening.Service.Post("/episodes", described);
        Assert.Equal(HttpStatusCode.OK, again.Status);
        Assert.Equal(opened.Text, again.Text);
        Assert.Equal(opened.Text, (await evening.Service.Get(opened.Location!)).Text);
    }

    [Fact]
    public async Task Twenty_at_once_open_one_episode()
    {
        var described = RunningService.Episode(evening.NewIdentifier(), Start);
        var replies = await Task.WhenAll(Enumerable.Range(0, 20).Select(_ => evening.Service.Post("/episodes", described)));
        Assert.Equal(1, replies.Count(r => r.Status == HttpStatusCode.Created));
        Assert.Equal(19, replies.Count(r => r.Status == HttpStatusCode.OK));
        Assert.Single(replies.Select(r => (string)r.Json["id"]!).Distinct());
    }

    [Fact]
    public async Task Ending_an_episode_completes_the_irrigation_and_closes_it_to_later_fluid()
    {
        var identifier = evening.NewIdentifier();
        var episode = await evening.Service.Open(RunningService.Episode(identifier, Start));
        await evening.Service.Record(episode, BagHung("bag", "08:00", 3000), BagTakenDown("down", "12:00", 0), Emptied("d", "12:00", 3400));
        Assert.Equal(("in-progress", null), await Irrigation(episode));

        var ended = await evening.Service.Post("/episodes", RunningService.Episode(identifier, Start, At("13:00")));

        Assert.Equal(HttpStatusCode.OK, ended.Status);
        Assert.Equal((episode, 3L), ((string)ended.Json["id"]!, (long)ended.Json["version"]!)); // opened, recorded, ended
        Assert.Equal(("completed", At("12:00")), await Irrigation(episode));
        var late = await evening.Service.Post($"/episodes/{episode}/entries", Emptied("late", "14:00", 100));
        late.Refuses(422, "after-episode-end", "entries[0].at", At("14:00"), At("13:00"));

        // It went on after all: the end is taken back.
        Assert.Equal(HttpStatusCode.OK, (await evening.Service.Post("/episodes", RunningService.Episode(identifier, Start))).Status);
        Assert.Equal(("in-progress", null), await Irrigation(episode));
        await evening.Service.Record(episode, Emptied("late", "14:00", 100));
    }

    [Fact]
    public async Task An_end_or_a_start_that_leaves_charted_fluid_outside_is_refused()
    {
        var identifier = evening.NewIdentifier();
        var episode = await evening.Service.Open(RunningService.Episode(identifier, Start));
        await evening.Service.Record(episode, Emptied("d", "12:00", 400));
        var before = await evening.Service.Everything(episode);

        var ended = await evening.Service.Post("/episodes", RunningService.Episode(identifier, Start, At("11:00")));
        ended.Refuses(409, "after-episode-end", "episode.at", At("12:00"), At("11:00"));
        var moved = await evening.Service.Post("/episodes", RunningService.Episode(identifier, At("12:30")));
        moved.Refuses(409, "before-episode-start", "episode.at", At("12:00"), At("12:30"));
        Assert.Equal(before, await evening.Service.Everything(episode));
    }

    [Fact]
    public async Task Another_patient_under_a_known_identifier_is_refused()
    {
        var identifier = evening.NewIdentifier();
        var episode = await evening.Service.Open(RunningService.Episode(identifier, Start));
        var before = await evening.Service.Everything(episode);
        var reply = await evening.Service.Post("/episodes", RunningService.Episode(identifier, Start, patient: "somebody else"));
        reply.Refuses(409, "patient-mismatch", "episode", "another patient", "what the episode was opened with");
        Assert.DoesNotContain("somebody else", reply.Text, StringComparison.Ordinal);
        Assert.Equal(before, await evening.Service.Everything(episode));
    }

    [Fact]
    public async Task Another_time_zone_or_other_shifts_under_a_known_identifier_are_refused()
    {
        var described = RunningService.Episode(evening.NewIdentifier(), Start);
        await evening.Service.Open(described);
        (await evening.Service.Post("/episodes", described.With("timeZone", "Europe/Vienna"))).Refuses(
            409,
            "patient-mismatch",
            "episode",
            "time zone",
            "opened with"
        );
        (await evening.Service.Post("/episodes", described.With("shiftStarts", new JsonArray("06:00")))).Refuses(
            409,
            "patient-mismatch",
            "episode",
            "other shifts",
            "opened with"
        );
    }

    [Fact]
    public async Task Episodes_are_found_by_patient_and_by_identifier()
    {
        var (first, second, patient) = (evening.NewIdentifier(), evening.NewIdentifier(), $"of {evening.NewIdentifier()}");
        string[] ids =
        [
            await evening.Service.Open(RunningService.Episode(first, Start, patient: patient)),
            await evening.Service.Open(RunningService.Episode(second, Start, patient: patient)),
        ];
        Assert.Equal(
            ids.Order(StringComparer.Ordinal),
            await Found($"patient.identifier={Uri.EscapeDataString($"{RunningService.PatientSystem}|{patient}")}")
        );
        Assert.Equal(ids.Order(StringComparer.Ordinal), await Found($"patient.identifier={Uri.EscapeDataString(patient)}"));
        Assert.Equal([ids[1]], await Found($"identifier={Uri.EscapeDataString($"{RunningService.EpisodeSystem}|{second}")}"));
        Assert.Empty(await Found($"identifier={Uri.EscapeDataString("https://other.example|" + second)}"));
        Assert.Empty(await Found("patient.identifier=nobody"));
        (await evening.Service.Get("/episodes?identifier=without-a-system")).Refuses(
            400,
            "missing",
            "query",
            "nothing",
            "patient.identifier=system|value"
        );
    }

    public static TheoryData<string, string?, string, string, string, string> BadDescriptions =>
        new()
        {
            { "timeZone", "\"Mars/Olympus\"", "unknown-word", "episode.timeZone", "'Mars/Olympus'", "IANA time zone" },
            { "shiftStarts", "[\"07:00\", \"25:00\"]", "unknown-word", "episode.shiftStarts", "'25:00'", "clock times like 07:00" },
            { "shiftStarts", "\"07:00\"", "wrong-type", "episode.shiftStarts", "a text", "clock times" },
            { "start", "\"2026-03-14T08:00:00\"", "bad-time", "episode.start", "'2026-03-14T08:00:00'", "offset" },
            { "start", null, "missing", "episode.start", "nothing", "when the balance begins" },
            { "end", "\"2026-03-14T08:00:00Z\"", "end-before-start", "episode.end", "2026-03-14T08:00:00Z", "an end after the start" },
            { "patient", null, "missing", "episode.patient", "nothing", "the patient" },
            { "patient", "{\"display\": \"Bed 4\"}", "missing", "episode.patient.identifier", "nothing", "a reference" },
            { "identifier", null, "missing", "episode.identifier", "nothing", "the episode's identifier" },
            { "identifier", "{\"value\": \"1\"}", "missing", "episode.identifier.system", "nothing", "a URI" },
            { "birthDate", "\"1951-13-01\"", "unknown-word", "episode.birthDate", "'1951-13-01'", "a date like" },
            { "bladderCapacity", "{\"value\": 400, \"unit\": \"cc\"}", "wrong-unit", "episode.bladderCapacity.unit", "'cc'", "one of mL" },
            { "catheter", "{\"lumens\": 4}", "out-of-range", "episode.catheter.lumens", "4", "1 to 3" },
            { "bed", "4", "unknown-property", "episode.bed", "a property that is not read", "an episode" },
        };

    [Theory]
    [MemberData(nameof(BadDescriptions))]
    public async Task A_bad_description_opens_nothing(
        string property,
        string? value,
        string code,
        string where,
        string saw,
        string expected
    )
    {
        var identifier = evening.NewIdentifier();
        var described = RunningService.Episode(identifier, Start).Without(property);
        if (value is not null)
            described[property] = JsonNode.Parse(value);
        (await evening.Service.Post("/episodes", described)).Refuses(422, code, where, saw, expected);
        Assert.Empty(await Found($"identifier={Uri.EscapeDataString($"{RunningService.EpisodeSystem}|{identifier}")}"));
    }

    [Fact]
    public async Task A_body_that_is_no_episode_is_refused()
    {
        (await evening.Service.Post("/episodes", "{"u8.ToArray(), "application/json")).Refuses(
            400,
            "malformed-json",
            "body",
            "unreadable JSON",
            "well-formed JSON"
        );
        (await evening.Service.Post("/episodes", "[]"u8.ToArray(), "application/json")).Refuses(
            400,
            "wrong-type",
            "body",
            "a list",
            "one episode"
        );
        (await evening.Service.Post("/episodes", "{}"u8.ToArray(), "text/plain")).Refuses(
            415,
            "unsupported-media-type",
            null,
            "text/plain",
            "a Content-Type this address reads"
        );
        (await evening.Service.Post("/episodes", "{}"u8.ToArray(), null)).Refuses(
            415,
            "unsupported-media-type",
            "Content-Type",
            "none",
            "application/json"
        );
    }

    [Fact]
    public async Task The_balance_as_of_a_moment_knows_what_was_known_then()
    {
        var episode = await evening.Open();
        await evening.Service.Record(
            episode,
            Emptied("d1", "10:00", 300).With("recordedAt", At("10:05")),
            Emptied("d2", "12:00", 200).With("recordedAt", At("15:00")),
            Emptied("d3", "14:00", 100).With("recordedAt", At("14:00"))
        );
        Assert.Equal([300m], await HeadlinesAsOf(episode, At("12:30"))); // d2 had happened and was not charted
        Assert.Equal([300m, 100m], await HeadlinesAsOf(episode, At("14:30")));
        Assert.Equal([300m, 200m, 100m], await HeadlinesAsOf(episode, "2026-03-14T16:00:00+01:00")); // 15:00 UTC
        Assert.Equal([300m, 200m, 100m], await HeadlinesAsOf(episode, null));
        Assert.Empty(await HeadlinesAsOf(episode, At("09:00")));
    }

    [Fact]
    public async Task A_moment_that_is_none_and_an_unknown_episode_are_named()
    {
        var episode = await evening.Open();
        (await evening.Service.Get($"/episodes/{episode}/balance?asOf=2026-03-14T12:00:00")).Refuses(
            400,
            "bad-time",
            "asOf",
            "'2026-03-14T12:00:00'",
            "offset"
        );
        (await evening.Service.Get("/episodes/nowhere/balance")).Refuses(404, "unknown-episode", "id", "'nowhere'", "POST /episodes");
        (await evening.Service.Get("/episodes/nowhere/entries")).Refuses(404, "unknown-episode", "id", "'nowhere'", "POST /episodes");
        (await evening.Service.Get("/episodes/nowhere")).Refuses(404, "unknown-episode", "id", "'nowhere'", "POST /episodes");
    }

    [Fact]
    public async Task Hours_shifts_and_days_follow_the_facility_s_wall_clock()
    {
        var described = RunningService
            .Episode(evening.NewIdentifier(), "2026-03-14T05:30:00Z")
            .With("timeZone", "Asia/Kolkata")
            .With("shiftStarts", new JsonArray("14:00", "06:00", "22:00"));
        var episode = await evening.Service.Open(described);
        await evening.Service.Record(episode, Emptied("d1", "06:30", 100), Emptied("d2", "09:30", 300));

        // 05:30, 06:30 and 09:30 UTC are 11:00, 12:00 and 15:00 at +05:30; the three hours of 300 mL are 100 mL each.
        var balance = await evening.Service.Read($"/episodes/{episode}/balance");
        Assert.Equal(["11", "12", "13", "14"], balance["hours"]!.AsArray().Select(h => ((string)h!["start"]!)[11..13]));
        Assert.Equal([100m, 100m, 100m, 100m], balance["hours"]!.AsArray().Select(h => Headline(h!)));
        Assert.Equal(
            [("2026-03-14T06:00:00+05:30", 300m), ("2026-03-14T14:00:00+05:30", 100m)],
            balance["shifts"]!.AsArray().Select(s => ((string)s!["start"]!, Headline(s)))
        );
        Assert.Equal([("2026-03-14T00:00:00+05:30", 400m)], balance["days"]!.AsArray().Select(d => ((string)d!["start"]!, Headline(d))));
    }

    private static decimal Headline(JsonNode window) => (decimal)window["correctedUrineOutput"]!["headline"]!["value"]!;

    private async Task<IEnumerable<decimal>> HeadlinesAsOf(string episode, string? asOf)
    {
        var balance = await evening.Service.Read(
            $"/episodes/{episode}/balance{(asOf is null ? "" : $"?asOf={Uri.EscapeDataString(asOf)}")}"
        );
        return balance["intervals"]!.AsArray().Select(i => Headline(i!));
    }

    private async Task<(string Status, string? End)> Irrigation(string episode)
    {
        var procedure = (await evening.Service.Resources(episode))
            .Single(r => r.Key.StartsWith("Procedure/", StringComparison.Ordinal))
            .Value;
        return ((string)procedure["status"]!, (string?)procedure["performedPeriod"]!["end"]);
    }

    private async Task<IEnumerable<string>> Found(string query) =>
        (await evening.Service.Read($"/episodes?{query}"))["episodes"]!
            .AsArray()
            .Select(e => (string)e!["id"]!)
            .Order(StringComparer.Ordinal);
}
