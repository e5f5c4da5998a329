using System.Diagnostics;
using System.Globalization;
using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using WireMock.ResponseBuilders;
using Xunit.Abstractions;

namespace IrrigationFhir.Tests.Subscriptions;

/// <summary>
/// The service as a process of its own, killed (SIGKILL) again and again at random moments between commit and delivery. KILLS sets how
/// often; the figures of 200 kills are in the README beside this.
/// </summary>
public class KilledServiceTests(ITestOutputHelper output)
{
    private static readonly int Kills = int.Parse(Environment.GetEnvironmentVariable("KILLS") ?? "5", CultureInfo.InvariantCulture);

    [Fact]
    public async Task Whenever_it_dies_every_committed_event_arrives_in_order_without_a_gap()
    {
        var folder = Directory.CreateTempSubdirectory("killed-service-").FullName;
        using var subscriber = Subscriber.Start();
        subscriber.Answers(Response.Create().WithStatusCode(200).WithRandomDelay(0, 40)); // wide open for a kill in between
        var (random, acknowledged, bed) = (new Random(20260314), new List<string>(), 0);
        string? subscription = null;
        for (var kill = 0; kill <= Kills; kill++)
        {
            using var service = await ServiceProcess.Start(
                folder,
                ("Fhir:BaseUrl", "http://localhost/fhir"),
                ("Subscriptions:AllowLoopback", "true"),
                ("Subscriptions:RetryFirst", "00:00:00.020")
            );
            subscription ??= await service.Subscribed(
                SubscribedWard.Subscription(subscriber.Address(), content: "id-only", filter: "Flag?code=clots-present", maxCount: 3)
            );
            if (kill == Kills)
            {
                await service.AllTold(subscription);
                break;
            }

            // It is killed while beds are opened and clots are seen, and what was acknowledged by then is known.
            using var stop = new CancellationTokenSource();
            var before = acknowledged.Count;
            var posting = Post(service, stop.Token);
            while (acknowledged.Count == before)
                await Task.Delay(5);
            await Task.Delay(random.Next(0, 300));
            service.Kill();
            await stop.CancelAsync();
            await posting;
        }

        async Task Post(ServiceProcess service, CancellationToken stop)
        {
            try
            {
                while (!stop.IsCancellationRequested)
                {
                    var episode = await service.Open($"bed {bed++}");
                    await service.Record(episode, SubscribedWard.Clots("a", at: DateTimeOffset.UtcNow.AddMinutes(-1)));
                    lock (acknowledged)
                        acknowledged.Add(episode);
                }
            }
            catch (Exception died) when (died is HttpRequestException or TaskCanceledException or IOException)
            {
                // As it was meant to.
            }
        }

        var told = subscriber.All().Where(n => n.Kind == "event-notification").SelectMany(n => n.Numbers.Zip(n.Addresses)).ToList();
        var first = told.DistinctBy(event_ => event_.First).ToList();
        var again = told.Count - first.Count;
        output.WriteLine(
            FormattableString.Invariant(
                $"{Kills} kills: {first.Count} events, {again} told again, {acknowledged.Count} acknowledged to the sender"
            )
        );

        // In order, without a gap; a number means one thing; and nothing stands under two numbers.
        Assert.Equal(Enumerable.Range(1, first.Count).Select(n => (long)n), first.Select(event_ => event_.First));
        Assert.All(told.GroupBy(event_ => event_.First), same => Assert.Single(same.Select(event_ => event_.Second).Distinct()));
        Assert.Equal(first.Count, first.Select(event_ => event_.Second).Distinct().Count());
        var flags = first.Select(event_ => event_.Second).ToList();
        Assert.All(
            acknowledged,
            episode => Assert.Contains(flags, flag => flag.Contains($"/{episode}.clots-present.", StringComparison.Ordinal))
        );
        Assert.True(acknowledged.Count >= Kills, $"{acknowledged.Count} acknowledged: nothing was tried");
        Directory.Delete(folder, recursive: true);
    }

    /// <summary>The service as it is run, on a free port.</summary>
    private sealed class ServiceProcess : IDisposable
    {
        private const string ListeningOn = "Now listening on: ";
        private readonly Process process;
        private readonly HttpClient http;

        private ServiceProcess(Process process, HttpClient http) => (this.process, this.http) = (process, http);

        public static async Task<ServiceProcess> Start(string folder, params (string Key, string Value)[] settings)
        {
            var start = new ProcessStartInfo(
                "dotnet",
                [
                    Path.Combine(AppContext.BaseDirectory, "IrrigationFhir.dll"),
                    "--urls",
                    "http://127.0.0.1:0",
                    "--Data:Folder",
                    folder,
                    .. settings.SelectMany(s => new[] { $"--{s.Key}", s.Value }),
                ]
            )
            {
                RedirectStandardOutput = true,
                WorkingDirectory = folder,
            };
            var process = Process.Start(start)!;
            using var patience = new CancellationTokenSource(TimeSpan.FromMinutes(1));
            while (await process.StandardOutput.ReadLineAsync(patience.Token) is { } line)
            {
                if (line.IndexOf(ListeningOn, StringComparison.Ordinal) is not (var at and >= 0))
                    continue;
                _ = process.StandardOutput.BaseStream.CopyToAsync(Stream.Null, CancellationToken.None);
                var http = new HttpClient
                {
                    BaseAddress = new Uri(line[(at + ListeningOn.Length)..].Trim()),
                    Timeout = TimeSpan.FromSeconds(30),
                };
                while ((await http.GetAsync(new Uri("/health/ready", UriKind.Relative), patience.Token)).StatusCode != HttpStatusCode.OK)
                    await Task.Delay(20, patience.Token);
                return new(process, http);
            }

            throw new InvalidOperationException("the service ended before it listened");
        }

        public async Task<string> Subscribed(JsonObject subscription)
        {
            var id = (string)(await Send("/fhir/Subscription", subscription))["id"]!;
            while ((string)(await Get($"/fhir/Subscription/{id}"))["status"]! != "active")
                await Task.Delay(20);
            return id;
        }

        public async Task<string> Open(string bed) =>
            (string)
                (
                    await Send(
                        "/episodes",
                        RunningService.Episode(
                            bed,
                            DateTimeOffset.UtcNow.AddHours(-1).ToString("yyyy-MM-dd'T'HH:mm:ssK", CultureInfo.InvariantCulture)
                        )
                    )
                )["id"]!;

        public Task Record(string episode, JsonObject entry) => Send($"/episodes/{episode}/entries", entry);

        /// <summary>Waits until no event is left to tell.</summary>
        public async Task AllTold(string subscription)
        {
            var since = Stopwatch.StartNew();
            while ((int)(await Get("/health/ready"))["checks"]!["notifications"]!["data"]!["eventsWaiting"]! > 0)
            {
                Assert.True(since.Elapsed < TimeSpan.FromMinutes(1), $"{subscription} was never told all");
                await Task.Delay(50);
            }
        }

        public void Kill()
        {
            process.Kill();
            process.WaitForExit();
        }

        public void Dispose()
        {
            if (!process.HasExited)
                Kill();
            process.Dispose();
            http.Dispose();
        }

        private async Task<JsonNode> Get(string address) => JsonNode.Parse(await http.GetStringAsync(new Uri(address, UriKind.Relative)))!;

        private async Task<JsonNode> Send(string address, JsonNode body)
        {
            using var content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json");
            using var response = await http.PostAsync(new Uri(address, UriKind.Relative), content);
            var text = await response.Content.ReadAsStringAsync();
            Assert.True(response.IsSuccessStatusCode, text);
            return JsonNode.Parse(text)!;
        }
    }
}
