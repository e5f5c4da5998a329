using System.Text.Json.Nodes;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Logging;

namespace IrrigationFhir.Tests.Access;

/// <summary>Somebody else's server on this machine, which publishes keys: the issuer of a site, or a client.</summary>
internal sealed class TestIssuer : IAsyncDisposable
{
    private readonly WebApplication _app;
    private int _fetches;

    private TestIssuer(WebApplication app) => _app = app;

    public string Address => _app.Urls.Single();

    /// <summary>The set that it publishes.</summary>
    public JsonNode Keys { get; set; } = new JsonObject { ["keys"] = new JsonArray() };

    /// <summary>What it answers instead, where there is something.</summary>
    public Func<HttpContext, Task>? Instead { get; set; }

    public string? CacheControl { get; set; } = "max-age=3600";

    /// <summary>What it says of itself beside what it has to.</summary>
    public JsonObject Further { get; set; } = [];

    /// <summary>Who it says that it is.</summary>
    public string? Says { get; set; }

    /// <summary>How often its keys were fetched.</summary>
    public int Fetches => _fetches;

    public static async Task<TestIssuer> Start()
    {
        var builder = WebApplication.CreateSlimBuilder();
        builder.WebHost.UseUrls("http://127.0.0.1:0");
        builder.Logging.ClearProviders();
        var issuer = new TestIssuer(builder.Build());
        issuer._app.MapGet(
            "/.well-known/openid-configuration",
            () =>
            {
                var document = (JsonObject)issuer.Further.DeepClone();
                (document["issuer"], document["jwks_uri"]) = (issuer.Says ?? issuer.Address, $"{issuer.Address}/jwks");
                return Results.Json(document);
            }
        );
        issuer._app.MapGet(
            "/jwks",
            async (HttpContext http) =>
            {
                Interlocked.Increment(ref issuer._fetches);
                if (issuer.Instead is { } instead)
                {
                    await instead(http);
                    return;
                }

                http.Response.Headers.CacheControl = issuer.CacheControl;
                await Results.Json(issuer.Keys).ExecuteAsync(http);
            }
        );
        await issuer._app.StartAsync();
        return issuer;
    }

    public ValueTask DisposeAsync() => _app.DisposeAsync();
}
