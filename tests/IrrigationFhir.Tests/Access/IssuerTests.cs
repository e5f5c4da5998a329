using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Configuration;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Access;

/// <summary>Tokens of a site's issuer: which are good, and which only look so (R-ACC-04, R-ACC-05; each trap of RFC 8725).</summary>
public class IssuerTests
{
    internal const string Audience = "https://ward.example/fhir";

    internal static readonly Dictionary<string, Action<JsonObject, JsonObject>> Forged = new()
    {
        ["no algorithm"] = (header, _) => header["alg"] = "none",
        ["no algorithm, half in capitals"] = (header, _) => header["alg"] = "nOnE",
        ["the public key as a secret"] = (header, _) => (header["alg"], header["kid"]) = ("HS384", $"{header["kid"]}-rsa"),
        ["a key of another kind"] = (header, _) => header["kid"] = $"{header["kid"]}-rsa",
        ["an unknown key"] = (header, _) => header["kid"] = "another",
        ["a key that is a path"] = (header, _) => header["kid"] = "/dev/null",
        ["a key that is SQL"] = (header, _) => header["kid"] = "x' union select 'y",
        ["no key"] = (header, _) => header.Remove("kid"),
        ["another type"] = (header, _) => header["typ"] = "secevent+jwt",
        ["an identity token's type"] = (header, _) => header["typ"] = "id_token",
        ["no type"] = (header, _) => header.Remove("typ"),
        ["something critical that nobody knows"] = (header, _) => header["crit"] = new JsonArray("b64"),
        ["another audience"] = (_, claims) => claims["aud"] = "https://other.example/fhir",
        ["an audience that begins alike"] = (_, claims) => claims["aud"] = Audience + "/",
        ["no audience"] = (_, claims) => claims.Remove("aud"),
        ["another issuer"] = (_, claims) => claims["iss"] = "https://other.example",
        ["no issuer"] = (_, claims) => claims.Remove("iss"),
        ["ends never"] = (_, claims) => claims.Remove("exp"),
        ["ends in words"] = (_, claims) => claims["exp"] = "2999-01-01",
        ["not yet"] = (_, claims) => claims["nbf"] = (long)claims["iat"]! + 31,
        ["not yet, in words"] = (_, claims) => claims["nbf"] = "soon",
        ["nobody's"] = (_, claims) =>
        {
            claims.Remove("client_id");
            claims.Remove("sub");
        },
        ["bound to a key that cannot be looked at"] = (_, claims) => claims["cnf"] = new JsonObject { ["jkt"] = "abc" },
        ["bound to a certificate that is not shown"] = (_, claims) => claims["cnf"] = new JsonObject { ["x5t#S256"] = "abc" },
    };

    public static TheoryData<string> Cases => [.. Forged.Keys];

    [Theory]
    [InlineData("ES384")]
    [InlineData("RS384")]
    [InlineData("RS256")]
    [InlineData("PS256")]
    public async Task A_token_of_the_issuer_is_good(string alg)
    {
        await using var site = await Site.Start();
        var (caller, refusal) = await site.Judge(site.Signer.Signed(site.Signer.Header(alg, "at+jwt"), site.Claims()));
        Assert.Null(refusal);
        Assert.Equal("ward-gateway", caller!.Client);
        Assert.Equal("token-1", caller.Token);
        Assert.Null(caller.Facilities);
        Assert.True(caller.Covers(AccessNeeds.Of("Observation", Letters.Read | Letters.Search)));
        Assert.False(caller.Covers(AccessNeeds.Of("Procedure", Letters.Read)));
        Assert.False(caller.MayReadAudit);
    }

    [Theory]
    [MemberData(nameof(Cases))]
    public async Task What_only_looks_like_one_is_not(string how)
    {
        await using var site = await Site.Start();
        var (header, claims) = (site.Signer.Header(typ: "at+jwt"), site.Claims());
        Assert.NotNull((await site.Judge(site.Signer.Signed(header, claims))).Caller);
        Forged[how](header, claims);
        Assert.Equal((null, "not-authenticated"), await site.Judge(site.Signer.Signed(header, claims)));
    }

    [Fact]
    public async Task Keys_that_the_token_brings_or_points_at_are_nobodys()
    {
        await using var site = await Site.Start();
        await using var elsewhere = await TestIssuer.Start();
        using var forger = new TestClient();
        elsewhere.Keys = forger.Keys;
        var embedded = site.Signer.Header(typ: "at+jwt");
        embedded["jwk"] = forger.EcKey(site.Signer.Kid);
        var pointed = forger.Header(typ: "at+jwt");
        pointed["jku"] = $"{elsewhere.Address}/jwks";
        var certified = site.Signer.Header(typ: "at+jwt");
        certified["x5u"] = $"{elsewhere.Address}/jwks";
        foreach (var header in new[] { embedded, pointed, certified })
            Assert.Equal((null, "not-authenticated"), await site.Judge(forger.Signed(header, site.Claims())));
        Assert.Equal(0, elsewhere.Fetches);
    }

    [Fact]
    public async Task One_that_has_expired_is_told_apart_if_it_was_ever_good()
    {
        await using var site = await Site.Start();
        using var forger = new TestClient();
        var claims = site.Claims();
        claims["exp"] = site.Time.AddSeconds(-29).ToUnixTimeSeconds();
        Assert.NotNull((await site.Judge(site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), claims))).Caller);
        claims["exp"] = site.Time.AddSeconds(-31).ToUnixTimeSeconds();
        Assert.Equal((null, "token-expired"), await site.Judge(site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), claims)));
        Assert.Equal((null, "not-authenticated"), await site.Judge(forger.Signed(site.Signer.Header(typ: "at+jwt"), claims)));
    }

    [Fact]
    public async Task A_token_that_is_remembered_dies_in_its_time()
    {
        await using var site = await Site.Start();
        var claims = site.Claims();
        claims["exp"] = site.Time.AddSeconds(10).ToUnixTimeSeconds();
        var token = site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), claims);
        Assert.NotNull((await site.Judge(token)).Caller);
        site.Ward.Clock.Advance(TimeSpan.FromSeconds(39));
        Assert.NotNull((await site.Judge(token)).Caller);
        site.Ward.Clock.Advance(TimeSpan.FromSeconds(2));
        Assert.Equal((null, "token-expired"), await site.Judge(token));
    }

    [Fact]
    public async Task Only_the_header_brings_one_and_it_brings_one()
    {
        await using var site = await Site.Start();
        var token = site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), site.Claims());
        Assert.NotNull((await site.Judge(http => http.Request.Headers.Authorization = $"bearer {token}")).Caller);
        Action<HttpContext>[] others =
        [
            _ => { },
            http => http.Request.QueryString = new($"?access_token={token}"),
            http => http.Request.Headers.Cookie = $"access_token={token}",
            http => http.Request.Headers["X-Access-Token"] = token,
            http => http.Request.Headers.Authorization = token,
            http => http.Request.Headers.Authorization = $"Basic {token}",
            http => http.Request.Headers.Authorization = $"DPoP {token}",
            http => http.Request.Headers.Authorization = new([$"Bearer {token}", $"Bearer {token}"]),
            http => http.Request.Headers.Authorization = $"Bearer {token}, Bearer {token}",
            http => http.Request.Headers.Authorization = "Bearer",
            http => http.Request.Headers.Authorization = "Bearer ",
            http => http.Request.Headers.Authorization = $"Bearer {new string('a', 9000)}",
        ];
        foreach (var other in others)
            Assert.Equal((null, "not-authenticated"), await site.Judge(other));
    }

    // A list in JSON becomes several claims in many libraries, of which only the first is seen.
    [Theory]
    [InlineData("""["system/Flag.rs", "system/Observation.rs"]""")]
    [InlineData("""["openid system/Flag.rs", "profile system/Observation.rs"]""")]
    [InlineData("\"openid profile system/Flag.rs launch/patient system/Observation.rs patient/Procedure.rs user/Procedure.rs\"")]
    public async Task Scopes_are_read_as_text_and_as_a_list_and_foreign_ones_are_passed_over(string scope)
    {
        await using var site = await Site.Start();
        var claims = site.Claims();
        claims["scope"] = JsonNode.Parse(scope);
        var (caller, _) = await site.Judge(site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), claims));
        Assert.Equal(["system/Flag.rs", "system/Observation.rs"], caller!.Scopes.Select(s => s.ToString()));
    }

    [Fact]
    public async Task A_key_that_is_rotated_in_is_found_and_one_that_is_rotated_out_is_forgotten()
    {
        await using var site = await Site.Start();
        using var next = new TestClient();
        string Token(TestClient signer) => signer.Signed(signer.Header(typ: "at+jwt"), site.Claims());
        Assert.NotNull((await site.Judge(Token(site.Signer))).Caller);

        site.Issuer.Keys = new JsonObject { ["keys"] = new JsonArray(next.EcKey(next.Kid)) };
        Assert.Null((await site.Judge(Token(next))).Caller); // fetched less than a minute ago
        site.Ward.Clock.Advance(TimeSpan.FromSeconds(61));
        Assert.NotNull((await site.Judge(Token(next))).Caller);
        Assert.Null((await site.Judge(Token(site.Signer))).Caller);
    }

    // R-ACC-24, and §8: a storm of made-up names of keys makes no storm of calls.
    [Fact]
    public async Task Unknown_keys_make_one_call_a_minute_and_what_is_kept_is_kept_no_longer_than_allowed()
    {
        await using var site = await Site.Start(("Access:FailuresPerMinute", "1000"));
        string Token(string kid)
        {
            var header = site.Signer.Header(typ: "at+jwt");
            header["kid"] = kid;
            return site.Signer.Signed(header, site.Claims());
        }

        for (var i = 0; i < 100; i++)
            await site.Judge(Token($"made up {i}"));
        Assert.Equal(1, site.Issuer.Fetches);
        site.Ward.Clock.Advance(TimeSpan.FromSeconds(61));
        for (var i = 0; i < 100; i++)
            await site.Judge(Token($"made up again {i}"));
        Assert.Equal(2, site.Issuer.Fetches);

        for (var minute = 0; minute < 30; minute++)
        {
            site.Ward.Clock.Advance(TimeSpan.FromMinutes(1));
            Assert.NotNull((await site.Judge(Token(site.Signer.Kid))).Caller);
        }

        Assert.Equal(2, site.Issuer.Fetches); // max-age=3600
        site.Ward.Clock.Advance(TimeSpan.FromHours(1));
        Assert.NotNull((await site.Judge(Token(site.Signer.Kid))).Caller);
        Assert.Equal(3, site.Issuer.Fetches);
    }

    [Fact]
    public async Task Keys_are_not_fetched_in_quantities_nor_from_wherever_they_are_sent()
    {
        await using var inside = await TestIssuer.Start();
        Func<HttpContext, Task>[] answers =
        [
            http =>
            {
                http.Response.Redirect($"{inside.Address}/jwks");
                return Task.CompletedTask;
            },
            http => http.Response.WriteAsync(new string(' ', 65 * 1024) + "{\"keys\":[]}"),
            http => http.Response.WriteAsync("<keys/>"),
            http =>
            {
                http.Response.StatusCode = 500;
                return Task.CompletedTask;
            },
        ];
        foreach (var answer in answers)
        {
            await using var site = await Site.Start();
            site.Issuer.Instead = answer;
            inside.Keys = site.Signer.Keys;
            Assert.Equal(
                (null, "not-authenticated"),
                await site.Judge(site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), site.Claims()))
            );
        }

        Assert.Equal(0, inside.Fetches);
    }

    [Fact]
    public async Task An_issuer_that_says_it_is_another_is_none_and_one_on_this_machine_has_to_be_allowed()
    {
        await using var site = await Site.Start();
        site.Issuer.Says = "https://other.example";
        Assert.Null((await site.Judge(site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), site.Claims()))).Caller);

        var faults = Assert.Throws<SettingsFault>(() =>
            AccessSettings.Read(
                new ConfigurationBuilder()
                    .AddInMemoryCollection(
                        new Dictionary<string, string?> { ["Access:Mode"] = "tokens", ["Access:Issuer"] = "http://localhost" }
                    )
                    .Build()
            )
        );
        Assert.Equal(
            """
            Access:Issuer: 'http://localhost'; an absolute https address without query is expected
            Access:Audience: missing; with Access:Mode=tokens it is expected, or Fhir:BaseUrl
            """.ReplaceLineEndings(),
            faults.Message
        );
    }

    [Fact]
    public async Task A_secret_key_in_a_published_set_and_keys_of_other_kinds_are_passed_over()
    {
        await using var site = await Site.Start();
        site.Issuer.Keys = new JsonObject
        {
            ["keys"] = new JsonArray(
                site.Signer.SecretKey,
                new JsonObject
                {
                    ["kty"] = "oct",
                    ["kid"] = "s",
                    ["k"] = "c2VjcmV0",
                },
                new JsonObject
                {
                    ["kty"] = "OKP",
                    ["kid"] = "o",
                    ["crv"] = "Ed25519",
                    ["x"] = "AA",
                },
                site.Signer.RsaKey($"{site.Signer.Kid}-rsa")
            ),
        };
        Assert.Null((await site.Judge(site.Signer.Signed(site.Signer.Header("ES384", "at+jwt"), site.Claims()))).Caller);
        Assert.NotNull((await site.Judge(site.Signer.Signed(site.Signer.Header("RS384", "at+jwt"), site.Claims()))).Caller);
    }

    [Fact]
    public async Task The_facilities_are_those_of_the_claim_and_none_without_it()
    {
        await using var site = await Site.Start(("Access:FacilityClaim", "wards"));
        async Task<IReadOnlyList<string>?> Facilities(JsonNode? claim)
        {
            var claims = site.Claims();
            claims["wards"] = claim;
            return (await site.Judge(site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), claims))).Caller!.Facilities;
        }

        Assert.Equal(["north"], await Facilities("north"));
        Assert.Equal(["north", "south"], await Facilities(new JsonArray("north", "south")));
        Assert.Equal([], await Facilities(null));
        Assert.Equal([], await Facilities(7));
    }

    [Fact]
    public async Task With_a_file_of_clients_only_those_are_let_in_and_no_further_than_it_says()
    {
        var file = Path.GetTempFileName();
        await File.WriteAllTextAsync(
            file,
            GuardedService.ClientsIn(
                new JsonObject
                {
                    ["id"] = "ward-gateway",
                    ["scopes"] = new JsonArray("system/*.r"),
                    ["facilities"] = new JsonArray("north"),
                    ["audit"] = true,
                },
                new JsonObject { ["id"] = "left", ["enabled"] = false }
            )
        );
        await using var site = await Site.Start(("Access:ClientsFile", file));
        var claims = site.Claims();
        var (caller, _) = await site.Judge(site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), claims));
        Assert.Equal(["system/Observation.r"], caller!.Scopes.Select(scope => scope.ToString()));
        Assert.Equal(["north"], caller.Facilities);
        Assert.True(caller.MayReadAudit);
        foreach (var id in new[] { "left", "stranger" })
        {
            claims["client_id"] = id;
            Assert.Null((await site.Judge(site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), claims))).Caller);
        }

        File.Delete(file);
    }

    // R-ACC-02, where the issuer says where its tokens are.
    [Fact]
    public async Task Clients_are_told_where_the_issuer_gives_tokens()
    {
        await using var site = await Site.Start();
        site.Issuer.Further = new()
        {
            ["token_endpoint"] = "https://login.example/token",
            ["grant_types_supported"] = new JsonArray("client_credentials", "authorization_code"),
            ["token_endpoint_auth_methods_supported"] = new JsonArray("client_secret_basic", "private_key_jwt"),
            ["authorization_endpoint"] = "https://login.example/authorize",
        };
        var told = await site.Ward.Read("/fhir/.well-known/smart-configuration");
        Assert.Equal("https://login.example/token", (string)told["token_endpoint"]!);
        Assert.Equal(2, told["grant_types_supported"]!.AsArray().Count);
        Assert.Equal(["S256"], told["code_challenge_methods_supported"]!.AsArray().Select(m => (string)m!));
        Assert.Null(told["authorization_endpoint"]);
        Assert.Equal(
            ["client-confidential-asymmetric", "permission-v2", "permission-v1"],
            told["capabilities"]!.AsArray().Select(c => (string)c!)
        );
    }

    /// <summary>The service with the tokens of an issuer on this machine.</summary>
    internal sealed class Site(TestIssuer issuer, TestClient signer, RunningService ward) : IAsyncDisposable
    {
        public TestIssuer Issuer => issuer;

        public TestClient Signer => signer;

        public RunningService Ward => ward;

        public DateTimeOffset Time => ward.Clock.GetUtcNow();

        public static async Task<Site> Start(params (string, string)[] settings)
        {
            var (issuer, signer) = (await TestIssuer.Start(), new TestClient());
            issuer.Keys = signer.Keys;
            var ward = RunningService.Start(
                GuardedService.Now,
                null,
                [
                    ("Access:Mode", "tokens"),
                    ("Access:Issuer", issuer.Address),
                    ("Access:AllowLoopback", "true"),
                    ("Fhir:BaseUrl", Audience),
                    .. settings,
                ]
            );
            return new(issuer, signer, ward);
        }

        public JsonObject Claims() =>
            new()
            {
                ["iss"] = issuer.Address,
                ["sub"] = "someone",
                ["client_id"] = "ward-gateway",
                ["aud"] = new JsonArray("https://elsewhere.example", Audience),
                ["iat"] = Time.ToUnixTimeSeconds(),
                ["exp"] = Time.AddHours(12).ToUnixTimeSeconds(),
                ["jti"] = "token-1",
                ["scope"] = "openid system/Observation.rs",
            };

        public Task<(Caller? Caller, string? Refusal)> Judge(string token) =>
            Judge(http => http.Request.Headers.Authorization = $"Bearer {token}");

        public Task<(Caller? Caller, string? Refusal)> Judge(Action<HttpContext> asks)
        {
            var http = new DefaultHttpContext { RequestServices = ward.Services };
            asks(http);
            return ward.Services.GetRequiredService<ICallers>().Of(http);
        }

        public async ValueTask DisposeAsync()
        {
            await ward.DisposeAsync();
            await issuer.DisposeAsync();
            signer.Dispose();
        }
    }
}
