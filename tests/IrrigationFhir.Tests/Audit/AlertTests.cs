using IrrigationFhir.Audit;
using IrrigationFhir.Commands;
using IrrigationFhir.Store;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Audit;

/// <summary>What somebody should look at says so by itself; and what was kept long enough goes by itself.</summary>
public class AlertTests
{
    private const string Now = "2026-03-14T22:00:00Z";

    [Fact]
    public async Task A_client_that_is_shown_many_patients_within_an_hour_is_told_of_once_an_hour()
    {
        await using var ward = RunningService.Start(Now, null, ("Access:AlertPatientsPerHour", "3"));
        var stays = new List<string>();
        for (var i = 0; i < 5; i++)
            stays.Add(await ward.Open(RunningService.Episode($"stay-{i}", "2026-03-14T08:00:00Z")));

        // Three, however often: no alert. An hour later three others: none either.
        foreach (var stay in stays.Take(3).Concat(stays.Take(3)))
            await ward.Read($"/episodes/{stay}/balance");
        await Alerts(ward, 0);
        ward.Clock.Advance(TimeSpan.FromMinutes(61));
        foreach (var stay in stays.Skip(2))
            await ward.Read($"/episodes/{stay}/balance");
        await Alerts(ward, 0);

        await ward.Read("/ward"); // all five
        var told = Assert.Single(await Alerts(ward, 1));
        await ward.Read("/ward");
        await Alerts(ward, 1);
        ward.Clock.Advance(TimeSpan.FromMinutes(61));
        await ward.Read("/ward");
        await Alerts(ward, 2);

        var happened = AuditEventMapper.ToEvent(told);
        Assert.Equal(("110113", "many-patients, more than 3 within an hour"), (happened.Type.Code, happened.OutcomeDesc));
        Assert.Equal("local", happened.Agent[0].Who!.Identifier!.Value);
        Assert.Empty(AuditRules.Faults(happened));
        BaseR4.Judge(happened);
        var metrics = (await ward.Get("/metrics")).Text;
        Assert.Contains("irrigationfhir_audit_alerts_total{kind=\"many-patients\"} 2", metrics, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Where_nobody_wants_that_nobody_is_told_of()
    {
        await using var ward = RunningService.Start(Now, null, ("Access:AlertPatientsPerHour", "0"));
        await ward.Open(RunningService.Episode("stay-1", "2026-03-14T08:00:00Z"));
        await ward.Read("/ward");
        await Alerts(ward, 0);
    }

    [Fact]
    public async Task An_event_that_breaks_its_profile_is_shown_and_makes_the_service_say_so()
    {
        await using var ward = RunningService.Start(Now);
        await ward.All();
        Assert.Equal((0, "ready"), await Wrong(ward));

        // As no code of ours writes it: a create that says not of what.
        var entry = new AuditEntry
        {
            Deed = Deed.Create,
            How = "create",
            Client = "ward-board",
            At = 1_773_525_600_000_000_000,
        };
        for (var i = 0; i < JudgedEvents.OneIn; i++)
            await ward.Services.GetRequiredService<AuditStore>().Add(entry, default);
        var shown = await ward.Read("/fhir/AuditEvent?agent.identifier=ward-board&_count=1000");
        Assert.Equal(JudgedEvents.OneIn, shown["entry"]!.AsArray().Count);
        Assert.Equal((1, "degraded"), await Wrong(ward));
        Assert.Contains("irrigationfhir_audit_wrong_events 1", (await ward.Get("/metrics")).Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Days_that_are_over_go_by_the_setting()
    {
        await using var ward = RunningService.Start(Now, null, ("Access:AuditKeep", "2.00:00:00"));
        await ward.Read("/ward");
        await ward.All();
        ward.Clock.Advance(TimeSpan.FromDays(1));
        await ward.Read("/ward"); // ends the day before
        await ward.All();
        ward.Clock.Advance(TimeSpan.FromDays(2));
        for (var patience = 0; patience < 100 && (await ward.All())[0].Number == 1; patience++)
            await Task.Delay(100);
        var kept = await ward.All();
        Assert.NotEqual(1, kept[0].Number);
        Assert.Single(kept, row => row.Entry.Query == "GET /ward");
        using var faults = new StringWriter();
        Assert.Equal(0, AuditCommand.Run(["--check", $"--Data:Folder={ward.Folder}"], TextWriter.Null, faults));
    }

    private static async Task<IReadOnlyList<AuditRow>> Alerts(RunningService ward, int count)
    {
        await ward.All(); // what waits is stored, and what follows from it waits then
        var alerts = (await ward.All()).Where(row => row.Entry.Deed == Deed.Alert).ToList();
        Assert.Equal(count, alerts.Count);
        return alerts;
    }

    private static async Task<(int Wrong, string Status)> Wrong(RunningService ward)
    {
        var check = (await ward.Read("/health/ready"))["checks"]!["audit"]!;
        return ((int)check["data"]!["wrongEvents"]!, (string)check["status"]!);
    }
}
