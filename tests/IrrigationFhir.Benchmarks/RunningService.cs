using System.Diagnostics;
using System.Globalization;
using System.Net;
using System.Text;
using System.Text.Json;
using IrrigationFhir.Demo;

namespace IrrigationFhir.Benchmarks;

/// <summary>The service as a process of its own on a free port of the loopback address, on a store in a given folder.</summary>
internal sealed class RunningService : IAsyncDisposable
{
    private const string ListeningOn = "Now listening on: ";
    private static readonly TimeSpan Patience = TimeSpan.FromMinutes(5);

    private readonly Process process;
    private readonly HttpClient http;

    private RunningService(Process process, HttpClient http, TimeSpan readyAfter, string folder)
    {
        Folder = folder;
        this.process = process;
        this.http = http;
        ReadyAfter = readyAfter;
    }

    /// <summary>From the start of the process to the first 200 of <c>/health/ready</c>.</summary>
    public TimeSpan ReadyAfter { get; }

    /// <summary>Processor time used so far, all threads together.</summary>
    public TimeSpan Processor
    {
        get
        {
            process.Refresh();
            return process.TotalProcessorTime;
        }
    }

    /// <summary>Working set now, in MB (10⁶ bytes).</summary>
    public double Megabytes
    {
        get
        {
            process.Refresh();
            return process.WorkingSet64 / 1e6;
        }
    }

    /// <summary>Files, sockets and pipes that are open.</summary>
    public int OpenFiles
    {
        get
        {
            process.Refresh();
            return OperatingSystem.IsLinux() ? Directory.GetFiles($"/proc/{process.Id}/fd").Length : process.HandleCount;
        }
    }

    /// <summary>Threads now.</summary>
    public int Threads
    {
        get
        {
            process.Refresh();
            return process.Threads.Count;
        }
    }

    /// <summary>Where its store lies.</summary>
    public string Folder { get; }

    /// <summary>Bytes that it had written to disk so far; 0 where the system does not say.</summary>
    public long BytesWritten =>
        OperatingSystem.IsLinux()
            ? long.Parse(
                File.ReadLines($"/proc/{process.Id}/io").First(line => line.StartsWith("write_bytes", StringComparison.Ordinal)).Split(' ')[
                    1
                ],
                CultureInfo.InvariantCulture
            )
            : 0;

    /// <summary>Its address, with a slash at the end.</summary>
    public Uri Address => http.BaseAddress!;

    /// <summary>The access token that each request brings from now on.</summary>
    public string Bearer
    {
        set => http.DefaultRequestHeaders.Authorization = new("Bearer", value);
    }

    /// <summary>Processor time used so far, as the process itself says it: to the microsecond.</summary>
    public async Task<TimeSpan> ProcessorExactly() =>
        TimeSpan.FromTicks(long.Parse(await Get(LiveService.Processor), CultureInfo.InvariantCulture));

    /// <summary>Puts its clock behind something that was charted.</summary>
    public async Task PutClock(NodaTime.Instant at)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/health/live", UriKind.Relative));
        request.Headers.Add(LiveService.ChartedAt, at.ToString());
        using var response = await http.SendAsync(request);
        response.EnsureSuccessStatusCode();
    }

    /// <summary>Posts a form; answers what came back.</summary>
    public async Task<string> PostForm(string path, IEnumerable<KeyValuePair<string, string>> form)
    {
        using var content = new FormUrlEncodedContent(form);
        using var response = await http.PostAsync(new Uri(path, UriKind.Relative), content);
        var reply = await response.Content.ReadAsStringAsync();
        return response.IsSuccessStatusCode ? reply : throw new InvalidOperationException($"{(int)response.StatusCode}: {reply}");
    }

    /// <summary>Bytes that it allocated so far.</summary>
    public async Task<long> Allocated() => long.Parse(await Get(LiveService.Allocated), CultureInfo.InvariantCulture);

    /// <summary>How long each step of its work took so far.</summary>
    public async Task<IReadOnlyDictionary<string, TimeSpan>> StepsTaken() =>
        (await Get(LiveService.StepsTaken))
            .Split(';', StringSplitOptions.RemoveEmptyEntries)
            .Select(step => step.Split('='))
            .ToDictionary(step => step[0], step => TimeSpan.FromTicks(long.Parse(step[1], CultureInfo.InvariantCulture)));

    /// <summary>Starts it and waits until it is ready.</summary>
    public static Task<RunningService> Start(string folder, params (string Key, string Value)[] settings) =>
        Start(AppContext.BaseDirectory, folder, recorded: true, settings);

    /// <summary>Starts it and waits until it is ready.</summary>
    /// <param name="build">The folder of the build of these benchmarks that is started; another one than this to compare.</param>
    /// <param name="folder">Where its store lies.</param>
    /// <param name="recorded">Whether it records who reads what, as every service does.</param>
    /// <param name="settings">Settings beside those.</param>
    public static async Task<RunningService> Start(string build, string folder, bool recorded, params (string Key, string Value)[] settings)
    {
        var start = new ProcessStartInfo("dotnet") { RedirectStandardOutput = true, WorkingDirectory = folder };
        string[] arguments =
        [
            Path.Combine(build, "IrrigationFhir.Benchmarks.dll"),
            "serve",
            .. recorded ? Array.Empty<string>() : [LiveService.Unrecorded],
            "--urls",
            "http://127.0.0.1:0",
            "--Data:Folder",
            folder,
            .. settings.SelectMany(s => new[] { $"--{s.Key}", s.Value }),
        ];
        foreach (var argument in arguments)
            start.ArgumentList.Add(argument);

        start.Environment["DOTNET_gcServer"] = "0";
        var started = Stopwatch.GetTimestamp();
        var process = Process.Start(start) ?? throw new InvalidOperationException("the service did not start");
        using var patience = new CancellationTokenSource(Patience);
        try
        {
            var http = new HttpClient { BaseAddress = await AddressOf(process, patience.Token), Timeout = TimeSpan.FromMinutes(5) };
            while (!await IsReady(http, patience.Token))
                await Task.Delay(20, patience.Token);
            var readyAfter = Stopwatch.GetElapsedTime(started);
            return new(process, http, readyAfter, folder);
        }
        catch
        {
            process.Kill();
            throw;
        }
    }

    /// <summary>Opens the episode of an invented irrigation; answers its id.</summary>
    public async Task<string> Open(InventedIrrigation ward)
    {
        using var opened = JsonDocument.Parse(await Post("/episodes", ward.Description()));
        return opened.RootElement.GetProperty("id").GetString()!;
    }

    /// <summary>Ends the episode of an invented irrigation.</summary>
    public Task End(InventedIrrigation ward, NodaTime.Instant at) => Post("/episodes", ward.Ended(at));

    /// <summary>Creates a subscription.</summary>
    public Task Subscribe(string subscription) => Post("/fhir/Subscription", subscription);

    /// <summary>Records one entry.</summary>
    /// <exception cref="InvalidOperationException">
    /// It was not recorded, or something that follows from it was withheld: then nothing was measured.
    /// </exception>
    public Task Record(string episode, ChartedEntry entry) => Recorded(episode, entry.Json, entry.At);

    /// <summary>Records one entry, and leaves the clock where it is.</summary>
    /// <exception cref="InvalidOperationException">As for one.</exception>
    public Task RecordLate(string episode, ChartedEntry entry) => Recorded(episode, entry.Json, null);

    /// <summary>Records several in one request.</summary>
    /// <exception cref="InvalidOperationException">As for one.</exception>
    public Task Record(string episode, IReadOnlyCollection<ChartedEntry> entries) =>
        Recorded(episode, $"[{string.Join(',', entries.Select(e => e.Json))}]", entries.Max(e => e.At));

    /// <summary>Posts Observations in one FHIR batch.</summary>
    /// <param name="observations">As JSON.</param>
    /// <param name="at">When the latest was charted.</param>
    /// <exception cref="InvalidOperationException">One was not created: then nothing was measured.</exception>
    public async Task Batch(IReadOnlyCollection<string> observations, NodaTime.Instant at)
    {
        const string Created = "\"status\":\"201";
        const string Request = "\"request\":{\"method\":\"POST\",\"url\":\"Observation\"}";
        var entries = string.Join(',', observations.Select(resource => $"{{{Request},\"resource\":{resource}}}"));
        var reply = await Post("/fhir", $"{{\"resourceType\":\"Bundle\",\"type\":\"batch\",\"entry\":[{entries}]}}", at);
        if (reply.Split(Created).Length - 1 != observations.Count)
            throw new InvalidOperationException("not all were created: " + reply[..Math.Min(2000, reply.Length)]);
    }

    /// <summary>Gets what must be there.</summary>
    /// <exception cref="InvalidOperationException">It answered something else than 200.</exception>
    public async Task<string> Get(string address)
    {
        using var response = await http.GetAsync(new Uri(address, UriKind.Relative));
        var reply = await response.Content.ReadAsStringAsync();
        return response.StatusCode == HttpStatusCode.OK
            ? reply
            : throw new InvalidOperationException($"{address}: {(int)response.StatusCode}: {reply}");
    }

    /// <inheritdoc/>
    public async ValueTask DisposeAsync()
    {
        http.Dispose();
        process.Kill();
        await process.WaitForExitAsync();
        process.Dispose();
    }

    private static async Task<Uri> AddressOf(Process process, CancellationToken stop)
    {
        while (await process.StandardOutput.ReadLineAsync(stop) is { } line)
        {
            if (line.IndexOf(ListeningOn, StringComparison.Ordinal) is var at and >= 0)
            {
                // Read on, or the service would one day wait for room in the pipe.
                _ = process.StandardOutput.BaseStream.CopyToAsync(Stream.Null, CancellationToken.None);
                return new Uri(line[(at + ListeningOn.Length)..].Trim());
            }
        }

        throw new InvalidOperationException("the service ended before it listened");
    }

    private static async Task<bool> IsReady(HttpClient http, CancellationToken stop)
    {
        using var response = await http.GetAsync(new Uri("/health/ready", UriKind.Relative), stop);
        return response.StatusCode == HttpStatusCode.OK;
    }

    private async Task Recorded(string episode, string json, NodaTime.Instant? at)
    {
        var reply = await Post($"/episodes/{episode}/entries", json, at);
        if (!reply.Contains("\"withheld\":[]", StringComparison.Ordinal) || reply.Contains("\"repeated\"", StringComparison.Ordinal))
        {
            throw new InvalidOperationException("entries that were repeated, or whose resources were withheld");
        }
    }

    private async Task<string> Post(string path, string json, NodaTime.Instant? chartedAt = null)
    {
        using var content = new StringContent(json, Encoding.UTF8, "application/json");
        if (chartedAt is { } at)
            content.Headers.Add(LiveService.ChartedAt, at.ToString());
        using var response = await http.PostAsync(new Uri(path, UriKind.Relative), content);
        var reply = await response.Content.ReadAsStringAsync();
        return response.IsSuccessStatusCode ? reply : throw new InvalidOperationException($"{(int)response.StatusCode}: {reply}");
    }
}
