using System.IO.Compression;
using System.Net;
using System.Net.Http.Headers;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Analytics;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.Extensions.DependencyInjection;
using NodaTime;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>R-BD-01, 02, 12, 15, 16, 17, 18, 20, 21, 22.</summary>
/// <summary>
/// Bulk Data Access 2.0.0, by the rows of the public requirement table for hl7.fhir.uv.bulkdata 2.0.0 (what a server SHALL do): the number
/// of each stands beside what is checked.
/// </summary>
public class BulkExportTests(StoriesTold told) : IClassFixture<StoriesTold>
{
    [Fact]
    public async Task Rows_28_29_300_301_132_310_144_145_A_kick_off_is_answered_later_with_a_manifest()
    {
        using var asked = await Ask("/fhir/$export");
        Assert.Equal(HttpStatusCode.Accepted, asked.StatusCode); // 301
        Assert.True(asked.Content.Headers.ContentLocation is { IsAbsoluteUri: true }); // 300
        using var done = await Done(asked);
        Assert.Equal("application/json", done.Content.Headers.ContentType!.MediaType); // 144
        Assert.True(done.Content.Headers.Expires > told.Ward.Clock.GetUtcNow()); // 146
        var manifest = await Manifest(done);
        Assert.Matches(@"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z$", (string)manifest["transactionTime"]!); // 150 151
        Assert.EndsWith("/fhir/$export", (string)manifest["request"]!, StringComparison.Ordinal); // 155 156
        Assert.False((bool)manifest["requiresAccessToken"]!); // 159 160
        Assert.Empty(manifest["error"]!.AsArray()); // 191 192
        Assert.Empty(manifest["deleted"]!.AsArray()); // 180
        Assert.False(manifest.AsObject().ContainsKey("extension")); // 198
    }

    /// <summary>R-BD-06, 10 (111, 112: every Provenance), 19, 23, 24.</summary>
    [Fact]
    public async Task Rows_62_63_164_165_166_170_204_206_208_Everything_is_there_once_as_one_type_a_file_and_one_resource_a_line()
    {
        var lines = await Export("/fhir/$export");
        var fence = await told.Scan.Fence(CancellationToken.None);
        // 63: all that is held; a new type is exported, or left out by a decision in Exports.IsExported.
        Assert.Equal(["Observation", "Procedure", "Flag", "Provenance"], BulkRequest.Exported.Order(Comparer(IndexedTypes.All)));
        foreach (var type in BulkRequest.Exported)
        {
            var held = new List<string>();
            await foreach (var page in told.Scan.Read(new ScanRequest(type, fence), CancellationToken.None))
                held.AddRange(page.Resources.Select(resource => Encoding.UTF8.GetString(resource.Json.Span)));
            Assert.NotEmpty(held);
            Assert.Equal(held, lines[type]); // byte for byte as stored: newest version only (202)
        }

        static IComparer<string> Comparer(IReadOnlyList<IndexedType> order) =>
            Comparer<string>.Create((a, b) => Place(a).CompareTo(Place(b)));
        static int Place(string type) => IndexedTypes.All.Select(known => known.Name).ToList().IndexOf(type);
    }

    /// <summary>R-BD-03, 06, 10 (112: unless _type leaves it out).</summary>
    [Fact]
    public async Task Rows_32_62_A_parameter_given_twice_means_the_same_as_a_list()
    {
        var list = await Export("/fhir/$export?_type=Flag,Procedure");
        var twice = await Export("/fhir/$export?_type=Flag&_type=Procedure");
        Assert.Equal(["Flag", "Procedure"], list.Keys.Order());
        Assert.Equal(list["Flag"], twice["Flag"]);
        Assert.Equal(list["Procedure"], twice["Procedure"]);
    }

    /// <summary>R-BD-04.</summary>
    [Theory] // 47 49 51 52 231
    [InlineData("application%2Ffhir%2Bndjson", HttpStatusCode.Accepted)]
    [InlineData("application%2Fndjson", HttpStatusCode.Accepted)]
    [InlineData("ndjson", HttpStatusCode.Accepted)]
    [InlineData("text%2Fcsv", HttpStatusCode.BadRequest)]
    public async Task Rows_47_49_51_52_The_three_names_of_ndjson_are_understood(string format, HttpStatusCode status)
    {
        foreach (var level in new[] { "/fhir", "/fhir/Patient" })
        {
            using var asked = await Ask($"{level}/$export?_type=Flag&_outputFormat={format}");
            Assert.Equal(status, asked.StatusCode);
        }
    }

    /// <summary>R-BD-05 at the level of patients.</summary>
    [Fact]
    public async Task Row_234_What_changed_since_is_there_at_Patient_too_and_nothing_else()
    {
        var (all, time) = await ExportWithTime(told.Ward, "/fhir/Patient/$export?_type=Observation");
        var moments = all.Select(line => (string)JsonNode.Parse(line)!["meta"]!["lastUpdated"]!).Order(StringComparer.Ordinal).ToList();
        var since = moments[moments.Count / 2];
        var (later, _) = await ExportWithTime(told.Ward, $"/fhir/Patient/$export?_type=Observation&_since={Uri.EscapeDataString(since)}");
        Assert.Equal(all.Where(line => string.CompareOrdinal((string)JsonNode.Parse(line)!["meta"]!["lastUpdated"]!, since) > 0), later);
        Assert.NotEmpty(later);
        Assert.Empty(
            (await ExportWithTime(told.Ward, $"/fhir/Patient/$export?_type=Observation&_since={Uri.EscapeDataString(time)}")).Lines
        );
    }

    /// <summary>R-BD-08: as many pages as it takes, and what they cost is what those patients hold.</summary>
    [Fact]
    public async Task Row_85_Of_some_patients_everything_is_there_in_order_and_is_found_by_whom_it_is_about()
    {
        var fence = await told.Scan.Fence(CancellationToken.None);
        ScannedPatient Patient(string value) => new(null, "https://lantern-quay.example/patients", value);
        var request = new ScanRequest("Observation", fence) { Patients = [Patient("P-0417"), Patient("P-0508"), Patient("P-0417")] };
        var (all, some) = (new List<string>(), new List<string>());
        await foreach (var page in told.Scan.Read(new("Observation", fence), CancellationToken.None))
        {
            all.AddRange(
                page.Resources.Where(resource =>
                        (string)JsonNode.Parse(resource.Json.Span)!["subject"]!["identifier"]!["value"]! is "P-0417" or "P-0508"
                    )
                    .Select(resource => resource.Id)
            );
        }

        await foreach (var page in told.Scan.Read(request, CancellationToken.None))
            some.AddRange(page.Resources.Select(resource => resource.Id));
        Assert.Equal(all, some);
        var behind = new List<string>();
        await foreach (var page in told.Scan.Read(request with { After = all[9] }, CancellationToken.None))
            behind.AddRange(page.Resources.Select(resource => resource.Id));
        Assert.Equal(all[10..], behind);

        using var connection = IrrigationFhir.Store.Sqlite.Dialect.OpenForReading(told.Ward.Folder);
        using var command = connection.CreateCommand();
        command.CommandText = $"explain query plan {ResourceScan.PageSql(request, "")}";
        foreach (var name in new[] { "type", "after", "since", "system0", "value0", "system1", "value1", "system2", "value2" })
        {
            var parameter = command.CreateParameter();
            (parameter.ParameterName, parameter.Value) = (name, "");
            command.Parameters.Add(parameter);
        }

        var plan = new List<string>();
        using var rows = command.ExecuteReader();
        while (rows.Read())
            plan.Add(rows.GetString(3));
        var text = string.Join('\n', plan);
        Assert.Contains("SEARCH r USING INDEX resource_of_patient (patient=? AND type=?)", text, StringComparison.Ordinal);
        Assert.Contains("reference_set_member_by_identifier", text, StringComparison.Ordinal);
        Assert.DoesNotContain("SCAN m", text, StringComparison.Ordinal);
    }

    /// <summary>R-BD-23: the same store gives the same bytes.</summary>
    [Fact]
    public async Task Row_202_Exported_again_it_is_the_same_line_by_line()
    {
        var (first, time) = await ExportWithTime(told.Ward, "/fhir/$export");
        var (again, then) = await ExportWithTime(told.Ward, "/fhir/$export");
        Assert.Equal(time, then);
        Assert.Equal(first, again);
    }

    /// <summary>R-BD-13, and of R-BD-24 that nothing can be fetched of what failed.</summary>
    [Fact]
    public async Task Rows_136_137_What_cannot_be_written_has_failed_and_says_so_as_an_OperationOutcome()
    {
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        await File.WriteAllTextAsync(Path.Combine(ward.Folder, "exports"), "where the folder of exports should be");
        using var asked = await Ask(ward, "/fhir/$export");
        using var done = await Done(ward, asked);
        Assert.Equal(HttpStatusCode.InternalServerError, done.StatusCode); // 136
        Assert.Equal("application/fhir+json", done.Content.Headers.ContentType!.MediaType); // 137
        var outcome = JsonNode.Parse(await done.Content.ReadAsStringAsync())!;
        Assert.Equal("OperationOutcome", (string)outcome["resourceType"]!);
        Assert.Contains("its files could not be written", outcome.ToJsonString(), StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.OK, (await ward.Get("/fhir/Observation")).Status); // what is charted goes on
        using var deleted = await ward.Http.DeleteAsync(asked.Content.Headers.ContentLocation);
        Assert.Equal(HttpStatusCode.Accepted, deleted.StatusCode);
    }

    /// <summary>R-BD-02; R-BD-09: includeAssociatedData is not claimed, and refused.</summary>
    [Theory] // 29 303 304, and the SHOULD rows 70 86 87
    [InlineData("/fhir/$export?_type=Patient", "_type")]
    [InlineData("/fhir/$export?_type=Subscription", "_type")]
    [InlineData("/fhir/$export?_since=yesterday", "_since")]
    [InlineData("/fhir/$export?_elements=statsu", "_elements")]
    [InlineData("/fhir/$export?_typeFilter=Observation", "_typeFilter")]
    [InlineData("/fhir/$export?_typeFilter=Observation%3F_include%3DObservation:subject", "_typeFilter")]
    [InlineData("/fhir/$export?_typeFilter=Observation%3Fcolour%3Dred", "colour")]
    [InlineData("/fhir/$export?patient=Patient/1", "patient")]
    [InlineData("/fhir/$export?includeAssociatedData=LatestProvenanceResources", "includeAssociatedData")]
    [InlineData("/fhir/Patient/$export?patient=nobody", "patient")]
    public async Task Rows_29_303_304_What_cannot_be_honoured_is_refused_with_its_place(string address, string where)
    {
        using var asked = await Ask(address);
        Assert.Equal(HttpStatusCode.BadRequest, asked.StatusCode);
        Assert.Equal("application/fhir+json", asked.Content.Headers.ContentType!.MediaType);
        var outcome = JsonNode.Parse(await asked.Content.ReadAsStringAsync())!;
        Assert.Equal("OperationOutcome", (string)outcome["resourceType"]!);
        Assert.Contains(outcome["issue"]!.AsArray(), issue => (string?)issue!["expression"]?[0] == where);
    }

    /// <summary>R-BD-14, 21.</summary>
    [Fact]
    public async Task Row_197_What_is_passed_over_as_the_client_allows_is_named_under_error()
    {
        using var asked = await Ask("/fhir/$export?_type=Flag,Patient&includeAssociatedData=custom", lenient: true);
        using var done = await Done(asked);
        var manifest = await Manifest(done);
        var error = Assert.Single(manifest["error"]!.AsArray())!;
        Assert.Equal("OperationOutcome", (string)error["type"]!); // 193
        var lines = await Lines((string)error["url"]!);
        Assert.Equal(2, lines.Count);
        Assert.All(lines, line => Assert.Equal("OperationOutcome", (string)JsonNode.Parse(line)!["resourceType"]!)); // 196
    }

    /// <summary>R-BD-05, 16, while four write at once.</summary>
    [Fact]
    public async Task Rows_53_59_152_154_A_chain_of_exports_by_transactionTime_loses_nothing_and_repeats_nothing()
    {
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var latest = new Dictionary<string, long>();
        string? since = null;
        var writers = Enumerable
            .Range(0, 4)
            .Select(async writer =>
            {
                var episode = await ward.Open(RunningService.Episode($"chain {writer}", "2026-03-15T00:00:00Z"));
                for (var n = 1; n <= 30; n++)
                {
                    await ward.Record(
                        episode,
                        JsonNode.Parse(
                            $$"""
                            {"source": "w", "id": "{{n % 7}}", "kind": "drainage-emptied", "at": "2026-03-15T0{{n % 6}}:00:00Z",
                             "volume": {"value": {{n}}, "unit": "mL"}, "how": "graduation"}
                            """
                        )!
                    );
                }
            })
            .ToList();
        var exports = 0;
        for (var writing = Task.WhenAll(writers); exports < 4 || !writing.IsCompletedSuccessfully; exports++)
        {
            if (writing.IsFaulted)
                await writing;
            var (lines, time) = await ExportWithTime(ward, $"/fhir/$export{(since is null ? "" : $"?_since={since}")}");
            foreach (var line in lines)
            {
                var resource = JsonNode.Parse(line)!;
                var (key, version) = (
                    $"{resource["resourceType"]}/{resource["id"]}",
                    long.Parse((string)resource["meta"]!["versionId"]!, System.Globalization.CultureInfo.InvariantCulture)
                );
                // 152 154: nothing twice, and nothing newer than the moment.
                Assert.True(!latest.TryGetValue(key, out var known) || version > known, $"{key} {version} after {known}");
                Assert.True(string.CompareOrdinal(Time((string)resource["meta"]!["lastUpdated"]!), Time(time)) <= 0);
                latest[key] = version;
            }

            since = time;
        }

        var (last, _) = await ExportWithTime(ward, $"/fhir/$export?_since={since}");
        foreach (var line in last)
        {
            var resource = JsonNode.Parse(line)!;
            latest[$"{resource["resourceType"]}/{resource["id"]}"] = long.Parse(
                (string)resource["meta"]!["versionId"]!,
                System.Globalization.CultureInfo.InvariantCulture
            );
        }

        var (all, _) = await ExportWithTime(ward, "/fhir/$export");
        Assert.Equal(
            all.Select(line => JsonNode.Parse(line)!)
                .Select(resource => $"{resource["resourceType"]}/{resource["id"]} {resource["meta"]!["versionId"]}")
                .Order(StringComparer.Ordinal),
            latest.Select(pair => $"{pair.Key} {pair.Value}").Order(StringComparer.Ordinal)
        );

        static string Time(string text) =>
            NodaTime.Text.InstantPattern.ExtendedIso.Parse(text).Value.ToString("uuuu-MM-dd'T'HH:mm:ss.fffffffff", null);
    }

    /// <summary>R-BD-07.</summary>
    [Fact]
    public async Task Rows_77_79_80_Elements_are_cut_at_the_root_and_marked_and_numbers_keep_their_digits()
    {
        var whole = (await Export("/fhir/$export?_type=Observation"))["Observation"]
            .ToDictionary(line => (string)JsonNode.Parse(line)!["id"]!);
        var cut = (await Export("/fhir/$export?_type=Observation&_elements=value,Observation.effective"))["Observation"];
        Assert.Equal(whole.Count, cut.Count);
        foreach (var line in cut)
        {
            var (part, all) = (JsonNode.Parse(line)!.AsObject(), JsonNode.Parse(whole[(string)JsonNode.Parse(line)!["id"]!])!.AsObject());
            Assert.Contains(part["meta"]!["tag"]!.AsArray(), tag => (string)tag!["code"]! == "SUBSETTED");
            // Mandatory in R4: status and code.
            string[] allowed = ["resourceType", "id", "meta", "status", "code", "effectiveDateTime", "effectivePeriod"];
            Assert.All(
                part.Where(pair => !pair.Key.StartsWith("value", StringComparison.Ordinal)),
                pair => Assert.Contains(pair.Key, allowed)
            );
            foreach (var (key, value) in part.Where(pair => pair.Key != "meta"))
                Assert.Equal(all[key]!.ToJsonString(), value!.ToJsonString());
        }
    }

    /// <summary>R-BD-03 (117), 08, 10 (109), 11.</summary>
    [Fact]
    public async Task Rows_85_103_109_A_patient_and_a_filter_let_nothing_else_out()
    {
        var night = Uri.EscapeDataString("https://lantern-quay.example/patients|P-0417");
        var of = await Export($"/fhir/Patient/$export?patient={night}");
        Assert.NotEmpty(of["Provenance"]); // 109: what is said about them
        foreach (var line in of.Where(pair => pair.Key != "Provenance").SelectMany(pair => pair.Value))
            Assert.Equal("P-0417", (string)JsonNode.Parse(line)!["subject"]!["identifier"]!["value"]!);
        Assert.All(of["Provenance"], line => Assert.Contains(told.Episodes["a-night"], line, StringComparison.Ordinal));

        var filtered = await Export(
            $"/fhir/Patient/$export?patient={night}&_type=Observation&_typeFilter=Observation%3Fstatus%3Dcorrected"
        );
        var expected = of["Observation"].Where(line => (string)JsonNode.Parse(line)!["status"]! == "corrected");
        Assert.NotEmpty(expected);
        Assert.Equal(expected.Order(StringComparer.Ordinal), filtered["Observation"].Order(StringComparer.Ordinal));

        // Two filters: what either finds, once (117: a list means the same as twice).
        var two = await Export(
            "/fhir/$export?_type=Observation&_typeFilter=Observation%3Fstatus%3Dcorrected,Observation%3Fstatus%3Dcorrected,amended"
        );
        Assert.All(two["Observation"], line => Assert.Contains((string)JsonNode.Parse(line)!["status"]!, new[] { "corrected", "amended" }));
        Assert.Equal(two["Observation"].Count, two["Observation"].Distinct().Count());

        using var nobody = await Ask("/fhir/Patient/$export?patient=Patient/nobody");
        Assert.Equal(HttpStatusCode.NotFound, nobody.StatusCode);
    }

    /// <summary>R-BD-01, 17.</summary>
    [Fact]
    public async Task Rows_20_223_249_272_Asked_by_POST_and_at_Patient_and_refused_with_a_reason_at_Group()
    {
        var body = JsonNode.Parse(
            """
            {"resourceType": "Parameters", "parameter": [
              {"name": "_type", "valueString": "Flag"},
              {"name": "patient", "valueReference": {"identifier":
                {"system": "https://lantern-quay.example/patients", "value": "P-0417"}}}]}
            """
        )!;
        using var asked = await Ask("/fhir/Patient/$export", body: body);
        using var done = await Done(asked);
        var manifest = await Manifest(done);
        Assert.EndsWith("/fhir/Patient/$export", (string)manifest["request"]!, StringComparison.Ordinal); // 157 158
        Assert.Equal("Flag", (string)Assert.Single(manifest["output"]!.AsArray())!["type"]!);

        using var group = await Ask("/fhir/Group/1/$export");
        Assert.Equal(HttpStatusCode.NotFound, group.StatusCode);
        Assert.Contains("no Group is held here", await group.Content.ReadAsStringAsync(), StringComparison.Ordinal);
    }

    /// <summary>R-BD-24 (209, 210: a file that is gone), 26.</summary>
    [Fact]
    public async Task Rows_122_305_306_308_DELETE_takes_it_away_and_then_it_is_not_found()
    {
        using var asked = await Ask("/fhir/$export?_type=Flag");
        using var done = await Done(asked);
        var file = (string)(await Manifest(done))["output"]![0]!["url"]!;
        var folder = told.Ward.Services.GetRequiredService<RunExports>().FolderOf(asked.Content.Headers.ContentLocation!.Segments[^1]);
        Assert.True(Directory.Exists(folder));
        using (var deleted = await told.Ward.Http.DeleteAsync(asked.Content.Headers.ContentLocation))
            Assert.Equal(HttpStatusCode.Accepted, deleted.StatusCode); // 305
        Assert.False(Directory.Exists(folder));
        foreach (var address in new[] { asked.Content.Headers.ContentLocation!.ToString(), file })
        {
            var gone = await told.Ward.Get(address);
            Assert.Equal(HttpStatusCode.NotFound, gone.Status); // 306
            Assert.Equal("OperationOutcome", (string)gone.Json["resourceType"]!);
        }

        using var twice = await told.Ward.Http.DeleteAsync(asked.Content.Headers.ContentLocation);
        Assert.Equal(HttpStatusCode.NotFound, twice.StatusCode); // 308 309
    }

    /// <summary>R-BD-24.</summary>
    [Fact]
    public async Task Rows_204_206_207_Files_are_packed_or_not_and_a_broken_download_goes_on()
    {
        using var asked = await Ask("/fhir/$export?_type=Observation");
        using var done = await Done(asked);
        var output = (await Manifest(done))["output"]![0]!;
        var url = (string)output["url"]!;
        using var plain = await told.Ward.Http.GetAsync(url);
        Assert.Equal("application/fhir+ndjson", plain.Content.Headers.ContentType!.MediaType); // 206
        var text = await plain.Content.ReadAsByteArrayAsync();
        Assert.Equal((int)output["count"]!, text.Count(b => b == '\n')); // 178

        using var zipped = new HttpRequestMessage(HttpMethod.Get, url) { Headers = { AcceptEncoding = { new("gzip") } } };
        using var packed = await told.Ward.Http.SendAsync(zipped);
        Assert.Equal(["gzip"], packed.Content.Headers.ContentEncoding);
        var bytes = await packed.Content.ReadAsByteArrayAsync();
        Assert.Equal(text, Unpacked(bytes));

        using var rest = new HttpRequestMessage(HttpMethod.Get, url)
        {
            Headers =
            {
                AcceptEncoding = { new("gzip") },
                Range = new RangeHeaderValue(100, null),
                IfRange = new(packed.Headers.ETag!),
            },
        };
        using var part = await told.Ward.Http.SendAsync(rest);
        Assert.Equal(HttpStatusCode.PartialContent, part.StatusCode);
        Assert.Equal(bytes[100..], await part.Content.ReadAsByteArrayAsync());
    }

    [Fact]
    public async Task Without_respond_async_nothing_is_begun()
    {
        using var asked = await told.Ward.Http.GetAsync(new Uri("/fhir/$export", UriKind.Relative));
        Assert.Equal(HttpStatusCode.BadRequest, asked.StatusCode);
        Assert.Contains("respond-async", await asked.Content.ReadAsStringAsync(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Who_works_on_them_ends_without_a_fault_when_the_service_stops()
    {
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var exports = ward.Services.GetRequiredService<RunExports>();
        await exports.StopAsync(CancellationToken.None);
        await exports.ExecuteTask!;
    }

    [Fact]
    public async Task What_a_process_left_when_it_died_is_begun_anew_and_what_has_expired_goes()
    {
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var episode = await ward.Open(RunningService.Episode("left", "2026-03-15T00:00:00Z"));
        await ward.Record(
            episode,
            JsonNode.Parse(
                """
                {"source": "w", "id": "1", "kind": "bladder-scanned", "at": "2026-03-15T01:00:00Z",
                 "volume": {"value": 40, "unit": "mL"}, "how": "scan"}
                """
            )!
        );
        var jobs = ward.Services.GetRequiredService<ExportJobStore>();
        var exports = ward.Services.GetRequiredService<RunExports>();

        // Another process takes it the moment it is asked for, writes half a file, and is heard of no more.
        Assert.True(
            await jobs.Add(
                "dead",
                """
                {"bulk": {"address": "http://ward.example/fhir/$export", "base": "http://ward.example/fhir", "ofPatients": false,
                 "types": ["Observation"], "filters": [], "elements": [], "patients": [], "passedOver": []}}
                """,
                _ => false,
                CancellationToken.None
            )
        );
        var now = Instant.FromDateTimeOffset(ward.Clock.GetUtcNow());
        var job = await jobs.Claim("another", now, RunExports.Lease, CancellationToken.None);
        // The service itself may have been quicker; then it has been done already.
        if (job is not null)
        {
            Directory.CreateDirectory(exports.FolderOf("dead"));
            await File.WriteAllTextAsync(Path.Combine(exports.FolderOf("dead"), "Observation-1.ndjson.unfinished"), "{\"half");
            ward.Clock.Advance(TimeSpan.FromMinutes(3));
        }

        for (var i = 0; i < 300 && await jobs.Find("dead", CancellationToken.None) is not { HasEnded: true }; i++)
            await Task.Delay(100);
        var status = await ward.Get("/fhir/exports/dead");
        Assert.Equal(HttpStatusCode.OK, status.Status);
        Assert.True((int)status.Json["output"]![0]!["count"]! > 0);
        Assert.Empty(Directory.GetFiles(exports.FolderOf("dead"), "*.unfinished"));

        ward.Clock.Advance(TimeSpan.FromHours(25));
        for (var i = 0; i < 300 && await jobs.Find("dead", CancellationToken.None) is not null; i++)
            await Task.Delay(100);
        Assert.Equal(HttpStatusCode.NotFound, (await ward.Get("/fhir/exports/dead")).Status);
        Assert.False(Directory.Exists(exports.FolderOf("dead")));
    }

    /// <summary>R-BD-01, 25.</summary>
    [Fact]
    public async Task Rows_1_20_213_What_is_claimed_is_said_and_no_resource_has_an_attachment()
    {
        var statement = await told.Ward.Read("/fhir/metadata");
        Assert.Contains(
            "http://hl7.org/fhir/uv/bulkdata/CapabilityStatement/bulk-data",
            statement["instantiates"]!.AsArray().Select(url => (string)url!)
        );
        Assert.Contains(
            statement["rest"]![0]!["operation"]!.AsArray(),
            operation => (string)operation!["definition"]! == "http://hl7.org/fhir/uv/bulkdata/OperationDefinition/export"
        );
        foreach (var line in (await Export("/fhir/$export")).Values.SelectMany(lines => lines))
            Assert.DoesNotContain("ttachment", line, StringComparison.Ordinal);
    }

    /// <summary>
    /// R-BD-27 is not the service's: what stands before it ends TLS and knows who asks; until it knows callers itself, it says
    /// <c>requiresAccessToken: false</c>.
    /// </summary>
    [Fact]
    public void Every_requirement_is_named_beside_what_shows_it()
    {
        var here = Repository.Repo.Read("tests/IrrigationFhir.Tests/Analytics/BulkExportTests.cs");
        var named = System
            .Text.RegularExpressions.Regex.Matches(here, @"R-BD-(\d\d)((?: \([^)]*\))?, (\d\d))*(?![\w])")
            .SelectMany(match => match.Groups[3].Captures.Select(capture => capture.Value).Prepend(match.Groups[1].Value))
            .Distinct()
            .Order(StringComparer.Ordinal);
        Assert.Equal(Enumerable.Range(1, 27).Select(n => $"{n:00}"), named);
    }

    private Task<HttpResponseMessage> Ask(string address, bool lenient = false, JsonNode? body = null) =>
        Ask(told.Ward, address, lenient, body);

    private static async Task<HttpResponseMessage> Ask(RunningService ward, string address, bool lenient = false, JsonNode? body = null)
    {
        for (var patience = 100; ; patience--)
        {
            using var request = new HttpRequestMessage(body is null ? HttpMethod.Get : HttpMethod.Post, new Uri(address, UriKind.Relative));
            request.Headers.Accept.ParseAdd("application/fhir+json");
            request.Headers.Add("Prefer", lenient ? "respond-async, handling=lenient" : "respond-async");
            if (body is not null)
                request.Content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/fhir+json");
            var response = await ward.Http.SendAsync(request);
            if (response.StatusCode != HttpStatusCode.TooManyRequests || patience == 0)
                return response;
            response.Dispose();
            await Task.Delay(100);
        }
    }

    private Task<HttpResponseMessage> Done(HttpResponseMessage asked) => Done(told.Ward, asked);

    private static async Task<HttpResponseMessage> Done(RunningService ward, HttpResponseMessage asked)
    {
        Assert.True(asked.StatusCode == HttpStatusCode.Accepted, await asked.Content.ReadAsStringAsync());
        for (var i = 0; i < 600; i++)
        {
            var status = await ward.Http.GetAsync(asked.Content.Headers.ContentLocation);
            if (status.StatusCode != HttpStatusCode.Accepted)
                return status;
            Assert.NotNull(status.Headers.RetryAfter); // 132, 125
            status.Dispose();
            await Task.Delay(100);
        }

        throw new TimeoutException("an export does not end");
    }

    private static async Task<JsonNode> Manifest(HttpResponseMessage done)
    {
        Assert.True(done.StatusCode == HttpStatusCode.OK, await done.Content.ReadAsStringAsync());
        return JsonNode.Parse(await done.Content.ReadAsStringAsync())!;
    }

    private async Task<Dictionary<string, List<string>>> Export(string address)
    {
        using var asked = await Ask(address);
        using var done = await Done(asked);
        var manifest = await Manifest(done);
        var found = new Dictionary<string, List<string>>();
        foreach (var output in manifest["output"]!.AsArray())
        {
            var lines = await Lines((string)output!["url"]!);
            Assert.Equal((int)output["count"]!, lines.Count);
            Assert.All(lines, line => Assert.Equal((string)output["type"]!, (string)JsonNode.Parse(line)!["resourceType"]!)); // 169 170
            if (!found.TryGetValue((string)output["type"]!, out var known))
                found.Add((string)output["type"]!, known = []);
            known.AddRange(lines);
        }

        return found;
    }

    private static async Task<(List<string> Lines, string Time)> ExportWithTime(RunningService ward, string address)
    {
        using var asked = await Ask(ward, address);
        using var done = await Done(ward, asked);
        var manifest = await Manifest(done);
        var lines = new List<string>();
        foreach (var output in manifest["output"]!.AsArray())
            lines.AddRange((await ward.Http.GetStringAsync((string)output!["url"]!)).Split('\n', StringSplitOptions.RemoveEmptyEntries));
        return (lines, (string)manifest["transactionTime"]!);
    }

    private async Task<List<string>> Lines(string url) =>
        [.. (await told.Ward.Http.GetStringAsync(url)).Split('\n', StringSplitOptions.RemoveEmptyEntries)];

    private static byte[] Unpacked(byte[] packed)
    {
        using var plain = new MemoryStream();
        using (var zip = new GZipStream(new MemoryStream(packed), CompressionMode.Decompress))
            zip.CopyTo(plain);
        return plain.ToArray();
    }
}
