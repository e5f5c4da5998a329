using System.Globalization;
using System.Reflection;
using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using Irrigation.Episodes;
using IrrigationFhir.Entries;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Contract;

/// <summary>The contract in <c>openapi</c>: what it says is what the service does.</summary>
public partial class ContractTests
{
    private const string Document = "openapi/irrigationfhir.json";
    private const string Examples = "openapi/examples";
    private const string Before = "2026-03-14T21:05:00Z";

    /// <summary>Stands in for the id that the service gave.</summary>
    private const string EpisodeId = "c6wy6rweeazdqafi";

    private const string Episode = """
        {
          "identifier": {"system": "https://lantern-quay.example/irrigations", "value": "I-2026-0094"},
          "patient": {
            "identifier": {"system": "https://lantern-quay.example/patients", "value": "P-0431"},
            "display": "Isolde Marrowbone-Tuck (invented)"
          },
          "encounter": {"identifier": {"system": "https://lantern-quay.example/encounters", "value": "E-8840"}},
          "birthDate": "1958-02-11",
          "location": {"ward": "North 4", "room": "12", "bed": "2"},
          "reason": "clots after a resection of the bladder",
          "risks": ["takes an anticoagulant", "latex allergy"],
          "catheter": {
            "type": "three-way irrigation catheter", "size": {"value": 22, "unit": "[Ch]"}, "lumens": 3,
            "insertedAt": "2026-03-14T20:10:00+01:00"
          },
          "timeZone": "Europe/Vienna",
          "shiftStarts": ["07:00", "19:00"],
          "start": "2026-03-14T21:00:00+01:00"
        }
        """;

    /// <summary>800 − 700 = 100 mL in an hour.</summary>
    private const string Entries = """
        [
          {
            "source": "ward-7", "id": "4711", "kind": "irrigant-instilled",
            "from": "2026-03-14T21:00:00+01:00", "to": "2026-03-14T22:00:00+01:00",
            "volume": {"value": 700, "unit": "mL"}, "how": "pump",
            "recordedAt": "2026-03-14T22:02:00+01:00", "device": "pump P-2 (invented)"
          },
          {
            "source": "ward-7", "id": "4712", "kind": "drainage-emptied", "at": "2026-03-14T22:00:00+01:00",
            "volume": {"value": 800, "unit": "mL"}, "how": "graduation",
            "recordedAt": "2026-03-14T22:02:00+01:00", "performer": "N-31 (invented)"
          }
        ]
        """;

    private const string BelowZero = """
        {
          "source": "ward-7", "id": "4713", "kind": "drainage-emptied", "at": "2026-03-14T22:00:00+01:00",
          "volume": {"value": -40, "unit": "mL"}
        }
        """;

    [Fact]
    public async Task The_committed_contract_is_the_one_that_the_service_serves()
    {
        await using var ward = RunningService.Start(Before);
        var served = await ward.Read("/openapi/irrigationfhir.json");
        Assert.True(
            JsonNode.DeepEquals(JsonNode.Parse(Repo.Read(Document)), served),
            $"{Document} is not what the service serves: build, and commit what the build wrote"
        );
    }

    [Fact]
    public void The_contract_names_no_machine()
    {
        Assert.DoesNotContain("127.0.0.1", Repo.Read(Document), StringComparison.Ordinal);
        Assert.DoesNotContain("localhost", Repo.Read(Document), StringComparison.Ordinal);
        Assert.Equal("/", (string)Assert.Single(JsonNode.Parse(Repo.Read(Document))!["servers"]!.AsArray())!["url"]!);
    }

    [Fact]
    public async Task Every_example_of_the_contract_is_what_the_service_answers()
    {
        await using var ward = RunningService.Start(Before);
        var (told, episode) = (new HashSet<string>(), "");
        void Shows(string name, string text)
        {
            Assert.True(told.Add($"{Examples}/{name}"), $"{name} is told twice");
            Repo.Agrees($"{Examples}/{name}", text);
        }

        async Task Answers(string operation, int status, Task<Reply> asked)
        {
            var reply = await asked;
            Assert.True((int)reply.Status == status, $"{operation}: {(int)reply.Status} instead of {status}: {reply.Text}");
            if (status == 201)
                episode = (string)reply.Json["id"]!;
            Shows(
                string.Create(CultureInfo.InvariantCulture, $"{operation}.{status}.json"),
                Repo.Text(reply.Json).Replace(episode, EpisodeId, StringComparison.Ordinal)
            );
        }

        Shows("openEpisode.request.json", Repo.Text(JsonNode.Parse(Episode)!));
        await Answers("openEpisode", 201, Post(ward, "/episodes", Episode));
        await Answers("openEpisode", 200, Post(ward, "/episodes", Episode));
        await Answers("openEpisode", 400, Post(ward, "/episodes", "[]"));
        await Answers("openEpisode", 409, Post(ward, "/episodes", Episode.Replace("P-0431", "P-0432", StringComparison.Ordinal)));
        await Answers("openEpisode", 413, PostTooMuch(ward, "/episodes", (4 * 1024 * 1024) + 1));
        await Answers("openEpisode", 415, Post(ward, "/episodes", "<episode/>", "application/xml"));
        await Answers("openEpisode", 422, Post(ward, "/episodes", Episode.Replace("Europe/Vienna", "Vienna", StringComparison.Ordinal)));
        await Answers("findEpisodes", 200, ward.Get("/episodes?patient.identifier=https://lantern-quay.example/patients%7CP-0431"));
        await Answers("findEpisodes", 400, ward.Get("/episodes?status=closed"));
        await Answers("readEpisode", 200, ward.Get($"/episodes/{episode}"));
        await Answers("readEpisode", 404, ward.Get("/episodes/nowhere"));

        var (entries, lines) = (
            $"/episodes/{episode}/entries",
            string.Concat(JsonNode.Parse(Entries)!.AsArray().Select(entry => entry!.ToJsonString() + "\n"))
        );
        Shows("recordEntries.request.ndjson", lines);
        await Answers("recordEntries", 200, Post(ward, entries, lines, "application/x-ndjson"));
        Shows("recordEntries.request.json", Repo.Text(JsonNode.Parse(Entries)!));
        Assert.Equal(["repeated", "repeated"], (await Post(ward, entries, Entries)).Outcomes);
        await Answers("recordEntries", 400, Post(ward, entries, "{\"source\": \"ward-7\", "));
        await Answers("recordEntries", 404, Post(ward, "/episodes/nowhere/entries", Entries));
        await Answers("recordEntries", 413, Post(ward, entries, $"[{string.Join(',', Enumerable.Repeat("{}", 10_001))}]"));
        await Answers("recordEntries", 415, Post(ward, entries, "<entry/>", "application/xml"));
        await Answers("recordEntries", 422, Post(ward, entries, BelowZero));
        await Answers("readEntries", 200, ward.Get(entries));
        await Answers("readEntries", 404, ward.Get("/episodes/nowhere/entries"));
        await Answers("readBalance", 200, ward.Get($"/episodes/{episode}/balance?asOf=2026-03-14T22:05:00%2B01:00"));
        await Answers("readBalance", 400, ward.Get($"/episodes/{episode}/balance?asOf=yesterday"));
        await Answers("readBalance", 404, ward.Get("/episodes/nowhere/balance"));
        await Answers("readFlags", 200, ward.Get($"/episodes/{episode}/flags?asOf=2026-03-15T02:40:00%2B01:00"));
        await Answers("readFlags", 400, ward.Get($"/episodes/{episode}/flags?asOf=yesterday"));
        await Answers("readFlags", 404, ward.Get("/episodes/nowhere/flags"));
        await Answers("readRecord", 200, ward.Get($"/episodes/{episode}/record?asOf=2026-03-15T02:40:00%2B01:00"));
        await Answers("readRecord", 400, ward.Get($"/episodes/{episode}/record?asOf=yesterday"));
        await Answers("readRecord", 404, ward.Get("/episodes/nowhere/record"));
        var handover = $"/episodes/{episode}/handover?asOf=2026-03-15T02:40:00%2B01:00";
        using var balanceInWords = new HttpRequestMessage(HttpMethod.Get, new Uri($"/episodes/{episode}/balance", UriKind.Relative));
        balanceInWords.Headers.Accept.ParseAdd("text/plain");
        using var account = await ward.Http.SendAsync(balanceInWords);
        Shows("readBalance.200.txt", await account.Content.ReadAsStringAsync());
        Shows("readHandover.200.txt", (await ward.Http.GetStringAsync(handover)).Replace(episode, EpisodeId, StringComparison.Ordinal));
        using var asked = new HttpRequestMessage(HttpMethod.Get, handover);
        asked.Headers.Accept.ParseAdd("application/fhir+json");
        using var document = await ward.Http.SendAsync(asked);
        var text = Repo.Text(JsonNode.Parse(await document.Content.ReadAsStringAsync())!);
        Shows(
            "readHandover.200.json",
            text.Replace(episode, EpisodeId, StringComparison.Ordinal)
                .Replace(ward.Http.BaseAddress!.ToString(), "https://irrigation.example/", StringComparison.Ordinal)
                .Replace(Uuid().Match(text).Value, "urn:uuid:00000000-0000-8000-8000-000000000000", StringComparison.Ordinal)
        );
        await Answers("readHandover", 400, ward.Get($"/episodes/{episode}/handover?asOf=yesterday"));
        await Answers("readHandover", 404, ward.Get("/episodes/nowhere/handover"));

        await Answers("readWard", 200, ward.Get("/ward"));
        using var bedsInWords = new HttpRequestMessage(HttpMethod.Get, "/ward?location=North%204");
        bedsInWords.Headers.Accept.ParseAdd("text/plain");
        using var list = await ward.Http.SendAsync(bedsInWords);
        Shows("readWard.200.txt", await list.Content.ReadAsStringAsync());
        await Answers("readWard", 400, ward.Get("/ward?location=North%204%7C%7C"));
        const string Drip = "/drip-rate?volume=1000%20mL&time=12%20h&dropFactor=15&counted=20";
        await Answers("dripRate", 200, ward.Get(Drip));
        using var inWords = new HttpRequestMessage(HttpMethod.Get, Drip);
        inWords.Headers.Accept.ParseAdd("text/plain");
        using var words = await ward.Http.SendAsync(inWords);
        Shows("dripRate.200.txt", await words.Content.ReadAsStringAsync());
        await Answers("dripRate", 400, ward.Get("/drip-rate?volume=1000%20mL&time=0%20h"));

        await Answers("readSettings", 200, ward.Get("/settings"));

        Assert.Equal(told.Order(StringComparer.Ordinal), Repo.Files(Examples));
    }

    [Fact]
    public void Every_operation_shows_every_body_that_it_takes_and_answers_and_refuses_with_an_outcome()
    {
        string[] said =
        [
            "OK",
            "Created",
            "Bad Request",
            "Not Found",
            "Conflict",
            "Payload Too Large",
            "Unsupported Media Type",
            "Unprocessable Entity",
        ];
        var operations = JsonNode.Parse(Repo.Read(Document))!["paths"]!
            .AsObject()
            .SelectMany(path => path.Value!.AsObject())
            .Select(o => o.Value!)
            .ToList();
        Assert.NotEmpty(operations);
        foreach (var operation in operations)
        {
            var replies = operation["responses"]!.AsObject();
            var bodies = (operation["requestBody"]?["content"]?.AsObject() ?? []).Concat(
                replies.SelectMany(r => r.Value!["content"]!.AsObject())
            );
            Assert.All(
                bodies,
                body => Assert.True(body.Value!["example"] is not null, $"{operation["operationId"]}: {body.Key} without an example")
            );
            Assert.All(
                replies.Where(r => r.Key[0] == '4'),
                r => Assert.Equal("application/fhir+json", Assert.Single(r.Value!["content"]!.AsObject()).Key)
            );
            Assert.All(replies, r => Assert.DoesNotContain((string)r.Value!["description"]!, said));
        }
    }

    [Fact]
    public void The_contract_lists_every_property_and_every_kind_that_the_reader_reads()
    {
        var read = PropertyRead().Matches(Repo.Read("src/IrrigationFhir/Record/EntryReader.cs")).Select(m => m.Groups[1].Value).Distinct();
        var listed = typeof(EntryDocument)
            .GetProperties(BindingFlags.Public | BindingFlags.Instance)
            .Select(p => JsonNamingPolicy.CamelCase.ConvertName(p.Name));
        Assert.Equal(read.Order(StringComparer.Ordinal), listed.Order(StringComparer.Ordinal));

        var kinds = JsonNode.Parse(Repo.Read(Document))!["components"]!["schemas"]!["EntryDocument"]!["properties"]!["kind"]!["enum"]!
            .AsArray()
            .Select(k => (string)k!);
        Assert.Equal(EntryKinds.All.Where(k => k != "entered-in-error").Order(StringComparer.Ordinal), kinds.Order(StringComparer.Ordinal));
    }

    private static Task<Reply> Post(RunningService ward, string address, string body, string contentType = "application/json") =>
        ward.Post(address, Encoding.UTF8.GetBytes(body), contentType);

    /// <summary>Waits to be asked for the body, as a sender of large bodies should: a server that refuses one need not read it.</summary>
    private static async Task<Reply> PostTooMuch(RunningService ward, string address, int bytes)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, new Uri(address, UriKind.Relative));
        request.Content = new StringContent(new string(' ', bytes), Encoding.UTF8, "application/json");
        request.Headers.ExpectContinue = true;
        using var response = await ward.Http.SendAsync(request);
        return await Reply.Of(response);
    }

    [GeneratedRegex("urn:uuid:[0-9a-f-]{36}")]
    private static partial Regex Uuid();

    [GeneratedRegex("""read\.\w+(?:<[^>]*>)?\(\s*"(\w+)"[,)]""")]
    private static partial Regex PropertyRead();
}
