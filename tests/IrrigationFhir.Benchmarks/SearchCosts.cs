using System.Diagnostics;
using System.Text.RegularExpressions;
using IrrigationFhir.Demo;
using IrrigationFhir.Fhir;
using IrrigationFhir.Search;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Benchmarks;

/// <summary>What a search takes among a million Observations: the first after a start, and then.</summary>
internal static partial class SearchCosts
{
    private static Codes Codes => new Vocabulary(Profiles.DefaultCanonicalBase).Codes;

    private const int WarmUp = 50;
    private const int Requests = 500;
    private static readonly TimeSpan Longest = TimeSpan.FromSeconds(20);

    private static int stays;

    private static readonly (string What, Func<Random, string> Ask)[] Searches =
    [
        (
            "Observations of a patient, code and day",
            r => Of(r, (n, patient) => $"Observation?{patient}&{Hourly}&date=ge{Day(n, 0)}&date=lt{Day(n, 1)}")
        ),
        ("the same from a day on", r => Of(r, (n, patient) => $"Observation?{patient}&{Hourly}&date=ge{Day(n, 1)}")),
        ("`$lastn`, patient and code", r => Of(r, (_, patient) => $"Observation/$lastn?{patient}&{Hourly}")),
        (
            "`$lastn`, patient and category",
            r => Of(r, (_, patient) => $"Observation/$lastn?{patient}&category={Token(Codes.ExamCategory()[0].Coding[0])}")
        ),
        ("raised Flags of a patient", r => Of(r, (_, patient) => $"Flag?{patient}&status=active")),
        ("raised Flags of all patients", _ => "Flag?status=active"),
        ("raised Flags of all patients, latest 20", _ => "Flag?status=active&_sort=-date&_count=20"),
        ("raised Flags of one kind", r => $"Flag?status=active&code={(r.Next(2) == 0 ? "no-drainage" : "clots-present")}"),
        ("raised Flags, only counted", _ => "Flag?status=active&_count=0"),
        ("Flags withdrawn or cleared, page of 100", _ => "Flag?status=entered-in-error,inactive"),
        ("hours of a patient with less than 50 mL", r => Of(r, (_, patient) => $"Observation?{patient}&{HourlyBelow(50)}")),
        (
            "hours of any patient below -100 mL: there are none, so that all are looked at",
            _ => $"Observation?{HourlyBelow(-100)}&_count=20"
        ),
        ("any value above 3.9 L, any patient: as before", _ => "Observation?value-quantity=gt3.9||L&_count=20"),
        (
            "20 outputs with what they derive from (`_include`)",
            r => Of(r, (_, patient) => $"Observation?{patient}&{Hourly}&_count=20&_include=Observation:derived-from")
        ),
        ("`$everything`, page of 100", r => Of(r, (_, patient) => $"Patient/$everything?{patient["patient.".Length..]}")),
        ("latest 20 of a code, any patient", _ => $"Observation?{Hourly}&_sort=-date&_count=20"),
        ("page of 100 deep in all Observations", r => $"Observation?_page={Deep(r)}"),
        ("by identifier of a Flag", r => $"Flag?identifier=https://lantern-quay.example/flags%7CF-{r.Next(stays)}-{r.Next(10)}"),
    ];

    /// <summary>Fills a store, measures, writes a Markdown table, deletes the store.</summary>
    /// <param name="output">Where the table goes.</param>
    public static async Task Measure(TextWriter output)
    {
        // To look at a plan without filling anew, a store may be kept.
        var kept = Environment.GetEnvironmentVariable("BENCHMARK_STORE");
        var folder = kept ?? Directory.CreateTempSubdirectory("irrigationfhir-benchmark-").FullName;
        Directory.CreateDirectory(folder);
        try
        {
            var started = Stopwatch.GetTimestamp();
            var known = Path.Combine(folder, "stays");
            stays = File.Exists(known) ? int.Parse(await File.ReadAllTextAsync(known), null) : await FilledStore.Fill(folder);
            await File.WriteAllTextAsync(known, $"{stays}");
            output.WriteLine($"\n## Searches\n\nFilled in {Samples.Shown(Stopwatch.GetElapsedTime(started))}.");
            await Sizes(output, folder);
            output.WriteLine(
                "\n| search | resources sent | first after the start | requests then | median | p95 |\n"
                    + "| --- | ---: | ---: | ---: | ---: | ---: |"
            );
            foreach (var (what, ask) in Searches)
                await Row(output, folder, what, ask);
        }
        finally
        {
            if (kept is null)
                Directory.Delete(folder, recursive: true);
        }
    }

    private static async Task Sizes(TextWriter output, string folder)
    {
        await using var service = await RunningService.Start(folder);
        var counts = new List<string>();
        foreach (var type in IndexedTypes.All)
            counts.Add($"{await FilledStore.Count(service, type.Name):N0} {type.Name}");
        var size = new DirectoryInfo(folder).EnumerateFiles("*.db*").Sum(file => file.Length) / 1e9;
        output.WriteLine($"{stays:N0} patients, {string.Join(", ", counts)}; {size:0.0} GB on disk.");
    }

    private static async Task Row(TextWriter output, string folder, string what, Func<Random, string> ask)
    {
        await Forget(folder);
        await using var service = await RunningService.Start(folder);
        var random = new Random(1);
        var first = new Samples();
        var (warm, sent) = (new Samples(), new List<int>());
        var started = Stopwatch.GetTimestamp();
        for (var i = 0; i <= WarmUp + Requests && (warm.Count == 0 || Stopwatch.GetElapsedTime(started) < Longest); i++)
        {
            var address = "/fhir/" + ask(random);
            var asked = Stopwatch.GetTimestamp();
            var reply = await service.Get(address);
            if (i == 0)
                first.Since(asked);
            if (i == 0 || (i <= WarmUp && Stopwatch.GetElapsedTime(started) < Longest / 2))
                continue;
            warm.Since(asked);
            sent.Add(FullUrl().Count(reply));
        }

        var then = $"{warm.Count} | {Samples.Shown(warm.Median)} | {Samples.Shown(warm.P95)}";
        output.WriteLine($"| {what} | {sent.Average():0.#} | {Samples.Shown(first.Median)} | {then} |");
        output.Flush();
    }

    /// <summary>
    /// Lets the system forget what it read of the database, so that the first search reads the disk. Linux only; elsewhere the first search
    /// is warmer.
    /// </summary>
    private static async Task Forget(string folder)
    {
        if (!OperatingSystem.IsLinux())
            return;
        foreach (var file in Directory.EnumerateFiles(folder, "*.db"))
        {
            using var forget = Process.Start(
                new ProcessStartInfo("dd", [$"if={file}", "iflag=nocache", "count=0"]) { RedirectStandardError = true }
            )!;
            await forget.WaitForExitAsync();
        }
    }

    private static string Hourly => "code=" + Token(Codes.CorrectedUrineOutput("clock-hour", 1).Coding[0]);

    private static string HourlyBelow(int millilitres) =>
        $"code-value-quantity={Token(Codes.CorrectedUrineOutput("clock-hour", 1).Coding[0])}$lt{millilitres}||mL";

    private static string Token(Hl7.Fhir.Model.Coding coding) => Uri.EscapeDataString($"{coding.System}|{coding.Code}");

    private static string Of(Random random, Func<int, string, string> search)
    {
        var number = random.Next(stays);
        return search(
            number,
            $"patient.identifier={Uri.EscapeDataString($"{InventedIrrigation.PatientSystem}|{FilledStore.Stay(number).Patient}")}"
        );
    }

    private static string Day(int number, int later) => LocalDatePattern.Iso.Format(FilledStore.Begin(number).InUtc().Date.PlusDays(later));

    /// <summary>A position as the service writes it, somewhere in the two years.</summary>
    private static string Deep(Random random) =>
        PageMark.Write("", new([UnixNanoseconds.Of(FilledStore.Begin(random.Next(stays)) + Duration.FromHours(5))], " "));

    [GeneratedRegex("\"fullUrl\"")]
    private static partial Regex FullUrl();
}
