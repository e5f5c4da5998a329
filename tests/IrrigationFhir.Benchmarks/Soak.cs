using System.Diagnostics;
using IrrigationFhir.Demo;

namespace IrrigationFhir.Benchmarks;

/// <summary>Half an hour at moderate load: whether the working set, the open files and the threads of the service level off.</summary>
internal static class Soak
{
    private const int EntriesOfAStay = 150;
    private const int Beds = 20;
    private static readonly TimeSpan Length = TimeSpan.FromMinutes(30);
    private static readonly TimeSpan Between = TimeSpan.FromMilliseconds(200);

    /// <summary>Runs, and writes a Markdown table of a row every two minutes.</summary>
    public static async Task Measure(TextWriter output)
    {
        var folder = Directory.CreateTempSubdirectory("irrigationfhir-soak-").FullName;
        try
        {
            await using var service = await RunningService.Start(folder);
            output.WriteLine($"\n## Soak: {Beds} beds, five entries and a report a second\n");
            output.WriteLine(
                "| minutes | entries | working set | open files | threads | waited longest | database and log |\n"
                    + "| ---: | ---: | ---: | ---: | ---: | ---: | ---: |"
            );
            var beds = new List<(string Id, InventedIrrigation Ward, IEnumerator<ChartedEntry> Entries, int Left)>();
            var (started, seed, posted, longest, told) = (Stopwatch.GetTimestamp(), 7000, 0, TimeSpan.Zero, -2);
            while (Stopwatch.GetElapsedTime(started) is var now && now < Length)
            {
                if ((int)now.TotalMinutes >= told + 2)
                {
                    told = (int)now.TotalMinutes;
                    Row();
                }

                if (beds.Count < Beds)
                {
                    var ward = new InventedIrrigation(++seed);
                    beds.Add((await service.Open(ward), ward, ward.Entries().GetEnumerator(), EntriesOfAStay));
                }

                var bed = posted % beds.Count;
                var (id, stay, entries, left) = beds[bed];
                entries.MoveNext();
                var begun = Stopwatch.GetTimestamp();
                await service.Record(id, entries.Current);
                if (posted++ % 5 == 0)
                    await service.Get($"/episodes/{id}/flags");
                var took = Stopwatch.GetElapsedTime(begun);
                if (took > longest)
                    longest = took;
                if (left > 1)
                {
                    beds[bed] = (id, stay, entries, left - 1);
                }
                else
                {
                    await service.End(stay, entries.Current.At);
                    beds.RemoveAt(bed);
                }

                if (Between > took)
                    await Task.Delay(Between - took);
            }

            told += 2;
            Row();

            void Row()
            {
                var bytes = new DirectoryInfo(folder).GetFiles().Sum(file => file.Length) / 1e6;
                var holds = $"{service.Megabytes:0} MB | {service.OpenFiles} | {service.Threads}";
                output.WriteLine($"| {told} | {posted:N0} | {holds} | {Samples.Shown(longest)} | {bytes:0} MB |");
                longest = TimeSpan.Zero;
            }
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }
}
