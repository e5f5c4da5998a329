using System.Text;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using IrrigationFhir.Access;
using IrrigationFhir.Audit;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Intake;
using IrrigationFhir.Tests.Repository;
using IrrigationFhir.Tests.Subscriptions;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.DependencyInjection;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Audit;

/// <summary>Twenty stories, and what is recorded of each: AuditEvents as they are read, beside this file.</summary>
public sealed partial class StoriesTests : IAsyncLifetime
{
    private const string Now = "2026-03-14T22:00:00Z";
    private const string Events = "tests/IrrigationFhir.Tests/Audit/Events";
    private RunningService _ward = null!;
    private string _episode = "";
    private Sender _sender = null!;

    public async Task InitializeAsync()
    {
        _ward = RunningService.Start(Now, null, ("Subscriptions:AllowLoopback", "true"));
        _ward.Http.DefaultRequestHeaders.Add("X-Request-Id", "story-1");
        _episode = await _ward.Open(RunningService.Episode("stay-1", "2026-03-14T08:00:00Z", patient: "Ada Invented"));
        _sender = new(_ward, "Ada Invented");
    }

    public async Task DisposeAsync() => await _ward.DisposeAsync();

    private static string Token => Uri.EscapeDataString($"{RunningService.PatientSystem}|Ada Invented");

    private static JsonObject Emptied(string id, string clock, int volume) =>
        new()
        {
            ["source"] = "ward-board",
            ["id"] = id,
            ["kind"] = "drainage-emptied",
            ["at"] = $"2026-03-14T{clock}:00Z",
            ["volume"] = new JsonObject { ["value"] = volume, ["unit"] = "mL" },
        };

    [Fact]
    public Task An_episode_is_opened() =>
        Tells("episode-opened", () => _ward.Open(RunningService.Episode("stay-2", "2026-03-14T09:00:00Z", patient: "Bo Invented")));

    [Fact]
    public Task An_episode_is_described_otherwise() =>
        Tells(
            "episode-amended",
            async () =>
            {
                var described = RunningService.Episode("stay-1", "2026-03-14T08:00:00Z", "2026-03-14T21:00:00Z", "Ada Invented");
                (await _ward.Post("/episodes", described)).Text.Contains("stay-1", StringComparison.Ordinal);
            }
        );

    [Fact]
    public Task Entries_are_recorded() =>
        Tells("entries-recorded", () => _ward.Record(_episode, Emptied("1", "09:00", 400), Emptied("2", "10:00", 380)));

    [Fact]
    public async Task An_entry_is_amended()
    {
        await _ward.Record(_episode, Emptied("1", "09:00", 400));
        await Tells("entry-amended", () => _ward.Record(_episode, Emptied("1", "09:00", 410)));
    }

    [Fact]
    public async Task An_entry_is_withdrawn()
    {
        await _ward.Record(_episode, Emptied("1", "09:00", 400));
        await Tells(
            "entry-withdrawn",
            () =>
                _ward.Record(
                    _episode,
                    new JsonObject
                    {
                        ["source"] = "ward-board",
                        ["id"] = "1",
                        ["kind"] = "drainage-emptied",
                        ["status"] = "entered-in-error",
                    }
                )
        );
    }

    [Fact]
    public async Task The_same_entry_comes_again()
    {
        await _ward.Record(_episode, Emptied("1", "09:00", 400));
        await Tells("entry-repeated", () => _ward.Record(_episode, Emptied("1", "09:00", 400)));
    }

    [Fact]
    public Task An_entry_is_refused() =>
        Tells("entry-refused", () => _ward.Post($"/episodes/{_episode}/entries", Emptied("1", "09:00", -1)));

    [Fact]
    public Task An_Observation_is_created() => Tells("observation-created", () => Created("1"));

    [Fact]
    public async Task An_Observation_is_updated()
    {
        var id = await Created("1");
        await Tells(
            "observation-updated",
            async () =>
                (
                    await _sender.Put(
                        id,
                        With(_sender.Observation("drainage-emptied", "1", "09:00", Sender.Quantity("410", "mL"), "amended"), id)
                    )
                ).Is(200)
        );
    }

    [Fact]
    public async Task An_Observation_is_read()
    {
        var id = await Created("1");
        await Tells("observation-read", () => _ward.Read($"/fhir/Observation/{id}"));
    }

    [Fact]
    public async Task A_version_is_read()
    {
        var id = await Created("1");
        await Tells("version-read", () => _ward.Read($"/fhir/Observation/{id}/_history/1"));
    }

    [Fact]
    public async Task A_history_is_read()
    {
        var id = await Created("1");
        await Tells("history-read", () => _ward.Read($"/fhir/Observation/{id}/_history"));
    }

    [Fact]
    public async Task Observations_are_searched()
    {
        await Created("1");
        await Tells("observations-searched", () => _ward.Read($"/fhir/Observation?patient.identifier={Token}&_count=5"));
    }

    [Fact]
    public async Task A_search_finds_two_patients()
    {
        await _ward.Open(RunningService.Episode("stay-2", "2026-03-14T08:00:00Z", patient: "Bo Invented"));
        await Created("1");
        (await new Sender(_ward, "Bo Invented").Post(Observation(new(_ward, "Bo Invented"), "1"))).Is(201);
        await Tells("two-patients-found", () => _ward.Read("/fhir/Observation?code=bladder-drainage-total"));
    }

    [Fact]
    public Task A_search_finds_nothing() => Tells("nothing-found", () => _ward.Read($"/fhir/Flag?patient.identifier={Token}"));

    [Fact]
    public Task A_resource_that_is_not_there_is_asked_for() => Tells("unknown-read", () => _ward.Get("/fhir/Observation/nowhere"));

    [Fact]
    public async Task Everything_of_a_patient_is_asked_for()
    {
        await Created("1");
        await Tells("everything-asked", () => _ward.Read($"/fhir/Patient/$everything?identifier={Token}"));
    }

    [Fact]
    public Task A_balance_is_read() => Tells("balance-read", () => _ward.Read($"/episodes/{_episode}/balance"));

    [Fact]
    public Task A_ward_is_listed() => Tells("ward-listed", () => _ward.Read("/ward"));

    [Fact]
    public Task Somebody_is_refused() =>
        Tells(
            "refused",
            () =>
            {
                var http = new DefaultHttpContext();
                http.Connection.RemoteIpAddress = System.Net.IPAddress.Parse("192.0.2.7");
                _ward.Services.GetRequiredService<IAudit>().Refused(http, 401, "not-authenticated");
                return Task.CompletedTask;
            }
        );

    [Fact]
    public async Task A_subscription_is_made_and_told()
    {
        using var board = Subscriber.Start();
        var rows = await _ward.Of(async () =>
        {
            await _ward.Active(SubscribedWard.Subscription(board.Address()));
            await _ward.Record(_episode, SubscribedWard.Clots("1"));
            await _ward.Until(() => board.All().Any(told => told.Resources.Count > 0));
        });
        var told = rows.Where(row => row.Entry.Deed == Deed.Disclose).Take(1).ToList();
        Assert.NotEmpty(told);
        Agree("notification-sent", told);
        Assert.Contains(
            rows,
            row =>
                row.Entry is { Deed: Deed.Create, Patient: null }
                && row.Entry.Resources![0].StartsWith("Subscription/", StringComparison.Ordinal)
        );
    }

    private async Task<string> Created(string id) => (await _sender.Post(Observation(_sender, id))).Is(201).Id;

    private static JsonObject Observation(Sender sender, string id) =>
        sender.Observation("drainage-emptied", id, "09:00", Sender.Quantity("400", "mL"));

    private static JsonObject With(JsonObject resource, string id)
    {
        resource["id"] = id;
        return resource;
    }

    private async Task Tells(string slug, Func<Task> story) => Agree(slug, await _ward.Of(story));

    private void Agree(string slug, IReadOnlyList<AuditRow> rows)
    {
        // What time does by itself meanwhile is another story; of two patients either may be found first.
        rows = [.. rows.Where(row => row.Entry.Client != AuditEventMapper.Server).OrderBy(row => row.Entry.Patient?.Value)];
        Assert.NotEmpty(rows);
        var events = rows.Events();
        var bundle = new JsonArray();
        foreach (var told in events)
        {
            Assert.Empty(AuditRules.Faults(told));
            BaseR4.Judge(told);
            var json = JsonNode.Parse(FhirJson.Write(told))!;
            json.AsObject().Remove("id");
            json["recorded"] = "2026-03-14T22:00:00Z";
            bundle.Add(json);
        }

        Repo.Agrees($"{Events}/{slug}.json", Neutral(Repo.Text(bundle)));
    }

    // What differs from run to run: ids that are drawn by lot, and what a query says in base64 of them.
    private static string Neutral(string text)
    {
        text = Query().Replace(text, query => $"\"query\": \"{Encoding.UTF8.GetString(Convert.FromBase64String(query.Groups[1].Value))}\"");
        text = EpisodeId().Replace(text, "EPISODE");
        text = Uuid().Replace(text, "UUID");
        return Port().Replace(text, "localhost:PORT");
    }

    [GeneratedRegex(@"""query"": ""([A-Za-z0-9+/=]+)""")]
    private static partial Regex Query();

    [GeneratedRegex(@"(?<=/)[a-z2-7]{16}(?=[./""?])")]
    private static partial Regex EpisodeId();

    [GeneratedRegex("[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")]
    private static partial Regex Uuid();

    [GeneratedRegex("localhost:[0-9]+")]
    private static partial Regex Port();
}
