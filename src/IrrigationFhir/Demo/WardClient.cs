using System.Net;
using System.Text.Json.Nodes;
using Polly;
using Polly.Retry;

namespace IrrigationFhir.Demo;

/// <summary>
/// A sender as an integrator would write one: it repeats what may not have arrived, which is safe because entries are idempotent.
/// </summary>
internal sealed class WardClient(HttpClient http)
{
    /// <summary>
    /// Again after 5xx, 429 and broken connections, with growing pauses; never after another 4xx, which would only fail again.
    /// </summary>
    private static readonly ResiliencePipeline<HttpResponseMessage> Again = new ResiliencePipelineBuilder<HttpResponseMessage>()
        .AddRetry(
            new RetryStrategyOptions<HttpResponseMessage>
            {
                ShouldHandle = new PredicateBuilder<HttpResponseMessage>()
                    .Handle<HttpRequestException>()
                    .HandleResult(r => r.StatusCode is HttpStatusCode.TooManyRequests or >= HttpStatusCode.InternalServerError),
                MaxRetryAttempts = 5,
                Delay = TimeSpan.FromMilliseconds(200),
                BackoffType = DelayBackoffType.Exponential,
                UseJitter = true,
            }
        )
        .Build();

    /// <summary>Opens an episode, or amends it; answers its id.</summary>
    public async Task<string> OpenEpisode(JsonNode episode, CancellationToken stop) =>
        (await Post("/episodes", episode, stop))["id"]!.GetValue<string>();

    /// <summary>Records entries; answers the reply.</summary>
    public Task<JsonNode> Record(string episode, JsonArray entries, CancellationToken stop) =>
        Post($"/episodes/{episode}/entries", entries, stop);

    /// <summary>Reads JSON.</summary>
    public async Task<JsonNode> Get(string address, CancellationToken stop)
    {
        using var response = await Again.ExecuteAsync(async token => await http.GetAsync(new Uri(address, UriKind.Relative), token), stop);
        return await Read(response, stop);
    }

    /// <summary>Reads what is meant for people.</summary>
    public async Task<string> GetText(string address, CancellationToken stop)
    {
        using var response = await Again.ExecuteAsync(
            async token =>
            {
                using var request = new HttpRequestMessage(HttpMethod.Get, address);
                request.Headers.Accept.ParseAdd("text/plain");
                return await http.SendAsync(request, token);
            },
            stop
        );
        return await response.EnsureSuccessStatusCode().Content.ReadAsStringAsync(stop);
    }

    private async Task<JsonNode> Post(string address, JsonNode body, CancellationToken stop)
    {
        using var response = await Again.ExecuteAsync(async token => await http.PostAsJsonAsync(address, body, token), stop);
        return await Read(response, stop);
    }

    private static async Task<JsonNode> Read(HttpResponseMessage response, CancellationToken stop)
    {
        var json = (await response.Content.ReadFromJsonAsync<JsonNode>(stop))!;
        return response.IsSuccessStatusCode
            ? json
            : throw new InvalidOperationException($"{(int)response.StatusCode}: {json["issue"]?[0]?["diagnostics"]}");
    }
}
