using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using IrrigationFhir.Store.Sqlite;
using IrrigationFhir.Tokens;
using Microsoft.Data.Sqlite;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Tests.Access;

/// <summary>How a client says who it is, and how somebody else does not (R-ACC-20 to R-ACC-25; RFC 7523, RFC 7515).</summary>
public class AssertionTests
{
    private const string Refused = """{"error":"invalid_client","error_description":"the client assertion is not accepted"}""";

    /// <summary>What is done to a good header and good claims; each makes it somebody else's, stale, or unsigned.</summary>
    private static readonly Dictionary<string, Action<JsonObject, JsonObject, DateTimeOffset>> Spoilt = new()
    {
        ["no algorithm"] = (header, _, _) => header["alg"] = "none",
        ["no algorithm, in capitals"] = (header, _, _) => header["alg"] = "NONE",
        ["the public key as a secret"] = (header, _, _) => (header["alg"], header["kid"]) = ("HS384", $"{header["kid"]}-rsa"),
        ["an algorithm that is not listed"] = (header, _, _) => (header["alg"], header["kid"]) = ("RS256", $"{header["kid"]}-rsa"),
        ["another padding"] = (header, _, _) => (header["alg"], header["kid"]) = ("PS256", $"{header["kid"]}-rsa"),
        ["a key of another kind"] = (header, _, _) => header["kid"] = $"{header["kid"]}-rsa",
        ["an unknown key"] = (header, _, _) => header["kid"] = "another",
        ["a key that is a path"] = (header, _, _) => header["kid"] = "../../../../dev/null",
        ["a key that is SQL"] = (header, _, _) => header["kid"] = "' or '1' = '1",
        ["no key"] = (header, _, _) => header.Remove("kid"),
        ["keys elsewhere"] = (header, _, _) => header["jku"] = "https://keys.lantern-quay.example/jwks",
        ["another type"] = (header, _, _) => header["typ"] = "at+jwt",
        ["no type"] = (header, _, _) => header.Remove("typ"),
        ["something critical that nobody knows"] = (header, _, _) => header["crit"] = new JsonArray("exp"),
        ["an unknown client"] = (_, claims, _) => (claims["iss"], claims["sub"]) = ("nobody", "nobody"),
        ["no issuer"] = (_, claims, _) => claims.Remove("iss"),
        ["another subject"] = (_, claims, _) => claims["sub"] = "another",
        ["another audience"] = (_, claims, _) => claims["aud"] = "https://other.example/auth/token",
        ["several audiences"] = (_, claims, _) => claims["aud"] = new JsonArray((string)claims["aud"]!, "https://other.example/auth/token"),
        ["the FHIR base as audience"] = (_, claims, _) =>
            claims["aud"] = ((string)claims["aud"]!).Replace("/auth/token", "/fhir", StringComparison.Ordinal),
        ["no audience"] = (_, claims, _) => claims.Remove("aud"),
        ["expired"] = (_, claims, now) => claims["exp"] = now.AddSeconds(-31).ToUnixTimeSeconds(),
        ["ends too late"] = (_, claims, now) => claims["exp"] = now.AddSeconds(331).ToUnixTimeSeconds(),
        ["ends never"] = (_, claims, _) => claims.Remove("exp"),
        ["ends in words"] = (_, claims, _) => claims["exp"] = "tomorrow",
        ["not yet"] = (_, claims, now) => claims["nbf"] = now.AddSeconds(31).ToUnixTimeSeconds(),
        ["made in the future"] = (_, claims, now) => claims["iat"] = now.AddSeconds(31).ToUnixTimeSeconds(),
        ["no id"] = (_, claims, _) => claims.Remove("jti"),
        ["an id that is too long"] = (_, claims, _) => claims["jti"] = new string('x', 256),
        ["an id that is a number"] = (_, claims, _) => claims["jti"] = 5,
    };

    public static TheoryData<string> Cases => [.. Spoilt.Keys];

    // R-ACC-21, R-ACC-25
    [Theory]
    [MemberData(nameof(Cases))]
    public async Task What_is_wrong_with_an_assertion_is_not_said(string how)
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        var (header, claims) = (client.Header(), client.Claims(service.Endpoint, service.Time));
        Spoilt[how](header, claims, service.Time);
        var reply = await service.Ask(client.Signed(header, claims));
        Assert.Equal((HttpStatusCode.BadRequest, Refused), (reply.Status, reply.Text));
    }

    [Fact]
    public async Task Nor_is_one_taken_that_somebody_else_signed_or_that_was_changed_or_is_none()
    {
        using var client = new TestClient();
        using var other = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        var (header, claims) = (client.Header(), client.Claims(service.Endpoint, service.Time));
        var good = client.Signed(header, claims).Split('.');
        var embedded = client.Header();
        embedded["jwk"] = other.EcKey(client.Kid);
        claims["sub"] = "changed";
        string[] forged =
        [
            other.Signed(client.Header(), client.Claims(service.Endpoint, service.Time)),
            other.Signed(embedded, client.Claims(service.Endpoint, service.Time)),
            $"{good[0]}.{Base64UrlEncoder.Encode(claims.ToJsonString())}.{good[2]}",
            $"{good[0]}.{good[1]}.",
            $"{good[0]}.{good[1]}",
            $"{good[0]}.{good[1]}.{good[2]}.{good[2]}.{good[2]}",
            "..",
            "a.b.c",
            "{}",
            new string('x', 20_000),
        ];
        foreach (var assertion in forged)
        {
            var reply = await service.Ask(assertion);
            Assert.Equal((HttpStatusCode.BadRequest, Refused), (reply.Status, reply.Text));
        }

        Assert.Equal(HttpStatusCode.OK, (await service.Ask(string.Join('.', good))).Status);
    }

    [Fact]
    public async Task A_clock_may_be_off_by_half_a_minute()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        Action<JsonObject>[] off =
        [
            claims => claims["exp"] = service.Time.AddSeconds(-29).ToUnixTimeSeconds(),
            claims => claims["exp"] = service.Time.AddSeconds(329).ToUnixTimeSeconds(),
            claims => claims["nbf"] = service.Time.AddSeconds(29).ToUnixTimeSeconds(),
        ];
        foreach (var change in off)
        {
            var claims = client.Claims(service.Endpoint, service.Time);
            change(claims);
            Assert.Equal(HttpStatusCode.OK, (await service.Ask(client.Signed(client.Header(), claims))).Status);
        }
    }

    // R-ACC-25: who is refused does not learn, by how long it takes, whether a client of that name is known.
    [Fact]
    public async Task A_signature_is_checked_whether_or_not_its_client_is_known()
    {
        using var client = new TestClient("known");
        using var stranger = new TestClient("unknown");
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        var assertions = service.Ward.Services.GetRequiredService<ClientAssertions>();
        var registered = service.Ward.Services.GetRequiredService<Clients>().Now.Find("known")!;
        foreach (var alg in ClientAssertions.Algorithms)
        {
            var good = Jwt.Read(client.Assertion(service.Endpoint, service.Time, alg))!;
            var unknown = Jwt.Read(stranger.Assertion(service.Endpoint, service.Time, alg))!;
            Assert.True(await good.IsSignedBy(await assertions.Signers(registered, good, default), ClientAssertions.Algorithms));
            foreach (
                var (of, jwt) in new[]
                {
                    (null, unknown), // no such client
                    (null, good), // one that was known
                    (registered, unknown), // another's key
                }
            )
            {
                var keys = await assertions.Signers(of, jwt, default);
                Assert.True(keys is [var only] && PublicKeys.Fits(only, alg), alg);
                Assert.False(await jwt.IsSignedBy(keys, ClientAssertions.Algorithms));
            }
        }

        var (wrong, nobody) = (client.Header(), stranger.Assertion(service.Endpoint, service.Time));
        wrong["kid"] = "another";
        var refused = await service.Ask(client.Signed(wrong, client.Claims(service.Endpoint, service.Time)));
        Assert.Equal((refused.Status, refused.Text), await Told(nobody));

        async Task<(HttpStatusCode, string)> Told(string assertion)
        {
            var reply = await service.Ask(assertion);
            return (reply.Status, reply.Text);
        }
    }

    // R-ACC-22
    [Fact]
    public async Task An_assertion_sent_by_fifty_at_once_gets_one_token()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")], ("Access:FailuresPerMinute", "1000"));
        var assertion = client.Assertion(service.Endpoint, service.Time);
        var replies = await Task.WhenAll(Enumerable.Range(0, 50).Select(_ => service.Ask(assertion)));
        Assert.Single(replies, reply => reply.Status == HttpStatusCode.OK);
        Assert.All(replies.Where(reply => reply.Status != HttpStatusCode.OK), reply => Assert.Equal(Refused, reply.Text));
    }

    [Fact]
    public async Task Nor_do_two_services_over_one_store_give_two_and_a_restart_forgets_none()
    {
        using var client = new TestClient();
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        // Both are addressed by one name, as replicas behind a proxy are.
        (string, string)[] settings = [("Fhir:BaseUrl", "https://ward.example/fhir"), ("Access:FailuresPerMinute", "1000")];
        const string Endpoint = "https://ward.example/auth/token";
        string assertion;
        await using (var one = GuardedService.Start(folder, [client.Registered("system/*.cruds")], settings))
        await using (var two = GuardedService.Start(folder, [client.Registered("system/*.cruds")], settings))
        {
            assertion = client.Assertion(Endpoint, one.Time);
            var replies = await Task.WhenAll(Enumerable.Range(0, 50).Select(n => (n % 2 == 0 ? one : two).Ask(assertion)));
            Assert.Single(replies, reply => reply.Status == HttpStatusCode.OK);

            // A token of the one is good at the other.
            var token = (string)replies.Single(reply => reply.Status == HttpStatusCode.OK).Json["access_token"]!;
            Assert.NotNull((await TokenEndpointTests.Judge(one, token)).Caller);
            Assert.NotNull((await TokenEndpointTests.Judge(two, token)).Caller);
        }

        await using (var again = GuardedService.Start(folder, [client.Registered("system/*.cruds")], settings))
            Assert.Equal(Refused, (await again.Ask(assertion)).Text);
        await RunningService.Remove(folder);
    }

    [Fact]
    public async Task Assertions_that_were_used_are_forgotten_after_they_have_expired()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        for (var i = 0; i < 3; i++)
            await service.Token(client);
        Assert.Equal(3, Used());
        service.Ward.Clock.Advance(TimeSpan.FromMinutes(6));
        await service.Token(client);
        Assert.Equal(1, Used());

        long Used()
        {
            using var store = Dialect.Open(Dialect.FileIn(service.Ward.Folder), SqliteOpenMode.ReadOnly);
            return Dialect.Number(store, "select count(*) from access_assertion");
        }
    }

    [Fact]
    public async Task What_is_wrong_with_the_request_itself_is_said()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/Observation.rs")], ("Access:FailuresPerMinute", "1000"));
        const string Type = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer";
        (string, string) grant = ("grant_type", "client_credentials"),
            scope = ("scope", "system/Observation.rs"),
            type = ("client_assertion_type", Type);
        (string, string) Fresh() => ("client_assertion", client.Assertion(service.Endpoint, service.Time));
        async Task Says(string error, params (string, string)[] form)
        {
            var reply = await service.Ask(form);
            Assert.Equal((HttpStatusCode.BadRequest, error), (reply.Status, (string)reply.Json["error"]!));
        }

        await Says("invalid_request");
        await Says("invalid_request", scope, type, Fresh());
        await Says("unsupported_grant_type", ("grant_type", "authorization_code"), scope, type, Fresh());
        await Says("unsupported_grant_type", ("grant_type", "password"), scope, type, Fresh());
        await Says("invalid_request", grant, type, Fresh());
        await Says("invalid_request", grant, scope, Fresh());
        await Says("invalid_request", grant, scope, type);
        await Says(
            "invalid_request",
            grant,
            scope,
            ("client_assertion_type", "urn:ietf:params:oauth:client-assertion-type:saml2-bearer"),
            Fresh()
        );
        await Says("invalid_request", grant, scope, scope, type, Fresh());
        await Says("invalid_request", grant, ("client_id", client.Id), ("client_secret", "hush"), scope);
        await Says("invalid_scope", grant, ("scope", "system/Flag.rs openid patient/Observation.rs user/*.rs launch"), type, Fresh());
        await Says("invalid_scope", grant, ("scope", "system/Observation.sr"), type, Fresh());

        var asJson = await service.Ward.Post("/auth/token", new JsonObject { ["grant_type"] = "client_credentials" });
        Assert.Equal((HttpStatusCode.BadRequest, "invalid_request"), (asJson.Status, (string)asJson.Json["error"]!));

        using var answer = await service.Ward.Http.PostAsync(
            new Uri("/auth/token", UriKind.Relative),
            new FormUrlEncodedContent([KeyValuePair.Create("grant_type", "client_credentials")])
        );
        Assert.Equal("no-store", answer.Headers.CacheControl?.ToString()); // R-ACC-20
    }

    // R-ACC-25, R-ACC-11
    [Theory]
    [InlineData("system/*.cruds", "system/Observation.rs", "system/Observation.rs")]
    [InlineData("system/Observation.rs system/Flag.r", "system/*.cruds", "system/Observation.rs system/Flag.r")]
    [InlineData("system/Observation.rs", "system/Observation.read", "system/Observation.read")]
    [InlineData("system/Observation.r", "system/Observation.read", "system/Observation.r")]
    [InlineData("system/*.*", "system/Procedure.write", "system/Procedure.write")]
    [InlineData("system/Observation.rs?status=final", "system/Observation.rs", "system/Observation.rs?status=final")]
    [InlineData("system/Observation.rs", "system/Observation.r?status=final", "system/Observation.r?status=final")]
    [InlineData("system/Observation.rs?status=final", "system/*.r?code=1-8", "system/Observation.r?code=1-8&status=final")]
    public async Task Granted_is_what_is_asked_for_and_registered(string registered, string asked, string granted)
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered(registered.Split(' '))]);
        var reply = await service.Ask(client.Assertion(service.Endpoint, service.Time), asked);
        Assert.True(reply.Status == HttpStatusCode.OK, reply.Text);
        Assert.Equal(granted, (string)reply.Json["scope"]!);
    }

    [Theory]
    [InlineData("system/Observation.rs?date=gt2026-01-01")]
    [InlineData("system/Observation.rs?code:in=http://ward.example/set")]
    [InlineData("system/Observation.rs?patient.name=Ada")]
    public async Task A_scope_whose_query_cannot_be_kept_to_grants_nothing(string asked)
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        var reply = await service.Ask(client.Assertion(service.Endpoint, service.Time), asked);
        Assert.Equal("invalid_scope", (string)reply.Json["error"]!);
    }
}
