using System.Text.Json.Nodes;
using IrrigationFhir.Tests.Intake;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Entries;

/// <summary>
/// Where a number follows that cannot be, the reading is taken and its sender told at once, who can still look at the scale.
/// </summary>
[Collection(EveningOnTheWard.Name)]
public sealed class DoubtsToldTests(EveningOnTheWard evening)
{
    /// <summary>350 mL in and 420 out from 09:00 to 10:00, and 350 in from 10:00 to 11:00, in a patient of 70 kg.</summary>
    private static readonly JsonObject[] Morning =
    [
        Of("weight-measured", "w", "08:05", ("weight", new JsonObject { ["value"] = 70, ["unit"] = "kg" }), ("weightKind", "actual")),
        Emptied("d9", "09:00", 0),
        Total("p10", "09:00", "10:00"),
        Emptied("d10", "10:00", 420),
        Total("p11", "10:00", "11:00"),
    ];

    private static readonly JsonObject TenTimes = Emptied("d11", "11:00", 4250);

    [Fact]
    public async Task The_reply_names_the_doubt_the_reading_and_what_it_could_be_and_nothing_is_refused()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Morning);

        var reply = await evening.Service.Record(episode, TenTimes, Flow("f", "11:05", 350));

        Assert.Equal(["recorded", "recorded"], reply.Outcomes);
        var doubt = Assert.Single(Doubts(reply, 0)!)!;
        Assert.Equal(("output-above-ceiling", "d11"), ((string)doubt["kind"]!, (string)doubt["reading"]!["id"]!));
        Assert.Equal("3,900 mL of urine in 1 h, more than a body makes (840 mL at 12 mL/kg/h)", (string)doubt["says"]!);
        Assert.Null(Doubts(reply, 1));
    }

    [Fact]
    public async Task Sent_again_it_is_told_again_for_the_reply_may_have_been_lost()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, [.. Morning, TenTimes]);
        var again = await evening.Service.Record(episode, TenTimes);
        Assert.Equal(["repeated"], again.Outcomes);
        Assert.Equal("output-above-ceiling", (string)Assert.Single(Doubts(again, 0)!)!["kind"]!);
    }

    [Fact]
    public async Task A_doubted_output_is_preliminary_everywhere_and_meets_no_criterion_until_it_is_confirmed()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, [.. Morning, TenTimes]);
        var interval = (await evening.Service.Read($"/episodes/{episode}/balance"))["intervals"]!.AsArray()[^1]!;
        Assert.Equal("preliminary", (string)interval["status"]!);
        Assert.Equal(3900m, (decimal)interval["correctedUrineOutput"]!["headline"]!["value"]!);
        Assert.Contains("doubted", interval["caveats"]!.AsArray().Select(c => (string)c!));
        Assert.Equal("d11", (string)Assert.Single(interval["doubts"]!.AsArray())!["reading"]!["id"]!);

        foreach (var window in new[] { "i20260314T110000", "h20260314T100000" })
            Assert.Equal("preliminary", await Status(episode, window));
        Assert.Contains(await Flags(episode), flag => flag == "reading-doubted");
        Assert.DoesNotContain(await Flags(episode), flag => flag == "polyuria");

        await evening.Service.Record(episode, Of("reading-confirmed", "c", "11:10", ("reading", Named("d11"))));
        foreach (var window in new[] { "i20260314T110000", "h20260314T100000" })
            Assert.Equal("final", await Status(episode, window));
        Assert.DoesNotContain(await Flags(episode), flag => flag == "reading-doubted");
    }

    [Fact]
    public async Task A_correction_after_the_confirmation_is_doubted_anew()
    {
        var episode = await evening.Open();
        var confirmed = Of("reading-confirmed", "c", "11:10", ("reading", Named("d11"))).With("recordedAt", At("11:11"));
        await evening.Service.Record(episode, [.. Morning, TenTimes.With("recordedAt", At("11:02")), confirmed]);
        Assert.Equal("final", await Status(episode, "i20260314T110000"));

        var corrected = await evening.Service.Record(episode, TenTimes.With("volume", Millilitres(4520)).With("recordedAt", At("11:20")));
        Assert.Single(Doubts(corrected, 0)!);
        Assert.Equal("preliminary", await Status(episode, "i20260314T110000"));
    }

    [Fact]
    public async Task A_device_that_speaks_FHIR_is_warned_where_the_outcome_is_asked_for()
    {
        var (sender, episode) = await Sender.Of(evening);
        await evening.Service.Record(episode, Morning);
        var emptied = sender.Observation("drainage-emptied", "1", "11:00", Sender.Quantity("4250", "mL"));

        var outcome = (await sender.Post(emptied, ("Prefer", "return=OperationOutcome"))).Is(201).Json["issue"]!.AsArray();
        Assert.Equal(["information", "warning"], outcome.Select(issue => (string)issue!["severity"]!));
        Assert.Equal("output-above-ceiling", (string)outcome[1]!["details"]!["coding"]![0]!["code"]!);
        Assert.StartsWith("Observation: 3,900 mL of urine in 1 h", (string)outcome[1]!["diagnostics"]!, StringComparison.Ordinal);
        Assert.Contains("reading-confirmed", (string)outcome[1]!["diagnostics"]!, StringComparison.Ordinal);

        var batch = (await sender.Bundle("batch", [Sender.Entry(emptied)])).Is(200).Json["entry"]![0]!["response"]!;
        Assert.Equal(("200 OK", "warning"), ((string)batch["status"]!, (string)batch["outcome"]!["issue"]![1]!["severity"]!));
    }

    private static JsonObject Total(string id, string from, string to) =>
        Of("irrigant-instilled", id, to, ("from", At(from)), ("to", At(to)), ("volume", Millilitres(350)), ("how", "pump")).Without("at");

    private static JsonObject Named(string id) => new() { ["source"] = Source, ["id"] = id };

    private static JsonArray? Doubts(Reply reply, int index) => reply.Json["entries"]![index]!["doubts"]?.AsArray();

    private async Task<string> Status(string episode, string window) =>
        (string)(await evening.Service.Read($"/fhir/Observation/{episode}.corrected-urine-output.{window}"))["status"]!;

    private async Task<IReadOnlyList<string>> Flags(string episode) =>
        [.. (await evening.Service.Read($"/episodes/{episode}/flags"))["standing"]!.AsArray().Select(flag => (string)flag!["flag"]!)];
}
