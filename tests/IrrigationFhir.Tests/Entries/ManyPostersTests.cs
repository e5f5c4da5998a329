using System.Diagnostics;
using System.Net;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Entries;

/// <summary>Many who begin at once, with a pool that holds few threads: nobody's work waits for somebody else who waits.</summary>
public class ManyPostersTests
{
    [Fact]
    public async Task Sixty_four_who_begin_at_once_are_answered_while_the_service_lives()
    {
        // As at a start: the pool keeps no more threads than processors, and adds few in a second.
        ThreadPool.GetMinThreads(out var workers, out var ports);
        ThreadPool.SetMinThreads(Environment.ProcessorCount, ports);
        using var patience = new CancellationTokenSource();
        try
        {
            await using var ward = RunningService.Start("2026-03-14T22:00:00Z");
            var episodes = new List<string>();
            for (var i = 0; i < 64; i++)
                episodes.Add(await ward.Open(RunningService.Episode($"stay-{i}", "2026-03-14T08:00:00Z")));

            var probes = Probes(ward, patience.Token);
            var posts = episodes.Select(async episode =>
            {
                var begun = Stopwatch.GetTimestamp();
                var reply = await ward.Post($"/episodes/{episode}/entries", Night());
                Assert.Equal(HttpStatusCode.OK, reply.Status);
                return Stopwatch.GetElapsedTime(begun);
            });
            var took = (await Task.WhenAll(posts)).Order().ToList();
            await patience.CancelAsync();

            // Not how fast, but that nobody stands still: each posts some 0.1 s of work, and a pool that starves adds a thread or two a
            // second.
            var alone = await Alone(ward);
            var p95 = took[(int)(took.Count * 0.95)];
            var all = alone * 64 / Math.Min(Environment.ProcessorCount, 2);
            Assert.True(p95 < (all * 3) + TimeSpan.FromSeconds(5), $"p95 {p95}, one alone {alone}");
            var longest = (await probes).Max();
            Assert.True(longest < TimeSpan.FromSeconds(5), $"a probe waited {longest}");
        }
        finally
        {
            ThreadPool.SetMinThreads(workers, ports);
        }
    }

    private static async Task<TimeSpan> Alone(RunningService ward)
    {
        var episode = await ward.Open(RunningService.Episode("alone", "2026-03-14T08:00:00Z"));
        var begun = Stopwatch.GetTimestamp();
        await ward.Post($"/episodes/{episode}/entries", Night());
        return Stopwatch.GetElapsedTime(begun);
    }

    private static async Task<List<TimeSpan>> Probes(RunningService ward, CancellationToken stop)
    {
        List<TimeSpan> took = [TimeSpan.Zero];
        while (!stop.IsCancellationRequested)
        {
            var begun = Stopwatch.GetTimestamp();
            Assert.Equal(HttpStatusCode.OK, (await ward.Get("/health/live")).Status);
            took.Add(Stopwatch.GetElapsedTime(begun));
            await Task.Delay(100, CancellationToken.None);
        }

        return took;
    }

    /// <summary>An hour of readings, which publishes a few dozen resources.</summary>
    private static JsonArray Night() =>
        [
            Charted.BagHung("bag", "08:00", 3000),
            Charted.Flow("flow", "08:00", 600),
            .. Enumerable.Range(1, 6).Select(i => Charted.Emptied($"reading-{i}", $"{8 + (i / 2):00}:{30 * (i % 2):00}", 350)),
        ];
}
