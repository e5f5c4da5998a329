using System.Net;
using System.Text;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>Views over HTTP: read, searched, run at once and exported (SQL on FHIR 2, operations).</summary>
public class ViewOperationsTests(StoriesTold told) : IClassFixture<StoriesTold>
{
    [Fact]
    public async Task Views_are_read_and_searched_by_url_and_name()
    {
        var hours = await told.Ward.Read("/fhir/ViewDefinition/output-hours");
        Assert.Equal(("ViewDefinition", "output_hours"), ((string)hours["resourceType"]!, (string)hours["name"]!));
        Assert.Equal(told.Views.All.Count, (int)(await told.Ward.Read("/fhir/ViewDefinition"))["total"]!);
        foreach (var search in new[] { "name=output_h", $"url={Uri.EscapeDataString((string)hours["url"]!)}", "_id=output-hours" })
            Assert.Equal(
                "output_hours",
                (string)Assert.Single((await told.Ward.Read($"/fhir/ViewDefinition?{search}"))["entry"]!.AsArray())!["resource"]!["name"]!
            );
        Assert.Equal(HttpStatusCode.NotFound, (await told.Ward.Get("/fhir/ViewDefinition/nothing")).Status);
    }

    [Fact]
    public void Every_column_is_described_and_none_has_a_name_that_databases_keep_for_themselves()
    {
        // Reserved words of PostgreSQL and DuckDB that a table of ours might use.
        string[] reserved = ["end", "window", "order", "at", "interval", "values", "user", "when", "from", "to", "case", "desc", "limit"];
        foreach (var view in told.Views.All)
        {
            Assert.NotNull(view.View.Description);
            Assert.All(
                view.View.Columns,
                column => Assert.False(string.IsNullOrWhiteSpace(column.Description), $"{view.Id}.{column.Name}")
            );
            Assert.All(view.View.Columns, column => Assert.DoesNotContain(column.Name, reserved));
            Assert.Contains(view.View.Columns, column => column.Name == "resource_key");
        }
    }

    [Theory]
    [InlineData("/fhir/ViewDefinition/output-hours/$viewdefinition-run")]
    [InlineData("/fhir/ViewDefinition/output-hours/$run")]
    [InlineData("/fhir/ViewDefinition/$run?viewReference=output-hours")]
    [InlineData("/fhir/ViewDefinition/$viewdefinition-run?viewReference=ViewDefinition%2Foutput-hours")]
    [InlineData("/fhir/$viewdefinition-run?viewReference=https:%2F%2Firrigationfhir.example%2Ffhir%2FViewDefinition%2Foutput-hours")]
    public async Task Both_spellings_at_every_level_give_the_rows(string address)
    {
        var rows = await told.Ward.Read(address);
        var night = rows.AsArray()
            .Select(row => row!)
            .Single(row =>
                (string)row["episode_key"]! == $"Procedure/{told.Episodes["a-night"]}.bladder-irrigation"
                && ((string)row["started_at"]!).StartsWith("2026-03-15T01:00", StringComparison.Ordinal)
            );
        // README: the corrected output of the hour from 01:00 is 42.8 mL; published to the millilitre that its doubts warrant.
        Assert.Equal("43", night["corrected_ml"]!.ToJsonString());
        Assert.Equal("2026-03-15T01:00:00+01:00", (string)night["started_at"]!);
    }

    [Fact]
    public async Task Formats_are_chosen_by_format_before_Accept()
    {
        const string run = "/fhir/ViewDefinition/flags/$run";
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri(run, UriKind.Relative))
        {
            Headers = { { "Accept", "text/csv" } },
        };
        using var csv = await told.Ward.Http.SendAsync(request);
        Assert.Equal("text/csv", csv.Content.Headers.ContentType!.MediaType);
        var lines = (await csv.Content.ReadAsStringAsync()).Split("\r\n");
        Assert.StartsWith("resource_key,status,", lines[0], StringComparison.Ordinal);
        var bare = await told.Ward.Http.GetStringAsync(new Uri($"{run}?_format=csv&header=false", UriKind.Relative));
        Assert.Equal(lines[1..], bare.Split("\r\n"));
        var ndjson = await told.Ward.Http.GetStringAsync(new Uri($"{run}?_format=ndjson&_limit=2", UriKind.Relative));
        Assert.Equal(2, ndjson.Split('\n', StringSplitOptions.RemoveEmptyEntries).Length);

        var file = Path.Combine(Directory.CreateTempSubdirectory("run-").FullName, "flags.parquet");
        await File.WriteAllBytesAsync(file, await told.Ward.Http.GetByteArrayAsync(new Uri($"{run}?_format=parquet", UriKind.Relative)));
        Assert.Equal(
            (lines.Length - 2).ToString(System.Globalization.CultureInfo.InvariantCulture),
            Duck.Row($"select count(*)::text from '{file}'")
        );
        Assert.Equal(HttpStatusCode.NotAcceptable, (await told.Ward.Get($"{run}?_format=xml")).Status);
    }

    [Fact]
    public async Task A_view_that_is_sent_along_is_run_over_what_is_sent_along()
    {
        var reply = await told.Ward.Post(
            "/fhir/$viewdefinition-run",
            JsonNode.Parse(
                """
                {"resourceType": "Parameters", "parameter": [
                  {"name": "viewResource", "resource": {"resourceType": "ViewDefinition", "resource": "Patient", "name": "names",
                    "select": [{"column": [{"name": "id", "path": "id"}]},
                      {"forEach": "name", "column": [{"name": "family", "path": "family"}]}]}},
                  {"name": "resource", "resource": {"resourceType": "Patient", "id": "1",
                    "name": [{"family": "Mallow"}, {"family": "Tarn"}]}},
                  {"name": "resource", "resource": {"resourceType": "Patient", "id": "2"}}]}
                """
            )!
        );
        Assert.Equal("""[{"id":"1","family":"Mallow"},{"id":"1","family":"Tarn"}]""", reply.Json.ToJsonString());
    }

    [Theory]
    [InlineData("""{"name": "viewReference", "valueReference": {"reference": "ViewDefinition/none"}}""", 404, "parameter[0]")]
    [InlineData(
        """{"name": "viewResource", "resource": {"resource": "Patient", "select": [{"column": [{"name": "a", "path": "nmae..x"}]}]}}""",
        422,
        "parameter[0].resource.select[0].column[0].path"
    )]
    [InlineData("""{"name": "viewReference", "valueString": "flags"}, {"name": "source", "valueUri": "s3://x"}""", 400, "parameter[1]")]
    [InlineData(
        """{"name": "viewReference", "valueString": "flags"}, {"name": "viewReference", "valueString": "flags"}""",
        400,
        "parameter[1]"
    )]
    [InlineData("""{"name": "viewReference", "valueString": "flags"}, {"name": "_limit", "valueInteger": 0}""", 400, "parameter[1]")]
    public async Task What_is_wrong_is_said_with_its_place(string parameters, int status, string where)
    {
        var reply = await told.Ward.Post(
            "/fhir/$viewdefinition-run",
            JsonNode.Parse($$"""{"resourceType": "Parameters", "parameter": [{{parameters}}]}""")!
        );
        Assert.Equal(status, (int)reply.Status);
        Assert.Contains(reply.Json["issue"]!.AsArray(), issue => (string?)issue!["expression"]?[0] == where);
    }

    [Fact]
    public async Task Data_that_does_not_suit_a_view_is_422_and_no_half_answer()
    {
        var reply = await told.Ward.Post(
            "/fhir/$viewdefinition-run",
            JsonNode.Parse(
                """
                {"resourceType": "Parameters", "parameter": [{"name": "viewResource", "resource": {"resource": "Observation",
                  "select": [{"column": [{"name": "codes", "path": "code.coding.code"}]}]}}]}
                """
            )!
        );
        Assert.Equal(HttpStatusCode.UnprocessableEntity, reply.Status);
        Assert.Contains("several values in the column 'codes'", reply.Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task An_export_of_views_ends_in_303_and_a_result_that_names_its_files()
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, new Uri("/fhir/$viewdefinition-export", UriKind.Relative))
        {
            Headers = { { "Prefer", "respond-async" } },
            Content = new StringContent(
                """
                {"resourceType": "Parameters", "parameter": [
                  {"name": "view", "part": [{"name": "name", "valueString": "mine"},
                    {"name": "viewReference", "valueReference": {"reference": "ViewDefinition/flags"}}]},
                  {"name": "view", "part": [{"name": "viewReference", "valueReference": {"reference": "ViewDefinition/output-days"}}]},
                  {"name": "_format", "valueCode": "parquet"}, {"name": "clientTrackingId", "valueString": "nightly"}]}
                """,
                Encoding.UTF8,
                "application/fhir+json"
            ),
        };
        using var asked = await told.Ward.Http.SendAsync(request);
        Assert.True(asked.StatusCode == HttpStatusCode.Accepted, await asked.Content.ReadAsStringAsync());
        using var patient = new HttpClient(new HttpClientHandler { AllowAutoRedirect = false });
        Uri? result = null;
        for (var i = 0; i < 300 && result is null; i++)
        {
            using var status = await patient.GetAsync(asked.Content.Headers.ContentLocation);
            if (status.StatusCode == HttpStatusCode.SeeOther)
                result = status.Headers.Location;
            else
                await Task.Delay(100);
        }

        var parameters = JsonNode.Parse(await patient.GetStringAsync(result))!["parameter"]!.AsArray();
        Assert.Equal("nightly", (string)parameters.Single(p => (string)p!["name"]! == "clientTrackingId")!["valueString"]!);
        var outputs = parameters.Where(p => (string)p!["name"]! == "output").Select(p => p!["part"]!).ToList();
        Assert.Equal(["mine", "output_days"], outputs.Select(part => (string)part[0]!["valueString"]!));
        foreach (var part in outputs)
        {
            var file = Path.Combine(Directory.CreateTempSubdirectory("run-").FullName, "t.parquet");
            await File.WriteAllBytesAsync(file, await patient.GetByteArrayAsync((string)part[1]!["valueUri"]!));
            Assert.NotEqual("0", Duck.Row($"select count(*)::text from '{file}'"));
        }
    }
}
