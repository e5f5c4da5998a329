using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Intake;
using static IrrigationFhir.Tests.Intake.Sender;

namespace IrrigationFhir.Tests.Intake;

/// <summary>An Observation comes back as it was sent; what is added is told apart, and what is not kept is named.</summary>
[Collection(EveningOnTheWard.Name)]
public class FidelityTests(EveningOnTheWard evening)
{
    private const string Sct = "http://snomed.info/sct";

    private readonly RunningService _ward = evening.Service;

    /// <summary>One of each kind that the intake accepts, with the quantity or value that goes with it.</summary>
    public static TheoryData<string, string?, string?> Kinds =>
        new()
        {
            { "bag-hung", "3000", "mL" },
            { "bag-read", "1200.0", "mL" },
            { "bag-taken-down", "0", "mL" },
            { "irrigant-instilled", "50.0", "mL" },
            { "irrigant-discarded", "20", "mL" },
            { "flow-set", "600.0", "mL/h" },
            { "pump-total-read", "1250", "mL" },
            { "drainage-emptied", "6.00", "mL" },
            { "drainage-level-read", "6.50", "mL" },
            { "drainage-weighed", "1012.0", "g" },
            { "container-taken-away", null, null },
            { "blood-removed", "5", "mL" },
            { "leak-estimated", "15", "mL" },
            { "urine-collected", "35.0", "mL" },
            { "drain-clamped", null, null },
            { "bladder-scanned", "40", "mL" },
            { "drainage-appearance", null, null },
            { "tolerance-noted", "4", "{score}" },
            { "weight-measured", "70.50", "kg" },
        };

    [Theory]
    [MemberData(nameof(Kinds))]
    public async Task What_was_accepted_comes_back_as_sent(string kind, string? number, string? unit)
    {
        var (sender, _) = await Of(evening);
        var sent = Rich(sender, kind, number, unit);

        var created = (await sender.Post(sent, ("Prefer", "handling=strict"))).Is(201);

        AssertHolds(sent, created.Json);
        AssertHolds(sent, await _ward.Read($"/fhir/Observation/{created.Id}"));
    }

    [Theory]
    [MemberData(nameof(Kinds))]
    public async Task Get_change_put_works_for_every_kind_that_is_accepted(string kind, string? number, string? unit)
    {
        var (sender, episode) = await Of(evening);
        var sent = Rich(sender, kind, number, unit);
        var id = (await sender.Post(sent)).Is(201).Id;
        var read = await _ward.Read($"/fhir/Observation/{id}");

        // As it was read: nothing changes.
        var again = (await sender.Put(id, read)).Is(200);
        Assert.Equal("W/\"1\"", again.ETag);

        read["status"] = "corrected";
        read["note"]![0]!["text"] = "Read again by daylight.";
        var changed = (await sender.Put(id, read, ("If-Match", "W/\"1\""))).Is(200);

        Assert.Equal((id, "W/\"2\""), (changed.Id, changed.ETag));
        sent["status"] = "corrected";
        sent["note"]![0]!["text"] = "Read again by daylight.";
        AssertHolds(sent, changed.Json);
        var kept = (await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray()[^1]!["entry"]!["original"]!;
        Assert.Equal(sent["code"]!.ToJsonString(), kept["code"]!.ToJsonString()); // without the codes that the service had added
        Assert.Single(kept["identifier"]!.AsArray());
    }

    [Theory]
    [InlineData("0.4", "L")]
    [InlineData("0.400", "L")]
    public async Task The_unit_that_was_sent_stands_beside_the_normalised_one(string number, string unit)
    {
        var (sender, _) = await Of(evening);
        var created = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity(number, unit)))).Is(201);
        Assert.Equal("400 mL", $"{created.Json["valueQuantity"]!["value"]} {created.Json["valueQuantity"]!["code"]}");
        Assert.Contains($"\"value\":{number},", created.Json["component"]!.ToJsonString(), StringComparison.Ordinal);

        // The number alone is changed: that counts, and not what had been sent.
        var read = created.Json;
        (read["status"], read["valueQuantity"]!["value"]) = ("corrected", 410);
        var changed = (await sender.Put(created.Id, read)).Is(200);
        Assert.Equal(410, (int)changed.Json["valueQuantity"]!["value"]!);
        Assert.DoesNotContain("quantity-as-sent", changed.Text, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("0.1234567890123456789012345678901", "Observation.valueQuantity.value")]
    [InlineData("1234567890123456789012345678901", "Observation.valueQuantity.value")]
    public async Task More_digits_than_can_be_held_are_refused_and_never_rounded(string number, string where)
    {
        var (sender, _) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL"));
        var json = emptied.ToJsonString().Replace("\"value\":6,", $"\"value\":{number},", StringComparison.Ordinal);
        Assert.Contains(number, json, StringComparison.Ordinal);
        (await sender.Send(HttpMethod.Post, "/fhir/Observation", Encoding.UTF8.GetBytes(json), null)).Refuses(422, "out-of-range", where);
    }

    [Fact]
    public async Task What_is_not_kept_is_refused_under_strict_and_named_under_lenient()
    {
        var (sender, _) = await Of(evening);
        var json = sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL")).ToJsonString();
        var bytes = Encoding.UTF8.GetBytes(json.Replace("\"value\":6,", "\"value\":6.0E1,", StringComparison.Ordinal));
        const string where = "Observation.valueQuantity.value";

        (await sender.Send(HttpMethod.Post, "/fhir/Observation", bytes, null, ("Prefer", "handling=strict"))).Refuses(
            422,
            "not-kept",
            where
        );
        var taken = (
            await sender.Send(HttpMethod.Post, "/fhir/Observation", bytes, null, ("Prefer", "handling=lenient, return=OperationOutcome"))
        ).Is(201);
        taken.Refuses(201, "not-kept", where, "6.0E1");
    }

    [Fact]
    public async Task A_code_that_would_count_twice_stays_in_the_record_and_is_named()
    {
        var (sender, episode) = await Of(evening);
        var urine = sender.Coded(Codes.Systems.Loinc, "9187-6", "1", "09:00", Quantity("35", "mL"));
        urine["method"] = Concept(Ours.Profiles.CodeSystem("urine-route"), "left-nephrostomy");

        var taken = (await sender.Post(urine, ("Prefer", "return=OperationOutcome"))).Is(201);

        taken.Refuses(201, "not-kept", "Observation.code.coding[0]");
        var published = (await _ward.Resources(episode)).Values.Single(r =>
            (string?)r["meta"]!["profile"]?[0] == Ours.Profiles.UrineCollected
        );
        Assert.DoesNotContain("9187-6", published["code"]!.ToJsonString(), StringComparison.Ordinal);
        var kept = (await _ward.Read($"/episodes/{episode}/entries"))["entries"]![0]!["entry"]!["original"]!;
        Assert.Equal("9187-6", (string)kept["code"]!["coding"]![0]!["code"]!);
    }

    [Fact]
    public async Task Labels_are_never_dropped_and_go_on_to_what_is_made_of_a_reading()
    {
        var (sender, episode) = await Of(evening);
        foreach (var (id, clock, total) in new[] { ("1", "09:00", "100"), ("2", "10:00", "400") })
        {
            var read = sender.Observation("pump-total-read", id, clock, Quantity(total, "mL"));
            read["meta"] = new JsonObject { ["security"] = new JsonArray(Restricted()) };
            (await sender.Post(read)).Is(201);
        }

        var instilled = (await _ward.Resources(episode)).Values.Where(r =>
            (string?)r["meta"]!["profile"]?[0] == Ours.Profiles.IrrigantInstilled
        );
        Assert.All(instilled, r => Assert.Contains("\"R\"", r["meta"]!["security"]!.ToJsonString(), StringComparison.Ordinal));
        Assert.NotEmpty(instilled);
    }

    [Fact]
    public async Task What_is_worked_out_carries_the_labels_of_what_it_rests_on()
    {
        var (sender, episode) = await Of(evening);
        foreach (var (id, clock, total) in new[] { ("1", "09:00", "100"), ("2", "10:00", "400") })
            (await sender.Post(sender.Observation("pump-total-read", id, clock, Quantity(total, "mL")))).Is(201);
        (await sender.Post(sender.Observation("drainage-emptied", "3", "09:00", Quantity("1", "mL")))).Is(201);
        Assert.DoesNotContain(await Labelled(), Worked);

        var emptied = sender.Observation("drainage-emptied", "4", "10:00", Quantity("380", "mL"));
        emptied["meta"] = new JsonObject { ["security"] = new JsonArray(Restricted()) };
        (await sender.Post(emptied)).Is(201);
        Assert.Contains(await Labelled(), Worked);
        var irrigation = (await Labelled()).Single(r => (string)r["resourceType"]! == "Procedure");
        Assert.Contains("\"R\"", irrigation["meta"]!["security"]!.ToJsonString(), StringComparison.Ordinal);

        // It never falls: what was restricted once may be in any number since.
        emptied["status"] = "entered-in-error";
        emptied["meta"] = null;
        emptied.Remove("meta");
        (await sender.Post(emptied)).Is(200);
        (await sender.Post(sender.Observation("drainage-emptied", "5", "10:00", Quantity("390", "mL")))).Is(201);
        Assert.Contains(await Labelled(), Worked);
        var document = await _ward.Http.GetStringAsync(new Uri($"/episodes/{episode}/handover", UriKind.Relative));
        Assert.NotEmpty(document);

        static bool Worked(JsonNode resource) => (string?)resource["meta"]!["profile"]?[0] == Ours.Profiles.CorrectedUrineOutput;
        async Task<List<JsonNode>> Labelled() =>
            [
                .. (await _ward.Resources(episode)).Values.Where(r =>
                    r["meta"]!["security"]?.ToJsonString().Contains("\"R\"", StringComparison.Ordinal) is true
                ),
            ];
    }

    [Fact]
    public async Task A_scan_with_a_method_in_other_codes_keeps_it()
    {
        var (sender, _) = await Of(evening);
        var scan = sender.Observation("bladder-scanned", "1", "09:00", Quantity("40", "mL"));
        scan["method"] = Concept(Sct, "16310003");
        var created = (await sender.Post(scan, ("Prefer", "handling=strict"))).Is(201);
        AssertHolds(scan, created.Json);
        Assert.Equal("W/\"1\"", (await sender.Put(created.Id, created.Json)).Is(200).ETag);
    }

    [Fact]
    public async Task Issued_keeps_its_moment_and_offset_and_the_same_again_is_the_same()
    {
        var (sender, _) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "2026-03-14T14:45:00+05:45", Quantity("6", "mL"));
        emptied["issued"] = "2026-03-14T14:46:00+05:45";
        var created = (await sender.Post(emptied)).Is(201);
        Assert.Equal("2026-03-14T14:45:00+05:45", (string)created.Json["effectiveDateTime"]!);
        Assert.Equal("2026-03-14T14:46:00+05:45", (string)created.Json["issued"]!);
        Assert.Equal("W/\"1\"", (await sender.Post(emptied)).Is(200).ETag);
    }

    /// <summary>Point-of-Care Device guide: device, metric and Observations in one transaction.</summary>
    [Fact]
    public async Task Devices_of_a_transaction_are_contained_kept_and_pointed_to()
    {
        var (sender, _) = await Of(evening);
        const string pump = "urn:uuid:5b7c1c56-8a39-4c0e-9d0a-111111111111";
        const string metric = "urn:uuid:5b7c1c56-8a39-4c0e-9d0a-222222222222";
        JsonObject Device() =>
            new()
            {
                ["resourceType"] = "Device",
                ["meta"] = new JsonObject { ["security"] = new JsonArray(Restricted()) },
                ["identifier"] = new JsonArray(new JsonObject { ["system"] = "https://devices.example", ["value"] = "pump 17 (invented)" }),
            };
        var metrics = new JsonObject
        {
            ["resourceType"] = "DeviceMetric",
            ["identifier"] = new JsonArray(new JsonObject { ["system"] = "https://devices.example", ["value"] = "channel 1 (invented)" }),
            ["type"] = Concept("urn:iso:std:iso:11073:10101", "157993"),
            ["source"] = new JsonObject { ["reference"] = pump },
            ["category"] = "measurement",
        };
        var read = sender.Observation("pump-total-read", "1", "09:00", Quantity("100", "mL"));
        read["device"] = new JsonObject { ["reference"] = metric };
        JsonObject[] entries =
        [
            Entry(read, "urn:uuid:5b7c1c56-8a39-4c0e-9d0a-333333333333"),
            Entry(metrics, metric, url: "DeviceMetric"),
            Entry(Device(), pump, url: "Device"),
        ];

        var answer = (await sender.Bundle("transaction", entries.Select(e => e.DeepClone()))).Is(200);

        Assert.Equal(["201 Created", "200 OK", "200 OK"], answer.Json["entry"]!.AsArray().Select(e => (string)e!["response"]!["status"]!));
        var stored = await _ward.Read($"/fhir/{((string)answer.Json["entry"]![0]!["response"]!["location"]!).Split("/_history")[0]}");
        Assert.Equal("#devicemetric-1", (string)stored["device"]!["reference"]!);
        var contained = stored["contained"]!.AsArray();
        Assert.Equal(["device-1", "devicemetric-1"], contained.Select(c => (string)c!["id"]!).Order());
        Assert.Equal("#device-1", (string)contained.Single(c => (string)c!["id"]! == "devicemetric-1")!["source"]!["reference"]!);
        Assert.Contains("\"R\"", stored["meta"]!["security"]!.ToJsonString(), StringComparison.Ordinal);
        Assert.Equal(
            "200 OK",
            (string)
                (await sender.Bundle("transaction", entries.Select(e => e.DeepClone()))).Is(200).Json["entry"]![0]!["response"]!["status"]!
        );
    }

    [Fact]
    public async Task A_device_that_nothing_points_at_is_named_or_refused()
    {
        var (sender, _) = await Of(evening);
        var device = Entry(new JsonObject { ["resourceType"] = "Device" }, "urn:uuid:5b7c1c56-8a39-4c0e-9d0a-444444444444", url: "Device");
        var named = (await sender.Bundle("transaction", [device.DeepClone()])).Is(200);
        Assert.Contains("not-kept", named.Json["entry"]![0]!["response"]!["outcome"]!.ToJsonString(), StringComparison.Ordinal);
        (await sender.Bundle("transaction", [device], ("Prefer", "handling=strict"))).Refuses(422, "not-kept", "Bundle.entry[0].resource");
    }

    [Fact]
    public async Task A_device_by_conditional_reference_is_kept_and_pointed_to_by_its_identifier()
    {
        var (sender, episode) = await Of(evening);
        var read = sender.Observation("pump-total-read", "1", "09:00", Quantity("100", "mL"));
        read["device"] = new JsonObject { ["reference"] = "Device?identifier=https://devices.example|pump%2017" };
        var answer = (await sender.Bundle("transaction", [Entry(read)], ("Prefer", "return=representation"))).Is(200);
        Assert.True(
            answer.Json["entry"]![0]!["resource"] is not null,
            (await _ward.Read("/health/ready"))["checks"]!["withheld-resources"]!.ToJsonString()
        );
        var device = answer.Json["entry"]![0]!["resource"]!["device"]!;
        Assert.Equal(
            ("https://devices.example", "pump 17", "Device"),
            ((string)device["identifier"]!["system"]!, (string)device["identifier"]!["value"]!, (string)device["type"]!)
        );
        Assert.Equal("pump 17", (string)(await _ward.Read($"/episodes/{episode}/entries"))["entries"]![0]!["entry"]!["device"]!);
    }

    private static JsonObject Restricted() =>
        new() { ["system"] = "http://terminology.hl7.org/CodeSystem/v3-Confidentiality", ["code"] = "R" };

    private static JsonObject Concept(string system, string code) =>
        new() { ["coding"] = new JsonArray(new JsonObject { ["system"] = system, ["code"] = code }) };

    /// <summary>An Observation with something in every element that R4 lets it have and the intake takes.</summary>
    private static JsonObject Rich(Sender sender, string kind, string? number, string? unit)
    {
        var sent = sender.Observation(kind, "1", "2026-03-14T14:45:00+05:45", number is null ? null : Quantity(number, unit!));
        sent["meta"] = new JsonObject
        {
            ["source"] = "https://gateway.example/run/7",
            ["security"] = new JsonArray(Restricted()),
            ["tag"] = new JsonArray(new JsonObject { ["system"] = "https://gateway.example/tags", ["code"] = "batch-7" }),
        };
        sent["language"] = "en";
        sent["extension"] = new JsonArray(new JsonObject { ["url"] = "https://gateway.example/firmware", ["valueString"] = "2.1" });
        sent["_effectiveDateTime"] = new JsonObject
        {
            ["extension"] = new JsonArray(new JsonObject { ["url"] = "https://gateway.example/clock", ["valueBoolean"] = true }),
        };
        sent["identifier"]![0]!["use"] = "official";
        sent["basedOn"] = new JsonArray(new JsonObject { ["reference"] = "ServiceRequest/irrigate" });
        sent["partOf"] = new JsonArray(new JsonObject { ["reference"] = "Procedure/theirs" });
        sent["category"] = new JsonArray(Concept("https://gateway.example/categories", "io"));
        sent["code"]!["text"] = "As the pump calls it";
        sent["focus"] = new JsonArray(new JsonObject { ["reference"] = "Device/catheter" });
        sent["performer"] = new JsonArray(
            new JsonObject { ["display"] = "Nurse Example" },
            new JsonObject { ["reference"] = "Organization/ward" }
        );
        sent["interpretation"] = new JsonArray(Concept("http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation", "N"));
        sent["note"] = new JsonArray(new JsonObject { ["authorString"] = "Nurse Example", ["text"] = "First line.\nSecond line." });
        sent["bodySite"] = Concept(Sct, "89837001");
        sent["device"] = new JsonObject { ["reference"] = "Device/17", ["display"] = "Pump 17" };
        switch (kind)
        {
            case "urine-collected":
                sent["method"] = Concept(Ours.Profiles.CodeSystem("urine-route"), "left-nephrostomy");
                break;
            case "weight-measured":
                sent["method"] = Concept(Ours.Profiles.CodeSystem("weight-kind"), "stated");
                break;
            case "drainage-appearance":
                sent["valueCodeableConcept"] = new JsonObject { ["text"] = "pink" };
                break;
            case "drainage-emptied":
                sent["method"] = Concept(Ours.Profiles.CodeSystem("measuring-way"), "graduation");
                break;
        }

        return sent;
    }

    /// <summary>Everything that was sent is there, numbers to the digit; more may be.</summary>
    private static void AssertHolds(JsonNode sent, JsonNode published)
    {
        Assert.Empty(KeptObservation.Lost(sent, published, ""));
        if (sent["valueQuantity"] is { } quantity)
            Assert.Equal(JsonSerializer.Serialize(quantity["value"]), JsonSerializer.Serialize(published["valueQuantity"]!["value"]));
    }
}
