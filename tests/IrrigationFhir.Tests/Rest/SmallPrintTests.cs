using System.IO.Compression;
using System.Net;
using System.Net.Sockets;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Tests.Entries;
using IrrigationFhir.Tests.Intake;
using static IrrigationFhir.Tests.Intake.Sender;

namespace IrrigationFhir.Tests.Rest;

/// <summary>What HTTP and FHIR R4 say in small print, each by a test named after it.</summary>
[Collection(EveningOnTheWard.Name)]
public class SmallPrintTests(EveningOnTheWard evening)
{
    private const string FhirJson = "application/fhir+json";

    private readonly RunningService _ward = evening.Service;

    [Theory]
    [InlineData("gzip")]
    [InlineData("br")]
    public async Task Bodies_come_packed_by_gzip_and_Brotli_within_a_bound(string encoding)
    {
        var (sender, _) = await Of(evening);
        var emptied = Encoding.UTF8.GetBytes(sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL")).ToJsonString());
        (await sender.Send(HttpMethod.Post, "/fhir/Observation", Pack(encoding, emptied), encoding)).Is(201);

        var malformed = encoding == "br" ? "malformed-brotli" : "malformed-gzip";
        (await sender.Send(HttpMethod.Post, "/fhir/Observation", emptied, encoding)).Refuses(400, malformed, "body");

        // A few hundred bytes that are a megabyte.
        var bomb = Pack(encoding, Encoding.UTF8.GetBytes(new string(' ', 1_000_000)));
        Assert.True(bomb.Length < EveningOnTheWard.MostBytes / 4);
        (await sender.Send(HttpMethod.Post, "/fhir/Observation", bomb, encoding)).Refuses(413, "body-too-large", "body");
    }

    [Theory]
    [InlineData("gzip")]
    [InlineData("br")]
    public async Task Replies_go_packed_by_gzip_and_Brotli(string encoding)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/fhir/metadata", UriKind.Relative));
        request.Headers.AcceptEncoding.ParseAdd(encoding);
        using var response = await _ward.Http.SendAsync(request);

        Assert.Equal(encoding, Assert.Single(response.Content.Headers.ContentEncoding));
        Assert.Contains("Accept-Encoding", response.Headers.Vary);
        await using var packed = await response.Content.ReadAsStreamAsync();
        await using Stream unpacked =
            encoding == "br" ? new BrotliStream(packed, CompressionMode.Decompress) : new GZipStream(packed, CompressionMode.Decompress);
        Assert.Equal("CapabilityStatement", (string)(await JsonNode.ParseAsync(unpacked))!["resourceType"]!);
    }

    [Fact]
    public async Task A_site_may_keep_replies_unpacked()
    {
        await using var ward = RunningService.Start(EveningOnTheWard.Now, null, ("Fhir:CompressReplies", "false"));
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/fhir/metadata", UriKind.Relative));
        request.Headers.AcceptEncoding.ParseAdd("gzip, br");
        using var response = await ward.Http.SendAsync(request);
        Assert.Empty(response.Content.Headers.ContentEncoding);
    }

    [Theory]
    [InlineData("*", 200)]
    [InlineData("W/\"1\"", 200)]
    [InlineData("W/\"7\", W/\"1\"", 200)]
    [InlineData("W/\"7\"", 412)]
    public async Task If_Match_takes_any_version_by_a_star_and_one_of_several(string ifMatch, int status)
    {
        var (sender, _) = await Of(evening);
        var created = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL")))).Is(201);
        var corrected = sender.Observation("drainage-emptied", "1", "09:00", Quantity("7", "mL"), "corrected");
        corrected["id"] = created.Id;
        (await sender.Put(created.Id, corrected, ("If-Match", ifMatch))).Is(status);
    }

    [Fact]
    public async Task Within_a_bundle_ifNoneMatch_and_ifModifiedSince_ask_for_what_is_new()
    {
        var (sender, _) = await Of(evening);
        var created = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL")))).Is(201);
        JsonObject Get(string condition, string value) =>
            new()
            {
                ["request"] = new JsonObject
                {
                    ["method"] = "GET",
                    ["url"] = $"Observation/{created.Id}",
                    [condition] = value,
                },
            };
        var posted = Entry(sender.Observation("drainage-emptied", "2", "09:30", Quantity("6", "mL")));
        posted["request"]!["ifNoneMatch"] = "*";

        var answer = (
            await sender.Bundle(
                "batch",
                [
                    Get("ifNoneMatch", "W/\"1\""),
                    Get("ifNoneMatch", "W/\"2\""),
                    Get("ifModifiedSince", "2026-03-14T23:30:00+01:00"),
                    Get("ifModifiedSince", "2026-03-14T08:00:00Z"),
                    posted,
                ]
            )
        ).Is(200);

        var entries = answer.Json["entry"]!.AsArray();
        Assert.Equal(
            ["304 Not Modified", "200 OK", "304 Not Modified", "200 OK", "400 Bad Request"],
            entries.Select(e => (string)e!["response"]!["status"]!)
        );
        Assert.Equal("W/\"1\"", (string)entries[0]!["response"]!["etag"]!);
        Assert.Null(entries[0]!["resource"]);
        Assert.NotNull(entries[1]!["resource"]);
    }

    [Theory]
    [InlineData("text/json", 201)]
    [InlineData("application/fhir+json; fhirVersion=4.0", 201)]
    [InlineData("application/fhir+json; fhirVersion=\"4.0\"", 201)]
    [InlineData("application/fhir+json; fhirVersion=3.0", 415)]
    [InlineData("application/json; fhirVersion=5.0", 415)]
    public async Task A_body_says_its_version_of_FHIR(string type, int status)
    {
        var (sender, _) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL"));
        var reply = await _ward.Post("/fhir/Observation", Encoding.UTF8.GetBytes(emptied.ToJsonString()), type);
        if (status == 415)
            reply.Refuses(415, "unsupported-media-type", "Content-Type", "fhirVersion=", "fhirVersion=4.0");
        else
            Assert.True((int)reply.Status == status, reply.Text);
    }

    [Theory]
    [InlineData("application/fhir+json; fhirVersion=4.0", null, 200)]
    [InlineData("application/fhir+json; fhirVersion=3.0", null, 406)]
    [InlineData("application/fhir+json; fhirVersion=5.0, application/json;q=0.5", null, 200)]
    [InlineData("text/json", null, 200)]
    [InlineData(null, "application/fhir+json; fhirVersion=3.0", 406)]
    [InlineData(null, "application/fhir+json; fhirVersion=4.0", 200)]
    public async Task An_answer_is_of_the_version_of_FHIR_that_is_asked_for(string? accept, string? format, int status)
    {
        var query = format is null ? "" : $"?_format={Uri.EscapeDataString(format)}";
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri($"/fhir/metadata{query}", UriKind.Relative));
        if (accept is not null)
            request.Headers.TryAddWithoutValidation("Accept", accept);
        using var response = await _ward.Http.SendAsync(request);
        Assert.Equal((status, FhirJson), ((int)response.StatusCode, response.Content.Headers.ContentType!.MediaType));
    }

    [Theory]
    [InlineData("PATCH", "/fhir/Observation/1", "GET, HEAD, PUT")]
    [InlineData("DELETE", "/fhir/Observation/1", "GET, HEAD, PUT")]
    [InlineData("PUT", "/fhir/Flag/1", "GET, HEAD")]
    [InlineData("DELETE", "/fhir/Procedure/1", "GET, HEAD")]
    [InlineData("DELETE", "/fhir/Subscription/1", "GET, HEAD, PUT")]
    [InlineData("PUT", "/fhir/Observation", "GET, HEAD, POST")]
    [InlineData("GET", "/fhir", "POST")]
    public async Task Allow_names_what_is_allowed(string method, string address, string allowed)
    {
        var sender = new Sender(_ward, "nobody");
        var answer = (await sender.Send(new(method), address, null)).Refuses(405, "method-not-allowed", null);
        Assert.Equal(allowed, string.Join(", ", answer.Allow.Order()));
    }

    [Fact]
    public async Task History_says_POST_for_what_was_posted()
    {
        var (sender, _) = await Of(evening);
        var created = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL")))).Is(201);
        var corrected = sender.Observation("drainage-emptied", "1", "09:00", Quantity("7", "mL"), "corrected");
        corrected["id"] = created.Id;
        (await sender.Put(created.Id, corrected)).Is(200);

        foreach (var address in new[] { $"/fhir/Observation/{created.Id}/_history", "/fhir/Observation/_history?_count=1000" })
        {
            var told = (await _ward.Read(address))["entry"]!
                .AsArray()
                .Where(e => (string)e!["resource"]!["id"]! == created.Id)
                .Select(e => $"{e!["request"]!["method"]} {e["request"]!["url"]} {e["response"]!["status"]}");
            Assert.Equal([$"PUT Observation/{created.Id} 200 OK", "POST Observation 201 Created"], told);
        }
    }

    [Theory]
    [InlineData("GET /fhir/Observation?identifier=LONG HTTP/1.1\r\nHost: localhost\r\n\r\n", 414, "address-too-long")]
    [InlineData("GET /fhir/metadata HTTP/1.1\r\nHost: localhost\r\nX-Filler: LONG\r\nX-More: LONG\r\n\r\n", 431, "headers-too-large")]
    [InlineData("GET /fhir/Observation/%00 HTTP/1.1\r\nHost: localhost\r\n\r\n", 400, "bad-request")]
    [InlineData("GET /fhir/Observation/1 \r\n\r\n", 400, "bad-request")]
    [InlineData("GET /fhir/metadata HTTP/1.1\r\n\r\n", 400, "bad-request")]
    [InlineData("GET /fhir/Observation/%ZZ HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n", 404, "unknown-resource")]
    [InlineData("GET /fhir/Observation?date=%ZZ HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n", 400, "search-value-invalid")]
    public async Task What_the_server_itself_cannot_read_is_told_by_an_OperationOutcome_too(string sent, int status, string code)
    {
        using var socket = new Socket(SocketType.Stream, ProtocolType.Tcp);
        await socket.ConnectAsync(_ward.Http.BaseAddress!.Host, _ward.Http.BaseAddress.Port);
        await socket.SendAsync(Encoding.ASCII.GetBytes(sent.Replace("LONG", new string('x', 9000), StringComparison.Ordinal)));

        using var stream = new NetworkStream(socket);
        using var reader = new StreamReader(stream, Encoding.UTF8);
        var answer = await reader.ReadToEndAsync();

        Assert.StartsWith($"HTTP/1.1 {status} ", answer, StringComparison.Ordinal);
        Assert.Contains("Content-Type: application/fhir+json", answer, StringComparison.OrdinalIgnoreCase);
        var body = JsonNode.Parse(answer[(answer.IndexOf("\r\n\r\n", StringComparison.Ordinal) + 4)..])!;
        Assert.Equal(code, (string)body["issue"]![0]!["details"]!["coding"]![0]!["code"]!);
        Assert.Equal(HttpStatusCode.OK, (await _ward.Get("/health/live")).Status);
    }

    [Fact]
    public async Task Coded_values_and_a_flags_priority_are_searched()
    {
        var (sender, episode) = await Of(evening);
        (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL")))).Is(201);
        foreach (var (address, at) in new[] { ("Observation?value-concept=", "valueCodeableConcept"), ("Flag?priority=", "") })
        {
            var none = await _ward.Read($"/fhir/{address}no-such-code");
            Assert.Null(none["entry"]);
            Assert.Contains(address.Split('?')[1], Self(none), StringComparison.Ordinal);
        }

        // Nothing came back for hours: a flag, and its priority finds it.
        await _ward.Record(
            episode,
            Charted.BagHung("bag", "09:30", 3000),
            Charted.BagTakenDown("down", "12:00", 0),
            Charted.Emptied("late", "12:10", 5)
        );
        var flags = (await _ward.Resources(episode, "Flag")).Values.ToList();
        Assert.NotEmpty(flags);
        var token = Uri.EscapeDataString((string)flags[0]["subject"]!["identifier"]!["value"]!);
        foreach (var flag in flags)
        {
            var priority = flag["extension"]!
                .AsArray()
                .Single(e => ((string)e!["url"]!).EndsWith("/flag-priority", StringComparison.Ordinal))!["valueCodeableConcept"]![
                "coding"
            ]![0]!;
            var found = await _ward.Read(
                $"/fhir/Flag?patient.identifier={token}&priority={Uri.EscapeDataString($"{priority["system"]}|{priority["code"]}")}"
            );
            Assert.Contains(found["entry"]!.AsArray(), e => (string)e!["resource"]!["id"]! == (string)flag["id"]!);
            Assert.DoesNotContain(
                (await _ward.Read($"/fhir/Flag?patient.identifier={token}&priority:not={priority["code"]}"))["entry"]?.AsArray() ?? [],
                e => (string)e!["resource"]!["id"]! == (string)flag["id"]!
            );
        }
    }

    [Theory]
    [InlineData("_summary=count&medication=x", "medication")]
    [InlineData("_count=0&medication=x", "medication")]
    [InlineData("medication=x&_summary=count", "medication")]
    [InlineData("_summary=count&code=", "code")]
    public async Task A_count_over_a_filter_that_was_passed_over_is_refused(string query, string where)
    {
        (await _ward.Get($"/fhir/Observation?{query}")).Refuses(
            400,
            "search-parameter-unknown",
            where,
            "a",
            "a count is not given without it"
        );
        var page = await _ward.Read("/fhir/Observation?medication=x&_count=1");
        Assert.Contains(page["entry"]!.AsArray(), e => (string?)e!["search"]!["mode"] == "outcome");
    }

    [Fact]
    public async Task A_count_over_what_is_no_filter_is_given()
    {
        var counted = await _ward.Read("/fhir/Observation?_summary=count&_sort=nothing&_contained=true&code=no-such-code");
        Assert.Equal(0, (int)counted["total"]!);
    }

    [Theory]
    [InlineData("9188-4", "60", "mL/h", "11:00", "12:00", 60)]
    [InlineData("9188-4", "60.0", "mL", "11:00", "12:00", 60)]
    [InlineData("9189-2", "400", "mL/(8.h)", "10:00", "18:00", 400)]
    [InlineData("9190-0", "400", "mL", "10:00", "20:00", 400)]
    [InlineData("9191-8", "0.4", "L", "09:00", "21:00", 400)]
    [InlineData("9191-8", "400", "mL/(12.h)", "09:00", "21:00", 400)]
    public async Task Flowsheet_codes_of_urine_are_known_out_of_the_box(
        string code,
        string number,
        string unit,
        string start,
        string end,
        decimal millilitres
    )
    {
        var (sender, episode) = await Of(evening);
        var charted = Timed(sender, code, number, unit, start, end);
        charted["method"] = Route("left-nephrostomy");
        (await sender.Post(charted)).Is(201);

        var published = (await _ward.Resources(episode)).Values.Single(r =>
            (string?)r["meta"]!["profile"]?[0] == Ours.Profiles.UrineCollected
        );
        Assert.Equal((millilitres, "mL"), ((decimal)published["valueQuantity"]!["value"]!, (string)published["valueQuantity"]!["code"]!));
    }

    [Fact]
    public async Task Flowsheet_codes_of_a_day_are_known_out_of_the_box()
    {
        await using var ward = RunningService.Start("2026-03-15T22:00:00Z");
        await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        var sender = new Sender(ward, "patient of stay");
        foreach (var (code, unit) in new[] { ("9192-6", "mL/d"), ("9192-6", "L"), ("9031-6", "mL/d"), ("9031-6", "mL") })
        {
            var charted = Timed(sender, code, "2", unit, "2026-03-14T09:00:00Z", "2026-03-15T09:00:00Z");
            charted["identifier"]![0]!["value"] = code + unit;
            if (code == "9192-6")
                charted["method"] = Route("right-nephrostomy");
            else
                charted["component"] = new JsonArray(Component("irrigation-line", "valueString", unit));
            (await sender.Post(charted)).Is(201);
        }

        // None is withheld.
        Assert.Contains("\"ready\"", (await ward.Read("/health/ready"))["status"]!.ToJsonString(), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("9027-4", "11:00", "12:00")]
    [InlineData("9028-2", "10:00", "18:00")]
    [InlineData("9029-0", "10:00", "20:00")]
    [InlineData("9030-8", "09:00", "21:00")]
    public async Task Flowsheet_codes_of_irrigant_are_known_out_of_the_box(string code, string start, string end)
    {
        var (sender, _) = await Of(evening);
        (await sender.Post(Timed(sender, code, "900", "mL", start, end))).Is(201);
    }

    [Fact]
    public async Task A_timed_code_over_another_time_is_refused()
    {
        var (sender, _) = await Of(evening);
        (await sender.Post(Timed(sender, "9188-4", "60", "mL/h", "11:00", "13:00"))).Refuses(
            422,
            "other-period",
            "Observation.effectivePeriod",
            "2 h"
        );
        (await sender.Post(Timed(sender, "9027-4", "60", "mL/d", "11:00", "12:00"))).Refuses(
            422,
            "wrong-unit",
            "Observation.valueQuantity.code"
        );
        (await sender.Post(sender.Coded(Codes.Systems.Loinc, "9028-2", "1", "11:00", Quantity("60", "mL")))).Refuses(
            422,
            "missing",
            "Observation.effectivePeriod"
        );
    }

    [Fact]
    public async Task A_patient_is_named_by_reference_as_well_as_by_identifier()
    {
        var number = evening.NewIdentifier();
        var described = RunningService.Episode(number, "2026-03-14T08:00:00Z");
        described["patient"] = new JsonObject { ["reference"] = $"Patient/{number}" };
        described["encounter"] = new JsonObject { ["reference"] = "Encounter/E-1" };
        var episode = await _ward.Open(described);
        var sender = new Sender(_ward, "unused");
        JsonObject Emptied(string id, string patient, string? encounter = null)
        {
            var emptied = sender.Observation("drainage-emptied", $"{number}-{id}", "09:00", Quantity("6", "mL"));
            emptied["subject"] = new JsonObject { ["reference"] = patient };
            if (encounter is not null)
                emptied["encounter"] = new JsonObject { ["reference"] = encounter };
            return emptied;
        }

        Assert.StartsWith(
            episode,
            (await sender.Post(Emptied("1", $"Patient/{number}", "Encounter/E-1"))).Is(201).Id,
            StringComparison.Ordinal
        );
        (await sender.Post(Emptied("2", $"Patient/{number}/_history/3"))).Is(201);
        (await sender.Post(Emptied("3", $"Patient/{number}", "Encounter/E-2"))).Refuses(
            422,
            "encounter-mismatch",
            "Observation.encounter.identifier",
            "Encounter/E-2"
        );
        (await sender.Post(Emptied("4", "Patient/nobody"))).Refuses(422, "no-episode", null);
        (await sender.Post(Emptied("5", "urn:uuid:0b8a6b0c-6e0a-4b7e-9c1e-1f0f5b1f2a01"))).Refuses(
            422,
            "unresolved-reference",
            "Observation.subject.reference"
        );
    }

    [Fact]
    public async Task A_patient_named_by_search_is_the_one_with_that_identifier()
    {
        var (sender, episode) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL"));
        var patient = (string)emptied["subject"]!["identifier"]!["value"]!;
        emptied["subject"] = new JsonObject
        {
            ["reference"] = $"Patient?identifier={Uri.EscapeDataString($"{RunningService.PatientSystem}|{patient}")}",
        };
        Assert.StartsWith(episode, (await sender.Post(emptied)).Is(201).Id, StringComparison.Ordinal);
        emptied["subject"]!["reference"] = "Patient?name=Example";
        (await sender.Post(emptied)).Refuses(422, "unresolved-reference", "Observation.subject.reference");
    }

    [Fact]
    public async Task Where_both_know_an_identifier_it_decides_whom_an_address_means()
    {
        var number = evening.NewIdentifier();
        var described = RunningService.Episode(number, "2026-03-14T08:00:00Z");
        described["patient"]!["reference"] = $"Patient/{number}";
        await _ward.Open(described);
        var sender = new Sender(_ward, "somebody else");
        var emptied = sender.Observation("drainage-emptied", $"{number}-1", "09:00", Quantity("6", "mL"));
        emptied["subject"]!["reference"] = $"Patient/{number}"; // on the sender's server, another
        (await sender.Post(emptied)).Refuses(422, "no-episode", null);
    }

    [Fact]
    public async Task Episodes_are_listed_in_pages()
    {
        await using var ward = RunningService.Start(EveningOnTheWard.Now);
        for (var i = 0; i < 3; i++)
            await ward.Open(RunningService.Episode($"stay-{i}", $"2026-03-14T0{i}:00:00Z"));
        var first = await ward.Read("/episodes?status=open&count=2");
        Assert.Equal(2, first["episodes"]!.AsArray().Count);
        var rest = await ward.Read((string)first["next"]!);
        Assert.Single(rest["episodes"]!.AsArray());
    }

    private static JsonObject Timed(Sender sender, string code, string number, string unit, string start, string end)
    {
        static string At(string clock) => clock.Length == 5 ? $"2026-03-14T{clock}:00Z" : clock;
        var charted = sender.Coded(Codes.Systems.Loinc, code, "timed", start, Quantity(number, unit));
        charted.Remove("effectiveDateTime");
        charted["effectivePeriod"] = new JsonObject { ["start"] = At(start), ["end"] = At(end) };
        return charted;
    }

    private static JsonObject Route(string slug) =>
        new() { ["coding"] = new JsonArray(new JsonObject { ["system"] = Ours.Profiles.CodeSystem("urine-route"), ["code"] = slug }) };

    private static string Self(JsonNode bundle) =>
        (string)bundle["link"]!.AsArray().Single(l => (string)l!["relation"]! == "self")!["url"]!;

    private static byte[] Pack(string encoding, byte[] bytes)
    {
        if (encoding == "gzip")
            return Gzip(bytes);
        using var packed = new MemoryStream();
        using (var brotli = new BrotliStream(packed, CompressionLevel.Fastest))
            brotli.Write(bytes);
        return packed.ToArray();
    }
}
