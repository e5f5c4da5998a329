using System.Net;
using IrrigationFhir.Audit;
using IrrigationFhir.Store;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Audit;

/// <summary>Reads wait in a file until they are stored: none is shown that is not recorded, none is recorded twice.</summary>
public class WaitingTests
{
    private const string Now = "2026-03-14T22:00:00Z";

    [Fact]
    public async Task What_cannot_be_recorded_is_not_shown()
    {
        await using var ward = RunningService.Start(Now);
        var episode = await ward.Open(RunningService.Episode("stay-1", "2026-03-14T08:00:00Z"));
        var queue = ward.Services.GetRequiredService<AuditQueue>();
        await ward.All();
        queue.MostBytes = 0; // the file is full
        Assert.Equal(HttpStatusCode.OK, (await ward.Get($"/episodes/{episode}/balance")).Status); // kept in memory
        Assert.Contains(await ward.All(), row => row.Entry.Query == $"GET /episodes/{episode}/balance");
        queue.MostKept = 0; // and so is memory

        foreach (
            var address in new[]
            {
                $"/episodes/{episode}/balance",
                "/fhir/Observation",
                "/ward",
                $"/fhir/Observation/{episode}.x",
                "/fhir/AuditEvent",
            }
        )
        {
            var reply = await ward.Get(address);
            Assert.True(reply.Status == HttpStatusCode.ServiceUnavailable, $"{address}: {reply.Text}");
            Assert.Equal("audit-unavailable", (string)reply.Json["issue"]![0]!["details"]!["coding"]![0]!["code"]!);
        }

        // What is about nobody is answered, and so is what is written: that has its record in its own transaction.
        Assert.Equal(HttpStatusCode.OK, (await ward.Get("/fhir/metadata")).Status);
        Assert.Equal(HttpStatusCode.OK, (await ward.Get("/health/live")).Status);
        await ward.Open(RunningService.Episode("stay-2", "2026-03-14T08:00:00Z"));

        (queue.MostBytes, queue.MostKept) = (1_000_000, 10_000);
        Assert.Equal(HttpStatusCode.OK, (await ward.Get($"/episodes/{episode}/balance")).Status);
    }

    [Fact]
    public async Task What_an_earlier_process_left_is_recorded_by_the_next_start_once()
    {
        var folder = Directory.CreateTempSubdirectory("left-").FullName;
        string episode;
        await using (var ward = RunningService.Start(Now, folder))
            episode = await ward.Open(RunningService.Episode("stay-1", "2026-03-14T08:00:00Z", patient: "Ada Invented"));

        // As a process leaves it that was killed: two reads, and a line that was cut off.
        var read = new AuditEntry
        {
            Deed = Deed.Read,
            How = "read",
            Client = "ward-board",
            At = 1_000,
            Resources = ["Observation/x"],
            Episodes = [episode],
        };
        var line = System.Text.Encoding.UTF8.GetString(read.ToJson());
        await File.WriteAllTextAsync(Path.Combine(folder, "audit-waiting-0000000900.ndjson"), $"{line}\n{line}\n{line[..40]}");
        await using (var ward = RunningService.Start(Now, folder))
        {
            Assert.Equal(2, (await ward.All()).Count(row => row.Entry is { Client: "ward-board", Patient.Value: "Ada Invented" }));
            await ward.Read("/ward");
        }

        await using (var ward = RunningService.Start(Now, folder))
        {
            Assert.Equal(2, (await ward.All()).Count(row => row.Entry.Client == "ward-board"));
            Assert.Single(await ward.All(), row => row.Entry.Query == "GET /ward");
        }

        Assert.Empty(Directory.GetFiles(folder, "audit-waiting-*"));
        await RunningService.Remove(folder);
    }

    [Fact]
    public async Task What_a_command_left_and_nobody_may_read_keeps_nothing_else_from_being_recorded()
    {
        await using var ward = RunningService.Start(Now);
        await ward.All();
        var left = Path.Combine(ward.Folder, "audit-left-1.ndjson");
        File.CreateSymbolicLink(left, Path.Combine(ward.Folder, "nowhere")); // root may read everything, but not this
        await ward.Read("/ward");
        Assert.Single(await ward.All(), row => row.Entry.Query == "GET /ward");
        var check = (await ward.Read("/health/ready"))["checks"]!["audit"]!;
        Assert.Equal("degraded", (string)check["status"]!);
        Assert.Contains("may not be read", (string)check["description"]!, StringComparison.Ordinal);
        File.Delete(left);
        await ward.All();
        Assert.Equal("ready", (string)(await ward.Read("/health/ready"))["checks"]!["audit"]!["status"]!);
    }

    [Fact]
    public async Task Lines_that_were_stored_before_a_kill_are_not_stored_again()
    {
        var folder = Directory.CreateTempSubdirectory("twice-").FullName;
        var line = System.Text.Encoding.UTF8.GetString(
            new AuditEntry
            {
                Deed = Deed.Query,
                How = "search-type",
                Client = "ward-board",
            }.ToJson()
        );
        await using (var ward = RunningService.Start(Now, folder))
            await ward
                .Services.GetRequiredService<AuditStore>()
                .Take(900, 2, [AuditEntry.Read(System.Text.Encoding.UTF8.GetBytes(line))], default);
        await File.WriteAllTextAsync(Path.Combine(folder, "audit-waiting-0000000900.ndjson"), $"{line}\n{line}\n{line}\n");
        await using (var ward = RunningService.Start(Now, folder))
            Assert.Equal(2, (await ward.All()).Count(row => row.Entry.Client == "ward-board"));
        await RunningService.Remove(folder);
    }

    [Fact]
    public async Task Whatever_was_answered_before_a_kill_is_recorded_after_it()
    {
        var folder = Directory.CreateTempSubdirectory("killed-").FullName;
        var (answered, random) = (0, new Random(20260314));
        for (var kill = 0; kill < 3; kill++)
        {
            await using var service = await ProgramProcess.Serve(folder, $"--Data:Folder={folder}");
            using var stop = new CancellationTokenSource();
            var asking = Task.WhenAll(
                Enumerable
                    .Range(0, 4)
                    .Select(async _ =>
                    {
                        try
                        {
                            while (!stop.IsCancellationRequested)
                            {
                                var number = Interlocked.Increment(ref asked);
                                using var reply = await service.Http.GetAsync(new Uri($"/fhir/Flag?_id=asked-{number}", UriKind.Relative));
                                if (reply.IsSuccessStatusCode)
                                    Answered(number);
                            }
                        }
                        catch (Exception died) when (died is HttpRequestException or TaskCanceledException or IOException)
                        {
                            // As it was meant to.
                        }
                    })
            );
            await Task.Delay(random.Next(300, 2500));
            service.Kill();
            await stop.CancelAsync();
            await asking;
        }

        await using (
            var ward = RunningService.Start(
                DateTimeOffset.UtcNow.ToString("yyyy-MM-dd'T'HH:mm:ss'Z'", System.Globalization.CultureInfo.InvariantCulture),
                folder
            )
        )
        {
            var recorded = (await ward.All()).Select(row => row.Entry.Query).OfType<string>().ToList();
            lock (_answered)
            {
                answered = _answered.Count;
                Assert.All(_answered, number => Assert.Single(recorded, query => query == $"GET /fhir/Flag?_id=asked-{number}"));
            }
        }

        Assert.True(answered > 20, $"{answered} answered: nothing was tried");
        await RunningService.Remove(folder);
    }

    private int asked;
    private readonly List<int> _answered = [];

    private void Answered(int number)
    {
        lock (_answered)
            _answered.Add(number);
    }
}
