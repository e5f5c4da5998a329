using System.Net;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Access;

/// <summary>Who is let in by what is recorded too: keys and clients that became others, and whoever was not let in.</summary>
public class AccessAuditTests
{
    [Fact]
    public async Task Keys_clients_and_refusals_are_recorded_and_read_by_those_who_may()
    {
        using var monitor = new TestClient("monitor");
        using var auditor = new TestClient("auditor");
        var mayRead = auditor.Registered("system/*.rs");
        mayRead["audit"] = true;
        await using var service = GuardedService.Start([monitor.Registered("system/*.cruds"), mayRead], ("Access:TokensPerMinute", "3"));

        var assertion = monitor.Assertion(service.Endpoint, service.Time);
        Assert.Equal(HttpStatusCode.OK, (await service.Ask(assertion)).Status);
        Assert.Equal(HttpStatusCode.BadRequest, (await service.Ask(assertion)).Status); // replayed
        var none = await service.Get("/fhir/Observation", null);
        var forbidden = await service.Get("/fhir/AuditEvent", await service.Token(monitor, "system/*.cruds"));
        Assert.Equal((HttpStatusCode.Unauthorized, HttpStatusCode.Forbidden), (none.StatusCode, forbidden.StatusCode));
        await service.Token(monitor);
        Assert.Equal(HttpStatusCode.TooManyRequests, (await service.Ask(monitor.Assertion(service.Endpoint, service.Time))).Status);
        using var added = new TestClient("board");
        service.Register(monitor.Registered("system/*.cruds"), mayRead, added.Registered("system/Flag.rs"));

        var token = await service.Token(auditor, "system/AuditEvent.rs");
        HashSet<string> awaited =
        [
            "signing-key-made",
            "assertion-not-accepted",
            "not-authenticated",
            "not-allowed",
            "too-many-requests",
            "clients-changed",
        ];
        var said = "";
        for (var patience = 100; patience > 0 && awaited.Count > 0; patience--)
        {
            var reply = await service.Get("/fhir/AuditEvent?_count=100", token);
            said = await reply.Content.ReadAsStringAsync();
            Assert.True(reply.StatusCode == HttpStatusCode.OK, said);
            awaited.RemoveWhere(code => said.Contains($"\"{code}\"", StringComparison.Ordinal));
            await Task.Delay(100);
        }

        Assert.True(awaited.Count == 0, $"{string.Join(", ", awaited)} in {said}");
        Assert.DoesNotContain(assertion, said, StringComparison.Ordinal);
        Assert.DoesNotContain(token, said, StringComparison.Ordinal);
        var changed = JsonNode.Parse(said)!["entry"]!
            .AsArray()
            .Select(entry => entry!["resource"]!)
            .Single(happened => happened.ToJsonString().Contains("clients-changed", StringComparison.Ordinal));
        Assert.Contains("board", changed.ToJsonString(), StringComparison.Ordinal);
    }
}
