using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Audit;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Access;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Audit;

/// <summary>AuditEvents over HTTP: who may, by what they are found, and that nobody writes them.</summary>
public sealed class AuditEventApiTests : IAsyncLifetime
{
    private const string All = "system/*.cruds";
    private readonly NamedCallers _callers = new();
    private RunningService _ward = null!;
    private string _ada = "";

    public async Task InitializeAsync()
    {
        _ward = RunningService.Start(
            "2026-03-14T22:00:00Z",
            _callers.Into,
            null,
            ("Access:Facilities:0", "north"),
            ("Access:Facilities:1", "south")
        );
        _ada = await Opened("ward-board", "north", "Ada Invented");
        await Opened("ward-board", "south", "Bo Invented");
        await Ask(
            "GET",
            $"/fhir/Procedure?patient.identifier={Uri.EscapeDataString($"{RunningService.PatientSystem}|Ada Invented")}",
            "ward-board",
            All
        );
        await Ask("GET", "/fhir/Procedure", "ward-board", All);
        await Ask("GET", $"/episodes/{_ada}/balance", "statistics", All);
        await Ask("GET", "/fhir/Observation/nowhere", "statistics", All);
        await Ask("GET", "/fhir/Flag", "nosy", "system/Observation.rs");
        await _ward.All();
    }

    public async Task DisposeAsync() => await _ward.DisposeAsync();

    [Theory]
    [InlineData("auditor", "system/AuditEvent.rs", HttpStatusCode.OK)]
    [InlineData("auditor", "system/*.rs", HttpStatusCode.OK)]
    [InlineData("auditor", "system/AuditEvent.r", HttpStatusCode.Forbidden)]
    [InlineData("auditor", "system/Observation.rs", HttpStatusCode.Forbidden)]
    [InlineData("ward-board", "system/*.cruds", HttpStatusCode.Forbidden)] // not registered for it
    public async Task They_are_read_by_who_is_registered_for_it_and_has_the_scope(string client, string scopes, HttpStatusCode status)
    {
        Assert.Equal(status, (await Ask("GET", "/fhir/AuditEvent", client, scopes)).Status);
        Assert.Equal(status, (await Ask("GET", "/fhir/AuditEvent/1", client, scopes)).Status);
    }

    [Theory]
    [InlineData("POST", "/fhir/AuditEvent")]
    [InlineData("PUT", "/fhir/AuditEvent/1")]
    [InlineData("DELETE", "/fhir/AuditEvent/1")]
    public async Task Nobody_writes_them(string method, string address)
    {
        Assert.Equal(HttpStatusCode.MethodNotAllowed, (await Ask(method, address, "auditor", All)).Status);
        Assert.Equal(HttpStatusCode.OK, (await Ask("GET", "/fhir/AuditEvent/1", "auditor", All)).Status);
    }

    [Theory]
    [InlineData("patient.identifier=https://ward.example/patients|Ada Invented", 5)] // opened, charted, searched twice, balance
    [InlineData("patient:identifier=Ada Invented", 5)]
    [InlineData("patient.identifier=https://elsewhere.example|Ada Invented", 0)]
    [InlineData("patient.identifier=Bo Invented", 3)]
    [InlineData("patient.identifier=Ada Invented&patient.identifier=Bo Invented", 0)]
    [InlineData("agent.identifier=statistics", 2)]
    [InlineData("agent.identifier=nosy", 1)]
    [InlineData("type=http://dicom.nema.org/resources/ontology/DCM|110113", 1)]
    [InlineData("type=rest&agent.identifier=ward-board", 7)]
    [InlineData("subtype=search-type", 3)]
    [InlineData("subtype=read,create&patient.identifier=Ada Invented", 3)]
    [InlineData("action=C", 4)]
    [InlineData("outcome=4", 1)]
    [InlineData("outcome=8", 1)]
    [InlineData("date=2026-03-14&action=C", 4)]
    [InlineData("date=2026-03-15", 0)]
    [InlineData("date=ge2026-03-14&date=lt2026-03-15&action=R", 2)]
    [InlineData("date=gt2026-03-14", 0)]
    [InlineData("_id=2", 1)]
    [InlineData("entity=Procedure/{e}.bladder-irrigation", 2)]
    [InlineData("entity=Procedure/{e}", 0)]
    public async Task They_are_found_by(string query, int count)
    {
        var found = await Search(query);
        Assert.True(count == found.Count, $"{found.Count} instead of {count}: {string.Join('\n', found.Select(FhirJson.Write))}");
        Assert.All(found, told => Assert.Empty(AuditRules.Faults(told)));
    }

    [Theory]
    [InlineData("date=x")]
    [InlineData("date=ap2026")]
    [InlineData("_count=-1")]
    [InlineData("_total=x")]
    [InlineData("_summary=x")]
    [InlineData("_summary=true&_elements=action")]
    [InlineData("_summary=count&colour=blue")]
    [InlineData("_count=0&type=")]
    [InlineData("_sort=date&_page=WyItZGF0ZSIsMSwiMSJd")] // of the other order
    [InlineData("_page=x")]
    [InlineData("entity=a,b")]
    [InlineData("patient:exact=x")]
    [InlineData("patient.name=x")]
    [InlineData("type:not=rest")]
    [InlineData("outcome:missing=true")]
    public async Task What_cannot_be_meant_is_refused(string query) =>
        Assert.Equal(HttpStatusCode.BadRequest, (await Ask("GET", $"/fhir/AuditEvent?{query}", "auditor", All)).Status);

    [Fact]
    public async Task What_is_not_understood_is_named_and_passed_over()
    {
        var reply = await Ask("GET", "/fhir/AuditEvent?colour=blue&_id=1", "auditor", All);
        Assert.Equal(["match", "outcome"], reply.Json["entry"]!.AsArray().Select(entry => (string)entry!["search"]!["mode"]!));
        Assert.Contains("/fhir/AuditEvent?_id=1", (string)reply.Json["link"]![0]!["url"]!, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("colour=blue")]
    [InlineData("_sort=agent")]
    [InlineData("_include=AuditEvent:entity")]
    [InlineData("type=")]
    public async Task What_is_passed_over_is_refused_where_somebody_wants_it_strict(string query)
    {
        Assert.Equal(HttpStatusCode.OK, (await Ask("GET", $"/fhir/AuditEvent?{query}", "auditor", All)).Status);
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri($"/fhir/AuditEvent?{query}", UriKind.Relative));
        request.Headers.TryAddWithoutValidation("Authorization", NamedCallers.Bearer("auditor", All));
        request.Headers.Add("Prefer", "handling=strict");
        using var reply = await _ward.Http.SendAsync(request);
        Assert.Equal(["search-parameter-unknown"], (await Reply.Of(reply)).Codes);
    }

    [Theory]
    [InlineData("patient.identifier=Ada Invented", 5)]
    [InlineData("type=rest&agent.identifier=ward-board", 7)]
    [InlineData("subtype=search-type&agent.identifier=ward-board,statistics,nosy", 3)]
    [InlineData("action=C&type=http://terminology.hl7.org/CodeSystem/audit-event-type|", 4)]
    [InlineData("agent.identifier=ward-board&agent.identifier=statistics", 0)]
    [InlineData("_id=2", 1)]
    [InlineData("date=sa2026-03-14", 0)]
    [InlineData("date=eb2026-03-14", 0)]
    [InlineData("patient.identifier=Nobody", 0)]
    public async Task They_are_counted(string query, int count)
    {
        foreach (var how in new[] { "_summary=count", "_count=0", "_total=accurate&_count=1", "_total=estimate&_count=1" })
        {
            var bundle = (await Ask("GET", $"/fhir/AuditEvent?{query}&{how}", "auditor", All)).Json;
            Assert.True(count == (int)bundle["total"]!, $"{how}: {bundle}");
            var entries = bundle["entry"]?.AsArray().Count ?? 0;
            Assert.Equal(how.StartsWith("_total", StringComparison.Ordinal) ? Math.Min(count, 1) : 0, entries);
        }

        Assert.Null((await Ask("GET", $"/fhir/AuditEvent?{query}&_total=none", "auditor", All)).Json["total"]);
    }

    [Fact]
    public async Task Who_sees_one_facility_counts_what_was_done_with_its_patients_alone()
    {
        async Task<int> Count(string query) =>
            (int)(await Ask("GET", $"/fhir/AuditEvent?_summary=count&{query}", "auditor", All, "south")).Json["total"]!;
        Assert.Equal((0, 3), (await Count("patient.identifier=Ada Invented"), await Count("patient.identifier=Bo Invented")));
        Assert.Equal(3, await Count("agent.identifier=ward-board,statistics,nosy"));
    }

    [Theory]
    [InlineData("_sort=date", true)]
    [InlineData("_sort=-date", false)]
    public async Task They_come_in_the_order_that_is_asked_for_page_by_page(string sort, bool oldestFirst)
    {
        const string Who = "agent.identifier=ward-board,statistics,nosy";
        var latest = (await Search($"_count=1000&{Who}")).Select(told => told.Id).ToList();
        var paged = new List<string?>();
        for (var next = (string?)$"/fhir/AuditEvent?_count=3&{sort}&{Who}"; next is not null; )
        {
            var page = (await Ask("GET", next, "auditor", All)).Json;
            paged.AddRange(page["entry"]?.AsArray().Select(entry => (string?)entry!["resource"]!["id"]) ?? []);
            next = page["link"]!.AsArray().Where(l => (string)l!["relation"]! == "next").Select(l => (string?)l!["url"]).FirstOrDefault();
        }

        if (oldestFirst)
            latest.Reverse();
        Assert.Equal(latest, paged);
    }

    [Theory]
    [InlineData("_elements=action", "action", "outcome")]
    [InlineData("_elements=outcome,subtype", "outcome", "action")]
    [InlineData("_elements=action", "source", "outcome")] // mandatory, and so sent
    [InlineData("_summary=true", "outcome", "agent")] // R4 marks no agent as part of the summary
    public async Task A_part_of_them_is_sent_and_says_so(string query, string kept, string left)
    {
        var found = (await Ask("GET", $"/fhir/AuditEvent?_id=2&{query}", "auditor", All)).Json["entry"]!.AsArray().Single()!["resource"]!;
        var read = (await Ask("GET", $"/fhir/AuditEvent/2?{query}", "auditor", All)).Json;
        foreach (var part in new[] { found.AsObject(), read.AsObject() })
        {
            Assert.Equal("SUBSETTED", (string)part["meta"]!["tag"]!.AsArray().Single()!["code"]!);
            Assert.Equal("2", (string)part["id"]!);
            Assert.All(new[] { kept, "type", "recorded" }, name => Assert.True(part.ContainsKey(name), $"{name}: {part}"));
            Assert.False(part.ContainsKey(left), part.ToJsonString());
        }

        Assert.Equal(HttpStatusCode.BadRequest, (await Ask("GET", "/fhir/AuditEvent/2?_summary=count", "auditor", All)).Status);
    }

    [Fact]
    public async Task A_form_asks_the_same_as_an_address()
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, new Uri("/fhir/AuditEvent/_search?action=C", UriKind.Relative));
        request.Headers.TryAddWithoutValidation("Authorization", NamedCallers.Bearer("auditor", All));
        request.Content = new FormUrlEncodedContent([new("patient.identifier", "Bo Invented"), new("_summary", "count")]);
        using var reply = await _ward.Http.SendAsync(request);
        Assert.Equal(2, (int)(await Reply.Of(reply)).Json["total"]!);
    }

    [Fact]
    public async Task What_the_statement_claims_is_what_is_searched()
    {
        var claimed = (await Ask("GET", "/fhir/metadata", "auditor", All)).Json["rest"]![0]!["resource"]!
            .AsArray()
            .Single(type => (string)type!["type"]! == "AuditEvent")!;
        foreach (var name in claimed["searchParam"]!.AsArray().Select(parameter => (string)parameter!["name"]!))
        {
            var reply = await Ask("GET", $"/fhir/AuditEvent?{name}=2026&_count=1", "auditor", All);
            Assert.Equal(HttpStatusCode.OK, reply.Status);
            Assert.Contains($"{name}=2026", (string)reply.Json["link"]![0]!["url"]!, StringComparison.Ordinal);
        }

        Assert.Null(claimed["searchInclude"]);
        Assert.Null(claimed["searchRevInclude"]);
    }

    [Fact]
    public async Task Pages_follow_one_another_the_latest_first_and_nothing_is_left_out_or_comes_twice()
    {
        var whole = (await Search("_count=1000&date=2026-03-14&agent.identifier=ward-board,statistics,nosy")).ToList();
        Assert.True(whole.Count > 5);
        Assert.Equal(whole.OrderByDescending(told => told.Recorded).Select(told => told.Id), whole.Select(told => told.Id));
        var paged = new List<string?>();
        for (var next = (string?)"/fhir/AuditEvent?_count=2&agent.identifier=ward-board,statistics,nosy"; next is not null; )
        {
            var page = (await Ask("GET", next, "auditor", All)).Json;
            var ids = page["entry"]?.AsArray().Select(entry => (string?)entry!["resource"]!["id"]).ToList() ?? [];
            Assert.InRange(ids.Count, 0, 2);
            paged.AddRange(ids);
            next = page["link"]!
                .AsArray()
                .Where(link => (string)link!["relation"]! == "next")
                .Select(link => (string?)link!["url"])
                .FirstOrDefault();
        }

        Assert.Equal(whole.Select(told => told.Id), paged);
    }

    [Fact]
    public async Task Who_sees_one_facility_sees_what_was_done_with_its_patients_alone()
    {
        var seen = (await Ask("GET", "/fhir/AuditEvent?_count=1000", "auditor", All, "south")).Json["entry"]!.AsArray();
        Assert.NotEmpty(seen);
        Assert.All(seen, entry => Assert.Equal("south", (string?)entry!["resource"]!["source"]!["site"]));
        var whole = await Search("_count=1000&patient.identifier=Ada Invented");
        Assert.Equal(HttpStatusCode.NotFound, (await Ask("GET", $"/fhir/AuditEvent/{whole[0].Id}", "auditor", All, "south")).Status);
        Assert.Equal(HttpStatusCode.OK, (await Ask("GET", $"/fhir/AuditEvent/{whole[0].Id}", "auditor", All, "north")).Status);
    }

    [Fact]
    public async Task Who_reads_what_was_done_is_recorded_too()
    {
        var rows = await _ward.Of(() => Ask("GET", "/fhir/AuditEvent?patient.identifier=Ada Invented", "auditor", All));
        var told = Assert.Single(rows);
        Assert.Equal(("auditor", Deed.Query, "Ada Invented"), (told.Entry.Client, told.Entry.Deed, told.Entry.Patient!.Value));
    }

    [Fact]
    public async Task An_event_names_the_token_by_its_id_and_the_facility_of_the_patient()
    {
        var told = (await Search("agent.identifier=statistics&action=R&outcome=0")).Single();
        Assert.Equal(["urn:ietf:params:oauth:jti:token-of-statistics"], told.Agent[2].Policy);
        Assert.Equal([false, false, true], told.Agent.Select(agent => agent.Requestor!.Value));
        Assert.Equal("north", told.Source!.Site);
        Assert.Equal(2, told.Meta!.Profile.Count());
        BaseR4.Judge(told);
    }

    [Theory]
    [InlineData("story-1", true)]
    [InlineData("a.b_C-9", true)]
    [InlineData("two words", false)]
    [InlineData("<script>", false)]
    public async Task A_request_is_named_as_its_sender_did_or_anew(string sent, bool kept)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/health/live", UriKind.Relative));
        request.Headers.TryAddWithoutValidation("X-Request-Id", sent);
        using var reply = await _ward.Http.SendAsync(request);
        var id = reply.Headers.GetValues("X-Request-Id").Single();
        Assert.Equal(kept, id == sent);
        Assert.Matches("^[A-Za-z0-9._-]{1,64}$", id);
    }

    [Fact]
    public async Task Refusals_beyond_a_hundred_a_minute_are_told_by_one()
    {
        var rows = await _ward.Of(async () =>
        {
            for (var i = 0; i < 130; i++)
                await Ask("GET", "/fhir/Flag", "stubborn", "system/Observation.rs");
            _ward.Clock.Advance(TimeSpan.FromMinutes(1));
            for (var patience = 0; patience < 100 && (await _ward.All()).All(row => row.Entry.Times == 0); patience++)
                await Task.Delay(100);
        });
        var refused = rows.Where(row => row.Entry is { Deed: Deed.Refuse, Client: "stubborn" }).ToList();
        Assert.Equal(101, refused.Count);
        Assert.Equal(30, refused[^1].Entry.Times);
        Assert.Equal("not-allowed, 30 times within a minute", AuditEventMapper.ToEvent(refused[^1]).OutcomeDesc);
    }

    [Fact]
    public async Task What_was_planted_stands_where_it_belongs_and_nowhere_else()
    {
        const string Patient = "MARKER-PATIENT";
        const string Asked = "MARKER-ASKED";
        const string Secret = "MARKER-SECRET";
        await Opened("ward-board", "north", Patient);
        await Ask("GET", $"/fhir/Procedure?patient.identifier={Patient}&colour={Asked}", "ward-board", All);
        using (var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/fhir/Procedure", UriKind.Relative)))
        {
            request.Headers.TryAddWithoutValidation("Authorization", $"Basic {Secret}");
            request.Headers.Add("Cookie", $"session={Secret}");
            using var reply = await _ward.Http.SendAsync(request);
        }

        var found = await Search("_count=1000&agent.identifier=ward-board,unknown");
        foreach (var told in found)
        {
            foreach (var entity in told.Entity)
            {
                entity.Query =
                    entity.Query is { } query && Encoding.UTF8.GetString(query).Contains(Asked, StringComparison.Ordinal)
                        ? null
                        : entity.Query;
                if (entity.Type!.Code == "1")
                    entity.What = null;
            }

            var rest = FhirJson.Write(told);
            Assert.DoesNotContain("MARKER", rest, StringComparison.Ordinal);
            Assert.DoesNotContain(Convert.ToBase64String(Encoding.UTF8.GetBytes(Asked))[..^4], rest, StringComparison.Ordinal);
        }

        var all = string.Concat((await _ward.All()).Select(row => Encoding.UTF8.GetString(row.Entry.ToJson())));
        Assert.Contains(Patient, all, StringComparison.Ordinal);
        Assert.Contains(Asked, all, StringComparison.Ordinal);
        Assert.DoesNotContain(Secret, all, StringComparison.Ordinal);
    }

    private async Task<string> Opened(string client, string facility, string patient)
    {
        var reply = await Ask(
            "POST",
            "/episodes",
            client,
            All,
            facility,
            RunningService.Episode($"stay of {patient}", "2026-03-14T08:00:00Z", patient: patient)
        );
        Assert.True(reply.Status == HttpStatusCode.Created, reply.Text);
        var episode = (string)reply.Json["id"]!;
        var emptied = new JsonObject
        {
            ["source"] = "ward-board",
            ["id"] = "1",
            ["kind"] = "drainage-emptied",
            ["at"] = "2026-03-14T09:00:00Z",
            ["volume"] = new JsonObject { ["value"] = 400, ["unit"] = "mL" },
        };
        Assert.Equal(HttpStatusCode.OK, (await Ask("POST", $"/episodes/{episode}/entries", client, All, facility, emptied)).Status);
        return episode;
    }

    private async Task<IReadOnlyList<AuditEvent>> Search(string query)
    {
        var reply = await Ask("GET", $"/fhir/AuditEvent?{query.Replace("{e}", _ada, StringComparison.Ordinal)}", "auditor", All);
        Assert.True(reply.Status == HttpStatusCode.OK, reply.Text);
        var bundle = FhirJson.Read<Bundle>(reply.Text);
        return
        [
            .. bundle
                .Entry.Select(entry => (AuditEvent)entry.Resource!)
                .Where(told => told.Agent[0].Who!.Identifier!.Value is not ("auditor" or AuditEventMapper.Server)),
        ];
    }

    private Task<Reply> Ask(string method, string address, string client, string scopes) => Ask(method, address, client, scopes, null);

    private async Task<Reply> Ask(string method, string address, string client, string scopes, string? facility, JsonObject? body = null)
    {
        using var request = new HttpRequestMessage(new(method), new Uri(address, UriKind.RelativeOrAbsolute));
        var bearer = facility is null ? NamedCallers.Bearer(client, scopes) : NamedCallers.Bearer(client, scopes, facility);
        request.Headers.TryAddWithoutValidation("Authorization", bearer);
        if (body is not null)
            request.Content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json");
        using var reply = await _ward.Http.SendAsync(request);
        return await Reply.Of(reply);
    }
}
