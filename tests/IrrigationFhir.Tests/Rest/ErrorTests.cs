using System.Net.Http.Headers;
using System.Text;
using Hl7.Fhir.Model;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using Microsoft.Extensions.Configuration;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Rest;

public class ErrorTests
{
    [Theory]
    [InlineData("GET", "nowhere", 404, "unknown-address")]
    [InlineData("GET", "fhir", 404, "unknown-address")]
    [InlineData("GET", "fhir/Medication/1", 404, "unknown-address")]
    [InlineData("GET", "fhir/Observation/none", 404, "unknown-resource")]
    [InlineData("GET", "fhir/observation/none", 404, "unknown-resource")]
    [InlineData("GET", "fhir/Observation/none/_history", 404, "unknown-resource")]
    [InlineData("GET", "fhir/Observation/none/_history/1", 404, "unknown-resource")]
    [InlineData("DELETE", "fhir/Observation/1", 405, "method-not-allowed")]
    [InlineData("POST", "fhir/metadata", 405, "method-not-allowed")]
    [InlineData("GET", "fhir/Observation?date=tomorrow", 400, "search-value-invalid")]
    [InlineData("GET", "broken", 500, "internal-error")]
    public async Task Every_error_is_an_OperationOutcome_R_HTTP_01(string method, string address, int status, string code)
    {
        await using var fhir = await FhirOverHttp.Start();

        using var reply = await fhir.Client.SendAsync(new(new HttpMethod(method), address));

        var issue = (await FhirOverHttp.Read<OperationOutcome>(reply, status)).Issue.Single();
        Assert.Equal(
            (Ours.Profiles.CodeSystem(ProblemCodes.Slug), code),
            (issue.Details!.Coding.Single().System, issue.Details!.Coding.Single().Code)
        );
        Assert.Equal(OperationOutcome.IssueSeverity.Error, issue.Severity);
        Assert.False(string.IsNullOrWhiteSpace(issue.Diagnostics));
    }

    [Fact]
    public async Task A_wrong_method_is_told_the_right_ones()
    {
        await using var fhir = await FhirOverHttp.Start();

        using var reply = await fhir.Client.PutAsync("fhir/Observation/1", new StringContent("{}"));

        Assert.Contains(
            "GET",
            (await FhirOverHttp.Read<OperationOutcome>(reply, 405)).Issue.Single().Diagnostics!,
            StringComparison.Ordinal
        );
        Assert.Equal(["GET", "HEAD"], reply.Content.Headers.Allow.Order());
    }

    [Theory]
    [InlineData("application/fhir+json")]
    [InlineData("multipart/form-data; boundary=x")]
    public async Task A_search_by_post_must_be_an_encoded_form(string type)
    {
        await using var fhir = await FhirOverHttp.Start();

        using var body = new ByteArrayContent("{}"u8.ToArray());
        body.Headers.ContentType = MediaTypeHeaderValue.Parse(type);
        using var reply = await fhir.Client.PostAsync("fhir/Observation/_search", body);

        Assert.Contains(
            "application/x-www-form-urlencoded",
            (await FhirOverHttp.Read<OperationOutcome>(reply, 415)).Issue.Single().Diagnostics!,
            StringComparison.Ordinal
        );
    }

    [Theory]
    [InlineData("{\"number\":", 400, "bad-request")]
    [InlineData("{\"number\":\"many\"}", 400, "bad-request")]
    public async Task A_body_that_cannot_be_bound_is_an_OperationOutcome_too(string body, int status, string code)
    {
        await using var fhir = await FhirOverHttp.Start();

        using var reply = await fhir.Client.PostAsync("number", new StringContent(body, Encoding.UTF8, "application/json"));

        Assert.Equal(code, (await FhirOverHttp.Read<OperationOutcome>(reply, status)).Issue.Single().Details!.Coding.Single().Code);
    }

    [Fact]
    public async Task Json_nested_deeper_than_64_is_refused()
    {
        await using var fhir = await FhirOverHttp.Start();
        var deep = string.Concat(Enumerable.Repeat("{\"x\":", 65)) + "1" + new string('}', 65);

        using var reply = await fhir.Client.PostAsync("number", new StringContent(deep, Encoding.UTF8, "application/json"));

        await FhirOverHttp.Read<OperationOutcome>(reply, 400);
    }

    [Fact]
    public async Task A_wrong_content_type_of_a_bound_body_is_415()
    {
        await using var fhir = await FhirOverHttp.Start();

        using var reply = await fhir.Client.PostAsync("number", new StringContent("1", Encoding.UTF8, "text/plain"));

        Assert.Equal(
            "unsupported-media-type",
            (await FhirOverHttp.Read<OperationOutcome>(reply, 415)).Issue.Single().Details!.Coding.Single().Code
        );
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public async Task A_body_over_the_limit_is_told_the_limit(bool chunked)
    {
        await using var fhir = await FhirOverHttp.Start(null, ("Fhir:MaxBodyBytes", "2048"));
        using var request = new HttpRequestMessage(HttpMethod.Post, "echo") { Content = new ByteArrayContent(new byte[2049]) };
        request.Headers.TransferEncodingChunked = chunked;
        // A body over the limit is not read, so the server closes the connection behind its answer: the next request must not wait on it.
        request.Headers.ConnectionClose = true;

        using var reply = await fhir.Client.SendAsync(request);

        Assert.Contains(
            "2048 bytes",
            (await FhirOverHttp.Read<OperationOutcome>(reply, 413)).Issue.Single().Diagnostics!,
            StringComparison.Ordinal
        );
        using var within = await fhir.Client.PostAsync("echo", new ByteArrayContent(new byte[2048]));
        Assert.Equal(200, (int)within.StatusCode);
    }

    [Fact]
    public async Task An_exceptions_text_reaches_neither_client_nor_log_but_its_id_reaches_both()
    {
        await using var fhir = await FhirOverHttp.Start();

        var outcome = await fhir.Get<OperationOutcome>("broken", 500);

        var id = System.Text.RegularExpressions.Regex.Match(outcome.Issue.Single().Diagnostics!, "[0-9a-f]{32}").Value;
        Assert.DoesNotContain("planted-secret", outcome.Issue.Single().Diagnostics!, StringComparison.Ordinal);
        Assert.Contains(
            fhir.Log,
            line => line.Contains(id, StringComparison.Ordinal) && line.Contains("InvalidOperationException", StringComparison.Ordinal)
        );
        Assert.DoesNotContain(fhir.Log, line => line.Contains("planted-secret", StringComparison.Ordinal));
    }

    [Fact]
    public async Task Searched_identifiers_do_not_reach_the_log_R_SEC_06()
    {
        await using var fhir = await FhirOverHttp.Start();

        await fhir.Get<Bundle>("fhir/Observation?patient.identifier=https://ward.example/patients|planted-patient");
        using var post = await fhir.Client.PostAsync(
            "fhir/Observation/_search",
            new FormUrlEncodedContent([new("patient.identifier", "planted-patient")])
        );

        Assert.NotEmpty(fhir.Log);
        Assert.DoesNotContain(fhir.Log, line => line.Contains("planted-patient", StringComparison.Ordinal)); // it takes in Debug too
    }

    [Fact]
    public async Task A_failure_in_the_middle_of_an_answer_breaks_it_off_and_its_text_is_not_logged()
    {
        await using var fhir = await FhirOverHttp.Start();

        await Assert.ThrowsAnyAsync<HttpRequestException>(() => fhir.Client.GetStringAsync(new Uri("broken-off", UriKind.Relative)));

        Assert.Contains(fhir.Log, line => line.Contains("InvalidOperationException", StringComparison.Ordinal));
        Assert.DoesNotContain(fhir.Log, line => line.Contains("planted-secret", StringComparison.Ordinal));
    }

    [Fact]
    public void All_faults_of_the_settings_are_told_together()
    {
        var configuration = new ConfigurationBuilder()
            .AddInMemoryCollection([
                new("Fhir:BaseUrl", "ward"),
                new("Fhir:DefaultCount", "0"),
                new("Fhir:MaxCount", "20000"),
                new("Fhir:MaxBodyBytes", "1"),
            ])
            .Build();

        var refused = Assert.Throws<SettingsFault>(() => FhirSettings.Read(configuration));

        Assert.Equal(
            """
            Fhir:BaseUrl: 'ward'; an absolute http or https address is expected
            Fhir:MaxCount: 20000; 1 to 10000 is expected
            Fhir:DefaultCount: 0; 1 to Fhir:MaxCount (20000) is expected
            Fhir:MaxBodyBytes: 1; 1024 to 1073741824 is expected
            """,
            refused.Message
        );
    }
}
