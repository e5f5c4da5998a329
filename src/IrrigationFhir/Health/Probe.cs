namespace IrrigationFhir.Health;

/// <summary><c>health [address]</c>: asks a running service whether it can work, for a container that holds no other HTTP client.</summary>
internal static class Probe
{
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(5);

    /// <summary>Asks; 0 when the service is ready, 1 when it is not or does not answer within 5 s, 2 when called wrongly.</summary>
    /// <param name="args">
    /// The service's address; by default this machine and the first port of <c>ASPNETCORE_HTTP_PORTS</c>, or 8080.
    /// </param>
    /// <param name="output">Gets one line.</param>
    public static async Task<int> Run(string[] args, TextWriter output)
    {
        var port = Environment.GetEnvironmentVariable("ASPNETCORE_HTTP_PORTS")?.Split(';')[0] is { Length: > 0 } given ? given : "8080";
        if (
            !Uri.TryCreate(args is [var address] ? address : $"http://127.0.0.1:{port}", UriKind.Absolute, out var service)
            || service.Scheme is not ("http" or "https")
            || args.Length > 1
        )
        {
            await output.WriteLineAsync("usage: IrrigationFhir health [http://host:port]");
            return 2;
        }

        using var http = new HttpClient { Timeout = Patience };
        try
        {
            using var reply = await http.GetAsync(new Uri(service, "/health/ready"));
            await output.WriteLineAsync(reply.IsSuccessStatusCode ? "ready" : $"not ready: {(int)reply.StatusCode}");
            return reply.IsSuccessStatusCode ? 0 : 1;
        }
        catch (Exception failure) when (failure is HttpRequestException or TaskCanceledException)
        {
            await output.WriteLineAsync("no answer");
            return 1;
        }
    }
}
