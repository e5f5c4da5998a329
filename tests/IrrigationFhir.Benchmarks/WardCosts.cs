using System.Diagnostics;
using IrrigationFhir.Demo;
using NodaTime;

namespace IrrigationFhir.Benchmarks;

/// <summary>What the list of a ward costs with 1,000 open irrigations: the first time after a start, and then.</summary>
internal static class WardCosts
{
    private const int Beds = 1000;
    private const int Asked = 100;

    /// <summary>Measures, and writes a Markdown table.</summary>
    public static async Task Measure(TextWriter output)
    {
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        try
        {
            await using (var filling = await RunningService.Start(folder))
                await Fill(filling);
            await using var service = await RunningService.Start(folder);
            output.WriteLine(
                $"\n## The list of a ward with {Beds} open irrigations\n\n| what | asked | median | p95 |\n| --- | ---: | ---: | ---: |"
            );
            await Ask(output, service, "the first time after a start", 1);
            await Ask(output, service, "then, once a second", Asked);
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static async Task Fill(RunningService service)
    {
        var now = SystemClock.Instance.GetCurrentInstant();
        for (var n = 0; n < Beds; n++)
        {
            var ward = new InventedIrrigation(900_000 + n, now - Duration.FromHours(6) - Duration.FromMinutes(n % 60));
            var id = await service.Open(ward);
            await service.Record(id, [.. ward.Entries().TakeWhile(entry => entry.At < now)]);
        }
    }

    private static async Task Ask(TextWriter output, RunningService service, string what, int times)
    {
        var samples = new Samples();
        for (var n = 0; n < times; n++)
        {
            var started = Stopwatch.GetTimestamp();
            await service.Get("/ward");
            samples.Since(started);
            if (n < times - 1)
                await Task.Delay(TimeSpan.FromSeconds(1) - Stopwatch.GetElapsedTime(started) is { Ticks: > 0 } rest ? rest : TimeSpan.Zero);
        }

        output.WriteLine($"| {what} | {samples.Count} | {Samples.Shown(samples.Median)} | {Samples.Shown(samples.P95)} |");
    }
}
