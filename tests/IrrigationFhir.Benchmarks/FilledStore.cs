using System.Text.Json;
using Hl7.Fhir.Model;
using IrrigationFhir.Demo;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using NodaTime;
using NodaTime.Text;
using Duration = NodaTime.Duration;
using Instant = NodaTime.Instant;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Benchmarks;

/// <summary>
/// What a store holds after two years of a hospital: invented stays, one after another, with everything that the service publishes of them.
/// </summary>
/// <remarks>
/// Entries go in by the service's own API, so that Observations and Procedures are its own, validated and indexed as ever. Flags are
/// put beside them by the store's own way of writing.
/// </remarks>
internal static class FilledStore
{
    private static Codes Codes => new Vocabulary(Profiles.DefaultCanonicalBase).Codes;

    /// <summary>At least so many Observations.</summary>
    public const int Observations = 1_000_000;

    // What one stay publishes is some five hundred Observations.
    private const int EntriesEach = 110;
    private const int LookEvery = 50;
    private const int FlagsEach = 10;

    // The stays that have not ended: their latest flags are still raised.
    private const int StillHere = 40;

    private static readonly Instant FirstStay = Instant.FromUtc(2024, 1, 1, 6, 0);
    private static readonly Duration Apart = Duration.FromHours(8);

    private static readonly string[] Slugs =
    [
        "outflow-deficit",
        "no-drainage",
        "bag-low",
        "bag-dry",
        "clots-present",
        "drainage-bag-high",
        "drainage-reading-stale",
        "negative-corrected-output",
        "catheter-review",
        "late-entry",
    ];

    /// <summary>A stay by its number.</summary>
    public static InventedIrrigation Stay(int number) => new(number, Begin(number));

    /// <summary>When a stay begins.</summary>
    public static Instant Begin(int number) => FirstStay + Apart * number;

    /// <summary>Fills the store of a folder; answers how many stays it holds.</summary>
    public static async Task<int> Fill(string folder)
    {
        var stays = new List<string>();
        await using (var service = await RunningService.Start(folder))
        {
            while (await Count(service, "Observation") < Observations)
            {
                var numbers = Enumerable.Range(stays.Count, LookEvery).ToList();
                var ids = new string[LookEvery];
                await Parallel.ForEachAsync(
                    numbers,
                    new ParallelOptions { MaxDegreeOfParallelism = Environment.ProcessorCount },
                    async (number, _) =>
                    {
                        var ward = Stay(number);
                        var id = await service.Open(ward);
                        await service.Record(id, [.. ward.Entries().Take(EntriesEach)]);
                        ids[number - numbers[0]] = id;
                    }
                );
                stays.AddRange(ids);
            }
        }

        await AddFlags(folder, stays);
        return stays.Count;
    }

    /// <summary>How many resources of a type there are.</summary>
    public static async Task<int> Count(RunningService service, string type)
    {
        using var counted = JsonDocument.Parse(await service.Get($"/fhir/{type}?_summary=count"));
        return counted.RootElement.GetProperty("total").GetInt32();
    }

    private static async Task AddFlags(string folder, List<string> stays)
    {
        await using var database = new Database(new(folder, DateTimeZone.Utc), TimeProvider.System);
        database.Start();
        var store = new EpisodeStore(database);
        await Parallel.ForEachAsync(
            Enumerable.Range(0, stays.Count),
            async (number, stop) =>
            {
                var row =
                    await store.Find(stays[number], stop)
                    ?? throw new InvalidOperationException("an episode that was opened and is not there");
                var flags = Enumerable
                    .Range(0, FlagsEach)
                    .Select(n => ResourceDraft.Of(Flag(row, number, n, isLast: n >= FlagsEach - 3 && number >= stays.Count - StillHere)))
                    .ToList();
                if (
                    await store.Save(new(row.PatientKey, row.Id, row.Version, [], flags, []), stop)
                    is not SaveOutcome.Saved { Changed.Count: FlagsEach }
                )
                    throw new InvalidOperationException("flags that were not saved");
            }
        );
    }

    private static Flag Flag(EpisodeRow row, int number, int n, bool isLast)
    {
        var begin = Begin(number) + Duration.FromHours(2 * n) + Duration.FromMinutes(number % 60);
        return new()
        {
            Id = $"bench-flag.{row.Id}.{n}",
            Identifier = [new("https://lantern-quay.example/flags", $"F-{number}-{n}")],
            Status =
                isLast ? Hl7.Fhir.Model.Flag.FlagStatus.Active
                : (number + n) % 20 == 0 ? Hl7.Fhir.Model.Flag.FlagStatus.EnteredInError
                : Hl7.Fhir.Model.Flag.FlagStatus.Inactive,
            Category = [new("http://terminology.hl7.org/CodeSystem/flag-category", "clinical")],
            Code = Codes.Flag(Slugs[(number + n) % Slugs.Length], "an invented flag"),
            Subject = new() { Type = "Patient", Identifier = new(row.Patient!.Value.System, row.Patient.Value.Value) },
            Period = new()
            {
                Start = InstantPattern.General.Format(begin),
                End = isLast ? null : InstantPattern.General.Format(begin + Duration.FromMinutes(90)),
            },
        };
    }
}
