using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Access;

/// <summary>Every address that is there, and every token that only looks like one: whichever it is, nobody is let in (R-ACC-04).</summary>
public class ForgedTokenTests
{
    private static readonly Dictionary<string, Func<IssuerTests.Site, string>> Tokens = new()
    {
        [""] = _ => "",
        ["a word"] = _ => "abc",
        ["three words"] = _ => "abc.def.ghi",
        ["expired"] = site => Signed(site, (_, claims) => claims["exp"] = site.Time.AddSeconds(-31).ToUnixTimeSeconds(), site.Signer),
        ["signed by somebody else under the name of its key"] = site => Signed(site, (header, _) => header["kid"] = site.Signer.Kid, new()),
        ["signed by RS512"] = site => Signed(site, (header, _) => header["alg"] = "RS512", site.Signer),
        ["with another's claims"] = site =>
        {
            var (good, other) = (
                Signed(site, (_, _) => { }, site.Signer),
                Signed(site, (_, claims) => claims["scope"] = "system/*.cruds", new())
            );
            return $"{good.Split('.')[0]}.{other.Split('.')[1]}.{good.Split('.')[2]}";
        },
    };

    [Fact]
    public async Task No_address_is_answered_to_a_token_of_another_audience_issuer_algorithm_or_time()
    {
        await using var site = await IssuerTests.Site.Start(("Access:FailuresPerMinute", "100000"));
        var addresses = Addresses(site).ToList();
        Assert.True(addresses.Count > 60, $"{addresses.Count}");
        var good = Signed(site, (_, claims) => claims["scope"] = "system/*.cruds", site.Signer);
        var bad = IssuerTests
            .Forged.Select(forged => (forged.Key, Token: Signed(site, forged.Value, site.Signer)))
            .Concat(Tokens.Select(token => (token.Key, Token: token.Value(site))))
            .ToList();
        Assert.True(bad.Count > 25);
        foreach (var (method, address) in addresses)
        {
            var let = await Ask(method, address, $"Bearer {good}");
            Assert.True(let.Status is not (HttpStatusCode.Unauthorized or HttpStatusCode.TooManyRequests), $"{address}: {let.Text}");
            foreach (var (how, token) in bad)
                await Refuses(how, $"Bearer {token}", how == "expired" ? "token-expired" : "not-authenticated");
            await Refuses("no header", null, "not-authenticated");
            await Refuses("another scheme", $"Basic {good}", "not-authenticated");
            await Refuses("two headers in one", $"Bearer {good}, Bearer {good}", "not-authenticated");

            async Task Refuses(string how, string? header, string code)
            {
                var reply = await Ask(method, address, header);
                Assert.True(reply.Status == HttpStatusCode.Unauthorized, $"{method} {address}, {how}: {reply.Status} {reply.Text}");
                Assert.Equal(code, reply.Codes.Single());
            }
        }

        async Task<Reply> Ask(string method, string address, string? header)
        {
            using var request = new HttpRequestMessage(new(method), new Uri(address, UriKind.Relative));
            if (header is not null)
                request.Headers.TryAddWithoutValidation("Authorization", header);
            if (method is "POST" or "PUT")
                request.Content = new StringContent("{}", null, "application/json");
            using var response = await site.Ward.Http.SendAsync(request);
            return await Reply.Of(response);
        }
    }

    private static string Signed(IssuerTests.Site site, Action<JsonObject, JsonObject> how, TestClient signer)
    {
        var (header, claims) = (signer.Header(typ: "at+jwt"), site.Claims());
        how(header, claims);
        return signer.Signed(header, claims);
    }

    /// <summary>All that is not open, with something in place of what is no literal.</summary>
    private static IEnumerable<(string Method, string Address)> Addresses(IssuerTests.Site site) =>
        from route in site.Ward.Services.GetRequiredService<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>()
        where route.Metadata.GetMetadata<AccessNeeds>() is not { Open: true }
        from method in route.Metadata.GetMetadata<IHttpMethodMetadata>()?.HttpMethods ?? ["GET"]
        where method != "HEAD"
        select (
            method,
            "/"
                + string.Join(
                    '/',
                    route.RoutePattern.PathSegments.Select(segment =>
                        string.Concat(
                            segment.Parts.Select(part =>
                                part is Microsoft.AspNetCore.Routing.Patterns.RoutePatternLiteralPart literal ? literal.Content : "1"
                            )
                        )
                    )
                )
        );
}
