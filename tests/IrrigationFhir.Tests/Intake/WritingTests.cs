using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Demo;
using IrrigationFhir.Fhir;
using IrrigationFhir.Intake;
using IrrigationFhir.Tests.Entries;
using static IrrigationFhir.Tests.Intake.Sender;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Intake;

/// <summary>Writing by the rules of the FHIR RESTful API.</summary>
[Collection(EveningOnTheWard.Name)]
public class WritingTests(EveningOnTheWard evening)
{
    private readonly RunningService _ward = evening.Service;

    /// <summary>
    /// Every refusal of these tests goes through
    /// <see cref="Sender.Send(HttpMethod, string, byte[], string, ValueTuple{string, string}[])"/>, which sees to R-HTTP-01; here are those
    /// that nothing else meets.
    /// </summary>
    [Theory]
    [InlineData("POST", "/fhir/observation", "{}", 404, "unknown-resource")]
    [InlineData("POST", "/fhir/Patient", "{}", 404, "unknown-address")]
    [InlineData("POST", "/fhir/Observation", "{", 400, "malformed-json")]
    [InlineData("POST", "/fhir/Observation", "", 400, "malformed-json")]
    [InlineData("POST", "/fhir/Observation", "[]", 400, "wrong-type")]
    [InlineData("POST", "/fhir/Observation", "{\"status\": \"final\", \"status\": \"final\"}", 400, "repeated-property")]
    [InlineData("POST", "/fhir/Observation", "{\"status\": \"a\\u0000b\"}", 400, "null-character")]
    [InlineData("POST", "/fhir", "{\"resourceType\": \"Bundle\", \"type\": \"collection\"}", 422, "wrong-type")]
    [InlineData("PUT", "/fhir/Observation", "{}", 405, "method-not-allowed")]
    [InlineData("DELETE", "/fhir/Observation/1", null, 405, "method-not-allowed")]
    [InlineData("DELETE", "/fhir/Procedure/1", null, 405, "method-not-allowed")]
    [InlineData("POST", "/fhir/Observation?_format=xml", "{}", 406, "not-acceptable")]
    public async Task Every_refusal_is_an_OperationOutcome_R_HTTP_01(string method, string address, string? body, int status, string code)
    {
        var sender = new Sender(_ward, "nobody");
        var answer = await sender.Send(new(method), address, body is null ? null : Encoding.UTF8.GetBytes(body), null);
        answer.Refuses(status, code, null);
    }

    [Fact]
    public async Task Deeper_than_64_levels_is_refused_R_HTTP_01()
    {
        var sender = new Sender(_ward, "nobody");
        (await sender.Send(HttpMethod.Post, "/fhir/Observation", Encoding.UTF8.GetBytes(new string('[', 1000)), null)).Refuses(
            400,
            "too-deep",
            "body"
        );
    }

    [Theory]
    [InlineData("text/plain", "text/plain")]
    [InlineData("application/fhir+xml", "application/fhir+xml")]
    [InlineData("application/fhir+json; charset=iso-8859-1", "charset=iso-8859-1")]
    [InlineData("application/json; charset=utf-16", "charset=utf-16")]
    [InlineData(null, "none")]
    public async Task A_body_that_is_no_FHIR_JSON_in_UTF_8_is_refused_R_HTTP_08(string? type, string says)
    {
        foreach (var address in new[] { "/fhir/Observation", "/fhir", "/fhir/Observation/$validate" })
        {
            var reply = await _ward.Post(address, "{}"u8.ToArray(), type);
            reply.Refuses(
                415,
                "unsupported-media-type",
                "Content-Type",
                says,
                type?.Contains("charset", StringComparison.Ordinal) is true ? "utf-8" : "application/fhir+json"
            );
        }

        var (sender, _) = await Of(evening);
        var emptied = Encoding.UTF8.GetBytes(sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL")).ToJsonString());
        Assert.Equal(
            System.Net.HttpStatusCode.Created,
            (await _ward.Post("/fhir/Observation", emptied, "application/fhir+json; charset=\"UTF-8\"")).Status
        );
    }

    [Fact]
    public async Task What_was_believed_once_is_not_deleted()
    {
        var sender = new Sender(_ward, "nobody");
        var answer = (await sender.Send(HttpMethod.Delete, "/fhir/Observation/1", null)).Refuses(
            405,
            "method-not-allowed",
            null,
            "entered-in-error"
        );
        Assert.Equal(["GET", "HEAD", "PUT"], answer.Allow.Order());
    }

    [Fact]
    public async Task The_server_gives_id_version_and_time_R_HTTP_02()
    {
        var (sender, episode) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("6.00", "mL"));
        emptied["id"] = "mine";
        emptied["meta"] = new JsonObject { ["versionId"] = "17", ["lastUpdated"] = "2020-01-01T00:00:00Z" };

        var created = (await sender.Post(emptied)).Is(201);

        Assert.StartsWith($"{episode}.bladder-drainage.", created.Id, StringComparison.Ordinal);
        Assert.EndsWith($"/fhir/Observation/{created.Id}/_history/1", created.Location, StringComparison.Ordinal);
        Assert.Equal(("W/\"1\"", "1"), (created.ETag, (string)created.Json["meta"]!["versionId"]!));
        Assert.Equal(DateTimeOffset.Parse(EveningOnTheWard.Now, CultureInfo.InvariantCulture).Date, created.LastModified!.Value.Date);
        Assert.Equal(
            "6.00",
            (await _ward.Read($"/episodes/{episode}/entries"))["entries"]![0]!["entry"]!["volume"]!["value"]!.ToJsonString()
        );
        Assert.Equal(created.Text, (await _ward.Get(created.Location!)).Text);
    }

    [Fact]
    public async Task An_update_is_of_the_address_and_of_what_its_sender_brought_R_HTTP_03()
    {
        var (sender, episode) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"));
        (await sender.Post(sender.Observation("irrigant-instilled", "2", "09:00", Quantity("1", "mL")))).Is(201);
        var created = (await sender.Post(emptied)).Is(201);

        (await sender.Put(created.Id, emptied)).Refuses(400, "wrong-id", "Observation.id", "no id");
        emptied["id"] = "another";
        (await sender.Put(created.Id, emptied)).Refuses(400, "wrong-id", "Observation.id", created.Id);
        (await sender.Put("another", emptied)).Refuses(404, "unknown-resource", "Observation.id");
        emptied["id"] = created.Id;
        Assert.Equal("W/\"1\"", (await sender.Put(created.Id, emptied)).Is(200).ETag);

        var renamed = emptied.DeepClone();
        renamed["identifier"]![0]!["value"] = "another";
        (await sender.Put(created.Id, renamed)).Refuses(422, "wrong-identifier", "Observation.identifier[0]");

        // What the service worked out, and what came by the entries API.
        await _ward.Record(episode, Charted.Emptied("charted", "10:00", 50));
        foreach (
            var ours in (await _ward.Resources(episode)).Where(r =>
                r.Key.StartsWith("Observation/", StringComparison.Ordinal)
                && (string)r.Value["id"]! != created.Id
                && (r.Key.Contains("corrected", StringComparison.Ordinal) || (r.Value["identifier"]?.AsArray().Count ?? 1) == 1)
            )
        )
        {
            var id = (string)ours.Value["id"]!;
            var changed = emptied.DeepClone();
            changed["id"] = id;
            Assert.Equal(["GET", "HEAD"], (await sender.Put(id, changed)).Refuses(405, "not-yours", "Observation.id").Allow.Order());
        }
    }

    [Fact]
    public async Task A_create_on_condition_finds_none_one_or_several_R_HTTP_04()
    {
        var (sender, episode) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"));
        var search = $"identifier={Uri.EscapeDataString($"{Sender.System}|{emptied["identifier"]![0]!["value"]}")}";
        var created = (await sender.Post(emptied, ("If-None-Exist", search))).Is(201);

        // Changed or not: what exists answers, and nothing changes.
        emptied["valueQuantity"] = Quantity("999", "mL");
        var existing = (await sender.Post(emptied, ("If-None-Exist", search))).Is(200);
        Assert.Equal((created.Id, "W/\"1\""), (existing.Id, existing.ETag));
        Assert.Single((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());

        (await sender.Post(sender.Observation("drainage-emptied", "2", "10:00", Quantity("1", "mL")))).Is(201);
        var patient = Uri.EscapeDataString($"{RunningService.PatientSystem}|{sender.Patient["identifier"]!["value"]}");
        var several = $"patient.identifier={patient}&code=bladder-drainage-total";
        (await sender.Post(sender.Observation("drainage-emptied", "3", "11:00", Quantity("1", "mL")), ("If-None-Exist", several))).Refuses(
            412,
            "several-matches",
            "If-None-Exist"
        );
    }

    [Fact]
    public async Task A_condition_that_is_not_understood_fails_and_is_not_passed_over_R_HTTP_05()
    {
        var (sender, episode) = await Of(evening);
        (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("1", "mL")), ("If-None-Exist", "colour=blue"))).Is(
            400
        );
        Assert.Empty((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());
    }

    [Fact]
    public async Task An_old_version_is_read_after_the_withdrawal_R_HTTP_06()
    {
        var (sender, _) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"));
        var created = (await sender.Post(emptied)).Is(201);
        emptied["status"] = "entered-in-error";
        (await sender.Post(emptied)).Is(200);
        Assert.Equal("final", (string)(await _ward.Read($"/fhir/Observation/{created.Id}/_history/1"))["status"]!);
        Assert.Equal("entered-in-error", (string)(await _ward.Read($"/fhir/Observation/{created.Id}"))["status"]!);
    }

    [Theory]
    [InlineData("return=minimal", "")]
    [InlineData("return=representation", "Observation")]
    [InlineData("return=OperationOutcome", "OperationOutcome")]
    public async Task A_sender_says_what_comes_back_R_HTTP_07(string prefer, string type)
    {
        var (sender, _) = await Of(evening);
        var created = (
            await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL")), ("Prefer", prefer))
        ).Is(201);
        Assert.NotNull(created.Location);
        Assert.Equal(type, created.Text.Length == 0 ? "" : (string)created.Json["resourceType"]!);
    }

    [Fact]
    public async Task A_transaction_with_one_bad_entry_changes_nothing_R_HTTP_11()
    {
        var (sender, episode) = await Of(evening);
        var before = await _ward.Everything(episode);
        JsonNode Good(string id) => Entry(sender.Observation("drainage-emptied", id, "09:00", Quantity("400", "mL")));
        (JsonNode Entry, int Status, string Code, string Where)[] bad =
        [
            (
                Entry(sender.Observation("drainage-emptied", "x", "09:00", Quantity("-1", "mL"))),
                422,
                "negative",
                "Bundle.entry[1].resource.valueQuantity"
            ),
            (
                Entry(sender.Coded("https://scanner.example/codes", "XYZ", "x", "09:00", Quantity("1", "mL"))),
                422,
                "unknown-code",
                "Bundle.entry[1].resource.code"
            ),
            (
                Entry(sender.Observation("drainage-emptied", "x", "22:30", Quantity("1", "mL"))),
                422,
                "time-in-future",
                "Bundle.entry[1].resource.effectiveDateTime"
            ),
            (
                new JsonObject
                {
                    ["request"] = new JsonObject { ["method"] = "DELETE", ["url"] = "Observation/1" },
                },
                405,
                "method-not-allowed",
                "Bundle.entry[1].request.method"
            ),
            (Entry(new JsonObject { ["resourceType"] = "Patient" }, url: "Patient"), 422, "not-understood", "Bundle.entry[1].request"),
            (
                new JsonObject
                {
                    ["request"] = new JsonObject { ["method"] = "POST", ["url"] = "Observation" },
                },
                400,
                "missing",
                "Bundle.entry[1].resource"
            ),
        ];
        foreach (var (entry, status, code, where) in bad)
        {
            (await sender.Bundle("transaction", [Good("a"), entry, Good("b")])).Refuses(status, code, where);
            Assert.Equal(before, await _ward.Everything(episode));
        }
    }

    [Fact]
    public async Task A_transaction_is_of_one_patient_R_HTTP_11()
    {
        var (one, first) = await Of(evening);
        var (other, second) = await Of(evening);
        var refused = await one.Bundle(
            "transaction",
            [
                Entry(one.Observation("drainage-emptied", "1", "09:00", Quantity("1", "mL"))),
                Entry(other.Observation("drainage-emptied", "1", "09:00", Quantity("1", "mL"))),
            ]
        );
        refused.Refuses(422, "several-episodes", "Bundle.entry[1].resource.subject", "a transaction for each");
        foreach (var episode in new[] { first, second })
            Assert.Empty((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());
    }

    [Fact]
    public async Task A_transaction_answers_in_its_own_order_and_gets_what_it_wrote_R_HTTP_11()
    {
        var (sender, _) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"));
        var known = (await sender.Post(emptied)).Is(201);
        emptied["id"] = known.Id;
        emptied["status"] = "corrected";
        emptied["valueQuantity"] = Quantity("410", "mL");
        var update = Entry(emptied, method: "PUT", url: $"Observation/{known.Id}");
        update["request"]!["ifMatch"] = known.ETag;

        var answer = (
            await sender.Bundle(
                "transaction",
                [
                    new JsonObject
                    {
                        ["request"] = new JsonObject { ["method"] = "GET", ["url"] = $"Observation/{known.Id}" },
                    },
                    update,
                    Entry(sender.Observation("bladder-scanned", "2", "09:05", Quantity("20", "mL"))),
                ],
                ("Prefer", "return=representation")
            )
        ).Is(200);

        var entries = answer.Json["entry"]!.AsArray();
        Assert.Equal("transaction-response", (string)answer.Json["type"]!);
        Assert.Equal(["200 OK", "200 OK", "201 Created"], entries.Select(e => (string)e!["response"]!["status"]!));
        Assert.Equal([410, 410, 20], entries.Select(e => (int)e!["resource"]!["valueQuantity"]!["value"]!));
        Assert.Equal($"Observation/{known.Id}/_history/2", (string)entries[1]!["response"]!["location"]!);

        update = update.DeepClone().AsObject();
        (await sender.Bundle("transaction", [update])).Refuses(412, "version-conflict", "If-Match");
    }

    [Fact]
    public async Task With_lenient_handling_an_unknown_code_is_reported_and_the_rest_recorded_R_HTTP_11()
    {
        var (sender, _) = await Of(evening);
        var answer = (
            await sender.Bundle(
                "transaction",
                [
                    Entry(sender.Coded("https://scanner.example/codes", "XYZ", "x", "09:00", Quantity("1", "mL"))),
                    Entry(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"))),
                ],
                ("Prefer", "handling=lenient")
            )
        ).Is(200);
        Assert.Equal(
            ["422 Unprocessable Entity", "201 Created"],
            answer.Json["entry"]!.AsArray().Select(e => (string)e!["response"]!["status"]!)
        );
    }

    [Fact]
    public async Task References_within_a_transaction_are_resolved_R_HTTP_12()
    {
        var (sender, _) = await Of(evening);
        const string urn = "urn:uuid:0b5c1f5e-52ab-4b0a-8f06-0d3a4b9d0001";
        JsonObject Derived(string target)
        {
            var scan = sender.Observation("bladder-scanned", "2", "09:05", Quantity("20", "mL"));
            scan["derivedFrom"] = new JsonArray(new JsonObject { ["reference"] = target });
            return scan;
        }

        var answer = (
            await sender.Bundle(
                "transaction",
                [
                    Entry(Derived(urn), "urn:uuid:0b5c1f5e-52ab-4b0a-8f06-0d3a4b9d0002"),
                    Entry(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL")), urn),
                ],
                ("Prefer", "return=representation")
            )
        ).Is(200);
        var entries = answer.Json["entry"]!.AsArray();
        Assert.Equal($"Observation/{entries[1]!["resource"]!["id"]}", (string)entries[0]!["resource"]!["derivedFrom"]![0]!["reference"]!);

        (await sender.Bundle("transaction", [Entry(Derived("urn:uuid:0b5c1f5e-52ab-4b0a-8f06-0d3a4b9d0003"))])).Refuses(
            422,
            "unresolved-reference",
            "Bundle.entry[0].resource.derivedFrom[0].reference"
        );
        var batch = (await sender.Bundle("batch", [Entry(Derived(urn), "urn:uuid:0b5c1f5e-52ab-4b0a-8f06-0d3a4b9d0002")])).Is(200);
        Assert.Equal("422 Unprocessable Entity", (string)batch.Json["entry"]![0]!["response"]!["status"]!);
        (await sender.Bundle("transaction", [Entry(Derived(urn), urn), Entry(Derived(urn), urn)])).Refuses(
            400,
            "repeated-full-url",
            "Bundle.entry[1].fullUrl"
        );
    }

    [Fact]
    public async Task A_condition_in_place_of_a_reference_finds_exactly_one_or_the_transaction_fails_R_HTTP_12()
    {
        var (sender, episode) = await Of(evening);
        var known = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL")))).Is(201);
        (await sender.Post(sender.Observation("drainage-emptied", "2", "09:30", Quantity("10", "mL")))).Is(201);
        var patient = Uri.EscapeDataString($"{RunningService.PatientSystem}|{sender.Patient["identifier"]!["value"]}");
        JsonObject Scan(string condition)
        {
            var scan = sender.Observation("bladder-scanned", "3", "09:35", Quantity("20", "mL"));
            scan["derivedFrom"] = new JsonArray(new JsonObject { ["reference"] = condition });
            return scan;
        }

        string[] none =
        [
            "Observation?identifier=" + Uri.EscapeDataString($"{Sender.System}|never"), // finds nothing
            $"Observation?patient.identifier={patient}&code=bladder-drainage-total", // finds two
            $"Observation?patient.identifier={patient}&_id={known.Id}&colour=blue", // one, by what is left of it
            "Media?identifier=1", // of a type that is not kept here
        ];
        var before = await _ward.Everything(episode);
        foreach (var condition in none)
        {
            (await sender.Bundle("transaction", [Entry(Scan(condition))])).Refuses(
                422,
                "unresolved-reference",
                "Bundle.entry[0].resource.derivedFrom[0].reference",
                "exactly one"
            );
            Assert.Equal(before, await _ward.Everything(episode));
        }

        var one =
            "Observation?identifier="
            + Uri.EscapeDataString($"{Sender.System}|{sender.Observation("x", "1", "09:00")["identifier"]![0]!["value"]}");
        // Conditions are for transactions: alone it would be kept as if it were an address.
        (await sender.Post(Scan(one))).Refuses(422, "unresolved-reference", "Observation.derivedFrom[0].reference", "in a transaction");
        var answer = (await sender.Bundle("transaction", [Entry(Scan(one))], ("Prefer", "return=representation"))).Is(200);
        Assert.Equal($"Observation/{known.Id}", (string)answer.Json["entry"]![0]!["resource"]!["derivedFrom"]![0]!["reference"]!);
    }

    /// <summary>Rows: from; columns: registered, preliminary, final, amended, corrected, cancelled, entered-in-error, unknown.</summary>
    [Theory]
    [InlineData(ObservationStatus.Registered, "yyynnyyy")]
    [InlineData(ObservationStatus.Preliminary, "nyynnyyn")]
    [InlineData(ObservationStatus.Final, "nnnyynyn")]
    [InlineData(ObservationStatus.Amended, "nnnyynyn")]
    [InlineData(ObservationStatus.Corrected, "nnnyynyn")]
    [InlineData(ObservationStatus.Cancelled, "nnnnnyyn")]
    [InlineData(ObservationStatus.EnteredInError, "nnnnnnyn")]
    [InlineData(ObservationStatus.Unknown, "yyyyyyyy")]
    public async Task A_status_follows_another_or_does_not(ObservationStatus from, string allowed)
    {
        ObservationStatus[] all =
        [
            ObservationStatus.Registered,
            ObservationStatus.Preliminary,
            ObservationStatus.Final,
            ObservationStatus.Amended,
            ObservationStatus.Corrected,
            ObservationStatus.Cancelled,
            ObservationStatus.EnteredInError,
            ObservationStatus.Unknown,
        ];
        Assert.Equal(allowed, string.Concat(all.Select(to => StatusTransitions.Allows(from, to) ? 'y' : 'n')));

        // The same over HTTP, as far as there is a result to record.
        if (!StatusTransitions.Recorded(from))
            return;
        foreach (var to in all)
        {
            var (sender, _) = await Of(evening);
            var emptied = sender.Observation(
                "drainage-emptied",
                "1",
                "09:00",
                Quantity("400", "mL"),
                Hl7.Fhir.Utility.EnumUtility.GetLiteral(from)!
            );
            if (from == ObservationStatus.EnteredInError)
                (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL")))).Is(201);
            (await sender.Post(emptied)).Is(from == ObservationStatus.EnteredInError ? 200 : 201);
            emptied["status"] = Hl7.Fhir.Utility.EnumUtility.GetLiteral(to);
            emptied["valueQuantity"] = Quantity("401", "mL");
            var answer = await sender.Post(emptied);
            answer.Is(
                !StatusTransitions.Recorded(to) ? 422
                : StatusTransitions.Allows(from, to) ? 200
                : 409
            );
            if ((int)answer.Status == 200 && to != ObservationStatus.EnteredInError)
                Assert.Equal(Hl7.Fhir.Utility.EnumUtility.GetLiteral(to), (string)answer.Json["status"]!);
        }
    }

    [Fact]
    public async Task A_preliminary_reading_becomes_final_and_nobody_is_corrected()
    {
        var (sender, _) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"), "preliminary");
        Assert.Equal("preliminary", (string)(await sender.Post(emptied)).Is(201).Json["status"]!);
        emptied["status"] = "final";
        Assert.Equal("final", (string)(await sender.Post(emptied)).Is(200).Json["status"]!);
    }

    [Theory]
    [InlineData(
        "code",
        """
            {"coding": [
              {"system": "http://loinc.org", "code": "9187-6"},
              {"system": "https://irrigationfhir.example/fhir/CodeSystem/irrigation-observation", "code": "urine-output-corrected"}
            ]}
            """,
        "unknown-code",
        "Observation.code.coding[1]",
        "that the service works out"
    )]
    [InlineData("code", """{"coding": [{"system": "http://loinc.org", "code": "9187-6"}]}""", "missing", "Observation.method", "route")]
    [InlineData(
        "code",
        """
            {"coding": [
              {"system": "http://snomed.info/sct", "code": "251843005"},
              {"system": "urn:iso:std:iso:11073:10101", "code": "157740"}
            ]}
            """,
        "ambiguous-code",
        "Observation.code",
        "container-emptied"
    )]
    [InlineData("code", """{"text": "drainage"}""", "missing", "Observation.code.coding", "text alone")]
    [InlineData(
        "code",
        """{"coding": [{"system": "https://irrigationfhir.example/fhir/CodeSystem/entry-kind", "code": "order-set"}]}""",
        "unknown-code",
        "Observation.code",
        "concept map"
    )]
    [InlineData(
        "modifierExtension",
        """[{"url": "https://sender.example/not", "valueBoolean": true}]""",
        "not-understood",
        "Observation.modifierExtension",
        "misread"
    )]
    [InlineData(
        "component",
        """[{"code": {"coding": [{"code": "x"}]}, "valueString": "y"}]""",
        "unknown-code",
        "Observation.component[0].code",
        "container"
    )]
    [InlineData("identifier", "[]", "missing", "Observation.identifier[0].system", "sending again")]
    [InlineData("effectiveTiming", """{"event": ["2026-03-14T09:00:00Z"]}""", null, null, "")]
    [InlineData("interpretation", """[{"coding": [{"code": "INV"}]}]""", "not-a-measurement", "Observation.interpretation[0]", "invalid")]
    [InlineData("valeuQuantity", """{"value": 1}""", "malformed-resource", null, "")]
    [InlineData("status", "\"registered\"", "no-result", "Observation.status", "no result to record")]
    public async Task What_cannot_be_read_for_certain_is_refused(string element, string json, string? code, string? where, string says)
    {
        var (sender, episode) = await Of(evening);
        var reading = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"));
        reading[element] = JsonNode.Parse(json);
        var answer = await sender.Post(reading);
        Assert.InRange((int)answer.Status, 400, 422);
        if (code is not null)
            answer.Refuses((int)answer.Status, code, where, says);
        Assert.Empty((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());
    }

    [Fact]
    public async Task Whatever_stands_in_an_element_the_answer_is_never_our_failure()
    {
        var (sender, _) = await Of(evening);
        var whole = NightInFhir.Observation(
            InventedNight.AsCharted().SelectMany(r => r).Select(e => e!.AsObject()).First(e => (string)e["kind"]! == "bag-hung")
        );
        whole["subject"] = sender.Patient;
        whole["device"] = new JsonObject { ["reference"] = "#d" };
        whole["contained"] = new JsonArray(
            new JsonObject
            {
                ["resourceType"] = "Device",
                ["id"] = "d",
                ["identifier"] = new JsonArray(new JsonObject { ["value"] = "bag scale (invented)" }),
            }
        );
        whole["derivedFrom"] = new JsonArray(new JsonObject { ["reference"] = "Observation/1" });
        whole["interpretation"] = new JsonArray(new JsonObject { ["coding"] = new JsonArray(new JsonObject { ["code"] = "VAL" }) });
        whole["meta"] = new JsonObject { ["security"] = new JsonArray(new JsonObject { ["code"] = "N" }) };
        whole["effectiveDateTime"] = "2026-03-14T09:00:00Z";
        whole["issued"] = "2026-03-14T09:00:40Z";
        foreach (var path in Paths(whole, []).ToList())
        {
            foreach (var other in new[] { "null", "1", "\"x\"", "\"\"", "[]", "{}", "[null]", "[[]]", "true", "1e400", "\"2026\"" })
            {
                var changed = whole.DeepClone();
                var parent = path[..^1].Aggregate((JsonNode)changed, (node, step) => step is int i ? node[i]! : node[(string)step]!);
                if (path[^1] is int index)
                    parent[index] = JsonNode.Parse(other);
                else
                    parent[(string)path[^1]] = JsonNode.Parse(other);
                Assert.True((int)(await sender.Post(changed)).Status < 500, $"{string.Join('.', path)} = {other}");
            }
        }

        static IEnumerable<object[]> Paths(JsonNode? node, object[] at) =>
            node switch
            {
                JsonObject inner => inner.SelectMany(p => Paths(p.Value, [.. at, p.Key]).Prepend([.. at, p.Key])),
                JsonArray list => list.SelectMany((item, i) => Paths(item, [.. at, i]).Prepend([.. at, i])),
                _ => [],
            };
    }

    [Fact]
    public async Task A_bundle_of_anything_is_never_our_failure()
    {
        var (sender, _) = await Of(evening);
        foreach (
            var entry in new[]
            {
                "null",
                "1",
                "{}",
                "{\"request\": 1}",
                "{\"request\": {\"method\": \"POST\", \"url\": \"Observation\"}, \"resource\": 1}",
                "{\"request\": {\"method\": \"POST\", \"url\": \"Observation\"}, \"resource\": {\"resourceType\": \"Patient\"}}",
                "{\"request\": {\"method\": \"GET\", \"url\": \"../episodes\"}}",
                "{\"request\": {\"method\": \"GET\", \"url\": \"Observation?date=x\"}}",
            }
        )
        {
            foreach (var type in new[] { "batch", "transaction" })
            {
                var answer = await sender.Bundle(type, [JsonNode.Parse(entry)!]);
                Assert.True((int)answer.Status < 500, entry);
                if (type == "batch")
                    Assert.Matches("^[24]", (string)answer.Json["entry"]![0]!["response"]!["status"]!);
            }
        }
    }

    [Theory]
    [InlineData(
        "http://loinc.org",
        "29463-7",
        """{"value": 70.5, "system": "http://unitsofmeasure.org", "code": "kg"}""",
        "weight-measured",
        "weight"
    )]
    [InlineData(
        "http://loinc.org",
        "72514-3",
        """{"value": 3, "system": "http://unitsofmeasure.org", "code": "{score}"}""",
        "tolerance-noted",
        "pain"
    )]
    [InlineData(
        "urn:iso:std:iso:11073:10101",
        "157784",
        """{"value": 10, "system": "http://unitsofmeasure.org", "code": "mL/min"}""",
        "flow-set",
        "rate"
    )]
    [InlineData(
        "http://loinc.org",
        "9025-8",
        """{"value": 300, "system": "http://unitsofmeasure.org", "code": "mL"}""",
        "irrigant-instilled",
        "volume"
    )]
    public async Task A_published_code_becomes_its_kind(string system, string code, string quantity, string kind, string property)
    {
        var (sender, episode) = await Of(evening);
        (await sender.Post(sender.Coded(system, code, "1", "09:00", JsonNode.Parse(quantity)))).Is(201);
        var entry = (await _ward.Read($"/episodes/{episode}/entries"))["entries"]![0]!["entry"]!;
        Assert.Equal(kind, (string)entry["kind"]!);
        Assert.NotNull(entry[property]);
    }

    [Fact]
    public async Task What_the_urine_looked_like_is_kept_in_the_wards_words()
    {
        var (sender, episode) = await Of(evening);
        var colour = sender.Coded(Codes.Systems.Loinc, "5778-6", "1", "09:00");
        colour["valueCodeableConcept"] = new JsonObject { ["text"] = "light pink" };
        var clarity = sender.Coded(Codes.Systems.Loinc, "32167-9", "2", "09:00");
        clarity["valueCodeableConcept"] = new JsonObject
        {
            ["coding"] = new JsonArray(new JsonObject { ["system"] = Codes.Systems.Snomed, ["code"] = "7766007" }),
        };
        (await sender.Post(colour)).Is(201);
        (await sender.Post(clarity)).Is(201);
        var entries = (await _ward.Read($"/episodes/{episode}/entries"))["entries"]!;
        Assert.Equal(("light pink", "cloudy"), ((string)entries[0]!["entry"]!["colour"]!, (string)entries[1]!["entry"]!["clarity"]!));
    }

    [Fact]
    public async Task A_whole_night_as_FHIR_balances_as_the_same_night_as_JSON()
    {
        await using var asJson = RunningService.Start("2026-03-15T06:05:00Z");
        await using var asFhir = RunningService.Start("2026-03-15T06:05:00Z");
        var (json, fhir) = (await asJson.Open(InventedNight.Episode()), await asFhir.Open(InventedNight.Episode()));
        var sender = new Sender(asFhir, "");
        var sent = 0;
        foreach (var request in InventedNight.AsCharted())
        {
            await asJson.Record(json, [.. request.Select(e => e!)]);
            var observed = request.Where(e => NightInFhir.Speaks(e!)).Select(e => NightInFhir.Observation(e!.AsObject())).ToList();
            sent += observed.Count;
            if (observed.Count > 0)
                (await sender.Bundle("transaction", observed.Select(o => Entry(o)))).Is(200);
            if (request.Where(e => !NightInFhir.Speaks(e!)).Select(e => e!).ToArray() is { Length: > 0 } others)
                await asFhir.Record(fhir, others);
        }

        Assert.Equal(25, sent);
        async Task<string> Balance(RunningService ward, string episode) =>
            (await ward.Read($"/episodes/{episode}/balance?asOf={Uri.EscapeDataString(InventedNight.Handover)}"))
                .ToJsonString()
                .Replace(episode, "…", StringComparison.Ordinal);
        Assert.Equal(await Balance(asJson, json), await Balance(asFhir, fhir));
        Assert.Equal(0, JsonNode.Parse((await asFhir.Get("/health/ready")).Text)!.ToJsonString().Split("withheld\":1").Length - 1);
    }

    [Theory]
    [InlineData("bare", null, null, 0)]
    [InlineData("parameters", null, null, 0)]
    [InlineData("parameters", "https://nowhere.example/StructureDefinition/x", null, 1)]
    [InlineData("parameters", "http://hl7.org/fhir/StructureDefinition/Observation", null, 0)]
    [InlineData("parameters", null, "create", 0)]
    public async Task Validation_answers_200_with_what_is_wrong_and_looks_nothing_up(string form, string? profile, string? mode, int errors)
    {
        var (sender, episode) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"));
        JsonNode body =
            form == "bare"
                ? emptied
                : new JsonObject
                {
                    ["resourceType"] = "Parameters",
                    ["parameter"] = new JsonArray(new JsonObject { ["name"] = "resource", ["resource"] = emptied }),
                };
        if (profile is not null)
            body["parameter"]!.AsArray().Add(new JsonObject { ["name"] = "profile", ["valueUri"] = profile });
        if (mode is not null)
            body["parameter"]!.AsArray().Add(new JsonObject { ["name"] = "mode", ["valueCode"] = mode });

        var answer = (await sender.Send(HttpMethod.Post, "/fhir/Observation/$validate", body)).Is(200);

        Assert.Equal(errors, answer.Json["issue"]!.AsArray().Count(i => (string)i!["severity"]! == "error"));
        if (errors > 0)
            answer.Refuses(200, "unknown-profile", null);
        Assert.Empty((await _ward.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());
    }

    [Fact]
    public async Task Validation_names_what_the_intake_would_refuse_and_judges_what_is_stored()
    {
        var (sender, _) = await Of(evening);
        var bad = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "cc"));
        bad["effectiveDateTime"] = "2026-03-14";
        (await sender.Send(HttpMethod.Post, "/fhir/Observation/$validate?mode=create", bad)).Refuses(
            200,
            "bad-time",
            "Observation.effectiveDateTime"
        );
        foreach (
            var (clock, number, unit, code, where) in new[]
            {
                ("09:00", "400", "cc", "wrong-unit", "valueQuantity"),
                ("09:00", "-40", "mL", "negative", "valueQuantity"),
                ("22:30", "40", "mL", "time-in-future", "effectiveDateTime"),
            }
        )
        {
            var refused = sender.Observation("drainage-emptied", "1", clock, Quantity(number, unit));
            var said = (await sender.Send(HttpMethod.Post, "/fhir/Observation/$validate?mode=create", refused)).Is(200);
            var done = (await sender.Post(refused)).Is(422);
            Assert.Equal([code], said.Codes);
            Assert.Equal(done.Codes, said.Codes);
            Assert.StartsWith($"Observation.{where}", (string)said.Json["issue"]![0]!["expression"]![0]!, StringComparison.Ordinal);
            Assert.Equal((string)done.Json["issue"]![0]!["expression"]![0]!, (string)said.Json["issue"]![0]!["expression"]![0]!);
        }

        var created = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL")))).Is(201);
        Assert.Equal(
            "information",
            (string)
                (await sender.Send(HttpMethod.Post, $"/fhir/Observation/{created.Id}/$validate", null)).Is(200).Json["issue"]![0]![
                    "severity"
                ]!
        );
        (await sender.Send(HttpMethod.Post, $"/fhir/Observation/{created.Id}/$validate?mode=delete", null)).Refuses(
            200,
            "method-not-allowed",
            null
        );
        (await sender.Send(HttpMethod.Post, "/fhir/Observation/none/$validate", null)).Is(404);
        (await sender.Send(HttpMethod.Post, "/fhir/Observation/$validate?mode=guess", bad)).Refuses(400, "unknown-word", null);
        (
            await sender.Send(
                HttpMethod.Post,
                "/fhir/Procedure/$validate",
                new JsonObject { ["resourceType"] = "Procedure", ["status"] = "done" }
            )
        )
            .Is(200)
            .Refuses(200, "malformed-resource", null);
    }

    [Fact]
    public async Task The_CapabilityStatement_claims_what_these_tests_exercise()
    {
        var statement = await _ward.Read("/fhir/metadata");
        var rest = statement["rest"]![0]!;
        Assert.Contains("POST /episodes", (string)rest["documentation"]!, StringComparison.Ordinal);
        Assert.Equal(["batch", "transaction"], rest["interaction"]!.AsArray().Select(i => (string)i!["code"]!));
        var observation = rest["resource"]!.AsArray().Single(r => (string)r!["type"]! == "Observation")!;
        Assert.Subset(
            observation["interaction"]!.AsArray().Select(i => (string)i!["code"]!).ToHashSet(),
            new HashSet<string> { "create", "update" }
        );
        Assert.True((bool)observation["conditionalCreate"]!);
        Assert.All(
            rest["resource"]!.AsArray().Where(r => (string)r!["type"]! is not ("Patient" or "Subscription" or "Basic" or "AuditEvent")),
            r => Assert.Contains(r!["operation"]!.AsArray(), o => (string)o!["name"]! == "validate")
        );
    }
}

/// <summary>Entries of the invented night as Observations, as a ward system that speaks FHIR would send them.</summary>
internal static class NightInFhir
{
    private static Profiles Profiles => Ours.Profiles;

    private static readonly string[] Amounts = ["volume", "remaining", "rate", "level", "total"];

    public static bool Speaks(JsonNode entry) =>
        KindMap.Observed.Contains((string)entry["kind"]!) && (string)entry["kind"]! is not ("drainage-appearance" or "tolerance-noted");

    public static JsonObject Observation(JsonObject entry)
    {
        var (kind, id) = ((string)entry["kind"]!, (string)entry["id"]!);
        var corrected = entry["note"] is { } note && ((string)note!).StartsWith("read again", StringComparison.Ordinal);
        var observation = new JsonObject
        {
            ["resourceType"] = "Observation",
            ["identifier"] = new JsonArray(new JsonObject { ["system"] = (string)entry["source"]!, ["value"] = id }),
            ["status"] = corrected ? "corrected" : "final",
            ["code"] = Concept("entry-kind", kind),
            ["subject"] = InventedNight.Episode()["patient"]!.DeepClone(),
            ["encounter"] = InventedNight.Episode()["encounter"]!.DeepClone(),
            ["effectiveDateTime"] = (string)entry["at"]!,
            ["issued"] = (string)entry["recordedAt"]!,
            ["performer"] = new JsonArray(new JsonObject { ["display"] = (string)entry["performer"]! }),
        };
        if (entry["note"] is { } text)
            observation["note"] = new JsonArray(new JsonObject { ["text"] = (string)text! });
        if ((entry["how"] ?? entry["route"]) is { } way)
            observation["method"] = new JsonObject
            {
                ["coding"] = new JsonArray(
                    new[] { ("measuring-way", entry["how"]), ("urine-route", entry["route"]) }
                        .Where(m => m.Item2 is not null)
                        .Select(m => Coding(m.Item1, (string)m.Item2!))
                        .ToArray<JsonNode>()
                ),
            };
        if (Amounts.Select(a => entry[a]).FirstOrDefault(a => a is not null) is { } amount)
            observation["valueQuantity"] = Sender.Quantity(amount["value"]!.ToJsonString(), (string)amount["unit"]!);
        var components = new JsonArray();
        if (entry["line"] is { } line)
            components.Add(Sender.Component("irrigation-line", "valueString", line.DeepClone()));
        foreach (var (slug, name) in new[] { ("tubing-prime", "tubingPrime"), ("drop-factor", "dropFactor") })
        {
            if (entry[name] is { } given)
                components.Add(
                    Sender.Component(slug, "valueQuantity", Sender.Quantity(given["value"]!.ToJsonString(), (string)given["unit"]!))
                );
        }

        if (components.Count > 0)
            observation["component"] = components;
        return observation;
    }

    private static JsonObject Concept(string system, string code) => new() { ["coding"] = new JsonArray(Coding(system, code)) };

    private static JsonObject Coding(string system, string code) => new() { ["system"] = Profiles.CodeSystem(system), ["code"] = code };
}
