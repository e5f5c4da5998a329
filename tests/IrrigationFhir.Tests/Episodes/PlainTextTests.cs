using System.Net.Http.Headers;
using System.Text.Json.Nodes;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Tests;
using IrrigationFhir.Demo;
using IrrigationFhir.Tests.BedsideCases;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Episodes;

/// <summary>
/// Every text that a nurse may read of every story we tell, read for codes, decimals, long sentences and what is said twice: flags, both
/// handovers, the balance, the record, the ward's list.
/// </summary>
public class PlainTextTests
{
    public static TheoryData<string> Stories =>
        [
            .. Beds.All.Keys.Select(bed => $"bed {bed}"),
            .. InventedStory.All.Select(story => $"demo {story.Slug}"),
            .. Directory
                .GetFiles(Path.Combine(Repo.Root, "tests/IrrigationFhir.Tests/BedsideCases"), "*.json")
                .Select(file => $"case {Path.GetFileNameWithoutExtension(file)}"),
        ];

    [Theory]
    [MemberData(nameof(Stories))]
    public async Task Of_every_story_every_text_is_plain(string story)
    {
        var (description, batches, asOf) = Told(story);
        await using var ward = RunningService.Start(asOf);
        var id = await ward.Open(description);
        foreach (var entries in batches)
            await ward.Record(id, entries);

        var faults = new List<string>();
        // Two runs may end in the same way: that is said of each.
        string Prose(string text) =>
            Plain(text)
                .Replace((string)description["identifier"]!["value"]!, "I-1", StringComparison.Ordinal)
                .Replace("; the target was reached, by the entry that ended it", "", StringComparison.Ordinal);
        foreach (var address in new[] { "handover", "handover?form=long" })
        {
            var text = Prose(await ward.Text($"/episodes/{id}/{address}"));
            faults.AddRange(PlainWords.Faults(text, listed: true).Select(fault => $"{address}: {fault}"));
        }

        faults.AddRange(PlainWords.Faults(Prose(await ward.Text("/ward")), listed: true).Select(fault => $"ward: {fault}"));

        // The working is sums, to 0.1 mL for whoever works them again with paper and pencil; the rest of it is sentences.
        var words = await ward.Text($"/episodes/{id}/balance");
        faults.AddRange(PlainWords.Codes(words).Select(fault => $"balance: {fault}"));
        const string from = "Since the start, and by the day";
        var numbers = words[words.IndexOf(from, StringComparison.Ordinal)..words.IndexOf("Below, the same", StringComparison.Ordinal)];
        faults.AddRange(PlainWords.Faults(Prose(numbers), listed: true).Select(fault => $"balance, numbers: {fault}"));
        var balance = await ward.Read($"/episodes/{id}/balance");
        IEnumerable<string> says =
        [
            .. balance["forecasts"]!.AsArray().Select(forecast => (string)forecast!["assumption"]!),
            .. balance["runs"]!.AsArray().Select(run => (string)run!["inWords"]!),
            .. balance["intervals"]!.AsArray().Select(interval => (string?)interval!["absentSays"]).OfType<string>(),
            .. balance["intervals"]!
                .AsArray()
                .SelectMany(interval => interval!["doubts"]!.AsArray())
                .Select(doubt => (string)doubt!["says"]!),
            .. balance["numbers"]!["weaning"]!.AsArray().SelectMany(one => new[] { (string)one!["name"]!, (string)one!["says"]! }),
        ];
        faults.AddRange(says.SelectMany(text => PlainWords.Faults(text, listed: true)).Select(fault => $"balance: {fault}"));

        var flags = await ward.Read($"/episodes/{id}/flags");
        foreach (var flag in flags["standing"]!.AsArray().Concat(flags["ended"]!.AsArray()))
        {
            foreach (var text in new[] { "says", "caution", "title", "ended" }.Select(name => (string?)flag![name]).OfType<string>())
                faults.AddRange(PlainWords.Faults(text).Select(fault => $"{flag!["flag"]}: {fault}"));
        }

        foreach (var undecided in flags["undecided"]!.AsArray())
            faults.AddRange(new[] { "why", "needs" }.SelectMany(name => PlainWords.Faults((string)undecided![name]!)));
        var record = await ward.Read($"/episodes/{id}/record");
        faults.AddRange(record["missing"]!.AsArray().SelectMany(missing => PlainWords.Faults((string)missing!)));
        faults.AddRange(record["contradictions"]!.AsArray().SelectMany(contradicts => PlainWords.Faults((string)contradicts!)));
        Assert.True(faults.Count == 0, string.Join('\n', faults.Distinct().Take(40)));
    }

    /// <summary>What the code system shows of a caveat is what every sentence calls it.</summary>
    [Fact]
    public void A_caveat_is_called_the_same_in_FHIR_and_in_words() =>
        Assert.All(
            Enum.GetValues<Caveat>(),
            caveat => Assert.Equal(Ours.Codes.Caveat(Slug.Of(caveat), null).Coding[0].Display, Words.Of(caveat))
        );

    /// <summary>Titles and columns apart from what they are about, and a broken line joined.</summary>
    private static string Plain(string text)
    {
        var lines = new List<string>();
        foreach (var line in text.Split('\n').SelectMany(line => line.Split(" | ")))
        {
            if (line.StartsWith("                    ", StringComparison.Ordinal) && lines.Count > 0)
                lines[^1] += $" {line.Trim()}";
            else
                lines.AddRange(line.Split("  ", StringSplitOptions.RemoveEmptyEntries).Select(part => part.Trim()));
        }

        return string.Join('\n', lines);
    }

    private static (JsonObject Episode, IEnumerable<JsonNode[]> Entries, string AsOf) Told(string story)
    {
        switch (story.Split(' ', 2))
        {
            case ["bed", var name]:
                return (Beds.All[name].Episode(), [Beds.All[name].Entries], Beds.Handover);
            case ["demo", var slug]:
                var demo = InventedStory.All.Single(one => one.Slug == slug);
                return (
                    demo.Episode(null),
                    demo.AsCharted().Select(sent => sent.Select(entry => entry!.DeepClone()).ToArray()),
                    Utc(demo.Handover)
                );
            case [_, var file]:
                var json = JsonNode.Parse(Repo.Read($"tests/IrrigationFhir.Tests/BedsideCases/{file}.json"))!;
                var entries = json["entries"]!.AsArray().Select(entry => entry!.DeepClone()).ToArray();
                var last = BedsideCase.Read(file).Entries.Max(entry => entry.At);
                return (json["episode"]!.DeepClone().AsObject(), entries.Chunk(200), last.ToString());
            default:
                throw new InvalidOperationException(story);
        }
    }

    private static string Utc(string time) => NodaTime.Text.OffsetDateTimePattern.ExtendedIso.Parse(time).Value.ToInstant().ToString();
}

internal static class PlainText
{
    /// <summary>What is there as text.</summary>
    public static async Task<string> Text(this RunningService ward, string address)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri(address, UriKind.Relative));
        request.Headers.Accept.Add(MediaTypeWithQualityHeaderValue.Parse("text/plain"));
        using var reply = await ward.Http.SendAsync(request);
        var text = await reply.Content.ReadAsStringAsync();
        Assert.True(reply.IsSuccessStatusCode, text);
        return text;
    }
}
