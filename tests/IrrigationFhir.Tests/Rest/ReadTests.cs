using System.Net;
using Hl7.Fhir.Model;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Rest;

public class ReadTests
{
    [Fact]
    public async Task A_resource_is_read_with_its_version_and_the_time_of_storing_R_HTTP_09()
    {
        await using var fhir = await Started();

        using var reply = await fhir.Client.GetAsync("fhir/Observation/d");
        var read = await FhirOverHttp.Read<Observation>(reply, 200);

        Assert.Equal("W/\"2\"", reply.Headers.ETag!.ToString());
        Assert.Equal("2", read.Meta!.VersionId);
        Assert.Equal(
            reply.Content.Headers.LastModified,
            read.Meta!.LastUpdated!.Value.AddTicks(-(read.Meta!.LastUpdated.Value.Ticks % TimeSpan.TicksPerSecond))
        );
        Assert.Equal(240m, ((Quantity)read.Value!).Value);
    }

    [Fact]
    public async Task What_the_client_has_already_is_not_sent_again_R_HTTP_09()
    {
        await using var fhir = await Started();
        using var first = await fhir.Client.GetAsync("fhir/Observation/d");
        var modified = first.Content.Headers.LastModified!.Value.ToString("R", null);

        Assert.Equal(HttpStatusCode.NotModified, await Status("If-None-Match", "W/\"2\""));
        Assert.Equal(HttpStatusCode.NotModified, await Status("If-None-Match", "\"7\", W/\"2\""));
        Assert.Equal(HttpStatusCode.NotModified, await Status("If-None-Match", "*"));
        Assert.Equal(HttpStatusCode.OK, await Status("If-None-Match", "W/\"1\""));
        Assert.Equal(HttpStatusCode.NotModified, await Status("If-Modified-Since", modified));
        Assert.Equal(HttpStatusCode.OK, await Status("If-Modified-Since", "Sun, 01 Mar 2026 00:00:00 GMT"));

        async Task<HttpStatusCode> Status(string header, string value)
        {
            using var request = new HttpRequestMessage(HttpMethod.Get, "fhir/Observation/d");
            request.Headers.TryAddWithoutValidation(header, value);
            using var reply = await fhir.Client.SendAsync(request);
            if (reply.StatusCode == HttpStatusCode.NotModified)
            {
                Assert.Empty(await reply.Content.ReadAsByteArrayAsync());
                Assert.Equal("W/\"2\"", reply.Headers.ETag!.ToString());
            }

            return reply.StatusCode;
        }
    }

    [Fact]
    public async Task An_old_version_reads_as_it_was()
    {
        await using var fhir = await Started();

        using var reply = await fhir.Client.GetAsync("fhir/Observation/d/_history/1");
        var old = await FhirOverHttp.Read<Observation>(reply, 200);

        Assert.Equal(("W/\"1\"", "1", 420m), (reply.Headers.ETag!.ToString(), old.Meta!.VersionId, ((Quantity)old.Value!).Value!.Value));
        foreach (var version in new[] { "3", "0", "-1", "first" })
            await fhir.Get<OperationOutcome>($"fhir/Observation/d/_history/{version}", 404);
    }

    [Fact]
    public async Task The_history_lists_versions_newest_first_in_pages_R_HTTP_10()
    {
        await using var fhir = await Started();
        await fhir.Save("night", Drainage("d", "2026-03-02T08:50:00Z", null, 250));

        var first = await fhir.Get<Bundle>("fhir/Observation/d/_history?_count=2");
        var second = await fhir.Get<Bundle>(first.NextLink!.ToString());

        Assert.Equal(Bundle.BundleType.History, first.Type);
        Assert.Equal(["W/\"3\"", "W/\"2\""], first.Entry.Select(entry => entry.Response!.Etag));
        Assert.Equal(["W/\"1\""], second.Entry.Select(entry => entry.Response!.Etag));
        Assert.Null(second.NextLink);
        Assert.All(
            first.Entry,
            entry =>
            {
                Assert.Equal($"{fhir.Base}/Observation/d", entry.FullUrl);
                Assert.Equal((Bundle.HTTPVerb.PUT, "Observation/d"), (entry.Request!.Method!.Value, entry.Request!.Url));
                Assert.Equal(entry.Response!.LastModified, entry.Resource!.Meta!.LastUpdated);
            }
        );
    }

    [Fact]
    public async Task The_history_since_a_moment_includes_that_moment()
    {
        await using var fhir = await Started();
        var third = (await fhir.Get<Observation>("fhir/Observation/d")).Meta!.LastUpdated!.Value;

        var since = await fhir.Get<Bundle>($"fhir/Observation/d/_history?_since={third.UtcDateTime:yyyy-MM-ddTHH:mm:ss.ffffffZ}");
        var later = await fhir.Get<Bundle>("fhir/Observation/d/_history?_since=2027-01-01");

        Assert.Equal(["2"], since.Entry.Select(entry => entry.Resource!.Meta!.VersionId));
        Assert.Empty(later.Entry);
        await fhir.Get<OperationOutcome>("fhir/Observation/never/_history", 404);
        await fhir.Get<OperationOutcome>("fhir/Observation/d/_history?_since=yesterday&_count=none", 400);
    }

    [Fact]
    public async Task The_history_of_a_type_lists_all_versions_of_all_latest_stored_first_R_HTTP_10()
    {
        await using var fhir = await Started();
        await fhir.Save("night", Drainage("e", "2026-03-02T08:50:00Z", null, 1), Drainage("f", "2026-03-02T08:50:00Z", null, 1));
        await fhir.Save("night", Drainage("d", "2026-03-02T08:50:00Z", null, 250), Drainage("e", "2026-03-02T08:50:00Z", null, 2));
        string[] expected = ["e/2", "d/3", "f/1", "e/1", "d/2", "d/1"];

        var whole = await fhir.Get<Bundle>("fhir/Observation/_history");
        Assert.Equal((Bundle.BundleType.History, expected.Length), (whole.Type!.Value, whole.Entry.Count));
        Assert.Equal(expected, whole.Entry.Select(Version));
        Assert.Equal("201 Created", whole.Entry[^1].Response!.Status);
        Assert.Empty((await fhir.Get<Bundle>("fhir/Flag/_history")).Entry);

        // Paged while others write: what comes new lies before the first page.
        var seen = new List<string>();
        for (
            var page = await fhir.Get<Bundle>("fhir/Observation/_history?_count=1");
            ;
            page = await fhir.Get<Bundle>(page.NextLink!.ToString())
        )
        {
            seen.AddRange(page.Entry.Select(Version));
            await fhir.Save("night", Drainage("g", "2026-03-02T08:50:00Z", null, seen.Count));
            if (page.NextLink is null)
                break;
        }

        Assert.Equal(expected, seen);

        var fourth = whole.Entry[2].Resource!.Meta!.LastUpdated!.Value.UtcDateTime;
        var since = await fhir.Get<Bundle>($"fhir/Observation/_history?_since={fourth:yyyy-MM-ddTHH:mm:ss.ffffffZ}&_count=1000");
        Assert.Equal(["e/2", "d/3", "f/1", "e/1"], since.Entry.Select(Version).Where(version => version[0] != 'g'));
        await fhir.Get<OperationOutcome>("fhir/Observation/_history?_page=1", 400);
        await fhir.Get<OperationOutcome>("fhir/Observation/_history?_since=2026-03-02T08:00:00+01:00", 400);

        static string Version(Bundle.EntryComponent entry) => $"{entry.Resource!.Id}/{entry.Resource.Meta!.VersionId}";
    }

    [Theory]
    [InlineData("_summary=true", "id meta identifier status code subject effectiveDateTime valueQuantity", "category")]
    [InlineData("_summary=text", "id meta status code", "subject effectiveDateTime valueQuantity category")]
    [InlineData("_summary=data", "id meta status code subject effectiveDateTime valueQuantity category", "text")]
    [InlineData("_elements=subject,%20category", "id meta status code subject category", "effectiveDateTime valueQuantity identifier")]
    public async Task A_read_sends_a_part_when_asked_and_marks_it_R_SRCH_03(string query, string has, string lacks)
    {
        await using var fhir = await Started();
        foreach (var address in new[] { "fhir/Observation/d", "fhir/Observation/d/_history/1" })
        {
            using var reply = await fhir.Client.GetAsync($"{address}?{query}");
            var sent = System.Text.Json.JsonDocument.Parse(await reply.Content.ReadAsStringAsync()).RootElement;
            var names = sent.EnumerateObject().Select(element => element.Name).ToList();

            Assert.Equal(HttpStatusCode.OK, reply.StatusCode);
            Assert.All(has.Split(' '), name => Assert.Contains(name, names));
            Assert.All(lacks.Split(' '), name => Assert.DoesNotContain(name, names));
            Assert.Equal(
                "SUBSETTED",
                Assert.Single(sent.GetProperty("meta").GetProperty("tag").EnumerateArray()).GetProperty("code").GetString()
            );
            Assert.Equal($"W/\"{sent.GetProperty("meta").GetProperty("versionId").GetString()}\"", reply.Headers.ETag!.ToString());
        }
    }

    [Fact]
    public async Task A_read_is_whole_unless_a_part_is_asked_for_and_a_part_that_is_none_is_refused()
    {
        await using var fhir = await Started();
        Assert.Equal(
            await fhir.Client.GetStringAsync("fhir/Observation/d"),
            await fhir.Client.GetStringAsync("fhir/Observation/d?_summary=false&_elements=")
        );
        foreach (
            var (query, where) in new[]
            {
                ("_summary=count", "_summary"),
                ("_summary=short", "_summary"),
                ("_summary=true&_elements=status", "_elements"),
            }
        )
        {
            var issue = (await fhir.Get<OperationOutcome>($"fhir/Observation/d?{query}", 400)).Issue.Single();
            Assert.Equal(("search-value-invalid", where), (issue.Details!.Coding.Single().Code, issue.Expression.Single()));
        }
    }

    [Theory]
    [InlineData("fhir/Observation/_history")]
    [InlineData("fhir/Observation/$lastn?patient.identifier=P-1&code=drainage")]
    [InlineData("fhir/Patient/$everything?identifier=P-1")]
    [InlineData("fhir/metadata")]
    [InlineData("fhir/Observation")]
    [InlineData("fhir/Observation/d")]
    [InlineData("fhir/Observation/d/_history")]
    [InlineData("fhir/Observation/d/_history/1")]
    public async Task Where_GET_answers_HEAD_sends_the_same_headers_and_no_body_R_HTTP_13(string address)
    {
        await using var fhir = await Started();

        using var get = await fhir.Client.GetAsync(address);
        using var head = await fhir.Client.SendAsync(new(HttpMethod.Head, address));

        Assert.Equal(HttpStatusCode.OK, head.StatusCode);
        Assert.Equal(get.Content.Headers.ContentType, head.Content.Headers.ContentType);
        Assert.Equal(get.Content.Headers.ContentLength, head.Content.Headers.ContentLength);
        Assert.Equal(get.Headers.ETag, head.Headers.ETag);
        Assert.Empty(await head.Content.ReadAsByteArrayAsync());
    }

    [Theory]
    [InlineData("", null, 200)]
    [InlineData("", "application/fhir+json", 200)]
    [InlineData("", "text/json", 200)]
    [InlineData("", "*/*", 200)]
    [InlineData("", "application/json", 200)]
    [InlineData("", "text/html,application/xhtml+xml,*/*;q=0.8", 200)]
    [InlineData("", "application/fhir+json;fhirVersion=4.0", 200)]
    [InlineData("", "application/fhir+json;fhirVersion=5.0", 406)]
    [InlineData("", "application/fhir+xml", 406)]
    [InlineData("", "application/json;q=0", 406)]
    [InlineData("?_format=json", "application/fhir+xml", 200)]
    [InlineData("?_format=application/fhir%2Bjson", null, 200)]
    [InlineData("?_format=application/fhir+json", null, 200)]
    [InlineData("?_format=xml", "application/fhir+json", 406)]
    public async Task The_client_says_what_it_can_read_R_HTTP_08(string query, string? accept, int expected)
    {
        await using var fhir = await Started();
        using var request = new HttpRequestMessage(HttpMethod.Get, "fhir/Observation/d" + query);
        if (accept is not null)
            request.Headers.TryAddWithoutValidation("Accept", accept);

        using var reply = await fhir.Client.SendAsync(request);

        if (expected == 200)
            await FhirOverHttp.Read<Observation>(reply, 200);
        else
            Assert.Equal(
                "not-acceptable",
                (await FhirOverHttp.Read<OperationOutcome>(reply, expected)).Issue.Single().Details!.Coding.Single().Code
            );
    }

    [Fact]
    public async Task A_configured_base_is_used_in_links_and_recognised_in_references()
    {
        await using var fhir = await Started(("Fhir:BaseUrl", "https://ward.example/r4/"));
        var observation = Drainage("e", "2026-03-02T08:50:00Z", null, 1);
        observation.Subject = new("Patient/1");
        await fhir.Save("night", observation);

        var found = await fhir.Get<Bundle>("fhir/Observation?subject=https://ward.example/r4/Patient/1");

        Assert.Equal("https://ward.example/r4/Observation/e", found.Entry.Single().FullUrl);
        Assert.StartsWith("https://ward.example/r4/Observation?", found.SelfLink!.ToString(), StringComparison.Ordinal);
    }

    private static async Task<FhirOverHttp> Started(params (string Key, string Value)[] settings)
    {
        var fhir = await FhirOverHttp.Start(null, settings);
        await fhir.OpenEpisode("night");
        await fhir.Save("night", Drainage("d", "2026-03-02T08:50:00Z", null, 420));
        fhir.Clock.Advance(TimeSpan.FromMinutes(1));
        await fhir.Save("night", Drainage("d", "2026-03-02T08:50:00Z", null, 240));
        return fhir;
    }
}
