using System.Diagnostics;
using System.Globalization;
using IrrigationFhir.Demo;
using NodaTime;

namespace IrrigationFhir.Benchmarks;

/// <summary>
/// What an Observation costs in a batch of ten and in one of a thousand: the same invented month of readings, in Bundles of each size, each
/// received two minutes after its latest reading. Each size has an episode of its own.
/// </summary>
internal static class BundleCosts
{
    private const int Readings = 2000;
    private const string Kinds = "https://irrigationfhir.example/fhir/CodeSystem/entry-kind";
    private static readonly int[] Sizes = [10, 100, 400, 1000];

    /// <summary>Measures, and writes a Markdown table.</summary>
    public static async Task Measure(TextWriter output)
    {
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        try
        {
            await using var service = await RunningService.Start(folder);
            var (seed, start) = (5000, InventedIrrigation.Start);
            start = await Post(service, 100, seed++, start, new());
            output.WriteLine(
                "\n## Bundles\n\n| Observations in a batch | batches | per Observation | processor | longest answer |\n"
                    + "| ---: | ---: | ---: | ---: | ---: |"
            );
            foreach (var size in Sizes)
            {
                var (samples, used, began) = (new Samples(), service.Processor, Stopwatch.GetTimestamp());
                start = await Post(service, size, seed++, start, samples);
                var (time, processor) = (Stopwatch.GetElapsedTime(began) / Readings, (service.Processor - used) / Readings);
                var times = $"{Samples.Shown(time)} | {Samples.Shown(processor)} | {Samples.Shown(samples.Longest)}";
                output.WriteLine($"| {size:N0} | {Readings / size:N0} | {times} |");
            }
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    /// <summary>Posts a month; answers when the next may begin, for the service's clock goes only forward.</summary>
    private static async Task<Instant> Post(RunningService service, int size, int seed, Instant start, Samples samples)
    {
        var ward = new InventedIrrigation(seed, start);
        await service.Open(ward);
        foreach (var bundle in Observations(ward, start).Take(Readings).Chunk(size))
        {
            var sent = Stopwatch.GetTimestamp();
            await service.Batch([.. bundle.Select(reading => reading.Json)], bundle[^1].At);
            samples.Since(sent);
        }

        return start + Duration.FromDays(60);
    }

    /// <summary>Each half hour what ran in since the last, and what was emptied.</summary>
    private static IEnumerable<ChartedEntry> Observations(InventedIrrigation ward, Instant start)
    {
        for (var at = start; ; at += Duration.FromMinutes(30))
        {
            if (at > start)
                yield return Reading(ward, "irrigant-instilled", 150, at - Duration.FromMinutes(30), at);
            yield return Reading(ward, "drainage-emptied", at == start ? 0 : 180, null, at);
        }
    }

    private static ChartedEntry Reading(InventedIrrigation ward, string kind, int millilitres, Instant? from, Instant at)
    {
        var when = from is { } since
            ? $$"""
                "effectivePeriod": { "start": "{{since}}", "end": "{{at}}" }
                """
            : $"\"effectiveDateTime\": \"{at}\"";
        var id = string.Create(CultureInfo.InvariantCulture, $"{ward.Patient}-{kind}-{at.ToUnixTimeSeconds()}");
        return new(
            at,
            $$"""
            {
              "resourceType": "Observation", "status": "final",
              "identifier": [{ "system": "https://lantern-quay.example/bedside-gateway", "value": "{{id}}" }],
              "code": { "coding": [{ "system": "{{Kinds}}", "code": "{{kind}}" }] },
              "subject": { "identifier": { "system": "{{InventedIrrigation.PatientSystem}}", "value": "{{ward.Patient}}" } },
              {{when}},
              "valueQuantity": { "value": {{millilitres}}, "unit": "mL", "system": "http://unitsofmeasure.org", "code": "mL" }
            }
            """
        );
    }
}
