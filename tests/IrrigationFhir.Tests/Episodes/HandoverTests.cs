using System.Net.Http.Headers;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Demo;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Repository;
using IrrigationFhir.Tests.Validation;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>The handover and the record of the invented night, as whoever comes on at 02:40 reads them.</summary>
public class HandoverTests
{
    private const StringComparison Ordinal = StringComparison.Ordinal;
    private const string AsOf = "asOf=2026-03-15T02:40:00%2B01:00";

    private static async System.Threading.Tasks.Task<(RunningService Ward, string Episode)> Night()
    {
        var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var episode = await ward.Open(InventedNight.Episode().AsObject());
        foreach (var request in InventedNight.AsCharted())
            await ward.Record(episode, request is JsonArray entries ? [.. entries.Select(e => e!)] : [request]);
        return (ward, episode);
    }

    [Fact]
    public async System.Threading.Tasks.Task A_person_reads_what_runs_what_stands_and_what_nobody_can_tell()
    {
        var (ward, episode) = await Night();
        await using var running = ward;
        var text = await ward.Http.GetStringAsync($"/episodes/{episode}/handover?{AsOf}&form=long");
        foreach (
            var said in new[]
            {
                "three-way irrigation catheter, 22 Ch, 3 lumens",
                "inserted 14 Mar 20:10, 6.5 h ago",
                "Line 1: 800 mL/h now",
                "14 Mar 23:30: 600 mL/h to 800 mL/h; before: grade 3",
                "01:20 to 02:30: corrected urine output 77 mL, best estimate 77 mL (95 % -130 to 283 mL).",
                "urgent: Outflow deficit, since 02:30, not acknowledged",
                "Bladder scan of 630 mL at 02:35 with the drain open. The limit is 500 mL.",
                "obstruction goes before anuria",
                "Nobody charted pain or spasm.",
                "6 h old: O-5521",
                "urology on call",
                "Missing: pain, spasm, action taken and who was told",
                "Stop the inflow first.",
                "A prompt to look at the patient, never a diagnosis.",
            }
        )
            Assert.Contains(said, text, StringComparison.Ordinal);
        Repo.Agrees("fhir-examples/handover/note-long.txt", text.Replace(episode, "a-night", StringComparison.Ordinal));
    }

    [Fact]
    public async System.Threading.Tasks.Task In_two_minutes_a_nurse_hears_who_what_is_wrong_and_what_to_do_first()
    {
        var (ward, episode) = await Night();
        await using var running = ward;
        var text = await ward.Http.GetStringAsync($"/episodes/{episode}/handover?{AsOf}");
        IsSaidAtABedside(text);
        var lines = text.Split('\n');
        Assert.StartsWith(
            "PATIENT      Quillon Harrowgate-Finch (invented), born 1951-07-30, P-0417, Ward 7, room 3, bed 2.",
            lines[1],
            Ordinal
        );
        Assert.Contains("Irrigated for bleeding after a resection of the prostate.", text, Ordinal);
        Assert.StartsWith("NOW          URGENT Outflow deficit, since 02:30, not seen. Bladder scan of 630 mL", lines[4], Ordinal);
        Assert.StartsWith("             First: Stop the inflow first.", lines[5], Ordinal);
        Assert.Contains("ORDER        ", text, Ordinal);
        Repo.Agrees("fhir-examples/handover/note.txt", text.Replace(episode, "a-night", Ordinal));
        Assert.Equal(System.Net.HttpStatusCode.BadRequest, (await ward.Get($"/episodes/{episode}/handover?form=brief")).Status);
    }

    /// <summary>Beds of our own invention, read line by line; what was read is kept beside this file.</summary>
    [Theory]
    [InlineData("quiet")]
    [InlineData("obstructed")]
    [InlineData("anuric")]
    [InlineData("child")]
    [InlineData("spinal-injury-t4")]
    [InlineData("medicated-dwell-overdue")]
    [InlineData("weaning")]
    [InlineData("nobody-charts")]
    public async System.Threading.Tasks.Task Of_every_bed_the_note_is_as_it_was_read(string name)
    {
        await using var ward = RunningService.Start(Beds.Handover);
        var bed = Beds.All[name];
        var episode = await ward.Open(bed.Episode());
        await ward.Record(episode, bed.Entries);
        var text = await ward.Http.GetStringAsync($"/episodes/{episode}/handover");
        Repo.Agrees($"tests/IrrigationFhir.Tests/Episodes/handovers/{name}.txt", text);
        IsSaidAtABedside(text);
    }

    /// <summary>At most 350 words, and none that only a program knows.</summary>
    private static void IsSaidAtABedside(string text)
    {
        Assert.True(text.Split([' ', '\n'], StringSplitOptions.RemoveEmptyEntries).Length <= 350, text);
        Assert.Empty(Irrigation.Tests.PlainWords.Faults(string.Join('\n', text.Split("  ").Select(part => part.Trim())), listed: true));
    }

    [Fact]
    public async System.Threading.Tasks.Task As_a_document_it_keeps_its_profile_and_holds_everything_it_points_at()
    {
        var (ward, episode) = await Night();
        await using var running = ward;
        using var request = new HttpRequestMessage(HttpMethod.Get, $"/episodes/{episode}/handover?{AsOf}");
        request.Headers.Accept.Add(MediaTypeWithQualityHeaderValue.Parse("application/fhir+json"));
        using var reply = await ward.Http.SendAsync(request);
        Assert.Equal("application/fhir+json", reply.Content.Headers.ContentType!.MediaType);
        var document = FhirJson.Read<Bundle>(await reply.Content.ReadAsStringAsync());

        // R4, 3.3: identifier and timestamp; the Composition first; what it points at is in it, once.
        Assert.Equal(Bundle.BundleType.Document, document.Type);
        Assert.True(document.Identifier is { System: not null, Value: not null } && document.Timestamp is not null);
        var composition = Assert.IsType<Composition>(document.Entry[0].Resource);
        Assert.Empty(Judged.Validator.Validate(composition));
        Repo.Agrees(
            "fhir-examples/handover/composition.json",
            Repo.Text(JsonNode.Parse(FhirJson.Write(composition))!)
                .Replace(episode, "a-night", StringComparison.Ordinal)
                .Replace(ward.Http.BaseAddress!.ToString(), "http://localhost:5000/", StringComparison.Ordinal)
        );
        Assert.All(document.Entry.Skip(1), entry => Assert.Empty(Judged.Validator.Validate(entry.Resource!)));
        var held = document.Entry.Select(entry => $"{entry.Resource!.TypeName}/{entry.Resource.Id}").ToList();
        Assert.Equal(held.Count, held.Distinct().Count());
        // The irrigation itself is the event that is documented. The Composition is stored nowhere: it has no address of a resource, and
        // points at others by their whole ones.
        Assert.Matches("^urn:uuid:[0-9a-f-]{36}$", document.Entry[0].FullUrl);
        var pointed = composition
            .Section.SelectMany(section => section.Entry)
            .Concat(composition.Event.Single().Detail)
            .Select(entry => entry.Reference!)
            .ToList();
        Assert.Equal(
            pointed.Distinct().Order(StringComparer.Ordinal),
            document.Entry.Skip(1).Select(entry => entry.FullUrl!).Order(StringComparer.Ordinal)
        );
        Assert.All(
            document.Entry.Skip(1),
            entry => Assert.EndsWith($"/fhir/{entry.Resource!.TypeName}/{entry.Resource.Id}", entry.FullUrl, StringComparison.Ordinal)
        );
    }

    [Fact]
    public async System.Threading.Tasks.Task The_record_names_what_is_missing_and_how_the_flow_was_changed()
    {
        var (ward, episode) = await Night();
        await using var running = ward;
        var record = await ward.Read($"/episodes/{episode}/record?{AsOf}");
        Assert.False((bool)record["complete"]!);
        Assert.Equal(
            [
                "drainage: clarity",
                "drainage: mucus",
                "drainage: sediment",
                "pain",
                "spasm",
                "action taken and who was told",
                "weight, with its date",
            ],
            record["missing"]!.AsArray().Select(m => (string)m!)
        );
        var change = record["titration"]!.AsArray()[1]!;
        Assert.Equal(
            (600m, 800m, true),
            ((decimal)change["from"]!["value"]!, (decimal)change["to"]!["value"]!, (bool)change["withinOrder"]!)
        );
        Assert.StartsWith("grade 3", (string)change["before"]!, StringComparison.Ordinal);
        // 20:10 to 02:40, over one midnight.
        Assert.Equal((6.5m, 1), ((decimal)record["catheterDays"]!["hours"]!, (int)record["catheterDays"]!["dailyCounts"]!));
    }
}
