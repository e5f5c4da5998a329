using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using IrrigationFhir.Fhir;
using static IrrigationFhir.Tests.Intake.Sender;

namespace IrrigationFhir.Tests.Intake;

/// <summary>Devices that speak FHIR: what an integrator may rely on, rule by rule.</summary>
[Collection(EveningOnTheWard.Name)]
public partial class DeviceDataTests(EveningOnTheWard evening)
{
    private readonly RunningService _ward = evening.Service;

    [Fact]
    public async Task Sent_again_it_answers_200_and_other_content_is_refused_R_DEV_01()
    {
        var (sender, episode) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"));

        var created = (await sender.Post(emptied)).Is(201);
        var again = (await sender.Post(emptied)).Is(200);
        Assert.Equal((created.Id, created.ETag), (again.Id, again.ETag));

        var other = sender.Observation("drainage-emptied", "1", "09:00", Quantity("410", "mL"));
        (await sender.Post(other)).Refuses(409, "conflicting-content", "Observation.identifier[0].value", "amended, corrected");
        Assert.Equal(400, (int)(await _ward.Read($"/fhir/Observation/{created.Id}"))["valueQuantity"]!["value"]!);
        Assert.Single((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());

        other["status"] = "corrected";
        var corrected = (await sender.Post(other)).Is(200);
        Assert.Equal((created.Id, "corrected", "W/\"2\""), (corrected.Id, (string)corrected.Json["status"]!, corrected.ETag));
    }

    [Fact]
    public async Task Fifty_at_once_leave_one_row_R_DEV_01()
    {
        var (sender, episode) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"));

        var answers = await Task.WhenAll(Enumerable.Range(0, 50).Select(_ => sender.Post(emptied.DeepClone())));

        Assert.Single(answers, a => a.Status == HttpStatusCode.Created);
        Assert.Equal(49, answers.Count(a => a.Status == HttpStatusCode.OK));
        Assert.Single(answers.Select(a => a.Id).Distinct());
        Assert.Single((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());
    }

    [Fact]
    public async Task Of_fifty_different_ones_under_one_identifier_one_wins_R_DEV_01()
    {
        var (sender, episode) = await Of(evening);

        var answers = await Task.WhenAll(
            Enumerable
                .Range(0, 50)
                .Select(i => sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity($"{400 + i}", "mL"))))
        );

        Assert.Single(answers, a => a.Status == HttpStatusCode.Created);
        Assert.Equal(49, answers.Count(a => a.Status == HttpStatusCode.Conflict));
        Assert.Single((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());
    }

    [Fact]
    public async Task Twice_in_a_transaction_names_both_in_a_batch_the_first_wins_R_DEV_02()
    {
        var (sender, episode) = await Of(evening);
        JsonNode Emptied(int millilitres) => Entry(sender.Observation("drainage-emptied", "1", "09:00", Quantity($"{millilitres}", "mL")));

        var refused = (await sender.Bundle("transaction", [Emptied(400), Emptied(400)])).Refuses(
            422,
            "same-id-twice",
            "Bundle.entry[0].resource.identifier[0]"
        );
        refused.Refuses(422, "same-id-twice", "Bundle.entry[1].resource.identifier[0]");
        Assert.Empty((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());

        var batch = (await sender.Bundle("batch", [Emptied(400), Emptied(400), Emptied(500)])).Is(200);
        Assert.Equal(["201 Created", "200 OK", "409 Conflict"], Statuses(batch));
    }

    [Fact]
    public async Task Irrigant_spilt_blood_removed_and_a_container_taken_away_are_taken_by_our_own_codes_and_kept_without_a_resource()
    {
        var (sender, episode) = await Of(evening);
        var spilt = sender.Observation("irrigant-discarded", "1", "09:00", Quantity("60", "mL"));
        spilt["component"] = new JsonArray(Component("irrigation-line", "valueString", "2"));
        var away = sender.Observation("container-taken-away", "3", "09:20");
        away["component"] = new JsonArray(Component("drainage-container", "valueString", "2"));

        (await sender.Post(spilt)).Is(201);
        (await sender.Post(sender.Observation("blood-removed", "2", "09:10", Quantity("50", "mL")))).Is(201);
        (await sender.Post(away)).Is(201);
        away["valueBoolean"] = false;
        (await sender.Post(away)).Refuses(422, "out-of-range", "Observation.valueBoolean");

        var entries = (await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray().Select(e => e!["entry"]!).ToList();
        Assert.Equal(["irrigant-discarded", "blood-removed", "container-taken-away"], entries.Select(e => (string)e["kind"]!));
        Assert.Equal(("2", "2"), ((string)entries[0]["line"]!, (string)entries[2]["container"]!));
    }

    [Fact]
    public async Task A_counter_gives_differences_and_its_first_reading_none_R_DEV_03()
    {
        var (sender, _) = await Of(evening);
        JsonObject Read(string id, string clock, int total, bool restarted = false)
        {
            var reading = sender.Coded(Codes.Systems.Mdc, "157993", id, clock, Quantity($"{total}", "mL"));
            if (restarted)
                reading["component"] = new JsonArray(Component("counter-restarted", "valueBoolean", true));
            return reading;
        }

        var first = (await sender.Post(Read("1", "09:00", 1200))).Is(201);
        Assert.Equal(1200, (int)first.Json["valueQuantity"]!["value"]!);
        (await sender.Post(Read("2", "10:00", 1500))).Is(201);
        (await sender.Post(Read("3", "11:00", 20))).Is(201);
        (await sender.Post(Read("4", "12:00", 90, restarted: true))).Is(201);

        // 1500 − 1200; back without a restart: not known, never −1480; restarted: 90.
        Assert.Equal([300, null, 90], await Differences(sender));

        var period = Read("5", "13:00", 100);
        period.Remove("effectiveDateTime");
        period["effectivePeriod"] = new JsonObject { ["start"] = "2026-03-14T12:00:00Z", ["end"] = "2026-03-14T13:00:00Z" };
        (await sender.Post(period)).Refuses(422, "wrong-type", "Observation.effectivePeriod", "a counter is not an amount over time");
    }

    [Fact]
    public async Task A_value_that_is_missing_is_not_recorded_and_zero_is_R_DEV_04()
    {
        var (sender, episode) = await Of(evening);
        var absent = sender.Observation("drainage-emptied", "1", "09:00");
        absent["dataAbsentReason"] = new JsonObject
        {
            ["coding"] = new JsonArray(new JsonObject { ["system"] = Codes.Systems.DataAbsentReason, ["code"] = "not-performed" }),
        };
        (await sender.Post(absent)).Refuses(422, "no-value", "Observation.dataAbsentReason", "never 0");
        (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00"))).Refuses(422, "no-value", "Observation.valueQuantity");
        Assert.Empty((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());

        var zero = (await sender.Post(sender.Observation("drainage-emptied", "2", "09:00", Quantity("0", "mL")))).Is(201);
        Assert.Equal(0, (int)zero.Json["valueQuantity"]!["value"]!);
    }

    [Fact]
    public async Task Any_order_of_arrival_tells_the_same_R_DEV_05()
    {
        var facts = new List<IReadOnlyDictionary<string, string>>();
        foreach (var order in new int[][] { [0, 1, 2, 3], [3, 2, 1, 0], [2, 0, 3, 1] })
        {
            var (sender, episode) = await Of(evening);
            JsonObject[] all =
            [
                sender.Observation("irrigant-instilled", "a", "09:00", Quantity("300", "mL")),
                sender.Observation("drainage-emptied", "b", "09:00", Quantity("350", "mL")),
                sender.Observation("irrigant-instilled", "c", "10:00", Quantity("400", "mL")),
                sender.Observation("drainage-emptied", "d", "10:00", Quantity("420", "mL")),
            ];
            for (var i = 0; i < 4; i++)
                all[order[i]]["identifier"]![0]!["value"] = $"{episode}-{order[i]}";
            foreach (var i in order)
                (await sender.Post(all[i])).Is(201);
            var outputs = (await _ward.Facts(episode)).Where(f => f.Key.Contains("corrected-urine-output", StringComparison.Ordinal));
            facts.Add(outputs.ToDictionary(f => f.Key, f => VolumeOf().Match(f.Value).Value));
        }

        Assert.NotEmpty(facts[0]);
        Assert.All(
            facts,
            fact => Assert.Equal(facts[0].OrderBy(f => f.Key, StringComparer.Ordinal), fact.OrderBy(f => f.Key, StringComparer.Ordinal))
        );
    }

    [Theory]
    [InlineData("2026-03-14T10:00Z", "like 2026-03-14T22:05:00+01:00")]
    [InlineData("2026-03-14", "with seconds and offset")]
    [InlineData("2026-03", "with seconds and offset")]
    [InlineData("2026-03-14T10:00:00", "with seconds and offset")]
    [InlineData("2026-03-14T10:00:60Z", "leap second")]
    [InlineData("2026-03-14T24:00:00Z", "with seconds and offset")]
    [InlineData("2026-02-30T10:00:00Z", "with seconds and offset")]
    [InlineData("2026-03-14T10:00:00+14:01", "14:00")]
    [InlineData("2026-03-14T10:00:00.1234567891Z", "nine digits")]
    [InlineData("2026-03-14 10:00:00Z", "with seconds and offset")]
    public async Task A_time_that_is_no_moment_is_refused_R_DEV_06(string time, string says)
    {
        var (sender, _) = await Of(evening);
        var reading = sender.Observation("drainage-emptied", "1", time, Quantity("1", "mL"));
        reading["effectiveDateTime"] = time;
        (await sender.Post(reading)).Refuses(422, "bad-time", "Observation.effectiveDateTime", says);
    }

    [Theory]
    [InlineData("2026-03-14T10:00:00+01:00")]
    [InlineData("2026-03-14T10:00:00-00:00")]
    [InlineData("2026-03-14T10:00:00.123456789Z")]
    [InlineData("2026-03-14T23:30:00+14:00")]
    [InlineData("2026-03-14T15:15:00+05:45")]
    public async Task A_moment_keeps_its_instant_and_its_offset_R_DEV_06(string time)
    {
        var (sender, episode) = await Of(evening);
        var reading = sender.Observation("drainage-emptied", "1", time, Quantity("1", "mL"));
        reading["issued"] = "2026-03-14T21:00:00+01:00";
        var stored = (await sender.Post(reading)).Is(201).Json;
        Assert.Equal(time, (string)stored["effectiveDateTime"]!);
        var logged = (await _ward.Read($"/episodes/{episode}/entries"))["entries"]![0]!;
        Assert.Equal(time.Replace("-00:00", "Z", StringComparison.Ordinal), (string)logged["entry"]!["at"]!);
        Assert.Equal(
            ("2026-03-14T21:00:00+01:00", "2026-03-14T22:00:00Z"),
            ((string)logged["entry"]!["recordedAt"]!, (string)logged["receivedAt"]!)
        );
    }

    [Fact]
    public async Task A_time_ahead_of_the_clock_is_refused_R_DEV_06()
    {
        var (sender, _) = await Of(evening);
        (await sender.Post(sender.Observation("drainage-emptied", "1", "22:06", Quantity("1", "mL")))).Refuses(
            422,
            "time-in-future",
            "Observation.effectiveDateTime"
        );
    }

    [Theory]
    [InlineData("""{"value": 250, "unit": "mL"}""", "missing-unit", "Observation.valueQuantity.code", "unit 'mL' without a code")]
    [InlineData("""{"value": 250}""", "missing-unit", "Observation.valueQuantity.code", "no unit")]
    [InlineData("""{"value": 250, "code": "mL"}""", "wrong-unit", "Observation.valueQuantity.system", "no system")]
    [InlineData(
        """{"value": 250, "system": "http://unitsofmeasure.org", "code": "cc"}""",
        "wrong-unit",
        "Observation.valueQuantity.code",
        "not a UCUM unit"
    )]
    [InlineData(
        """{"value": 250, "system": "http://unitsofmeasure.org", "code": "ML"}""",
        "wrong-unit",
        "Observation.valueQuantity.code",
        "megalitre"
    )]
    [InlineData(
        """{"value": -1, "system": "http://unitsofmeasure.org", "code": "mL"}""",
        "negative",
        "Observation.valueQuantity",
        "0 or more"
    )]
    [InlineData(
        """{"value": 250, "comparator": "<", "system": "http://unitsofmeasure.org", "code": "mL"}""",
        "not-a-value",
        "Observation.valueQuantity.comparator",
        "a bound"
    )]
    [InlineData(
        """{"value": 9999999999999999999999999999999, "system": "http://unitsofmeasure.org", "code": "mL"}""",
        "out-of-range",
        "Observation.valueQuantity.value",
        "28 digits"
    )]
    public async Task A_quantity_without_its_listed_unit_is_refused_R_DEV_07(string quantity, string code, string where, string says)
    {
        var (sender, _) = await Of(evening);
        (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", JsonNode.Parse(quantity)))).Refuses(422, code, where, says);
    }

    [Fact]
    public async Task The_quantity_as_sent_stands_beside_millilitres_and_the_code_beside_ours_R_DEV_07()
    {
        var (sender, episode) = await Of(evening);
        var scan = sender.Observation("bladder-scanned", "1", "09:00", Quantity("0.2500", "L"));
        scan["code"]!["coding"]!
            .AsArray()
            .Add(
                new JsonObject
                {
                    ["system"] = "https://scanner.example/codes",
                    ["code"] = "BV",
                    ["display"] = "Bladder volume (invented)",
                }
            );

        var stored = (await sender.Post(scan)).Is(201).Json;

        Assert.Equal("250", stored["valueQuantity"]!["value"]!.ToJsonString());
        var sent = Assert.Single(stored["component"]!.AsArray())!;
        Assert.Equal(
            ("quantity-as-sent", "0.2500", "L"),
            (
                (string)sent["code"]!["coding"]![0]!["code"]!,
                sent["valueQuantity"]!["value"]!.ToJsonString(),
                (string)sent["valueQuantity"]!["code"]!
            )
        );
        Assert.Equal(
            ["15309-8", "bladder-scan-volume", "BV", "bladder-scanned"],
            stored["code"]!["coding"]!.AsArray().Select(c => (string)c!["code"]!)
        );
        Assert.Equal(Sender.System, (string)stored["identifier"]![0]!["system"]!);
        Assert.Equal(
            "0.2500",
            (await _ward.Read($"/episodes/{episode}/entries"))["entries"]![0]!["entry"]!["volume"]!["value"]!.ToJsonString()
        );
    }

    [Fact]
    public async Task A_urine_code_never_stands_on_mixed_drainage_R_DEV_07()
    {
        var (sender, _) = await Of(evening);
        var bag = sender.Coded(Codes.Systems.Mdc, "157740", "1", "09:00", Quantity("400", "mL"));
        bag["code"]!["coding"]!.AsArray().Add(new JsonObject { ["system"] = Codes.Systems.Loinc, ["code"] = "9262-7" });
        var stored = (await sender.Post(bag)).Is(201).Json;
        Assert.DoesNotContain(stored["code"]!["coding"]!.AsArray(), c => (string)c!["system"]! == Codes.Systems.Loinc);
    }

    [Fact]
    public async Task A_drip_needs_its_drop_factor_and_drp_is_refused_R_DEV_07()
    {
        var (sender, episode) = await Of(evening);
        (await sender.Post(sender.Observation("flow-set", "1", "09:00", Quantity("100", "[drp]/min")))).Refuses(
            422,
            "wrong-unit",
            "Observation.valueQuantity.code",
            "1/20 mL"
        );
        (await sender.Post(sender.Observation("flow-set", "1", "09:00", Quantity("100", "{drop}/min")))).Refuses(
            422,
            "missing",
            "Observation.component",
            "drop factor"
        );
        var drip = sender.Observation("flow-set", "1", "09:00", Quantity("100", "{drop}/min"));
        drip["component"] = new JsonArray(Component("drop-factor", "valueQuantity", Quantity("15", "{drop}/mL")));
        (await sender.Post(drip)).Is(201);
        Assert.Equal(15, (int)(await _ward.Read($"/episodes/{episode}/entries"))["entries"]![0]!["entry"]!["dropFactor"]!["value"]!);
    }

    [Fact]
    public async Task A_batch_says_of_each_entry_what_became_of_it_R_DEV_08()
    {
        var (sender, _) = await Of(evening);
        var patient = Uri.EscapeDataString($"{RunningService.PatientSystem}|{sender.Patient["identifier"]!["value"]}");
        var batch = (
            await sender.Bundle(
                "batch",
                [
                    Entry(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"))),
                    Entry(sender.Coded("https://scanner.example/codes", "XYZ", "2", "09:00", Quantity("400", "mL"))),
                    Entry(sender.Observation("drainage-emptied", "3", "10:00", Quantity("400", "cc"))),
                    new JsonObject
                    {
                        ["request"] = new JsonObject { ["method"] = "GET", ["url"] = $"Observation?patient.identifier={patient}" },
                    },
                    new JsonObject
                    {
                        ["request"] = new JsonObject { ["method"] = "DELETE", ["url"] = "Observation/1" },
                    },
                    Entry(new JsonObject { ["resourceType"] = "Patient" }, url: "Patient"),
                ]
            )
        ).Is(200);

        Assert.Equal("batch-response", (string)batch.Json["type"]!);
        Assert.Equal(
            [
                "201 Created",
                "422 Unprocessable Entity",
                "422 Unprocessable Entity",
                "200 OK",
                "405 Method Not Allowed",
                "422 Unprocessable Entity",
            ],
            Statuses(batch)
        );
        var issue = batch.Json["entry"]![1]!["response"]!["outcome"]!["issue"]![0]!;
        Assert.Equal(
            ("unknown-code", "Bundle.entry[1].resource.code"),
            ((string)issue["details"]!["coding"]![0]!["code"]!, (string)issue["expression"]![0]!)
        );
        Assert.Contains("https://scanner.example/codes|XYZ", (string)issue["diagnostics"]!, StringComparison.Ordinal);
        Assert.Equal(
            "Bundle.entry[2].resource.valueQuantity.code",
            (string)batch.Json["entry"]![2]!["response"]!["outcome"]!["issue"]![0]!["expression"]![0]!
        );
        Assert.Contains(
            batch.Json["entry"]![3]!["resource"]!["entry"]!.AsArray(),
            e => (int?)e!["resource"]!["valueQuantity"]?["value"] == 400
        );
    }

    [Fact]
    public async Task Too_much_is_refused_with_the_limit_also_when_compressed_R_DEV_09()
    {
        var (sender, _) = await Of(evening);
        var emptied = Encoding.UTF8.GetBytes(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL")).ToJsonString());
        (await sender.Send(HttpMethod.Post, "/fhir/Observation", Gzip(emptied), "gzip")).Is(201);

        // 1 MB of blanks in a few hundred bytes.
        var bomb = Gzip([.. emptied, .. Enumerable.Repeat((byte)' ', 1_000_000)]);
        Assert.True(bomb.Length < EveningOnTheWard.MostBytes);
        (await sender.Send(HttpMethod.Post, "/fhir/Observation", bomb, "gzip")).Refuses(
            413,
            "body-too-large",
            "body",
            $"{EveningOnTheWard.MostBytes} bytes"
        );
        (await sender.Send(HttpMethod.Post, "/fhir/Observation", emptied, "gzip")).Refuses(400, "malformed-gzip", "body");
        (await sender.Send(HttpMethod.Post, "/fhir/Observation", emptied, "zstd")).Refuses(
            415,
            "unsupported-media-type",
            "Content-Encoding",
            "gzip"
        );
        (await sender.Bundle("batch", Enumerable.Range(0, 1001).Select(_ => new JsonObject()))).Refuses(
            413,
            "too-many-entries",
            "Bundle.entry",
            "at most 1000"
        );
    }

    [Fact]
    public async Task More_at_once_than_there_is_room_for_are_asked_to_come_back_R_DEV_09()
    {
        await using var small = RunningService.Start(EveningOnTheWard.Now, null, ("Intake:MostAtOnce", "1"));
        await small.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        var sender = new Sender(small, "patient of stay");

        var answers = await Task.WhenAll(
            Enumerable.Range(0, 40).Select(i => sender.Post(sender.Observation("bladder-scanned", $"{i}", "09:00", Quantity("10", "mL"))))
        );

        var refused = answers.Where(a => a.Status == HttpStatusCode.TooManyRequests).ToList();
        Assert.NotEmpty(refused);
        Assert.All(refused, a => Assert.Equal("1", a.Refuses(429, "too-many-requests", null, "at once").RetryAfter));
        Assert.Contains(answers, a => a.Status == HttpStatusCode.Created);
    }

    [Fact]
    public async Task A_Bundle_takes_one_place_among_the_writers_whatever_it_holds()
    {
        await using var small = RunningService.Start(EveningOnTheWard.Now, null, ("Intake:MostAtOnce", "1"));
        await small.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        var sender = new Sender(small, "patient of stay");
        JsonObject Scan(string id) => Entry(sender.Observation("bladder-scanned", id, "09:00", Quantity("10", "mL")));

        foreach (var type in new[] { "batch", "transaction" })
        {
            var alone = (await sender.Bundle(type, Enumerable.Range(0, 3).Select(i => Scan($"{type}-{i}")))).Is(200);
            Assert.All(alone.Json["entry"]!.AsArray(), entry => Assert.Equal("201 Created", (string)entry!["response"]!["status"]!));
        }

        var answers = await Task.WhenAll(Enumerable.Range(0, 40).Select(i => sender.Bundle("batch", [Scan($"{i}"), Scan($"{i} again")])));
        Assert.Contains(answers, a => a.Status == HttpStatusCode.TooManyRequests);
        Assert.Contains(answers, a => a.Status == HttpStatusCode.OK);
    }

    [Fact]
    public async Task A_correction_is_a_new_version_that_says_so_R_DEV_10()
    {
        var (sender, episode) = await Of(evening);
        (await sender.Post(sender.Observation("irrigant-instilled", "in", "09:00", Quantity("300", "mL")))).Is(201);
        var emptied = sender.Observation("drainage-emptied", "out", "09:00", Quantity("4000", "mL"));
        var created = (await sender.Post(emptied)).Is(201);
        emptied["id"] = created.Id;
        emptied["valueQuantity"] = Quantity("400", "mL");

        (await sender.Put(created.Id, emptied, ("If-Match", "W/\"7\""))).Refuses(412, "version-conflict", "If-Match", "W/\"1\"");
        (await sender.Put(created.Id, emptied, ("If-Match", created.ETag!))).Refuses(
            409,
            "conflicting-content",
            "Observation.identifier[0].value",
            "final followed by final"
        );
        emptied["status"] = "corrected";
        var corrected = (await sender.Put(created.Id, emptied, ("If-Match", created.ETag!))).Is(200);
        Assert.Equal(
            ("W/\"2\"", "corrected", 400),
            (corrected.ETag, (string)corrected.Json["status"]!, (int)corrected.Json["valueQuantity"]!["value"]!)
        );
        (await sender.Put(created.Id, emptied, ("If-Match", created.ETag!))).Refuses(412, "version-conflict", "If-Match");

        // 400 − 300, and who it was that corrected.
        var resources = await _ward.Resources(episode);
        Assert.Contains(
            resources,
            r => r.Key.Contains("corrected-urine-output.i", StringComparison.Ordinal) && (decimal)r.Value["valueQuantity"]!["value"]! == 100
        );
        Assert.Contains(
            resources,
            r =>
                r.Key.StartsWith("Provenance/", StringComparison.Ordinal)
                && r.Value["target"]!.AsArray().Any(t => (string)t!["reference"]! == $"Observation/{created.Id}/_history/2")
        );

        emptied["status"] = "entered-in-error";
        var withdrawn = (await sender.Put(created.Id, emptied, ("If-Match", corrected.ETag!))).Is(200);
        Assert.Equal("entered-in-error", (string)withdrawn.Json["status"]!);
        Assert.Equal(3, (await _ward.Read($"/fhir/Observation/{created.Id}/_history"))["entry"]!.AsArray().Count);
        emptied["status"] = "final";
        (await sender.Put(created.Id, emptied)).Refuses(409, "conflicting-content", null, "does not come back");
    }

    [Fact]
    public async Task What_is_withdrawn_before_it_arrives_stays_withdrawn_R_DEV_10()
    {
        var (sender, episode) = await Of(evening);
        (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"), "entered-in-error"))).Is(201);
        var late = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL")))).Is(200);
        Assert.Equal("entered-in-error", (string)late.Json["status"]!);
        Assert.Empty((await _ward.Read($"/episodes/{episode}/balance"))["intervals"]!.AsArray());
    }

    [Fact]
    public async Task Test_data_alter_no_number_R_DEV_11()
    {
        var (sender, episode) = await Of(evening);
        (await sender.Post(sender.Observation("irrigant-instilled", "in", "09:00", Quantity("300", "mL")))).Is(201);
        (await sender.Post(sender.Observation("drainage-emptied", "out", "09:00", Quantity("400", "mL")))).Is(201);
        var before = (await _ward.Read($"/episodes/{episode}/balance")).ToJsonString();

        var test = sender.Observation("drainage-emptied", "test", "09:30", Quantity("999", "mL"));
        test["meta"] = new JsonObject
        {
            ["security"] = new JsonArray(new JsonObject { ["system"] = Codes.Systems.ActReason, ["code"] = "HTEST" }),
        };
        var stored = (await sender.Post(test)).Is(201);

        Assert.Equal("HTEST", (string)stored.Json["meta"]!["security"]![0]!["code"]!);
        Assert.Equal(before, (await _ward.Read($"/episodes/{episode}/balance")).ToJsonString());
        var calibration = sender.Observation("drainage-emptied", "calibration", "09:40", Quantity("999", "mL"));
        calibration["interpretation"] = new JsonArray(new JsonObject { ["coding"] = new JsonArray(new JsonObject { ["code"] = "CAL" }) });
        (await sender.Post(calibration)).Is(201);
        Assert.Equal(before, (await _ward.Read($"/episodes/{episode}/balance")).ToJsonString());
    }

    [Fact]
    public async Task A_patient_without_an_episode_is_refused_and_told_what_to_do_R_DEV_12()
    {
        var (sender, episode) = await Of(evening);
        var stranger = new Sender(_ward, "nobody");
        (await stranger.Post(stranger.Observation("drainage-emptied", "1", "09:00", Quantity("1", "mL")))).Refuses(
            422,
            "no-episode",
            "Observation.subject.identifier",
            "POST /episodes"
        );
        (await sender.Post(sender.Observation("drainage-emptied", "1", "07:59", Quantity("1", "mL")))).Refuses(
            422,
            "no-episode",
            "Observation.subject.identifier",
            "at that time"
        );
        var unnamed = sender.Observation("drainage-emptied", "1", "09:00", Quantity("1", "mL"));
        unnamed["subject"] = new JsonObject { ["display"] = "whoever lies there" };
        (await sender.Post(unnamed)).Refuses(422, "missing", "Observation.subject.identifier", "or subject.reference");
        Assert.Empty((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());
    }

    [Fact]
    public async Task Of_two_episodes_the_encounter_decides_R_DEV_12()
    {
        var patient = evening.NewIdentifier();
        var episodes = new List<string>();
        foreach (var encounter in new[] { "E-1", "E-2" })
        {
            var described = RunningService.Episode(evening.NewIdentifier(), "2026-03-14T08:00:00Z", patient: patient);
            described["encounter"] = new JsonObject
            {
                ["identifier"] = new JsonObject { ["system"] = "https://ward.example/encounters", ["value"] = encounter },
            };
            episodes.Add(await _ward.Open(described));
        }

        var sender = new Sender(_ward, patient);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("1", "mL"));
        (await sender.Post(emptied)).Refuses(422, "several-episodes", "Observation.encounter.identifier");
        JsonObject In(string encounter) =>
            new()
            {
                ["identifier"] = new JsonObject { ["system"] = "https://ward.example/encounters", ["value"] = encounter },
            };
        emptied["encounter"] = In("E-3");
        (await sender.Post(emptied)).Refuses(422, "encounter-mismatch", "Observation.encounter.identifier");
        emptied["encounter"] = In("E-2");
        Assert.StartsWith(episodes[1], (await sender.Post(emptied)).Is(201).Id, StringComparison.Ordinal);

        // Known already, and now said to be of another encounter: it stays where it is, and is never a second row.
        (await sender.Post(emptied)).Is(200);
        emptied["encounter"] = In("E-1");
        (await sender.Post(emptied)).Refuses(409, "conflicting-content", null);
        Assert.Empty((await _ward.Read($"/episodes/{episodes[0]}/entries"))["entries"]!.AsArray());
    }

    [Fact]
    public async Task An_identifier_of_another_patients_reading_is_refused_R_DEV_12()
    {
        var (one, _) = await Of(evening);
        var (other, _) = await Of(evening);
        var reading = one.Observation("drainage-emptied", "1", "09:00", Quantity("1", "mL"));
        var created = (await one.Post(reading)).Is(201);
        reading["subject"] = other.Patient;
        (await other.Post(reading)).Refuses(409, "known-elsewhere", "Observation.identifier[0]");
        reading["id"] = created.Id;
        (await other.Put(created.Id, reading)).Refuses(422, "patient-mismatch", "Observation.subject.identifier");
    }

    [Fact]
    public async Task Another_device_begins_a_new_series_R_DEV_12()
    {
        var (sender, episode) = await Of(evening);
        async Task Read(string id, string clock, string device, int total)
        {
            var reading = sender.Coded(Codes.Systems.Mdc, "157993", id, clock, Quantity($"{total}", "mL"));
            reading["device"] = new JsonObject { ["identifier"] = new JsonObject { ["value"] = device } };
            (await sender.Post(reading)).Is(201);
        }

        await Read("1", "09:00", "P-1 (invented)", 100);
        await Read("2", "10:00", "P-1 (invented)", 400);
        await Read("3", "11:00", "P-2 (invented)", 5000);
        await Read("4", "12:00", "P-2 (invented)", 5250);

        // 400 − 100; 5000 is of another pump and not 4600 more; 5250 − 5000.
        Assert.Equal([300, null, 250], await Differences(sender));
        (await sender.Post(sender.Observation("drainage-emptied", "5", "12:00", Quantity("700", "mL")))).Is(201);
        Assert.Contains(
            "device-changed",
            (await _ward.Read($"/episodes/{episode}/balance"))["intervals"]![0]!["caveats"]!.ToJsonString(),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public async Task Another_containers_level_is_not_drainage_R_DEV_12()
    {
        var (sender, episode) = await Of(evening);
        async Task Read(string id, string clock, string device, int level)
        {
            var reading = sender.Coded(Codes.Systems.Mdc, "157740", id, clock, Quantity($"{level}", "mL"));
            reading["device"] = new JsonObject { ["display"] = device };
            (await sender.Post(reading)).Is(201);
        }

        (await sender.Post(sender.Observation("irrigant-instilled", "in", "08:30", Quantity("10", "mL")))).Is(201);
        await Read("1", "09:00", "meter M-1 (invented)", 100);
        await Read("2", "10:00", "meter M-2 (invented)", 900);
        await Read("3", "11:00", "meter M-2 (invented)", 950);
        var drained = (await _ward.Read($"/episodes/{episode}/balance"))["intervals"]!
            .AsArray()
            .Select(i => (decimal?)i!["drained"]?["value"])
            .ToList();

        // 100 from the start; what passed between the meters is not known; 950 − 900.
        Assert.Equal([100m, null, 50m], drained);
    }

    private async Task<IReadOnlyList<int?>> Differences(Sender sender)
    {
        var token = Uri.EscapeDataString($"{RunningService.PatientSystem}|{sender.Patient["identifier"]!["value"]}");
        var found = await _ward.Read($"/fhir/Observation?patient.identifier={token}&code=irrigant-instilled&_sort=date");
        return
        [
            .. found["entry"]!
                .AsArray()
                .Select(e => e!["resource"]!)
                .Where(r => ((string)r["id"]!).Contains(".irrigant-instilled.", StringComparison.Ordinal))
                .Select(r => (int?)r["valueQuantity"]?["value"]),
        ];
    }

    private static IEnumerable<string> Statuses(Answer bundle) =>
        bundle.Json["entry"]!.AsArray().Select(e => (string)e!["response"]!["status"]!);

    [GeneratedRegex(@"""valueQuantity"":\{[^}]*\}")]
    private static partial Regex VolumeOf();
}
