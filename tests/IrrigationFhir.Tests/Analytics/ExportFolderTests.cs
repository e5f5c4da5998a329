using System.Text.Json.Nodes;
using IrrigationFhir.Analytics;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>What the command <c>export</c> leaves in a folder, as DuckDB reads it.</summary>
public class ExportFolderTests(StoriesTold told) : IClassFixture<StoriesTold>
{
    [Fact]
    public async Task A_day_that_is_not_covered_has_no_number_but_that_of_its_part()
    {
        var (folder, _) = await told.Export("parquet");
        // Of Sunday the 7 h from midnight to 07:00 are covered, and made 317 mL (fhir-examples, day.json).
        Assert.Equal(
            "corrected|false|7.000000|∅|317.000000|not-performed|2026-03-15T00:00:00+01:00|2026-03-14 23:00:00+00",
            Duck.Row(
                $"""
                select status, is_whole::text, covered_h::text, corrected_ml::text, partial_ml::text, absent_reason, started_at_local,
                  started_at::text
                from '{folder}/output_days-*.parquet'
                where episode_key = 'Procedure/{told.Episodes["a-night"]}.bladder-irrigation' and started_at_local like '2026-03-15%'
                """
            )
        );
    }

    [Fact]
    public async Task Types_are_those_that_the_columns_are_said_to_have()
    {
        var (folder, _) = await told.Export("parquet");
        var types = Duck.Rows($"select column_name, column_type from (describe select * from '{folder}/corrected_output-*.parquet')");
        Assert.Contains("corrected_ml|DECIMAL(18,6)", types);
        Assert.Contains("started_at|TIMESTAMP WITH TIME ZONE", types);
        Assert.Contains("is_whole|BOOLEAN", types);
        Assert.Contains("status|VARCHAR", types);
        Assert.Equal(
            "caveat_index|BIGINT",
            Duck.Row(
                $"""
                select column_name, column_type from (describe select * from '{folder}/output_caveats-*.parquet')
                where column_name like '%index'
                """
            )
        );
    }

    [Fact]
    public async Task Parquet_csv_and_ndjson_hold_the_same_sums_to_the_last_digit()
    {
        var (parquet, _) = await told.Export("parquet");
        var (csv, _) = await told.Export("csv");
        var (ndjson, _) = await told.Export("ndjson");
        var checkedSums = 0;
        foreach (var view in told.Views.All)
        {
            var columns = TableColumn.Of(view.View);
            string Sums(string from, bool asText) =>
                Duck.Row(
                    "select count(*)::text, "
                        + string.Join(
                            ", ",
                            columns.Select(column =>
                                column.Shape switch
                                {
                                    ColumnShape.Decimal => $"sum({column.Name}{(asText ? "::decimal(18,6)" : "")})::text",
                                    ColumnShape.Moment => $"max({column.Name}{(asText ? "::timestamptz" : "")})::text",
                                    ColumnShape.Boolean => $"count(*) filter (where {column.Name}{(asText ? "::boolean" : "")})::text",
                                    _ => Digest(column.Name, columns[0].Name),
                                }
                            )
                        )
                        + $" from {from}"
                );
            var types = string.Join(", ", columns.Select(column => $"'{column.Name}': 'varchar'"));
            var expected = Sums($"'{parquet}/{view.View.Name}-*.parquet'", asText: false);
            Assert.Equal(
                (view.View.Name, expected),
                (
                    view.View.Name,
                    Sums(
                        $"read_csv('{csv}/{view.View.Name}-*.csv', header = true, auto_detect = false, columns = {{{types}}})",
                        asText: true
                    )
                )
            );
            Assert.Equal(
                (view.View.Name, expected),
                (
                    view.View.Name,
                    Sums(
                        $"read_json('{ndjson}/{view.View.Name}-*.ndjson', format = 'newline_delimited', columns = {{{types}}})",
                        asText: true
                    )
                )
            );
            checkedSums += expected.StartsWith("0|", StringComparison.Ordinal) ? 0 : 1;
        }

        // Only where the stories make rows is anything compared: of every view they make some.
        Assert.Equal(told.Views.All.Count, checkedSums);
    }

    [Fact]
    public async Task Every_foreign_key_leads_to_a_row()
    {
        var (folder, _) = await told.Export("parquet");
        var package = JsonNode.Parse(await File.ReadAllTextAsync(Path.Combine(folder, DataPackage.FileName)))!;
        var looked = 0;
        foreach (var table in package["resources"]!.AsArray())
        {
            foreach (var key in table!["schema"]!["foreignKeys"]?.AsArray() ?? [])
            {
                var (field, other) = ((string)key!["fields"]!, (string)key["reference"]!["resource"]!);
                Assert.Equal(
                    (table["name"]!.ToString(), other, "0"),
                    (
                        table["name"]!.ToString(),
                        other,
                        Duck.Row(
                            $"""
                            select count(*)::text from '{folder}/{table["name"]}-*.parquet' t
                            where {field} is not null
                              and not exists (select 1 from '{folder}/{other}-*.parquet' o where o.resource_key = t.{field})
                            """
                        )
                    )
                );
                looked++;
            }

            var primary = string.Join(", ", table["schema"]!["primaryKey"]!.AsArray());
            Assert.Empty(
                Duck.Rows(
                    $"select {primary.Split(',')[0]} from '{folder}/{table["name"]}-*.parquet' group by {primary} having count(*) > 1"
                )
            );
        }

        Assert.True(looked > 10, $"{looked} foreign keys");
    }

    [Fact]
    public async Task What_is_interrupted_goes_on_to_the_same_files_and_shows_nothing_half()
    {
        var (whole, expected) = await told.Export("csv");
        var folder = Directory.CreateTempSubdirectory("export-").FullName;
        var order = new ExportOrder("csv", null, CsvSafe: false);
        var interruptions = 0;
        ExportManifest? manifest = null;
        // Parts of a row or so, and an interruption in each: the most that can be cut apart.
        for (var i = 0; manifest is null && i < 500; i++)
        {
            using var stop = new CancellationTokenSource();
            var reports = 0;
            var export = new ExportFolder(told.Scan, told.Views, folder) { PartBounds = (1, 1) };
            try
            {
                manifest = await export.Run(
                    order,
                    new Reporter(() =>
                    {
                        if (++reports == 2)
                            stop.Cancel();
                    }),
                    stop.Token
                );
            }
            catch (OperationCanceledException)
            {
                interruptions++;
                Assert.False(File.Exists(Path.Combine(folder, ExportFolder.ManifestName)));
                foreach (var file in Directory.GetFiles(folder, "*.csv"))
                    Assert.EndsWith("\r\n", await File.ReadAllTextAsync(file), StringComparison.Ordinal);
            }
        }

        Assert.True(interruptions > 0);
        Assert.Equal(expected.TransactionTime, manifest!.TransactionTime);
        Assert.Empty(Directory.GetFiles(folder, "*.unfinished"));
        foreach (var view in told.Views.All)
            Assert.Equal(Lines(whole, view.View.Name), Lines(folder, view.View.Name));
    }

    [Fact]
    public async Task What_changes_while_it_is_exported_is_in_the_next_one_and_not_in_this()
    {
        var scan = told.Scan;
        var before = await scan.Fence(CancellationToken.None);
        var first = await Ids(new ScanRequest("Observation", before));
        var night = told.Episodes["a-night"];
        await told.Ward.Record(
            night,
            JsonNode.Parse(
                """
                {"source": "ward-7", "id": "after-the-fence", "kind": "bladder-scanned", "at": "2026-03-15T06:30:00+01:00",
                 "volume": {"value": 40, "unit": "mL"}, "how": "scan"}
                """
            )!
        );

        Assert.Equal(first, await Ids(new ScanRequest("Observation", before)));
        var after = await scan.Fence(CancellationToken.None);
        Assert.True(after > before);
        var changed = await Ids(new("Observation", after, Since: before));
        Assert.NotEmpty(changed);
        // The older state with what changed put over it is the newer state: nothing is lost and nothing is there twice.
        Assert.Equal(
            (await Ids(new("Observation", after))).Order(StringComparer.Ordinal),
            first.Where(id => !changed.Any(other => Bare(other) == Bare(id))).Concat(changed).Order(StringComparer.Ordinal)
        );

        async Task<List<string>> Ids(ScanRequest request)
        {
            var ids = new List<string>();
            await foreach (var page in scan.Read(request, CancellationToken.None))
                ids.AddRange(page.Resources.Select(resource => $"{resource.Id} {resource.VersionId}"));
            return ids;
        }

        static string Bare(string id) => id.Split(' ')[0];
    }

    [Fact]
    public async Task A_value_that_suits_no_column_is_left_out_by_name_and_keeps_nothing_else_in()
    {
        var folder = Directory.CreateTempSubdirectory("export-").FullName;
        var view = told.Views.Find("drainage_readings")!.View;
        var left = new List<LeftOut>();
        ExportedFile file;
        await using (var output = new ExportOutput(folder, view, "Observation", 1, new("parquet", null, false), ".unfinished", left.Add))
        {
            foreach (var (id, volume) in new[] { ("1", "50"), ("2", "40.12345678"), ("3", "60.5") })
                output.Take(new("Observation", id, 1, NodaTime.Instant.MinValue, Drainage(id, volume)));
            await output.Finish(CancellationToken.None);
            file = output.Appear();
        }

        Assert.Equal(("Observation/2", 1, 2), (Assert.Single(left).Resource, file.LeftOut, file.Rows));
        Assert.Contains("40.12345678", left[0].Why, StringComparison.Ordinal);
        Assert.Equal(["50.000000", "60.500000"], Duck.Rows($"select drained_ml::text from '{folder}/drainage_readings-*.parquet'"));

        byte[] Drainage(string id, string volume) =>
            System.Text.Encoding.UTF8.GetBytes(
                $$"""
                {"resourceType": "Observation", "id": "{{id}}", "status": "final", "valueQuantity": {"value": {{volume}}},
                 "code": {"coding": [{"system": "{{Profiles.DefaultCanonicalBase}}/CodeSystem/irrigation-observation",
                  "code": "bladder-drainage-total"}]} }
                """
            );
    }

    [Theory]
    [InlineData("fhir")]
    [InlineData("ndjson")]
    [InlineData("csv")]
    [InlineData("parquet")]
    public async Task Exported_again_every_file_has_the_same_bytes(string format)
    {
        var (_, first) = await told.Export(format);
        var (_, again) = await told.Export(format);
        Assert.Equal(first.TransactionTime, again.TransactionTime);
        Assert.Equal(first.Files, again.Files); // their fingerprints among them
    }

    [Fact]
    public async Task A_folder_in_which_a_process_died_over_the_very_first_file_is_as_good_as_empty()
    {
        var folder = Directory.CreateTempSubdirectory("export-").FullName;
        await File.WriteAllTextAsync(Path.Combine(folder, $"{ExportFolder.StateName}.unfinished"), "{\"order\": {");
        await new ExportFolder(told.Scan, told.Views, folder).Run(new("csv", null, false), null, CancellationToken.None);
        Assert.Empty(Directory.GetFiles(folder, "*.unfinished"));
    }

    [Fact]
    public async Task A_folder_that_holds_something_is_left_alone()
    {
        var folder = Directory.CreateTempSubdirectory("export-").FullName;
        await File.WriteAllTextAsync(Path.Combine(folder, "mine.txt"), "mine");
        var export = new ExportFolder(told.Scan, told.Views, folder);
        await Assert.ThrowsAsync<ExportRefusal>(() => export.Run(new("csv", null, false), null, CancellationToken.None));
        Assert.Single(Directory.GetFileSystemEntries(folder));

        var (done, _) = await told.Export("csv");
        await Assert.ThrowsAsync<ExportRefusal>(() =>
            new ExportFolder(told.Scan, told.Views, done).Run(new("csv", null, false), null, CancellationToken.None)
        );
    }

    [Fact]
    public async Task As_FHIR_every_resource_is_the_one_that_the_service_answers()
    {
        var (folder, manifest) = await told.Export("fhir");
        Assert.Equal(["Flag", "Observation", "Procedure", "Provenance"], manifest.Files.Select(file => file.Table).Order());
        foreach (var file in manifest.Files)
        {
            var lines = await File.ReadAllLinesAsync(Path.Combine(folder, file.File));
            Assert.Equal(file.Rows, lines.Length);
            foreach (var line in lines.Take(20))
            {
                var resource = JsonNode.Parse(line)!;
                var answered = await told.Ward.Get($"/fhir/{file.Table}/{resource["id"]}/_history/{resource["meta"]!["versionId"]}");
                Assert.Equal(line, answered.Text);
            }
        }
    }

    private static string Digest(string column, string key) =>
        $"md5(string_agg(coalesce({column}::text, '∅'), '|' order by {key}, {column}))";

    private static string Lines(string folder, string table) =>
        string.Join(
            '\n',
            Directory.GetFiles(folder, $"{table}-*.csv").Order(StringComparer.Ordinal).SelectMany(file => File.ReadAllLines(file).Skip(1))
        );

    private sealed class Reporter(Action report) : IProgress<ExportProgress>
    {
        public void Report(ExportProgress value) => report();
    }
}
