using System.Net;
using System.Text;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Access;

/// <summary>Whatever an address shows, plain reads with the same token show too; and of another facility nothing is shown at all.</summary>
public sealed class ShownTests(ShownTests.Wards wards) : IClassFixture<ShownTests.Wards>
{
    private const string Patients = "patient.identifier=https://ward.example/patients|P-1";

    private static readonly string[] Types = ["Observation", "Procedure", "Flag", "Provenance", "Subscription", "*"];

    private static readonly string[] Queries =
    [
        "",
        "",
        "?status=final",
        "?status=active",
        "?category=procedure",
        "?category=vital-signs",
        "?code=9187-6",
        "?code=bladder-drainage-total",
        "?patient.identifier=https://ward.example/patients|P-1",
        "?patient.identifier=https://ward.example/patients|P-2&status=final",
        "?code=outflow-deficit",
        "?category=safety",
    ];

    /// <summary>Views that say of each resource which it is.</summary>
    private static readonly string[] Viewed = ["Observation", "Procedure", "Flag", "Provenance"];

    /// <summary>Addresses that show resources, of one type or of many.</summary>
    private static readonly string[] Addresses =
    [
        "/fhir/Observation?_count=1000",
        "/fhir/Observation?_sort=-_lastUpdated&_count=20",
        "/fhir/Observation?status=final&_include=Observation:derived-from&_include:iterate=Observation:derived-from&_count=1000",
        "/fhir/Observation?code=9187-6&_include=Observation:*&_revinclude=Provenance:target&_revinclude=Flag:*",
        $"/fhir/Observation?{Patients}&_total=accurate",
        "/fhir/Observation/_history?_count=1000",
        $"/fhir/Observation/$lastn?{Patients}&category=vital-signs,procedure&max=3",
        "/fhir/Procedure?_revinclude=Observation:part-of&_count=100",
        "/fhir/Procedure/_history",
        "/fhir/Flag?_count=100&_include=Flag:*",
        "/fhir/Flag/_history",
        "/fhir/Provenance?_include=Provenance:target&_count=1000",
        "/fhir/Subscription",
        "/fhir/Patient/$everything?identifier=https://ward.example/patients|P-1&_count=1000",
        "/fhir/Patient/$everything?identifier=https://ward.example/patients|P-2&_type=Observation,Provenance",
        "/ward",
        "/episodes",
        $"/episodes?{Patients}",
        "/episodes?identifier=https://ward.example/episodes|E-1",
    ];

    [Fact]
    public async Task Nothing_is_shown_that_a_plain_read_does_not_show()
    {
        var seed = Random.Shared.Next();
        var chance = new Random(seed);
        var (shown, hidden) = (0, 0);
        for (var n = 0; n < 60; n++)
        {
            string[] facilities = chance.Next(3) switch
            {
                0 => ["north"],
                1 => ["south"],
                _ => ["north", "south"],
            };
            var scopes = string.Join(' ', Enumerable.Range(0, 1 + chance.Next(4)).Select(_ => RandomScope(chance)));
            var bearer = NamedCallers.Bearer(chance.Next(2) == 0 ? "monitor" : "board", scopes, facilities);
            var known = new Dictionary<string, bool>();
            async Task AreReadable(IEnumerable<string> resources, string where)
            {
                foreach (var resource in resources)
                {
                    if (!known.TryGetValue(resource, out var readable))
                        known.Add(resource, readable = await wards.Reads(resource, bearer));
                    Assert.True(readable, $"seed {seed}: {string.Join(',', facilities)} {scopes}: {where} shows {resource}");
                    shown++;
                }
            }

            foreach (var type in Viewed)
            {
                var rows = await wards.Post("/fhir/ViewDefinition/$viewdefinition-run?_format=ndjson", Wards.Keys(type), bearer);
                Assert.True(rows.Status is HttpStatusCode.OK or HttpStatusCode.Forbidden, $"seed {seed}: {scopes}: {type}: {rows.Text}");
                if (rows.Status == HttpStatusCode.OK)
                    await AreReadable(Wards.Lines(rows.Text).Select(row => (string)row["key"]!), $"a view of {type}");
            }

            if (n % 5 == 0)
                await AreReadable(await wards.Exported(bearer), "an export");

            foreach (var address in Addresses)
            {
                var reply = await wards.Get(address, bearer);
                if (reply.Status != HttpStatusCode.OK)
                {
                    Assert.True(
                        reply.Codes.Single() is "not-allowed" or "unknown-patient",
                        $"seed {seed}: {scopes}: {address}: {reply.Text}"
                    );
                    hidden++;
                    continue;
                }

                await AreReadable(wards.ShownIn(reply.Json), address);

                if (
                    reply.Json["total"] is { } total
                    && reply.Json["link"]!.AsArray().Count == 1
                    && reply.Json["entry"] is JsonArray entries
                )
                    Assert.True(
                        (int)total == entries.Count(entry => (string)entry!["search"]!["mode"]! == "match"),
                        $"seed {seed}: {scopes}: {address}: total {total}"
                    );
            }

            foreach (var episode in wards.Episodes)
            {
                foreach (var view in new[] { "", "/balance", "/flags", "/record", "/handover", "/entries" })
                {
                    var reply = await wards.Get($"/episodes/{episode.Id}{view}", bearer);
                    Assert.True(
                        facilities.Contains(episode.Facility)
                            ? reply.Status is HttpStatusCode.OK or HttpStatusCode.Forbidden
                            : reply.Status is HttpStatusCode.NotFound or HttpStatusCode.Forbidden,
                        $"{episode}{view}: {reply.Status}"
                    );
                    if (view == "/flags" && reply.Status == HttpStatusCode.OK)
                        await AreReadable(
                            new[] { "standing", "ended" }
                                .SelectMany(list => reply.Json[list]!.AsArray())
                                .Select(flag => $"Flag/{flag!["id"]}"),
                            $"{episode.Id}{view}"
                        );
                }
            }
        }

        Assert.True(shown > 200 && hidden > 200, $"{shown} shown, {hidden} hidden");
    }

    // R-ACC-13
    [Fact]
    public async Task Absent_and_hidden_are_answered_alike()
    {
        var south = wards.Episodes.Single(episode => episode is { Facility: "south", Patient: "P-1" }).Id;
        var north = NamedCallers.Bearer("monitor", "system/*.cruds", "north");
        foreach (
            var (hidden, absent) in new[]
            {
                ($"/episodes/{south}", "/episodes/nothing"),
                ($"/episodes/{south}/balance", "/episodes/nothing/balance"),
                ($"/fhir/Procedure/{south}.bladder-irrigation", "/fhir/Procedure/nothing.bladder-irrigation"),
                ($"/fhir/Procedure/{south}.bladder-irrigation/_history", "/fhir/Procedure/nothing.bladder-irrigation/_history"),
                ($"/fhir/Procedure/{south}.bladder-irrigation/_history/1", "/fhir/Procedure/nothing.bladder-irrigation/_history/1"),
            }
        )
        {
            var (first, second) = (await wards.Get(hidden, north), await wards.Get(absent, north));
            Assert.Equal(HttpStatusCode.NotFound, first.Status);
            Assert.Equal(second.Text, first.Text.Replace(south, "nothing", StringComparison.Ordinal));
            Assert.Equal(second.Status, first.Status);
        }
    }

    [Fact]
    public async Task The_same_identifiers_in_two_facilities_are_two_episodes_of_two_patients()
    {
        var same = wards.Episodes.Where(episode => episode.Patient == "P-1").ToList();
        Assert.Equal(["north", "south"], same.Select(episode => episode.Facility));
        Assert.Equal(2, same.Select(episode => episode.Id).Distinct().Count());

        // Opened again by a client of one facility it is that one's.
        var again = await wards.Post(
            "/episodes",
            RunningService.Episode("E-1", "2026-03-14T19:00:00Z", null, "P-1"),
            NamedCallers.Bearer("monitor", "system/*.cruds", "south")
        );
        Assert.Equal((HttpStatusCode.OK, same[1].Id), (again.Status, (string)again.Json["id"]!));

        // An Observation goes to the episode of the facility of who sends it.
        var reply = await wards.Post(
            "/fhir/Observation",
            GateTests.Ward.Observation("of the south"),
            NamedCallers.Bearer("monitor", "system/*.cruds", "south")
        );
        Assert.True(reply.Status == HttpStatusCode.Created, reply.Text);
        Assert.StartsWith($"{same[1].Id}.", reply.Location!.Split('/')[^3], StringComparison.Ordinal);
        var update = GateTests.Ward.Observation("of the south");
        update["id"] = reply.Location!.Split('/')[^3];
        var other = await wards.Post(
            $"/fhir/Observation/{update["id"]}",
            update,
            NamedCallers.Bearer("monitor", "system/*.cruds", "north"),
            HttpMethod.Put
        );
        Assert.Equal(HttpStatusCode.NotFound, other.Status);
    }

    [Theory]
    [InlineData("west", "north", 422, "unknown-word")]
    [InlineData("south", "north", 403, "not-allowed")]
    [InlineData(null, "north,south", 422, "missing")]
    [InlineData("south", "north,south", 201, null)]
    [InlineData(null, "south", 201, null)]
    public async Task An_episode_is_opened_in_a_facility_of_its_opener(string? named, string seen, int status, string? code)
    {
        var episode = RunningService.Episode($"E {Guid.NewGuid()}", "2026-03-14T19:00:00Z", null, "P-9");
        if (named is not null)
            episode["facility"] = named;
        var reply = await wards.Post("/episodes", episode, NamedCallers.Bearer("monitor", "system/*.cruds", seen.Split(',')));
        Assert.True(status == (int)reply.Status, reply.Text);
        if (code is not null)
            Assert.Equal(code, reply.Codes.Single());
    }

    [Fact]
    public async Task An_export_holds_what_its_client_may_have_and_is_its_own()
    {
        var north = NamedCallers.Bearer("monitor", "system/Observation.rs system/Procedure.rs", "north");
        var begun = await wards.Get("/fhir/$export", north);
        Assert.Equal(HttpStatusCode.Accepted, begun.Status);
        Assert.Equal(HttpStatusCode.NotFound, (await wards.Get(begun.Location!, NamedCallers.Bearer("board", "system/*.rs"))).Status);

        var manifest = await wards.Ended(begun.Location!, north);
        var files = manifest["output"]!.AsArray().Select(file => ((string)file!["type"]!, (string)file["url"]!)).ToList();
        Assert.Equal(["Observation", "Procedure"], files.Select(file => file.Item1).Order(StringComparer.Ordinal));
        foreach (var (_, url) in files)
        {
            var file = await wards.Get(url, north);
            var resources = file.Text.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(line => JsonNode.Parse(line)!).ToList();
            Assert.NotEmpty(resources);
            Assert.All(resources, resource => Assert.Equal("north", wards.FacilityOf((string)resource["id"]!)));
            Assert.Equal(
                HttpStatusCode.NotFound,
                (await wards.Get(url, NamedCallers.Bearer("monitor", "system/Observation.rs", "north"))).Status
            );
        }
    }

    [Fact]
    public async Task Rows_of_a_view_are_of_the_facilities_that_are_seen()
    {
        var rows = await wards.Get(
            "/fhir/ViewDefinition/irrigation_episodes/$viewdefinition-run?_format=ndjson",
            NamedCallers.Bearer("monitor", "system/*.rs", "south")
        );
        Assert.Equal(HttpStatusCode.OK, rows.Status);
        foreach (var episode in wards.Episodes)
            Assert.Equal(episode.Facility == "south", rows.Text.Contains(episode.Id, StringComparison.Ordinal));
    }

    [Fact]
    public async Task An_export_and_a_view_are_cut_to_the_query_of_a_scope_and_no_more()
    {
        const string Volumes = "Observation.rs?code=bladder-drainage-total";
        var part = NamedCallers.Bearer("monitor", $"system/{Volumes}", "north");
        var found = await wards.Get("/fhir/Observation?code=bladder-drainage-total&_count=1000", part);
        var expected = wards.ShownIn(found.Json).Order(StringComparer.Ordinal).ToList();
        Assert.NotEmpty(expected);

        Assert.Equal(expected, (await wards.Exported(part)).Order(StringComparer.Ordinal));
        var rows = await wards.Post("/fhir/ViewDefinition/$viewdefinition-run?_format=ndjson", Wards.Keys("Observation"), part);
        Assert.Equal(expected, Wards.Lines(rows.Text).Select(row => (string)row["key"]!).Order(StringComparer.Ordinal));

        // Of two queries both parts; the patient is one as any other, whom nothing else is told of.
        var one = NamedCallers.Bearer(
            "monitor",
            "system/Observation.rs?patient.identifier=https://ward.example/patients|P-1 system/Flag.rs?category=safety",
            "north"
        );
        var ofOne = await wards.Exported(one);
        var first = wards.Episodes.First().Id;
        Assert.Contains(ofOne, key => key.StartsWith("Observation/", StringComparison.Ordinal));
        Assert.All(
            ofOne.Where(key => key.StartsWith("Observation/", StringComparison.Ordinal)),
            key => Assert.StartsWith($"Observation/{first}.", key, StringComparison.Ordinal)
        );
        one = NamedCallers.Bearer("monitor", "system/Observation.rs?patient.identifier=https://ward.example/patients|P-1", "north");
        var other = await wards.Get("/fhir/Patient/$export?patient=https://ward.example/patients|P-2&_type=Observation", one);
        var nobody = await wards.Get("/fhir/Patient/$export?patient=https://ward.example/patients|P-77&_type=Observation", one);
        Assert.Equal((HttpStatusCode.NotFound, nobody.Text), (other.Status, other.Text));
    }

    [Fact]
    public async Task Files_of_an_export_are_not_fetched_with_less_than_they_hold()
    {
        const string Scope = "system/Observation.rs?code=bladder-drainage-total system/Observation.rs?category=vital-signs";
        var all = NamedCallers.Bearer("monitor", Scope, "north", "south");
        var begun = await wards.Get("/fhir/$export?_type=Observation", all);
        Assert.True(begun.Status == HttpStatusCode.Accepted, begun.Text);
        var file = (string)(await wards.Ended(begun.Location!, all))["output"]![0]!["url"]!;
        foreach (
            var (scopes, facilities, status) in new[]
            {
                (Scope, "north,south", 200),
                ("system/Observation.rs", "north,south", 200),
                ("system/*.cruds", "north,south", 200),
                ("system/Observation.rs?code=bladder-drainage-total", "north,south", 404),
                ("system/Observation.rs?code=bladder-drainage-total system/Observation.rs?category=procedure", "north,south", 404),
                ("system/Observation.rs?code=bladder-drainage-total system/Observation.s", "north,south", 404),
                (Scope, "north", 404),
                ("system/*.cruds", "south", 404),
            }
        )
        {
            var fetched = await wards.Get(file, NamedCallers.Bearer("monitor", scopes, facilities.Split(',')));
            Assert.True(status == (int)fetched.Status, $"{scopes} {facilities}: {fetched.Status}");
        }
    }

    [Fact]
    public async Task Flags_of_an_episode_are_cut_to_the_query_of_a_scope_and_say_so()
    {
        var all = NamedCallers.Bearer("monitor", "system/*.cruds", "north");
        var (whole, part) = (new List<string>(), new List<string>());
        foreach (var episode in wards.Episodes.Where(one => one.Facility == "north"))
        {
            var flags = (await wards.Get($"/episodes/{episode.Id}/flags", all)).Json;
            Assert.Null(flags["partial"]);
            whole.AddRange(flags["standing"]!.AsArray().Select(flag => (string)flag!["flag"]!));
        }

        Assert.NotEmpty(whole);
        var few = NamedCallers.Bearer("monitor", $"system/Flag.rs?code={whole[0]}", "north");
        foreach (var episode in wards.Episodes.Where(one => one.Facility == "north"))
        {
            var flags = (await wards.Get($"/episodes/{episode.Id}/flags", few)).Json;
            Assert.True((bool)flags["partial"]!);
            Assert.Empty(flags["undecided"]!.AsArray());
            part.AddRange(flags["standing"]!.AsArray().Select(flag => (string)flag!["flag"]!));
        }

        Assert.Equal(whole.Where(flag => flag == whole[0]), part);
    }

    private static string RandomScope(Random chance)
    {
        var letters = string.Concat("cruds".Where(_ => chance.Next(3) > 0));
        return $"system/{Types[chance.Next(Types.Length)]}.{(letters.Length == 0 ? "rs" : letters)}{Queries[chance.Next(Queries.Length)]}";
    }

    /// <summary>Two facilities whose patients and episodes have the same identifiers.</summary>
    public sealed class Wards : IAsyncLifetime
    {
        private RunningService _service = null!;

        internal List<(string Id, string Facility, string Patient)> Episodes { get; } = [];

        internal NamedCallers Callers { get; } = new();

        public async Task InitializeAsync()
        {
            _service = RunningService.Start(
                "2026-03-14T22:00:00Z",
                Callers.Into,
                null,
                ("Access:Facilities:0", "north"),
                ("Access:Facilities:1", "south")
            );
            foreach (var facility in new[] { "north", "south" })
            {
                var bearer = NamedCallers.Bearer("monitor", "system/*.cruds", facility);
                foreach (var number in new[] { 1, 2 })
                {
                    var opened = await Post(
                        "/episodes",
                        RunningService.Episode($"E-{number}", "2026-03-14T19:00:00Z", null, $"P-{number}"),
                        bearer
                    );
                    Assert.True(opened.Status == HttpStatusCode.Created, opened.Text);
                    var id = (string)opened.Json["id"]!;
                    Episodes.Add((id, facility, $"P-{number}"));
                    var recorded = await Post($"/episodes/{id}/entries", Night(number), bearer);
                    Assert.True(recorded.Status == HttpStatusCode.OK, recorded.Text);
                    var amended = Night(number)[^1]!.DeepClone();
                    amended["volume"]!["value"] = 640;
                    Assert.Equal(HttpStatusCode.OK, (await Post($"/episodes/{id}/entries", amended, bearer)).Status);
                }
            }
        }

        public async Task DisposeAsync() => await _service.DisposeAsync();

        internal async Task<Reply> Get(string address, string bearer)
        {
            using var request = new HttpRequestMessage(HttpMethod.Get, new Uri(address, UriKind.RelativeOrAbsolute));
            request.Headers.TryAddWithoutValidation("Authorization", bearer);
            request.Headers.TryAddWithoutValidation("Prefer", "respond-async");
            using var response = await _service.Http.SendAsync(request);
            var reply = await Reply.Of(response);
            return
                response.Content.Headers.TryGetValues("Content-Location", out var at)
                || response.Headers.TryGetValues("Content-Location", out at)
                ? reply with
                {
                    Location = at.Single(),
                }
                : reply;
        }

        internal async Task<Reply> Post(string address, JsonNode body, string bearer, HttpMethod? method = null)
        {
            using var request = new HttpRequestMessage(method ?? HttpMethod.Post, new Uri(address, UriKind.Relative))
            {
                Content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json"),
            };
            request.Headers.TryAddWithoutValidation("Authorization", bearer);
            using var response = await _service.Http.SendAsync(request);
            return await Reply.Of(response);
        }

        internal async Task<JsonNode> Ended(string address, string bearer)
        {
            for (var patience = 600; patience > 0; patience--)
            {
                var reply = await Get(address, bearer);
                if (reply.Status == HttpStatusCode.OK)
                    return reply.Json;
                Assert.True(reply.Status == HttpStatusCode.Accepted, reply.Text);
                await Task.Delay(100);
            }

            throw new TimeoutException("an export that does not end");
        }

        /// <summary>What asks for the addresses of all resources of a type.</summary>
        internal static JsonObject Keys(string type) =>
            new()
            {
                ["resourceType"] = "Parameters",
                ["parameter"] = new JsonArray(
                    new JsonObject
                    {
                        ["name"] = "viewResource",
                        ["resource"] = new JsonObject
                        {
                            ["resourceType"] = "ViewDefinition",
                            ["status"] = "active",
                            ["name"] = "keys",
                            ["resource"] = type,
                            ["select"] = new JsonArray(
                                new JsonObject
                                {
                                    ["column"] = new JsonArray(new JsonObject { ["name"] = "key", ["path"] = "getResourceKey()" }),
                                }
                            ),
                        },
                    }
                ),
            };

        internal static IEnumerable<JsonNode> Lines(string text) =>
            text.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(line => JsonNode.Parse(line)!);

        /// <summary>The addresses of all that an export holds; none where nothing may be exported.</summary>
        internal async Task<IReadOnlyList<string>> Exported(string bearer)
        {
            var begun = await Get("/fhir/$export", bearer);
            if (begun.Status == HttpStatusCode.Forbidden)
                return [];
            Assert.Equal(HttpStatusCode.Accepted, begun.Status);
            var manifest = await Ended(begun.Location!, bearer);
            var keys = new List<string>();
            foreach (var file in manifest["output"]!.AsArray())
                keys.AddRange(Lines((await Get((string)file!["url"]!, bearer)).Text).Select(one => $"{one["resourceType"]}/{one["id"]}"));
            return keys;
        }

        internal async Task<bool> Reads(string resource, string bearer) =>
            (await Get($"/fhir/{resource}", bearer)).Status == HttpStatusCode.OK;

        internal string FacilityOf(string id) => Episodes.Single(episode => id.Split('.')[0] == episode.Id).Facility;

        /// <summary>Resources in an answer, by address; an episode of the JSON API by its own.</summary>
        internal IEnumerable<string> ShownIn(JsonNode? node)
        {
            switch (node)
            {
                case JsonArray list:
                    foreach (var shown in list.SelectMany(ShownIn))
                        yield return shown;
                    break;
                case JsonObject one:
                    if (one["resourceType"] is { } type && one["id"] is { } id && (string)type! is not ("Bundle" or "OperationOutcome"))
                        yield return $"{type}/{id}";
                    else if (one["episode"] is not null && one["id"] is { } episode)
                        yield return $"../episodes/{episode}";
                    else
                    {
                        foreach (var shown in one.SelectMany(member => ShownIn(member.Value)))
                            yield return shown;
                    }

                    break;
            }
        }

        private static JsonArray Night(int number) =>
            new(
                Entry(number, 0, "bag-hung", "19:00", ("line", "A"), ("volume", Volume(3000))),
                Entry(number, 1, "flow-set", "19:00", ("line", "A"), ("rate", Quantity(300, "mL/h"))),
                Entry(number, 2, "drainage-emptied", "20:00", ("volume", Volume(380))),
                Entry(number, 3, "drainage-emptied", "21:00", ("volume", Volume(0 + (number == 1 ? 20 : 350)))),
                Entry(number, 4, "drainage-emptied", "21:50", ("volume", Volume(300)))
            );

        private static JsonObject Entry(int number, int at, string kind, string time, params (string Name, JsonNode Value)[] more)
        {
            var entry = new JsonObject
            {
                ["source"] = "nurse",
                ["id"] = $"{number}-{at}",
                ["kind"] = kind,
                ["at"] = $"2026-03-14T{time}:00Z",
            };
            foreach (var (name, value) in more)
                entry[name] = value;
            return entry;
        }

        private static JsonObject Volume(int millilitres) => Quantity(millilitres, "mL");

        private static JsonObject Quantity(int value, string unit) => new() { ["value"] = value, ["unit"] = unit };
    }
}
