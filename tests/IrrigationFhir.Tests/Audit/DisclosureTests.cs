using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Audit;
using IrrigationFhir.Commands;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;

namespace IrrigationFhir.Tests.Audit;

/// <summary>What leaves as files and as rows: one event for each patient, whoever takes it and however.</summary>
public sealed class DisclosureTests : IAsyncLifetime
{
    private const string Now = "2026-03-14T22:00:00Z";
    private RunningService _ward = null!;

    public async Task InitializeAsync()
    {
        _ward = RunningService.Start(Now);
        foreach (var patient in new[] { "Ada Invented", "Bo Invented" })
        {
            // Two stays each: told of is the patient, once.
            foreach (var stay in new[] { "first", "second" })
                await Charted(_ward, $"{stay} of {patient}", patient);
        }
    }

    public async Task DisposeAsync() => await _ward.DisposeAsync();

    [Fact]
    public async Task A_file_of_an_export_that_is_fetched_tells_of_each_patient_once_a_job_however_often_it_is()
    {
        var manifest = await Exported("/fhir/$export");
        var files = manifest["output"]!.AsArray().Select(file => (string)file!["url"]!).ToList();
        Assert.True(files.Count > 0, manifest.ToJsonString());
        Assert.DoesNotContain(await _ward.All(), row => row.Entry.Deed == Deed.Disclose); // made, and not fetched yet

        var rows = await _ward.Of(async () =>
        {
            foreach (var file in files.Concat(files))
                Assert.Equal(HttpStatusCode.OK, (await _ward.Get(file)).Status);
        });
        Disclosed(rows, "local");
        Assert.Equal(2 * files.Count, rows.Count(row => row.Entry is { Deed: Deed.Read, Client: "local" }));
    }

    [Fact]
    public async Task Rows_of_a_view_are_a_query_with_an_event_for_each_patient_among_them()
    {
        const string Asked = "/fhir/ViewDefinition/$run?viewReference=ViewDefinition/irrigation-episodes";
        var rows = (await _ward.Of(() => _ward.Get(Asked))).Where(row => row.Entry.Client == "local").ToList();
        Assert.All(rows, row => Assert.Equal((Deed.Query, "operation"), (row.Entry.Deed, row.Entry.How)));
        Assert.Equal(["Ada Invented", "Bo Invented"], rows.Select(row => row.Entry.Patient!.Value).Order());
        Assert.All(rows.Events(), told => Assert.Empty(AuditRules.Faults(told)));
    }

    [Fact]
    public async Task Rows_that_were_refused_are_recorded_as_that()
    {
        var rows = await _ward.Of(() => _ward.Get("/fhir/ViewDefinition/$run?viewReference=ViewDefinition/nowhere"));
        var told = Assert.Single(rows, row => row.Entry.Client == "local").Entry;
        Assert.Equal((Deed.Query, DeedOutcome.Minor), (told.Deed, told.Outcome));
    }

    [Fact]
    public async Task The_command_that_exports_is_recorded_by_the_service_beside_it()
    {
        var folder = Directory.CreateTempSubdirectory("exported-").FullName;
        var before = (await _ward.All())[^1].Number;
        Assert.Equal(
            0,
            await ExportCommand.Run([folder, "--format", "ndjson", $"--Data:Folder={_ward.Folder}"], TextWriter.Null, TextWriter.Null)
        );
        var rows = (await _ward.All()).Where(row => row.Number > before).ToList();
        Disclosed(rows, LeftDisclosure.Client);
        Assert.All(
            rows.Where(row => row.Entry.Client == LeftDisclosure.Client),
            row =>
            {
                Assert.Equal("export --format ndjson", row.Entry.Query);
                Assert.DoesNotContain(folder, System.Text.Encoding.UTF8.GetString(row.Entry.ToJson()), StringComparison.Ordinal);
            }
        );
        Assert.Empty(Directory.GetFiles(_ward.Folder, "audit-left-*"));
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task The_command_that_exports_is_recorded_by_the_next_start_where_no_service_runs_and_the_chain_holds()
    {
        var (data, folder) = (Directory.CreateTempSubdirectory("data-").FullName, Directory.CreateTempSubdirectory("exported-").FullName);
        await using (var ward = RunningService.Start(Now, data))
            await Charted(ward, "stay-1", "Ada Invented");
        Assert.Equal(0, await ExportCommand.Run([folder, $"--Data:Folder={data}"], TextWriter.Null, TextWriter.Null));
        Assert.Equal(2, Directory.GetFiles(data, "audit-left-*").Length);
        await using (var ward = RunningService.Start(Now, data))
            Assert.Single(await ward.All(), row => row.Entry is { Client: LeftDisclosure.Client, Patient.Value: "Ada Invented" });
        Assert.Empty(Directory.GetFiles(data, "audit-left-*"));
        Assert.Equal(0, AuditCommand.Run(["--check", $"--Data:Folder={data}"], TextWriter.Null, TextWriter.Null));
        Dialect.ReleasePool(data);
        await RunningService.Remove(data);
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public void What_cannot_be_recorded_is_not_exported()
    {
        var gone = new LeftDisclosure(Path.Combine(_ward.Folder, "nowhere"), TimeProvider.System, "export");
        Assert.Throws<AuditUnavailable>(gone.Begin);
        gone.Took("some-episode");
        Assert.Throws<AuditUnavailable>(gone.Tell);
    }

    private static async Task Charted(RunningService ward, string stay, string patient) =>
        await ward.Record(
            await ward.Open(RunningService.Episode(stay, "2026-03-14T08:00:00Z", patient: patient)),
            Entries.Charted.Emptied("1", "09:00", 400)
        );

    private static void Disclosed(IReadOnlyList<AuditRow> rows, string client)
    {
        var disclosed = rows.Where(row => row.Entry is { Deed: Deed.Disclose, Patient: not null } && row.Entry.Client == client).ToList();
        Assert.Equal(["Ada Invented", "Bo Invented"], disclosed.Select(row => row.Entry.Patient!.Value).Order());
        Assert.Single(disclosed.Select(row => row.Entry.Resources!.Single()).Distinct());
        foreach (var told in disclosed.Events())
        {
            Assert.Equal(
                "https://profiles.ihe.net/ITI/BALP/StructureDefinition/IHE.BasicAudit.PrivacyDisclosure.Source",
                told.Meta!.Profile.Single()
            );
            Assert.Empty(AuditRules.Faults(told));
            BaseR4.Judge(told);
        }
    }

    private async Task<JsonNode> Exported(string address)
    {
        using var asked = new HttpRequestMessage(HttpMethod.Get, new Uri(address, UriKind.Relative));
        asked.Headers.Add("Prefer", "respond-async");
        using var begun = await _ward.Http.SendAsync(asked);
        Assert.Equal(HttpStatusCode.Accepted, begun.StatusCode);
        for (var patience = 0; ; patience++)
        {
            var reply = await _ward.Get(begun.Content.Headers.ContentLocation!.ToString());
            if (reply.Status == HttpStatusCode.OK)
                return reply.Json;
            Assert.True(patience < 300, $"not done: {reply.Text}");
            await Task.Delay(100);
        }
    }
}
