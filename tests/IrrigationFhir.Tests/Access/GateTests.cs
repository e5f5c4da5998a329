using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Access;

/// <summary>What each address needs, and that nobody gets it without (R-ACC-04, R-ACC-06, R-ACC-07, R-ACC-09 to R-ACC-11).</summary>
public sealed class GateTests : IClassFixture<GateTests.Ward>
{
    private readonly Ward _ward;

    public GateTests(Ward ward) => _ward = ward;

    /// <summary>
    /// Every address with what is enough for it: the table of what each route needs, as the letters of SMART App Launch 2.2 mean it. Of
    /// several lists of scopes any one; in each every letter is needed. {e} is an episode, {o} an Observation, {f} a Flag.
    /// </summary>
    public static TheoryData<string, string, string> Routes =>
        new()
        {
            { "GET", "/fhir/Observation/{o}", "Observation.r" },
            { "GET", "/fhir/Observation/{o}/_history", "Observation.r" },
            { "GET", "/fhir/Observation/{o}/_history/1", "Observation.r" },
            { "GET", "/fhir/Observation?status=final", "Observation.rs" },
            { "GET", "/fhir/Observation?_summary=count", "Observation.s" },
            { "POST", "/fhir/Observation/_search", "Observation.rs" },
            { "GET", "/fhir/Observation/_history", "Observation.rs" },
            { "GET", "/fhir/Flag", "Flag.rs" },
            { "GET", "/fhir/Procedure", "Procedure.rs" },
            { "GET", "/fhir/Provenance", "Provenance.rs" },
            { "GET", "/fhir/Subscription", "Subscription.rs" },
            { "GET", "/fhir/Subscription/$status", "Subscription.r" },
            {
                "GET",
                "/fhir/Observation/$lastn?patient.identifier=https://ward.example/patients|P-1&category=vital-signs",
                "Observation.rs"
            },
            { "GET", "/fhir/Patient/$everything?identifier=https://ward.example/patients|P-1&_type=Flag", "Flag.rs" },
            { "GET", "/fhir/Patient/one/$everything?_type=Observation,Flag", "Observation.rs Flag.rs" },
            { "POST", "/fhir/Observation", "Observation.c" },
            { "PUT", "/fhir/Observation/{o}", "Observation.u" },
            { "POST", "/fhir/Observation/$validate", "Observation.c or Observation.u" },
            { "POST", "/fhir/Flag/$validate", "Flag.c or Flag.u" },
            { "POST", "/fhir/Subscription", "Subscription.c" },
            { "PUT", "/fhir/Subscription/one", "Subscription.u" },
            { "GET", "/fhir/$export?_type=Observation", "Observation.rs" },
            { "GET", "/fhir/Patient/$export?_type=Flag,Procedure", "Flag.rs Procedure.rs" },
            { "GET", "/fhir/ViewDefinition/output_intervals/$viewdefinition-run?_format=ndjson", "Observation.rs" },
            { "POST", "/episodes", "Procedure.c or Procedure.u" },
            { "GET", "/episodes", "Procedure.rs" },
            { "GET", "/episodes/{e}", "Procedure.r" },
            { "POST", "/episodes/{e}/entries", "Observation.c or Observation.u or Flag.u" },
            { "GET", "/episodes/{e}/entries", "Observation.rs" },
            { "GET", "/episodes/{e}/balance", "Observation.rs" },
            { "GET", "/episodes/{e}/flags", "Flag.rs" },
            { "GET", "/episodes/{e}/record", "Observation.rs Flag.rs Procedure.r" },
            { "GET", "/episodes/{e}/handover", "Observation.rs Flag.rs Procedure.r" },
            { "GET", "/ward", "Observation.rs Flag.rs Procedure.rs" },
        };

    [Theory]
    [MemberData(nameof(Routes))]
    public async Task An_address_is_answered_to_whom_it_may_be_and_to_nobody_else(string method, string address, string needs)
    {
        Assert.Equal(HttpStatusCode.Unauthorized, (await _ward.Ask(method, address, null)).Status);
        Assert.Equal(HttpStatusCode.Forbidden, (await _ward.Ask(method, address, "")).Status);
        foreach (var way in needs.Split(" or "))
        {
            await Let(way.Replace(".", "/", StringComparison.Ordinal), string.Join(' ', way.Split(' ').Select(one => $"system/{one}")));
            await Let("every type", string.Join(' ', way.Split(' ').Select(one => $"system/*.{one.Split('.')[1]}")));
            await Let("first version", string.Join(' ', way.Split(' ').SelectMany(FirstVersion)));
            foreach (var left in OneLetterLess(way.Split(' ')))
                await Keep($"{left} of {way}", left, needs);
        }

        await Keep("another type", "system/Device.cruds", needs);
        await Keep("patient/ and user/", "patient/*.cruds user/*.cruds", needs);
        await Keep("letters out of order", "system/*.sduc system/*.srud", needs);

        async Task Let(string what, string scopes)
        {
            var reply = await _ward.Ask(method, address, scopes);
            Assert.True(reply.Status is not (HttpStatusCode.Unauthorized or HttpStatusCode.Forbidden), $"{what}: {reply.Text}");
        }

        async Task Keep(string what, string scopes, string all)
        {
            // What is one letter less of one way may be all of another.
            if (all.Split(" or ").Any(way => way.Split(' ').All(one => scopes.Split(' ').Contains($"system/{one}"))))
                return;
            var reply = await _ward.Ask(method, address, scopes);
            Assert.True(reply.Status == HttpStatusCode.Forbidden, $"{what}: {reply.Status} {reply.Text}");
            Assert.Equal("not-allowed", reply.Codes.Single());
        }
    }

    /// <summary>Where a part of a type is not enough: what rests on more than single resources, and Subscriptions as such.</summary>
    private static readonly string[] NeedWholeTypes =
    [
        "POST /fhir/Subscription",
        "PUT /fhir/Subscription/one",
        "POST /episodes",
        "GET /episodes",
        "GET /episodes/{e}",
        "POST /episodes/{e}/entries",
        "GET /episodes/{e}/entries",
        "GET /episodes/{e}/balance",
        "GET /episodes/{e}/record",
        "GET /episodes/{e}/handover",
        "GET /ward",
    ];

    // R-ACC-11
    [Theory]
    [MemberData(nameof(Routes))]
    public async Task A_part_of_a_type_is_cut_out_or_not_enough_and_a_query_that_cannot_be_kept_to_is_nothing(
        string method,
        string address,
        string needs
    )
    {
        foreach (var way in needs.Split(" or "))
        {
            // A Provenance has no status.
            var query = way.StartsWith("Provenance", StringComparison.Ordinal)
                ? "patient.identifier=https://ward.example/patients|P-1"
                : "status=final,active,completed,in-progress";
            var part = await _ward.Ask(method, address, With(query));
            var refused = NeedWholeTypes.Contains($"{method} {address}");
            Assert.True(refused == (part.Status == HttpStatusCode.Forbidden), $"{way}: {part.Status} {part.Text}");
            Assert.NotEqual(HttpStatusCode.Unauthorized, part.Status);
            foreach (var strange in new[] { "date=ge2020", "code:not=1", "status:missing=false", "subject.identifier=1", "_id=1", "x=y" })
            {
                var nothing = await _ward.Ask(method, address, With(strange));
                Assert.True(nothing.Status == HttpStatusCode.Forbidden, $"{way}?{strange}: {nothing.Status} {nothing.Text}");
            }

            string With(string narrowed) => string.Join(' ', way.Split(' ').Select(one => $"system/{one}?{narrowed}"));
        }
    }

    /// <summary>A client of a facility that has no patients: everything is as if nothing were here.</summary>
    [Theory]
    [MemberData(nameof(Routes))]
    public async Task Of_another_facility_nothing_is_shown_or_changed(string method, string address, string needs)
    {
        Assert.NotEmpty(needs);
        var reply = await _ward.Ask(method, address, "system/*.cruds", null, "elsewhere");
        if (address.Contains('{', StringComparison.Ordinal))
            Assert.True(
                reply.Status is HttpStatusCode.NotFound || (method == "POST" && reply.Status == HttpStatusCode.BadRequest),
                $"{reply.Status} {reply.Text}"
            );
        else
            Assert.DoesNotContain(_ward.Episode, reply.Text, StringComparison.Ordinal);
    }

    // R-ACC-10
    [Fact]
    public async Task What_is_asked_for_in_so_many_words_is_refused_and_what_is_not_mentioned_is_left_out()
    {
        const string Flags = "system/Flag.rs";
        const string Patient = "identifier=https://ward.example/patients|P-1";
        foreach (
            var named in new[]
            {
                "/fhir/Observation",
                $"/fhir/Patient/$everything?{Patient}&_type=Flag,Observation",
                "/fhir/$export?_type=Flag,Observation",
                "/fhir/Patient/$export?_type=Observation",
                "/fhir/ViewDefinition/output_intervals/$viewdefinition-run?_format=ndjson",
            }
        )
            Assert.Equal(HttpStatusCode.Forbidden, (await _ward.Ask("GET", named, Flags)).Status);

        // Where as many were asked for just now as may be, those end soon.
        var begun = await _ward.Ask("GET", "/fhir/$export", Flags);
        for (var patience = 100; begun.Status == HttpStatusCode.TooManyRequests && patience > 0; patience--)
        {
            await Task.Delay(100);
            begun = await _ward.Ask("GET", "/fhir/$export", Flags);
        }

        Assert.Equal(HttpStatusCode.Accepted, begun.Status);
        var all = await _ward.Ask("GET", $"/fhir/Patient/$everything?{Patient}", "system/*.rs");
        var some = await _ward.Ask("GET", $"/fhir/Patient/$everything?{Patient}", "system/Observation.rs");
        Assert.Contains("\"Procedure\"", all.Text, StringComparison.Ordinal);
        Assert.Equal(["Observation"], Types(some));
        var alone = await _ward.Ask(
            "GET",
            "/fhir/Observation?_include=Observation:part-of&_revinclude=Provenance:target",
            "system/Observation.rs"
        );
        Assert.Equal(["Observation"], Types(alone));

        static IEnumerable<string> Types(Reply reply) =>
            reply.Json["entry"]!.AsArray().Select(entry => (string)entry!["resource"]!["resourceType"]!).Distinct();
    }

    private static IEnumerable<string> FirstVersion(string one) =>
        one.Split('.') is [var type, var letters]
            ? new[]
            {
                letters.Intersect("rs").Any() ? $"system/{type}.read" : null,
                letters.Intersect("cud").Any() ? $"system/{type}.write" : null,
            }.OfType<string>()
            : [];

    private static IEnumerable<string> OneLetterLess(string[] scopes) =>
        from scope in scopes
        let parts = scope.Split('.')
        from letter in parts[1]
        let left = parts[1].Replace(letter.ToString(), "", StringComparison.Ordinal)
        select string.Join(
            ' ',
            scopes.Select(other =>
                other != scope ? $"system/{other}"
                : left.Length == 0 ? ""
                : $"system/{parts[0]}.{left}"
            )
        );

    [Fact]
    public void Every_route_says_what_it_needs()
    {
        var routes = _ward.Service.Services.GetRequiredService<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>().ToList();
        Assert.True(routes.Count > 60);
        Assert.All(routes, route => Assert.True(route.Metadata.GetMetadata<AccessNeeds>() is not null, route.RoutePattern.RawText));
    }

    [Fact]
    public void Only_what_holds_nothing_of_a_patient_is_answered_to_everybody()
    {
        var open = _ward
            .Service.Services.GetRequiredService<EndpointDataSource>()
            .Endpoints.OfType<RouteEndpoint>()
            .Where(route => route.Metadata.GetMetadata<AccessNeeds>() is { Open: true })
            .Select(route => $"/{route.RoutePattern.RawText!.Trim('/')}")
            .Distinct()
            .Where(route => !route.StartsWith("/docs", StringComparison.Ordinal));
        Assert.Equal(
            [
                "/",
                "/fhir/.well-known/smart-configuration",
                "/fhir/metadata",
                "/fhir/package.tgz",
                "/health/live",
                "/health/ready",
                "/openapi/fhir.json",
                "/openapi/irrigationfhir.json",
            ],
            open.Order(StringComparer.Ordinal)
        );
    }

    [Theory]
    [InlineData("GET", "/nowhere")]
    [InlineData("GET", "/fhir/Patient/one")]
    [InlineData("DELETE", "/fhir/Observation/one")]
    public async Task An_address_that_nothing_is_at_is_told_to_nobody_without_a_token(string method, string address)
    {
        Assert.Equal(HttpStatusCode.Unauthorized, (await _ward.Ask(method, address, null)).Status);
        var known = (await _ward.Ask(method, address, "system/Flag.r")).Status;
        Assert.True(known is HttpStatusCode.NotFound or HttpStatusCode.MethodNotAllowed, known.ToString());
    }

    [Theory]
    [InlineData("/health/live")]
    [InlineData("/fhir/metadata")]
    [InlineData("/openapi/fhir.json")]
    public async Task What_is_open_is_answered_without_a_token(string address) =>
        Assert.Equal(HttpStatusCode.OK, (await _ward.Ask("GET", address, null)).Status);

    [Fact]
    public async Task A_refusal_says_how_to_ask()
    {
        using var reply = await _ward.Send("GET", "/fhir/Flag", null);
        Assert.Equal("Bearer", reply.Headers.WwwAuthenticate.Single().Scheme);
        using var scope = await _ward.Send("GET", "/fhir/Flag", "system/Observation.rs");
        Assert.Contains("insufficient_scope", scope.Headers.WwwAuthenticate.Single().ToString(), StringComparison.Ordinal);
    }

    // R-ACC-09
    [Fact]
    public async Task Entries_of_a_batch_are_judged_one_by_one_and_a_transaction_does_nothing()
    {
        static JsonObject Bundle(string type) =>
            new()
            {
                ["resourceType"] = "Bundle",
                ["type"] = type,
                ["entry"] = new JsonArray(
                    Get("Flag"),
                    Get("Observation?_summary=count"),
                    Get("metadata"),
                    new JsonObject
                    {
                        ["resource"] = Ward.Observation("in a bundle"),
                        ["request"] = new JsonObject { ["method"] = "POST", ["url"] = "Observation" },
                    }
                ),
            };
        static JsonObject Get(string url) =>
            new()
            {
                ["request"] = new JsonObject { ["method"] = "GET", ["url"] = url },
            };

        var batch = await _ward.Ask("POST", "/fhir", "system/Flag.rs", Bundle("batch"));
        Assert.Equal(
            ["200 OK", "403 Forbidden", "200 OK", "403 Forbidden"],
            batch.Json["entry"]!.AsArray().Select(entry => (string)entry!["response"]!["status"]!)
        );

        var transaction = await _ward.Ask("POST", "/fhir", "system/Flag.rs", Bundle("transaction"));
        Assert.Equal(HttpStatusCode.Forbidden, transaction.Status);
        Assert.Equal(
            0,
            (int)(await _ward.Ask("GET", "/fhir/Observation?identifier=in a bundle&_summary=count", "system/*.s")).Json["total"]!
        );
    }

    [Theory]
    [InlineData("Observation.c", 200, 403, 403, 403)]
    [InlineData("Observation.u", 403, 200, 200, 403)]
    [InlineData("Flag.u", 403, 403, 403, 422)]
    [InlineData("Observation.cu", 200, 200, 200, 403)]
    public async Task Who_records_may_not_yet_amend_withdraw_or_acknowledge(
        string scope,
        int records,
        int amends,
        int withdraws,
        int acknowledges
    )
    {
        var id = $"{scope} {Guid.NewGuid()}";
        var all = "system/*.cruds";
        await Answers(200, all, Drained(id, 100));

        await Answers(records, $"system/{scope}", Drained($"{id} new", 80));
        await Answers(amends, $"system/{scope}", Drained(id, 110));
        var withdrawal = Drained(id, 1);
        withdrawal["status"] = "entered-in-error";
        await Answers(withdraws, $"system/{scope}", withdrawal);
        var seen = new JsonObject
        {
            ["source"] = "nurse",
            ["id"] = $"{id} seen",
            ["kind"] = "flag-acknowledged",
            ["at"] = "2026-03-14T20:40:00Z",
            ["flag"] = "Flag/none",
        };
        await Answers(acknowledges, $"system/{scope}", seen);

        async Task Answers(int status, string scopes, JsonObject entry)
        {
            var reply = await _ward.Ask("POST", "/episodes/{e}/entries", scopes, entry);
            Assert.True(status == (int)reply.Status, $"{(int)reply.Status} instead of {status}: {reply.Text}");
        }

        static JsonObject Drained(string id, int volume) =>
            new()
            {
                ["source"] = "nurse",
                ["id"] = id,
                ["kind"] = "urine-collected",
                ["route"] = "left-nephrostomy",
                ["at"] = "2026-03-14T20:30:00Z",
                ["volume"] = new JsonObject { ["value"] = volume, ["unit"] = "mL" },
            };
    }

    [Theory]
    [InlineData("Observation.rs?code=76065-5")]
    [InlineData("Observation.rs?nonsense=1")]
    [InlineData("Observation.rs?code:not=1")]
    [InlineData("Observation.rs?date=ge2020")]
    public async Task A_part_of_a_type_is_no_balance_and_a_query_that_cannot_be_kept_to_grants_nothing(string scope)
    {
        Assert.Equal(HttpStatusCode.Forbidden, (await _ward.Ask("GET", "/episodes/{e}/balance", $"system/{scope}")).Status);
        var search = await _ward.Ask("GET", "/fhir/Observation", $"system/{scope}");
        Assert.Equal(scope.Contains("?code=", StringComparison.Ordinal) ? HttpStatusCode.OK : HttpStatusCode.Forbidden, search.Status);
    }

    /// <summary>A service with a night, whose callers say who they are.</summary>
    public sealed class Ward : IAsyncLifetime
    {
        private string _episode = "";
        private string _observation = "";

        internal NamedCallers Callers { get; } = new();

        internal string Episode => _episode;

        internal RunningService Service { get; private set; } = null!;

        public async Task InitializeAsync()
        {
            Service = RunningService.Start("2026-03-14T21:00:00Z", Callers.Into);
            var opened = await Ask(
                "POST",
                "/episodes",
                "system/*.cruds",
                RunningService.Episode("E-1", "2026-03-14T20:00:00Z", null, "P-1")
            );
            _episode = (string)opened.Json["id"]!;
            var created = await Ask("POST", "/fhir/Observation", "system/*.cruds", Observation("first"));
            Assert.True(created.Status == HttpStatusCode.Created, created.Text);
            _observation = created.Location!.Split('/')[^3];
        }

        public async Task DisposeAsync() => await Service.DisposeAsync();

        /// <summary>An emptied jug, as an Observation.</summary>
        internal static JsonObject Observation(string identifier) =>
            new()
            {
                ["resourceType"] = "Observation",
                ["identifier"] = new JsonArray(new JsonObject { ["system"] = "https://jugs.example", ["value"] = identifier }),
                ["status"] = "final",
                ["code"] = new JsonObject
                {
                    ["coding"] = new JsonArray(
                        new JsonObject
                        {
                            ["system"] = "https://irrigationfhir.example/fhir/CodeSystem/irrigation-observation",
                            ["code"] = "bladder-drainage-total",
                        }
                    ),
                },
                ["subject"] = new JsonObject
                {
                    ["identifier"] = new JsonObject { ["system"] = RunningService.PatientSystem, ["value"] = "P-1" },
                },
                ["effectiveDateTime"] = "2026-03-14T20:20:00Z",
                ["valueQuantity"] = new JsonObject
                {
                    ["value"] = 50,
                    ["unit"] = "mL",
                    ["system"] = "http://unitsofmeasure.org",
                    ["code"] = "mL",
                },
            };

        internal async Task<Reply> Ask(string method, string address, string? scopes, JsonObject? body = null, params string[] facilities)
        {
            using var reply = await Send(method, address, scopes, body, facilities);
            return await Reply.Of(reply);
        }

        /// <summary>Asks with scopes, or with no token at all.</summary>
        internal async Task<HttpResponseMessage> Send(
            string method,
            string address,
            string? scopes,
            JsonObject? body = null,
            params string[] facilities
        )
        {
            var to = address.Replace("{e}", _episode, StringComparison.Ordinal).Replace("{o}", _observation, StringComparison.Ordinal);
            using var request = new HttpRequestMessage(new(method), new Uri(to, UriKind.Relative));
            if (scopes is not null)
                request.Headers.TryAddWithoutValidation("Authorization", NamedCallers.Bearer("monitor", scopes, facilities));
            if (address.Contains("$export", StringComparison.Ordinal))
                request.Headers.Add("Prefer", "respond-async");
            if (address.EndsWith("_search", StringComparison.Ordinal))
                request.Content = new FormUrlEncodedContent([new("status", "final")]);
            else if (method is "POST" or "PUT")
                request.Content = new StringContent((body ?? new JsonObject()).ToJsonString(), Encoding.UTF8, "application/json");
            return await Service.Http.SendAsync(request);
        }
    }
}
