using System.Globalization;
using System.Net;
using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Beds;

/// <summary>The list of a ward: who needs a person first. Invented beds on the afternoon of 14 Mar 2026, seen at 13:00.</summary>
public sealed class WardListTests
{
    private const string Noon = "2026-03-14T13:00:00Z";
    private const string North = "North 4 (invented)";

    [Fact]
    public async Task Whoever_needs_a_person_first_comes_first()
    {
        await using var service = RunningService.Start(Noon);

        // 300 mL/h and nobody read since 08:00: 1500 mL, urgent. The same since 11:45: 375 mL, high, and not read goes before other
        // high ones; since 11:50 at 150 mL/h: 175 mL, medium, yet not read.
        await Bed(service, "1", "unread for five hours", Flow("f", "08:00", 300), Bag("08:00"), Level("08:00", 0));
        await Bed(service, "2", "unread, 375 mL in", Flow("f", "08:00", 300), Bag("08:00"), Level("11:45", 1350));
        await Bed(service, "3", "unread, 175 mL in", Flow("f", "08:00", 150), Bag("08:00"), Level("11:50", 800));
        await Bed(service, "4", "distended", Flow("f", "08:00", 300), Bag("08:00"), Level("12:30", 1620), Distended("12:31"));
        await Bed(service, "5", "bag dry at 13:20", Flow("f", "08:00", 300), Bag("08:00", 1600), Level("12:30", 1620));
        await Bed(service, "6", "quiet", Flow("f", "12:40", 30), Bag("12:40"), Level("12:50", 0));
        await Bed(service, "7", "unread at a flow that nobody charted", Bag("11:45"), Level("11:45", 0));

        var beds = (await service.Read("/ward"))["beds"]!.AsArray();
        Assert.Equal(
            ["1 urgent", "7 not-read", "2 not-read", "3 not-read", "4 high", "5 due", "6 quiet"],
            beds.Select(bed => $"{bed!["location"]!["bed"]} {bed["attention"]}")
        );
        Assert.Equal(1500m, (decimal)beds[0]!["inSinceReading"]!);
        Assert.Equal((300m, "08:00"), ((decimal)beds[0]!["minutesSinceReading"]!, ((string)beds[0]!["lastReading"]!)[11..16]));
        Assert.Null(beds[1]!["inSinceReading"]);
        Assert.Equal("drainage-reading-stale", (string)beds[0]!["wrong"]![0]!["flag"]!);
        Assert.Equal(("bag dry", 20m), Due(beds[5]!, 0));
        Assert.Equal(("bag dry", "13:20"), ((string)beds[5]!["due"]![0]!["what"]!, ((string)beds[5]!["due"]![0]!["at"]!)[11..16]));
    }

    [Fact]
    public async Task As_text_it_is_one_line_for_each_bed()
    {
        await using var service = RunningService.Start(Noon);
        await Bed(service, "1", "Ida Quell (invented)", Flow("f", "08:00", 300), Bag("08:00"), Level("08:00", 0));
        await Bed(service, "2", "Tom Rill (invented)", Flow("f", "12:40", 30), Bag("12:40"), Level("12:50", 0));
        using var request = new HttpRequestMessage(
            HttpMethod.Get,
            new Uri("/ward?location=" + Uri.EscapeDataString(North), UriKind.Relative)
        );
        request.Headers.Accept.ParseAdd("text/plain");
        using var answer = await service.Http.SendAsync(request);
        Assert.Equal(
            "North 4 (invented), 14 Mar 13:00: 2 beds irrigated, who needs a person first\n"
                + "  1  North 4 (invented), room 2, bed 1, Ida Quell (invented), day 1 | urgent: Drainage not read since 09:00. "
                + "Irrigant runs at 300 mL/h and the drainage was not read since 08:00 (limit 60 min) | "
                + "read 5 h 0 min ago, 1,500 mL in since | drainage to read since 09:00 | 3 flags not seen\n"
                + "  2  North 4 (invented), room 2, bed 2, Tom Rill (invented), day 1 | read 10 min ago, 5 mL in since | "
                + "drainage to read 13:50\n",
            await answer.Content.ReadAsStringAsync()
        );
    }

    [Fact]
    public async Task A_flag_that_somebody_saw_makes_room_for_one_that_nobody_did()
    {
        await using var service = RunningService.Start(Noon);
        var seen = await Bed(service, "1", "seen", Flow("f", "08:00", 300), Bag("08:00"), Level("08:00", 0));
        await Bed(service, "2", "not seen", Flow("f", "08:00", 300), Bag("08:00"), Level("09:00", 0));
        Assert.Equal(["1", "2"], await Order(service));
        var flags = (await service.Read($"/episodes/{seen}/flags"))["standing"]!.AsArray();
        var urgent = flags.Single(flag => (string)flag!["priority"]! == "urgent")!;
        await service.Record(
            seen,
            Of("flag-acknowledged", "ack", "12:59", ("flag", (string)urgent["id"]!)).With("performer", "N-12 (invented)")
        );
        Assert.Equal(["2", "1"], await Order(service));
    }

    [Fact]
    public async Task Only_those_of_a_place_that_are_open_and_where_they_lie_now()
    {
        await using var service = RunningService.Start(Noon);
        await Bed(service, "1", "stays", Flow("f", "12:40", 30));
        await Bed(service, "2", "moves", Flow("f", "12:40", 30));
        await Bed(service, "3", "ends", Flow("f", "12:40", 30));
        Assert.Equal(["1", "2", "3"], (await Order(service, North)).Order());
        Assert.Equal(["2"], await Order(service, $"{North}|2|2"));
        Assert.Equal([], await Order(service, $"{North}|3"));

        await Describe(service, "2", "moves", "South 1 (invented)");
        await Describe(service, "3", "ends", North, At("12:45"));
        Assert.Equal(["1"], await Order(service, North));
        Assert.Equal(["2"], await Order(service, "South 1 (invented)"));

        // It went on after all.
        await Describe(service, "3", "ends", North);
        Assert.Equal(["1", "3"], (await Order(service, North)).Order());
        var refused = await service.Get("/ward?location=a|b|c|d");
        refused.Refuses(400, "unknown-word", "location", "a|b|c|d", "ward|room|bed");
    }

    [Fact]
    public async Task Irrigations_of_a_place_and_what_is_raised_there_are_found_in_FHIR_too()
    {
        await using var service = RunningService.Start(Noon);
        var unread = await Bed(service, "1", "unread", Flow("f", "08:00", 300), Bag("08:00"), Level("08:00", 0));
        var quiet = await Bed(service, "12", "quiet", Flow("f", "12:40", 30), Bag("12:40"), Level("12:50", 0));
        Assert.Equal(new[] { quiet, unread }.Order(), await Irrigated(service, "location-name:exact", North));
        Assert.Equal(new[] { quiet, unread }.Order(), await Irrigated(service, "location-name", "north 4"));
        Assert.Equal(new[] { quiet, unread }.Order(), await Irrigated(service, "location-name:exact", $"{North}, room 2"));
        Assert.Equal([unread], await Irrigated(service, "location-name:exact", $"{North}, room 2, bed 1"));
        Assert.Equal([], await Irrigated(service, "location-name:exact", "North"));

        var raised = await Found(service, $"location-name:exact={Uri.EscapeDataString(North)}&_revinclude=Flag:part-of");
        Assert.Contains(
            raised,
            found => (string)found["resourceType"]! == "Flag" && ((string)found["id"]!).StartsWith(unread + ".", StringComparison.Ordinal)
        );

        await Describe(service, "12", "quiet", "South 1 (invented)");
        Assert.Equal([unread], await Irrigated(service, "location-name:exact", North));
        Assert.Equal([quiet], await Irrigated(service, "location-name:exact", "South 1 (invented)"));
    }

    private static async Task<IEnumerable<string>> Irrigated(RunningService service, string parameter, string place) =>
        (
            await Found(
                service,
                $"status=in-progress&{parameter}={Uri.EscapeDataString(place.Replace(",", "\\,", StringComparison.Ordinal))}"
            )
        )
            .Select(procedure => ((string)procedure["id"]!).Split('.')[0])
            .Order();

    private static async Task<IEnumerable<JsonNode>> Found(RunningService service, string query) =>
        (await service.Read($"/fhir/Procedure?{query}"))["entry"]?.AsArray().Select(entry => entry!["resource"]!) ?? [];

    [Fact]
    public async Task Where_the_reading_becomes_overdue_while_nobody_charts_the_list_says_so()
    {
        await using var service = RunningService.Start(Noon);
        await Bed(service, "1", "slow", Flow("f", "12:40", 100), Bag("12:40"), Level("12:40", 0));
        Assert.Equal("quiet", (string)(await service.Read("/ward"))["beds"]![0]!["attention"]!);
        service.Clock.Advance(TimeSpan.FromMinutes(41));
        var bed = (await service.Read("/ward"))["beds"]![0]!;
        Assert.Equal(("not-read", "drainage-reading-stale"), ((string)bed["attention"]!, (string)bed["wrong"]![0]!["flag"]!));
        Assert.Equal(("drainage to read", -1m), Due(bed, 0));
    }

    /// <summary>
    /// Forty beds, drawn by a seed: flow, when they are read and how far the reading falls short, bags that run dry. Three shifts. The
    /// rules are stated here once more, by what each bed answers to its own flags and balance.
    /// </summary>
    [Fact]
    public async Task Forty_beds_are_in_the_right_order_for_three_shifts()
    {
        await using var service = RunningService.Start("2026-03-14T08:00:00Z");
        var random = new Random(40);
        var beds = new List<(string Id, int Flow, decimal Held)>();
        for (var n = 0; n < 40; n++)
        {
            var flow = new[] { 30, 100, 300, 600 }[random.Next(4)];
            beds.Add(
                (await Bed(service, $"{n}", $"patient {n}", Flow("f", "08:00", flow), Bag("08:00", 3000), Level("08:00", 0)), flow, 0)
            );
        }

        foreach (var shift in new[] { 4, 8, 12 })
        {
            service.Clock.SetUtcNow(DateTimeOffset.Parse(At(Clock(shift * 60)), CultureInfo.InvariantCulture));
            for (var n = 0; n < beds.Count; n++)
            {
                var (id, flow, held) = beds[n];
                var ago = new[] { 5, 20, 70, 90, 200 }[random.Next(5)];
                var level = held + (flow + 60) * (shift * 60 - ago) / 60m * (random.Next(8) == 0 ? 0.3m : 1);
                await service.Record(id, Level(Clock((shift * 60) - ago), Math.Round(level)));
                if (random.Next(6) == 0)
                    await service.Record(id, Of("bladder-palpated", $"felt {shift}", Clock(shift * 60 - 4), ("distended", true)));
            }

            var listed = (await service.Read("/ward"))["beds"]!.AsArray().Select(bed => (string)bed!["episode"]!).ToList();
            Assert.Equal(beds.Select(bed => bed.Id).Order(), listed.Order());
            var keys = new List<(int Group, decimal Volume, string Since)>();
            foreach (var id in listed)
                keys.Add(await Key(service, id));
            Assert.Equal(keys.Order(), keys);
            Assert.True(keys.Select(key => key.Group).Distinct().Count() >= 4, string.Join(' ', keys.Select(key => key.Group)));
        }

        // From eight o'clock on.
        static string Clock(int minutes) => $"{8 + (minutes / 60):00}:{minutes % 60:00}";
    }

    private static async Task<(int Group, decimal Volume, string Since)> Key(RunningService service, string id)
    {
        var flags = (await service.Read($"/episodes/{id}/flags"))["standing"]!.AsArray();
        var balance = await service.Read($"/episodes/{id}/balance");
        string? Oldest(string priority) =>
            flags.Where(flag => (string)flag!["priority"]! == priority).Select(flag => (string)flag!["start"]!).Min(StringComparer.Ordinal);
        if (Oldest("urgent") is { } urgent)
            return (0, 0, urgent);
        if (flags.Any(flag => (string)flag!["flag"]! == "drainage-reading-stale"))
            return (1, -(decimal)balance["open"]!["irrigantInstilled"]!["value"]!, (string)balance["open"]!["start"]!);
        if (Oldest("high") is { } high)
            return (2, 0, high);
        var read = DateTimeOffset.Parse((string)balance["open"]!["start"]!, CultureInfo.InvariantCulture);
        var asOf = DateTimeOffset.Parse((string)balance["asOf"]!, CultureInfo.InvariantCulture);
        var due = balance["forecasts"]!
            .AsArray()
            .Where(f => (string)f!["kind"]! is "bag-empty" or "container-full" && f["at"] is not null)
            .Select(f => DateTimeOffset.Parse((string)f!["at"]!, CultureInfo.InvariantCulture))
            .Append(read.AddHours(1))
            .Min();
        return (due <= asOf.AddMinutes(30) ? 3 : 4, 0, due.ToString("s", CultureInfo.InvariantCulture));
    }

    [Fact]
    public async Task Open_episodes_are_listed_in_pages_each_once()
    {
        await using var service = RunningService.Start(Noon);
        for (var n = 0; n < 12; n++)
            await Describe(service, $"{n}", $"patient {n}", North, n % 4 == 0 ? At("12:45") : null);
        foreach (var (query, expected) in new[] { ("status=open", 9), ("status=ended", 3), ("", 12), ($"location={North}|2", 12) })
        {
            var found = new List<string>();
            for (var next = (string?)$"/episodes?count=5&{query}"; next is not null; )
            {
                var page = await service.Read(next);
                Assert.InRange(page["episodes"]!.AsArray().Count, 1, 5);
                found.AddRange(page["episodes"]!.AsArray().Select(episode => (string)episode!["id"]!));
                next = (string?)page["next"];
            }

            Assert.Equal((expected, expected), (found.Count, found.Distinct().Count()));
        }

        foreach (var bad in new[] { "status=closed", "count=0", "count=501", "after=x", "location=|2", "identifier=a|b&status=open" })
            Assert.Equal(HttpStatusCode.BadRequest, (await service.Get($"/episodes?{bad}")).Status);
    }

    private static async Task<string> Bed(RunningService service, string bed, string patient, params JsonNode[] entries)
    {
        var id = (string)(await Describe(service, bed, patient, North)).Json["id"]!;
        await service.Record(id, entries);
        return id;
    }

    private static async Task<Reply> Describe(RunningService service, string bed, string patient, string ward, string? end = null)
    {
        var episode = RunningService.Episode($"bed {bed}", At("08:00"), end);
        episode["patient"]!["display"] = patient;
        episode["location"] = new JsonObject
        {
            ["ward"] = ward,
            ["room"] = "2",
            ["bed"] = bed,
        };
        var reply = await service.Post("/episodes", episode);
        Assert.True(reply.Status is HttpStatusCode.OK or HttpStatusCode.Created, reply.Text);
        return reply;
    }

    private static async Task<IEnumerable<string>> Order(RunningService service, string? location = null) =>
        (await service.Read("/ward" + (location is null ? "" : $"?location={Uri.EscapeDataString(location)}")))["beds"]!
            .AsArray()
            .Select(bed => (string)bed!["location"]!["bed"]!);

    private static (string What, decimal In) Due(JsonNode bed, int which) =>
        ((string)bed["due"]![which]!["what"]!, (decimal)bed["due"]![which]!["inMinutes"]!);

    private static JsonObject Bag(string clock, decimal millilitres = 3000) => BagHung("bag", clock, millilitres);

    private static JsonObject Level(string clock, decimal millilitres) =>
        Of("drainage-level-read", $"level {clock}", clock, ("level", Millilitres(millilitres)));

    private static JsonObject Distended(string clock) => Of("bladder-palpated", "felt", clock, ("distended", true));
}
