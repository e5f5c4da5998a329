using System.Formats.Tar;
using System.IO.Compression;
using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Subscriptions;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>Two services in one process, each under a canonical base of its own: neither says anything of the other's.</summary>
public sealed class TwoBasesTests
{
    private const string North = "https://north-quay.example/fhir";
    private const string South = "https://south-quay.example/terms/irrigation";

    [Fact]
    public async Task Each_speaks_and_understands_its_own_words_and_nobody_elses()
    {
        await using var north = Start(North);
        await using var south = Start(South);

        // By turns, so that whatever one of them settles for the process the other meets.
        var (first, second) = (await Chart(north), await Chart(south));
        var (said, answered) = (await Everything(north, North, first), await Everything(south, South, second));

        Assert.All(said, one => Assert.True(Speaks(one.Text, North, South), $"{one.What}: {one.Text}"));
        Assert.All(answered, one => Assert.True(Speaks(one.Text, South, North), $"{one.What}: {one.Text}"));
        Assert.Equal(said.Count, answered.Count);

        foreach (var (service, own, others) in new[] { (north, North, South), (south, South, North) })
        {
            await Finds(service, own, others, "Observation?code=", "/CodeSystem/irrigation-observation|bladder-drainage-total");
            await Finds(service, own, others, "Observation?_profile=", "/StructureDefinition/bladder-drainage");
            await Finds(service, own, others, "Flag?code=", "/CodeSystem/irrigation-flag|clots-present");
            await Finds(service, own, others, "Flag?_profile=", "/StructureDefinition/irrigation-flag");

            var refused = await service.Post("/fhir/Observation", Scan(others, "of-others"));
            Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.Status);
            Assert.Contains("\"unknown-code\"", refused.Text, StringComparison.Ordinal);
        }
    }

    private static RunningService Start(string canonicalBase) =>
        RunningService.Start(EveningOnTheWard.Now, null, ("Fhir:CanonicalBase", canonicalBase), ("Subscriptions:AllowLoopback", "true"));

    /// <summary>Irrigation, drainage with clots, and a bladder scan that a device sends in the words of the service.</summary>
    private static async Task<string> Chart(RunningService service)
    {
        var episode = await service.Open(RunningService.Episode("quay", "2026-03-14T08:00:00Z"));
        await service.Record(
            episode,
            Of("bladder-scanned", "empty", "08:00", ("volume", Millilitres(0))),
            Of("irrigant-instilled", "in", "08:30", ("volume", Millilitres(500))),
            Emptied("out", "09:30", 650),
            Of("drainage-appearance", "seen", "09:40", ("clots", "many"))
        );
        return episode;
    }

    /// <summary>Whatever a service says in words of its own.</summary>
    private static async Task<IReadOnlyList<(string What, string Text)>> Everything(RunningService service, string own, string episode)
    {
        List<(string, string)> said = [];
        async Task<Reply> Sent(string address, JsonNode body, HttpStatusCode status)
        {
            var reply = await service.Post(address, body, "return=representation");
            Assert.True(reply.Status == status, $"{address}: {reply.Text}");
            said.Add((address, reply.Text));
            return reply;
        }

        // taken in
        var scan = (string)(await Sent("/fhir/Observation", Scan(own, "scan"), HttpStatusCode.Created)).Json["id"]!;
        await Sent("/fhir", Batch(Scan(own, "in-a-bundle"), "Observation"), HttpStatusCode.OK);
        foreach (var topic in Topics.All)
        {
            var subscription = SampleSubscriptions.Here(topic);
            subscription.Criteria = $"{own}/SubscriptionTopic/{topic.Slug}";
            await Sent("/fhir/Subscription", JsonNode.Parse(FhirJson.Write(subscription))!, HttpStatusCode.Created);
        }

        // refused, one for each way out
        await Sent($"/episodes/{episode}/entries", new JsonArray(Emptied("less", "09:50", -1)), HttpStatusCode.UnprocessableEntity);
        await Sent("/fhir/Observation", Scan("https://elsewhere.example", "no-kind"), HttpStatusCode.UnprocessableEntity);
        await Sent("/fhir/Observation/$validate?mode=create", Scan("https://elsewhere.example", "judged"), HttpStatusCode.OK);
        await Sent("/fhir", Batch(Scan(own, "stranger"), "Patient"), HttpStatusCode.OK);
        await Sent("/fhir", new JsonObject { ["resourceType"] = "Bundle", ["type"] = "history" }, HttpStatusCode.UnprocessableEntity);
        await Sent(
            "/fhir",
            new JsonObject
            {
                ["resourceType"] = "Bundle",
                ["type"] = "batch",
                ["entry"] = new JsonArray(
                    new JsonObject
                    {
                        ["request"] = new JsonObject { ["method"] = "GET", ["url"] = "Observation/nobody" },
                    }
                ),
            },
            HttpStatusCode.OK
        );
        var mayGo = new JsonObject { ["name"] = "mode", ["valueCode"] = "delete" };
        var asked = new JsonObject { ["resourceType"] = "Parameters", ["parameter"] = new JsonArray(mayGo) };
        var judged = await service.Post($"/fhir/Observation/{scan}/$validate", asked);
        said.Add(("may it be deleted", judged.Text));
        string[] read =
        [
            "/nowhere",
            "/fhir/Observation/nobody",
            "/fhir/Observation?date=perhaps",
            "/fhir/Observation?no-such=1", // passed over, with a warning
            "/fhir/Observation?_count=1000",
            "/fhir/Flag",
            "/fhir/Procedure",
            "/fhir/Subscription",
            "/fhir/Subscription/$status",
            "/fhir/Basic/flag-raised",
            "/fhir/metadata",
        ];
        foreach (var address in read)
            said.Add((address, (await service.Get(address)).Text));

        using var asFhir = new HttpRequestMessage(HttpMethod.Get, new Uri($"/episodes/{episode}/handover", UriKind.Relative));
        asFhir.Headers.Accept.ParseAdd("application/fhir+json");
        using var handover = await service.Http.SendAsync(asFhir);
        said.Add(("handover", await handover.Content.ReadAsStringAsync()));

        // The contract of the FHIR API shows a measurement as it is taken here.
        said.Add(("contract", (await service.Get("/openapi/fhir.json")).Text));
        said.AddRange(await Package(service));
        return said;
    }

    private static async Task<IReadOnlyList<(string, string)>> Package(RunningService service)
    {
        List<(string, string)> files = [];
        await using var packed = await service.Http.GetStreamAsync(new Uri("/fhir/package.tgz", UriKind.Relative));
        await using var tar = new TarReader(new GZipStream(packed, CompressionMode.Decompress));
        while (await tar.GetNextEntryAsync(copyData: true) is { } entry)
        {
            if (!entry.Name.EndsWith("example/.index.json", StringComparison.Ordinal)) // which names files alone
                files.Add((entry.Name, await new StreamReader(entry.DataStream!, Encoding.UTF8).ReadToEndAsync()));
        }

        return files;
    }

    private static bool Speaks(string text, string own, string others) =>
        (text.Contains($"{own}/", StringComparison.Ordinal) || text.Contains($"\"{own}\"", StringComparison.Ordinal))
        && !text.Contains(new Uri(others).Host, StringComparison.Ordinal)
        && !text.Contains(Profiles.DefaultCanonicalBase, StringComparison.Ordinal);

    private static async Task Finds(RunningService service, string own, string others, string search, string word)
    {
        Assert.NotEqual(0, await Count(own));
        Assert.Equal(0, await Count(others));

        async Task<int> Count(string canonicalBase) =>
            (int)(await service.Read($"/fhir/{search}{Uri.EscapeDataString(canonicalBase + word)}&_summary=count"))["total"]!;
    }

    private static JsonObject Scan(string canonicalBase, string id) =>
        new()
        {
            ["resourceType"] = "Observation",
            ["identifier"] = new JsonArray(new JsonObject { ["system"] = "https://gateway.example/readings", ["value"] = id }),
            ["status"] = "final",
            ["code"] = new JsonObject
            {
                ["coding"] = new JsonArray(
                    new JsonObject { ["system"] = $"{canonicalBase}/CodeSystem/entry-kind", ["code"] = "bladder-scanned" }
                ),
            },
            ["subject"] = new JsonObject
            {
                ["identifier"] = new JsonObject { ["system"] = RunningService.PatientSystem, ["value"] = "patient of quay" },
            },
            ["effectiveDateTime"] = "2026-03-14T10:00:00Z",
            ["valueQuantity"] = new JsonObject
            {
                ["value"] = 40,
                ["unit"] = "mL",
                ["system"] = Codes.Systems.Ucum,
                ["code"] = "mL",
            },
        };

    private static JsonObject Batch(JsonNode resource, string url) =>
        new()
        {
            ["resourceType"] = "Bundle",
            ["type"] = "batch",
            ["entry"] = new JsonArray(
                new JsonObject
                {
                    ["resource"] = resource,
                    ["request"] = new JsonObject { ["method"] = "POST", ["url"] = url },
                }
            ),
        };
}
