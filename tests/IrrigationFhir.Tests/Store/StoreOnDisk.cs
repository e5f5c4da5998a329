using Hl7.Fhir.Model;
using IrrigationFhir.Store;
using Microsoft.Extensions.Time.Testing;
using NodaTime;
using NodaTime.Text;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Tests.Store;

/// <summary>The real store in a folder of its own, with a clock that the test moves.</summary>
internal sealed class StoreOnDisk : IAsyncDisposable
{
    public const string PatientSystem = "https://ward.example/patients";

    private StoreOnDisk(string folder, TimeProvider? clock)
    {
        Folder = folder;
        Database = new(new(folder, DateTimeZoneProviders.Tzdb["Europe/Berlin"]), clock ?? Clock);
        Database.Start();
        Episodes = new(Database);
        Resources = new(Database);
    }

    public string Folder { get; }

    public FakeTimeProvider Clock { get; } = new(At("2026-03-02T08:00:00Z").ToDateTimeOffset());

    public Database Database { get; }

    public EpisodeStore Episodes { get; }

    public ResourceStore Resources { get; }

    public static StoreOnDisk New(TimeProvider? clock = null) => new(Directory.CreateTempSubdirectory("store-").FullName, clock);

    public static StoreOnDisk Reopen(string folder, TimeProvider? clock = null) => new(folder, clock);

    public static Instant At(string text) => InstantPattern.ExtendedIso.Parse(text).Value;

    public static EpisodeRow Episode(string id, string patient = "P-1") =>
        new(
            "key-" + patient,
            id,
            1,
            0,
            new("https://ward.example/episodes", "E-" + id),
            new(PatientSystem, patient),
            At("2026-03-02T07:30:00Z"),
            null,
            """{"catheter":"three-way"}"""
        );

    public static EntryRow Entry(long sequence, string id, int revision = 1) =>
        new(
            sequence,
            "charting",
            id,
            revision,
            "drainage-emptied",
            At("2026-03-02T08:50:00.123456789Z"),
            At("2026-03-02T08:51:00Z"),
            """{"volume":420.0}"""
        );

    public static Observation Drainage(string id, string from, string? to, decimal millilitres, string patient = "P-1") =>
        new()
        {
            Id = id,
            Status = ObservationStatus.Final,
            Code = new("https://ward.example/codes", "drainage"),
            Category = [new("http://terminology.hl7.org/CodeSystem/observation-category", "exam")],
            Identifier = [new("https://ward.example/observations", "O-" + id)],
            Subject = new() { Type = "Patient", Identifier = new(PatientSystem, patient) },
            Effective = to is null ? new FhirDateTime(from) : new Hl7.Fhir.Model.Period { Start = from, End = to },
            Value = new Quantity
            {
                Value = millilitres,
                Unit = "mL",
                System = "http://unitsofmeasure.org",
                Code = "mL",
            },
        };

    public static EpisodeChange Change(EpisodeRow episode, IReadOnlyList<EntryRow> entries, params Resource[] resources) =>
        new(episode.PatientKey, episode.Id, episode.Version, entries, [.. resources.Select(ResourceDraft.Of)], []);

    public async Task<EpisodeRow> OpenEpisode(string id, string patient = "P-1") =>
        Assert.IsType<OpenOutcome.Opened>(await Episodes.Open(Episode(id, patient), default)).Episode;

    public async Task<SaveOutcome.Saved> Save(string episodeId, IReadOnlyList<EntryRow> entries, params Resource[] resources)
    {
        var episode = await Episodes.Find(episodeId, default);
        return Assert.IsType<SaveOutcome.Saved>(await Episodes.Save(Change(episode!, entries, resources), default));
    }

    public async ValueTask DisposeAsync()
    {
        await Database.DisposeAsync();
        if (Directory.Exists(Folder))
            Directory.Delete(Folder, recursive: true);
    }
}
