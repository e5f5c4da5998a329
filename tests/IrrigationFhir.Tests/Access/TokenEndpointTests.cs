using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Tests.Access;

/// <summary>Who gets a token, for what, and what it is (R-ACC-20 to R-ACC-27).</summary>
public class TokenEndpointTests
{
    // R-ACC-20, R-ACC-26
    [Theory]
    [InlineData("ES384")]
    [InlineData("RS384")]
    public async Task A_registered_client_gets_a_token_of_five_minutes_for_what_it_may(string alg)
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/Observation.cruds", "system/Procedure.rs")]);
        var asked = "system/Observation.rs system/Procedure.cruds system/Flag.rs openid system/Observation.dus";
        var reply = await service.Ask(client.Assertion(service.Endpoint, service.Time, alg), asked);

        Assert.True(reply.Status == HttpStatusCode.OK, reply.Text);
        Assert.Equal("application/json", reply.MediaType);
        Assert.Equal(["access_token", "expires_in", "scope", "token_type"], reply.Json.AsObject().Select(m => m.Key).Order());
        Assert.Equal("bearer", (string)reply.Json["token_type"]!);
        Assert.Equal(300, (int)reply.Json["expires_in"]!);
        Assert.Equal("system/Observation.rs system/Procedure.rs", (string)reply.Json["scope"]!);

        // R-ACC-27
        var parts = ((string)reply.Json["access_token"]!).Split('.');
        var header = JsonNode.Parse(Base64UrlEncoder.Decode(parts[0]))!;
        var claims = JsonNode.Parse(Base64UrlEncoder.Decode(parts[1]))!;
        Assert.Equal("at+jwt", (string)header["typ"]!);
        Assert.Equal("ES384", (string)header["alg"]!);
        Assert.Equal(
            ["aud", "client_id", "exp", "iat", "iss", "jti", "scope", "sub"],
            claims.AsObject().Select(m => m.Key).Order(StringComparer.Ordinal)
        );
        Assert.Equal(service.Root, (string)claims["iss"]!);
        Assert.Equal(service.Base, (string)claims["aud"]!);
        Assert.Equal(client.Id, (string)claims["client_id"]!);
        Assert.Equal(300, (long)claims["exp"]! - (long)claims["iat"]!);
        Assert.Equal(service.Time.ToUnixTimeSeconds(), (long)claims["iat"]!);

        var caller = await Caller(service, (string)reply.Json["access_token"]!);
        Assert.Equal(client.Id, caller.Client);
        Assert.Equal((string)claims["jti"]!, caller.Token);
        Assert.True(caller.Covers(new Need("Observation", Letters.Read | Letters.Search)));
        Assert.False(caller.Covers(new Need("Observation", Letters.Create)));
        Assert.False(caller.Covers(new Need("Flag", Letters.Read)));
    }

    private static async Task<Caller> Caller(GuardedService service, string token)
    {
        var (caller, refusal) = await Judge(service, token);
        Assert.Null(refusal);
        return caller!;
    }

    internal static Task<(Caller? Caller, string? Refusal)> Judge(GuardedService service, string? token)
    {
        var http = new DefaultHttpContext { RequestServices = service.Ward.Services };
        http.Request.Scheme = "http";
        http.Request.Host = new(service.Ward.Http.BaseAddress!.Authority);
        if (token is not null)
            http.Request.Headers.Authorization = $"Bearer {token}";
        return service.Ward.Services.GetRequiredService<ICallers>().Of(http);
    }
}
