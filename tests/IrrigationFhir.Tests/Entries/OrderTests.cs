using System.Net;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Entries;

/// <summary>An order that changes by telephone, over HTTP: what is taken, what is refused, what handover and record say of it.</summary>
public sealed class OrderTests : IAsyncLifetime
{
    private readonly RunningService _ward = RunningService.Start("2026-03-14T21:00:00Z");

    public Task InitializeAsync() => Task.CompletedTask;

    public async Task DisposeAsync() => await _ward.DisposeAsync();

    [Fact]
    public async Task Target_contact_and_dwell_stay_when_the_rate_changes_by_telephone()
    {
        var episode = await _ward.Open(RunningService.Episode("telephone", Charted.At("18:00")));
        await _ward.Record(episode, Written(), ByTelephone("telephone"));
        var note = await Handover(episode);
        foreach (
            var said in new[]
            {
                "300 mL/h to 400 mL/h",
                "dwell 30 min",
                "target: light pink",
                "ordered by Dr Invented, in writing; changed 20:15 by Dr Made-Up, by telephone, not charted as read back",
                "urology on call",
                "read-back of the telephone order",
            }
        )
            Assert.Contains(said, note, StringComparison.Ordinal);

        // Put right: it had been read back.
        await _ward.Record(episode, ByTelephone("telephone-read-back"));
        note = await Handover(episode);
        Assert.Contains("by telephone and read back", note, StringComparison.Ordinal);
        Assert.DoesNotContain("read-back of the telephone order", note, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Replaced_or_withdrawn_in_so_many_words_it_is_no_longer_in_force()
    {
        var episode = await _ward.Open(RunningService.Episode("replaced", Charted.At("18:00")));
        await _ward.Record(episode, Written(), ByTelephone("written").With("orderChange", "replaces"));
        var note = await Handover(episode);
        Assert.Contains("at most 400 mL/h", note, StringComparison.Ordinal);
        Assert.DoesNotContain("light pink", note, StringComparison.Ordinal);
        Assert.Contains("The order names nobody.", note, StringComparison.Ordinal);

        await _ward.Record(
            episode,
            Charted.Of("order-set", "ended", "20:30", ("orderChange", "withdraws"), ("orderedBy", "Dr Made-Up"), ("orderedHow", "verbal"))
        );
        Assert.Contains(
            "The order was withdrawn 20:30 by Dr Made-Up, by word of mouth.",
            await Handover(episode),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public async Task Whom_to_call_stays_known_when_the_order_that_names_them_was_withdrawn()
    {
        var episode = await _ward.Open(RunningService.Episode("withdrawn", Charted.At("18:00")));
        Assert.Contains("No order names anybody.", await Handover(episode), StringComparison.Ordinal);
        await _ward.Record(
            episode,
            Written().With("contact", "urology on call (invented)"),
            Charted.Of("order-set", "ended", "20:30", ("orderChange", "withdraws"))
        );
        Assert.Contains(
            "urology on call (invented). The order that was withdrawn names them.",
            await Handover(episode),
            StringComparison.Ordinal
        );
    }

    [Theory]
    [InlineData("orderChange", "cancels", "unknown-word entries[0].orderChange")]
    [InlineData("orderedHow", "fax", "unknown-word entries[0].orderedHow")]
    [InlineData("orderedBy", "", "bad-text entries[0].orderedBy")]
    [InlineData("orderChange", "withdraws", "one-or-other entries[0].orderChange")] // and orders a rate beside
    public async Task What_an_order_cannot_say_is_refused(string name, string value, string refused)
    {
        var episode = await _ward.Open(RunningService.Episode("refused", Charted.At("18:00")));
        var reply = await _ward.Post($"/episodes/{episode}/entries", ByTelephone("telephone").With(name, value));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, reply.Status);
        var issue = Assert.Single(reply.Json["issue"]!.AsArray())!;
        Assert.Equal(refused, $"{issue["details"]!["coding"]![0]!["code"]} {issue["expression"]![0]}");
    }

    [Theory]
    [InlineData("orderChange", "changes")]
    [InlineData("orderedBy", "Dr Made-Up")]
    [InlineData("orderedHow", "written")]
    public async Task The_words_are_of_an_order_alone(string name, string value)
    {
        var episode = await _ward.Open(RunningService.Episode("others", Charted.At("18:00")));
        var reply = await _ward.Post($"/episodes/{episode}/entries", Charted.Flow("flow", "19:00", 300).With(name, value));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, reply.Status);
        Assert.Equal($"entries[0].{name}", (string)Assert.Single(reply.Json["issue"]!.AsArray())!["expression"]![0]!);
    }

    private async Task<string> Handover(string episode)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, $"/episodes/{episode}/handover");
        request.Headers.Accept.ParseAdd("text/plain");
        using var response = await _ward.Http.SendAsync(request);
        return await response.Content.ReadAsStringAsync();
    }

    private static JsonObject Written() =>
        Charted.Of(
            "order-set",
            "written",
            "18:00",
            ("order", "O-1"),
            ("method", "continuous"),
            ("rateAtLeast", Rate(300)),
            ("rateAtMost", Rate(500)),
            ("dwell", new JsonObject { ["value"] = 30, ["unit"] = "min" }),
            ("target", "light pink"),
            ("contact", "urology on call"),
            ("orderedBy", "Dr Invented"),
            ("orderedHow", "written")
        );

    private static JsonObject ByTelephone(string how) =>
        Charted.Of(
            "order-set",
            "by telephone",
            "20:15",
            ("rateAtMost", Rate(400)),
            ("orderedBy", "Dr Made-Up"),
            ("orderedHow", how),
            ("performer", "Nurse Invented")
        );

    private static JsonObject Rate(decimal value) => new() { ["value"] = value, ["unit"] = "mL/h" };
}
