using System.Collections.Concurrent;
using System.Diagnostics;
using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using IrrigationFhir.Tests.Rest;
using IrrigationFhir.Tokens;
using Microsoft.Extensions.Configuration;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;

namespace IrrigationFhir.Tests.Access;

/// <summary>A service that asks for tokens, over HTTP: who gets in, what clients are told, what nobody sees.</summary>
public class GuardedTests
{
    // R-ACC-04
    [Fact]
    public async Task A_token_lets_in_as_far_as_its_scopes_reach_and_the_answers_say_what_was_missing()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        var token = await service.Token(client, "system/Observation.rs");

        async Task Answers(string? bearer, string address, int status, string? challenge, string? code, string? type)
        {
            using var response = await service.Get(address, bearer);
            var text = await response.Content.ReadAsStringAsync();
            Assert.True(status == (int)response.StatusCode, $"{address}: {text}");
            Assert.Equal(challenge, response.Headers.WwwAuthenticate.Count == 0 ? null : response.Headers.WwwAuthenticate.ToString());
            if (code is null)
                return;
            var issue = JsonNode.Parse(text)!["issue"]![0]!;
            Assert.Equal((code, type), ((string)issue["details"]!["coding"]![0]!["code"]!, (string)issue["code"]!));
        }

        await Answers(token, "/fhir/Observation", 200, null, null, null);
        await Answers(token, "/fhir/Flag", 403, "Bearer error=\"insufficient_scope\"", "not-allowed", "forbidden");
        await Answers(null, "/fhir/Observation", 401, "Bearer", "not-authenticated", "login");
        await Answers("forged", "/fhir/Observation", 401, "Bearer", "not-authenticated", "login");
        await Answers(null, "/nowhere", 401, "Bearer", "not-authenticated", "login");
        await Answers(null, "/fhir/metadata", 200, null, null, null);
        await Answers("forged", "/fhir/metadata", 200, null, null, null);
        service.Ward.Clock.Advance(TimeSpan.FromMinutes(6));
        await Answers(token, "/fhir/Observation", 401, "Bearer error=\"invalid_token\"", "token-expired", "expired");
    }

    // R-ACC-01, R-ACC-02, R-ACC-03
    [Theory]
    [InlineData(null)]
    [InlineData("application/fhir+xml")]
    [InlineData("text/html")]
    public async Task Clients_find_where_tokens_are_issued(string? accept)
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/fhir/.well-known/smart-configuration", UriKind.Relative));
        if (accept is not null)
            request.Headers.Accept.ParseAdd(accept);
        using var response = await service.Ward.Http.SendAsync(request);
        Assert.Equal((HttpStatusCode.OK, "application/json"), (response.StatusCode, response.Content.Headers.ContentType?.MediaType));
        var told = JsonNode.Parse(await response.Content.ReadAsStringAsync())!;
        Assert.Equal(service.Endpoint, (string)told["token_endpoint"]!);
        Assert.Equal($"{service.Root}/auth/jwks", (string)told["jwks_uri"]!);
        string[] Texts(string name) => [.. told[name]!.AsArray().Select(text => (string)text!)];
        Assert.Equal(["client_credentials"], Texts("grant_types_supported"));
        Assert.Equal(["private_key_jwt"], Texts("token_endpoint_auth_methods_supported"));
        Assert.Equal(["RS384", "ES384"], Texts("token_endpoint_auth_signing_alg_values_supported"));
        Assert.Equal(["S256"], Texts("code_challenge_methods_supported"));
        Assert.Equal(["client-confidential-asymmetric", "permission-v2", "permission-v1"], Texts("capabilities"));
        Assert.All(Texts("scopes_supported"), scope => Assert.NotNull(IrrigationFhir.Access.Scope.Parse(scope)));
        string[] never = ["authorization_endpoint", "introspection_endpoint", "revocation_endpoint"]; // R-ACC-30
        Assert.All(never, name => Assert.Null(told[name]));

        var security = (await service.Ward.Read("/fhir/metadata"))["rest"]![0]!["security"]!;
        Assert.Equal("SMART-on-FHIR", (string)security["service"]![0]!["coding"]![0]!["code"]!);
        var contract = await service.Ward.Read("/openapi/fhir.json");
        Assert.Equal("""[{"accessToken":[]}]""", contract["security"]!.ToJsonString());
    }

    [Fact]
    public async Task An_open_service_tells_of_no_token()
    {
        await using var ward = RunningService.Start(GuardedService.Now);
        var reply = await ward.Get("/fhir/.well-known/smart-configuration");
        Assert.Equal((HttpStatusCode.NotFound, "OperationOutcome"), (reply.Status, (string)reply.Json["resourceType"]!));
        Assert.Null((await ward.Read("/fhir/metadata"))["rest"]![0]!["security"]);
        Assert.Equal(HttpStatusCode.NotFound, (await ward.Get("/auth/jwks")).Status);
    }

    // §6
    [Fact]
    public async Task Who_asks_too_much_is_told_when_to_come_back_and_nobody_else_waits_for_it()
    {
        using var eager = new TestClient("eager");
        using var calm = new TestClient("calm");
        var limited = eager.Registered("system/*.rs");
        (limited["requestsPerSecond"], limited["burst"]) = (1, 5);
        await using var service = GuardedService.Start([limited, calm.Registered("system/*.rs")]);
        var (one, other) = (await service.Token(eager), await service.Token(calm));
        var answers = new List<(int Status, string? After, string Text)>();
        for (var i = 0; i < 20; i++)
        {
            using var response = await service.Get("/fhir/Observation?_count=1", one);
            answers.Add(((int)response.StatusCode, response.Headers.RetryAfter?.ToString(), await response.Content.ReadAsStringAsync()));
        }

        Assert.Equal(Enumerable.Repeat(200, 5), answers.Take(5).Select(answer => answer.Status));
        Assert.Contains(answers, answer => answer.Status == 429);
        foreach (var refused in answers.Where(answer => answer.Status != 200))
        {
            Assert.Equal((429, "1"), (refused.Status, refused.After));
            var issue = JsonNode.Parse(refused.Text)!["issue"]![0]!;
            Assert.Equal(("throttled", "too-many-requests"), ((string)issue["code"]!, (string)issue["details"]!["coding"]![0]!["code"]!));
        }

        for (var i = 0; i < 50; i++)
        {
            using var response = await service.Get("/fhir/Observation?_count=1", other);
            Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        }
    }

    [Fact]
    public async Task A_client_gets_so_many_tokens_a_minute()
    {
        using var client = new TestClient();
        using var other = new TestClient("other");
        await using var service = GuardedService.Start(
            [client.Registered("system/*.rs"), other.Registered("system/*.rs")],
            ("Access:TokensPerMinute", "3")
        );
        for (var i = 0; i < 3; i++)
            await service.Token(client);
        var refused = await service.Ask(client.Assertion(service.Endpoint, service.Time));
        Assert.Equal((HttpStatusCode.TooManyRequests, "OperationOutcome"), (refused.Status, (string)refused.Json["resourceType"]!));
        await service.Token(other);
    }

    [Fact]
    public async Task A_network_that_fails_too_often_waits_and_whoever_is_known_there_does_not()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.rs")], ("Access:FailuresPerMinute", "5"));
        var (known, fresh) = (await service.Token(client), await service.Token(client));
        async Task<(int, string?)> Get(string? token)
        {
            using var response = await service.Get("/fhir/Observation?_count=1", token);
            return ((int)response.StatusCode, response.Headers.RetryAfter?.ToString());
        }

        Assert.Equal((200, null), await Get(known));
        for (var i = 0; i < 5; i++)
            Assert.Equal((401, null), await Get($"forged-{i}"));
        Assert.Equal((429, "1"), await Get("forged-again"));
        Assert.Equal((200, null), await Get(fresh));
        Assert.Equal((200, null), await Get(known));
        await service.Token(client);
        using var stranger = new TestClient();
        var refused = await service.Ask(stranger.Assertion(service.Endpoint, service.Time));
        Assert.Equal(HttpStatusCode.TooManyRequests, refused.Status);
        Assert.Equal("OperationOutcome", (string)refused.Json["resourceType"]!);
        Assert.Equal((401, null), await Get(null)); // who brings nothing costs nothing
    }

    [Fact]
    public async Task A_token_that_hardly_fits_into_a_request_is_told_once_and_not_repeated()
    {
        var logged = new ConcurrentQueue<string>();
        using var client = new TestClient();
        string[] many = [.. Enumerable.Range(0, 90).Select(n => $"system/Observation.rs?code=https://codes.example/{n:D3}|{n:D3}")];
        await using var service = GuardedService.Start([client.Registered([.. many, "system/Flag.rs"])]);
        service.Ward.Services.GetRequiredService<ILoggerFactory>().AddProvider(new FhirOverHttp.Recorder(logged));
        foreach (var scopes in new[] { ["system/Flag.rs"], many[..50], many[..49] })
        {
            var token = await service.Token(client, string.Join(' ', scopes));
            using var response = await service.Get("/fhir/metadata", token);
            using var found = await service.Get("/fhir/Flag?_count=1", token);
            Assert.Equal(scopes.Length == 1 ? HttpStatusCode.OK : HttpStatusCode.Forbidden, found.StatusCode);
            Assert.Equal(scopes.Length > 1 ? 1 : 0, logged.Count(line => line.Contains("Access tokens of", StringComparison.Ordinal)));
            Assert.DoesNotContain(logged, line => line.Contains(token[..40], StringComparison.Ordinal));
        }

        Assert.Contains(logged, line => line.Contains("ward-gateway", StringComparison.Ordinal));
    }

    // §9: what a proxy says of whom it passes on is believed of proxies that are named, and of nobody else.
    [Theory]
    [InlineData("127.0.0.0/8", false)]
    [InlineData("10.20.0.0/16", true)]
    [InlineData(null, true)]
    public async Task A_client_cannot_say_that_it_comes_from_elsewhere(string? proxies, bool isBarred)
    {
        using var client = new TestClient();
        (string, string)[] settings = proxies is null ? [] : [("Access:Proxies:0", proxies)];
        await using var service = GuardedService.Start(
            [client.Registered("system/*.rs")],
            [("Access:FailuresPerMinute", "5"), .. settings]
        );
        var answers = new List<int>();
        for (var i = 0; i < 10; i++)
        {
            using var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/fhir/Observation", UriKind.Relative));
            request.Headers.Authorization = new("Bearer", $"forged-{i}");
            request.Headers.Add("X-Forwarded-For", $"198.51.{i}.7");
            using var response = await service.Ward.Http.SendAsync(request);
            answers.Add((int)response.StatusCode);
        }

        Assert.Equal(isBarred, answers.Contains(429));
    }

    [Fact]
    public void Believing_everybody_or_a_network_that_is_everything_is_refused()
    {
        static string Faults(params (string Key, string Value)[] settings) =>
            Assert
                .Throws<SettingsFault>(() =>
                    AccessSettings.Read(
                        new ConfigurationBuilder()
                            .AddInMemoryCollection(settings.ToDictionary(pair => pair.Key, pair => (string?)pair.Value))
                            .Build()
                    )
                )
                .Message;
        Assert.Contains(
            "believes whoever says so",
            Faults(("forwardedHeaders_enabled", "true"), ("Access:OpenToNetwork", "true")),
            StringComparison.Ordinal
        );
        Assert.Contains(
            "a network that is everything",
            Faults(("Access:Proxies:0", "0.0.0.0/0"), ("Access:OpenToNetwork", "true")),
            StringComparison.Ordinal
        );
        Assert.Contains("behind no proxy", Faults(("Access:Proxies:0", "10.0.0.0/8")), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("203.0.113.77", "203.0.113.0")]
    [InlineData("::ffff:203.0.113.77", "203.0.113.0")]
    [InlineData("2001:db8:1:2ff:1::9", "2001:db8:1:200::")]
    [InlineData(null, "255.255.255.255")]
    public void An_address_counts_with_its_network(string? address, string network) =>
        Assert.Equal(IPAddress.Parse(network), AccessLimits.Network(address is null ? null : IPAddress.Parse(address)));

    // §8: no token, key or secret in logs, traces, metrics, health or error texts.
    [Fact]
    public async Task What_is_secret_is_seen_nowhere()
    {
        using var client = new TestClient();
        var logged = new ConcurrentQueue<string>();
        var traced = new ConcurrentQueue<string>();
        using var listener = new ActivityListener
        {
            ShouldListenTo = _ => true,
            Sample = (ref ActivityCreationOptions<ActivityContext> _) => ActivitySamplingResult.AllDataAndRecorded,
            ActivityStopped = span =>
                traced.Enqueue($"{span.DisplayName} {string.Join(' ', span.TagObjects.Select(tag => $"{tag.Key}={tag.Value}"))}"),
        };
        ActivitySource.AddActivityListener(listener);
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")], ("Logging:LogLevel:Default", "Trace"));
        service.Ward.Services.GetRequiredService<ILoggerFactory>().AddProvider(new FhirOverHttp.Recorder(logged));
        var token = await service.Token(client);
        var assertion = client.Assertion(service.Endpoint, service.Time);
        var secret = (string)client.SecretKey["d"]!;
        var answers = new List<string>();
        foreach (var bearer in new[] { token, token + "x", $"planted-{Guid.NewGuid():N}", assertion })
        {
            using var response = await service.Get("/fhir/Observation?access_token=planted-query", bearer);
            answers.Add(await response.Content.ReadAsStringAsync());
        }

        await service.Ask(assertion);
        answers.Add((await service.Ask(assertion)).Text);
        answers.Add((await service.Ask(("client_secret", "planted-secret"), ("client_assertion", "planted-assertion"))).Text);
        service.Write(
            """{ "clients": [ { "id": "x", "planted-member": "planted-value", "keys": { "keys": [ """ + client.SecretKey + " ] } } ] }"
        );
        answers.Add((await service.Ward.Get("/health/ready")).Text);
        using (var metrics = await service.Get("/metrics", token))
            answers.Add(await metrics.Content.ReadAsStringAsync());

        Assert.NotEmpty(logged);
        Assert.NotEmpty(traced);
        var signature = token.Split('.')[2];
        string[] planted =
        [
            token,
            signature,
            assertion,
            assertion.Split('.')[2],
            secret,
            "planted-query",
            "planted-secret",
            "planted-assertion",
            "planted-value",
            (await service.Ward.Services.GetRequiredService<SigningKeys>().Live(default)).Signing.D,
        ];
        foreach (var text in logged.Concat(traced).Concat(answers))
            Assert.All(planted, marker => Assert.DoesNotContain(marker, text, StringComparison.Ordinal));
    }
}
