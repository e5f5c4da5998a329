using System.Diagnostics;
using System.Net;
using System.Text;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Store;

/// <summary>The service as it is run, in a process of its own, which can be sent signals.</summary>
internal sealed class OwnProcess : IDisposable
{
    private const string ListeningOn = "Now listening on: ";
    private static readonly TimeSpan Patience = TimeSpan.FromMinutes(1);
    private readonly Process _process;
    private readonly HttpClient _http;

    private OwnProcess(Process process, HttpClient http) => (_process, _http) = (process, http);

    /// <summary>Runs a command to its end; answers its exit code and what it printed and complained.</summary>
    public static async Task<(int Code, string Said)> Run(params string[] args)
    {
        using var process = Begin(args);
        using var patience = new CancellationTokenSource(Patience);
        try
        {
            var said = await Task.WhenAll(
                process.StandardOutput.ReadToEndAsync(patience.Token), process.StandardError.ReadToEndAsync(patience.Token));
            await process.WaitForExitAsync(patience.Token);
            return (process.ExitCode, string.Concat(said));
        }
        finally
        {
            if (!process.HasExited) process.Kill();
        }
    }

    /// <summary>Serves a folder on a free port, and is ready.</summary>
    public static async Task<OwnProcess> Serve(string folder)
    {
        var process = Begin("--urls", "http://127.0.0.1:0", "--Data:Folder", folder);
        using var patience = new CancellationTokenSource(Patience);
        while (await process.StandardOutput.ReadLineAsync(patience.Token) is { } line)
        {
            if (line.IndexOf(ListeningOn, StringComparison.Ordinal) is not (var at and >= 0)) continue;
            _ = process.StandardOutput.BaseStream.CopyToAsync(Stream.Null, CancellationToken.None);
            _ = process.StandardError.BaseStream.CopyToAsync(Stream.Null, CancellationToken.None);
            var http = new HttpClient { BaseAddress = new Uri(line[(at + ListeningOn.Length)..].Trim()), Timeout = Patience };
            var ready = new Uri("/health/ready", UriKind.Relative);
            while ((await http.GetAsync(ready, patience.Token)).StatusCode != HttpStatusCode.OK) await Task.Delay(20, patience.Token);
            return new(process, http);
        }

        var said = await process.StandardError.ReadToEndAsync(patience.Token);
        throw new InvalidOperationException($"the service ended before it listened: {said}");
    }

    /// <summary>Opens an episode and records scans in it, each of which must be acknowledged.</summary>
    public async Task<(string Id, int Entries)> OpenWithEntries(int entries)
    {
        var stay = RunningService.Episode("stay-of-a-copy", "2026-03-14T08:00:00Z", "2026-03-14T20:00:00Z");
        var id = (string)(await Post("/episodes", stay))["id"]!;
        for (var n = 1; n <= entries; n++)
        {
            await Post($"/episodes/{id}/entries", new JsonObject
            {
                ["source"] = "ward",
                ["id"] = $"e{n}",
                ["kind"] = "bladder-scanned",
                ["at"] = $"2026-03-14T{9 + n / 10:00}:{n % 10:00}:00Z",
                ["volume"] = new JsonObject { ["value"] = n, ["unit"] = "mL" },
                ["how"] = "scan",
            });
        }

        var log = JsonNode.Parse(await _http.GetStringAsync(new Uri($"/episodes/{id}/entries", UriKind.Relative)))!;
        return (id, log["entries"]!.AsArray().Count);
    }

    /// <summary>Ends it as a machine that is shut down does: SIGTERM, and time to put things in order.</summary>
    public async Task Terminate()
    {
        using var signal = Process.Start("kill", ["-TERM", $"{_process.Id}"]);
        await signal.WaitForExitAsync();
        using var patience = new CancellationTokenSource(Patience);
        await _process.WaitForExitAsync(patience.Token);
        Assert.Equal(0, _process.ExitCode);
    }

    /// <inheritdoc/>
    public void Dispose()
    {
        if (!_process.HasExited) _process.Kill();
        _process.Dispose();
        _http.Dispose();
    }

    private static Process Begin(params string[] args) => Process.Start(
        new ProcessStartInfo("dotnet", [Path.Combine(AppContext.BaseDirectory, "IrrigationFhir.dll"), .. args])
        {
            RedirectStandardOutput = true,
            RedirectStandardError = true,
            WorkingDirectory = AppContext.BaseDirectory,
        })!;

    private async Task<JsonNode> Post(string address, JsonObject body)
    {
        using var content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json");
        using var reply = await _http.PostAsync(new Uri(address, UriKind.Relative), content);
        var text = await reply.Content.ReadAsStringAsync();
        Assert.True(reply.IsSuccessStatusCode, text);
        return JsonNode.Parse(text)!;
    }
}
