using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Audit;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Tests.Audit;

/// <summary>What fails by a fault of ours is recorded too, as far as a record can be written.</summary>
public class FailureTests
{
    private const string Now = "2026-03-14T22:00:00Z";

    [Theory]
    [InlineData("GET", "/fhir/Observation", "Query", "search-type")]
    [InlineData("GET", "/fhir/Observation/{e}.x", "Read", "read")]
    [InlineData("GET", "/fhir/Procedure/{e}.bladder-irrigation/_history", "Read", "history-instance")]
    [InlineData("GET", "/fhir/Patient/$everything?identifier=Ada Invented", "Query", "operation")]
    [InlineData("GET", "/fhir/ViewDefinition/$run?viewReference=ViewDefinition/irrigation-episodes", "Query", "operation")]
    [InlineData("POST", "/episodes/{e}/entries", "Create", "create")]
    public async Task A_request_that_fails_is_recorded_as_what_it_would_have_been(string method, string address, string deed, string how)
    {
        await using var ward = RunningService.Start(Now);
        var episode = await ward.Open(RunningService.Episode("stay-1", "2026-03-14T08:00:00Z", patient: "Ada Invented"));
        address = address.Replace("{e}", episode, StringComparison.Ordinal);
        var rows = await ward.Of(async () =>
        {
            // As a store is that somebody broke: whatever reads or writes a version fails, and nobody knows that failure.
            ByHand(ward, "alter table resource_version rename to taken_away");
            var reply = method == "GET" ? await ward.Get(address) : await ward.Post(address, Emptied);
            ByHand(ward, "alter table taken_away rename to resource_version");
            Assert.True(reply.Status >= HttpStatusCode.InternalServerError, $"{reply.Status}: {reply.Text}");
        });

        var told = Assert.Single(rows, row => row.Entry.Client == "local").Entry;
        Assert.Equal((deed, how, DeedOutcome.Serious), ($"{told.Deed}", told.How, told.Outcome));
        Assert.Equal("internal-error", told.Code);
        Assert.Equal(Uri.UnescapeDataString($"{method} {address}"), Uri.UnescapeDataString(told.Query!));
        var happened = AuditEventMapper.ToEvent(new(1, told));
        Assert.Empty(AuditRules.Faults(happened));
        BaseR4.Judge(happened);
    }

    [Fact]
    public async Task A_service_that_fails_all_the_time_does_not_drown_its_audit()
    {
        await using var ward = RunningService.Start(Now);
        await ward.Open(RunningService.Episode("stay-1", "2026-03-14T08:00:00Z"));
        var rows = await ward.Of(async () =>
        {
            ByHand(ward, "alter table resource_version rename to taken_away");
            for (var i = 0; i < AuditTrail.MostRefusals + 20; i++)
                await ward.Get("/fhir/Observation");
            ByHand(ward, "alter table taken_away rename to resource_version");
            ward.Clock.Advance(TimeSpan.FromMinutes(1));
            for (var patience = 0; patience < 100 && (await ward.All()).All(row => row.Entry.Times == 0); patience++)
                await Task.Delay(100);
        });
        var failed = rows.Where(row => row.Entry is { Outcome: DeedOutcome.Serious, Client: "local" }).ToList();
        Assert.Equal(AuditTrail.MostRefusals + 1, failed.Count);
        Assert.Equal(20, failed[^1].Entry.Times);
    }

    [Fact]
    public async Task What_is_about_nobody_is_not_recorded_when_it_fails()
    {
        await using var ward = RunningService.Start(Now);
        var rows = await ward.Of(() => ward.Get("/fhir/ViewDefinition?nonsense:x=1"));
        Assert.DoesNotContain(rows, row => row.Entry.Client == "local");
    }

    private static JsonObject Emptied =>
        new()
        {
            ["source"] = "ward-board",
            ["id"] = "1",
            ["kind"] = "drainage-emptied",
            ["at"] = "2026-03-14T09:00:00Z",
            ["volume"] = new JsonObject { ["value"] = 400, ["unit"] = "mL" },
        };

    private static void ByHand(RunningService ward, string sql)
    {
        using var store = Dialect.Open(Dialect.FileIn(ward.Folder), SqliteOpenMode.ReadWrite);
        Dialect.Run(store, sql);
    }
}
