using System.Net;
using IrrigationFhir.Access;
using IrrigationFhir.Analytics;
using IrrigationFhir.Store;
using Microsoft.Extensions.DependencyInjection;
using NodaTime;

namespace IrrigationFhir.Tests.Access;

/// <summary>What costs much one client has not all of: exports that wait or run, and rows that are made at once.</summary>
public sealed class LimitsOfClientTests
{
    [Fact]
    public async Task A_client_has_two_exports_at_once_and_others_have_theirs()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z", new NamedCallers().Into);
        var jobs = ward.Services.GetRequiredService<ExportJobStore>();

        // Held by another process, which works on them.
        foreach (var id in new[] { "one", "two" })
        {
            await jobs.Add(
                id,
                """
                {"bulk": {"address": "http://ward.example/fhir/$export", "base": "http://ward.example/fhir", "ofPatients": false,
                 "types": ["Observation"], "filters": [], "elements": [], "patients": [], "passedOver": []},
                 "owner": {"client": "monitor", "scopes": "system/*.rs"}}
                """,
                _ => false,
                CancellationToken.None
            );
            await jobs.Claim("another", Instant.FromDateTimeOffset(ward.Clock.GetUtcNow()), RunExports.Lease, CancellationToken.None);
        }

        var refused = await Ask(ward, "/fhir/$export", "monitor");
        Assert.Equal((HttpStatusCode.TooManyRequests, "60"), (refused.Status, refused.After));
        Assert.Equal("too-many-requests", refused.Codes.Single());
        Assert.Equal(HttpStatusCode.Accepted, (await Ask(ward, "/fhir/$export", "board")).Status);
    }

    [Fact]
    public async Task A_client_has_rows_made_so_many_times_at_once_and_others_too()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z", new NamedCallers().Into, null, ("Access:ViewRunsAtOnce", "2"));
        const string Run = "/fhir/ViewDefinition/output_intervals/$viewdefinition-run?_format=ndjson";
        var views = ward.Services.GetRequiredService<ViewOperations>();
        var monitor = new Caller("monitor", [Scope.Everything]);
        var (first, second) = (views.Place(monitor), views.Place(monitor));
        Assert.True(first is not null && second is not null);
        Assert.Null(views.Place(monitor));

        var refused = await Ask(ward, Run, "monitor");
        Assert.Equal((HttpStatusCode.TooManyRequests, "2"), (refused.Status, refused.After));
        Assert.Equal("too-many-requests", refused.Codes.Single());
        Assert.Equal(HttpStatusCode.OK, (await Ask(ward, Run, "board")).Status);

        first.Dispose();
        Assert.Equal(HttpStatusCode.OK, (await Ask(ward, Run, "monitor")).Status);

        // All of them together have no more than there are, and what was refused holds none.
        using var third = views.Place(new("board", []));
        using var fourth = views.Place(new("screen", []));
        using var fifth = views.Place(new("gateway", []));
        Assert.True(third is not null && fourth is not null && fifth is not null);
        Assert.Null(views.Place(Caller.Local));
        second.Dispose();
        using var last = views.Place(monitor);
        Assert.NotNull(last);
    }

    private static async Task<(HttpStatusCode Status, string? After, IReadOnlyList<string> Codes)> Ask(
        RunningService ward,
        string address,
        string client
    )
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri(address, UriKind.Relative));
        request.Headers.TryAddWithoutValidation("Authorization", NamedCallers.Bearer(client, "system/*.rs"));
        request.Headers.TryAddWithoutValidation("Prefer", "respond-async");
        using var response = await ward.Http.SendAsync(request);
        var after = response.Headers.RetryAfter?.ToString();
        var reply = await Reply.Of(response);
        return (reply.Status, after, reply.Status == HttpStatusCode.TooManyRequests ? reply.Codes : []);
    }
}
