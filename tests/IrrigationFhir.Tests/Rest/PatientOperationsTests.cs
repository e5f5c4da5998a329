using System.Text;
using Hl7.Fhir.Model;
using IrrigationFhir.Store;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Rest;

public class PatientOperationsTests(PatientOperationsTests.Ward ward) : IClassFixture<PatientOperationsTests.Ward>
{
    private const string One = "patient.identifier=https://ward.example/patients|P-1";

    private readonly FhirOverHttp _fhir = ward.Fhir;

    // P-1: drainage first 08:00, second and twin both 09:00, struck 10:00 (entered in error), hour 08:00 to 09:30 (another code),
    //      two-codes 07:00 (drainage and one more coding), and old without a date.
    [Theory]
    [InlineData("code=drainage", "second twin two-codes")]
    [InlineData("code=https://ward.example/codes|drainage&max=2", "second twin two-codes")]
    [InlineData("code=drainage&max=3", "second twin first two-codes")]
    [InlineData("code=drainage&max=99", "second twin first old two-codes")]
    [InlineData("category=exam", "hour second twin two-codes")]
    [InlineData("category=exam&code=urine", "hour")]
    [InlineData("code=drainage&date=lt2026-03-02T09:00:00Z", "first two-codes")]
    [InlineData("code=drainage&status=entered-in-error", "struck")]
    [InlineData("code=nothing", "")]
    public async Task The_latest_of_each_code_with_all_of_the_same_time_at_the_cut(string query, string expected)
    {
        var found = await _fhir.Get<Bundle>($"fhir/Observation/$lastn?{One}&{query}");

        Assert.Equal(expected, string.Join(' ', found.Entry.Select(entry => entry.Resource!.Id)));
        Assert.Equal((Bundle.BundleType.Searchset, found.Entry.Count), (found.Type!.Value, found.Total!.Value));
        Assert.StartsWith($"{_fhir.Base}/Observation/$lastn?", found.SelfLink!.ToString(), StringComparison.Ordinal);
        Assert.Contains("max=", found.SelfLink!.ToString(), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("code=drainage", "patient")]
    [InlineData(One, "code")]
    [InlineData(One + "&code:not=drainage", "code")]
    [InlineData(One + "&code=drainage&max=0", "max")]
    [InlineData("max=x", "max patient code")]
    public async Task The_latest_need_a_patient_and_a_code_or_category(string query, string wrong)
    {
        var outcome = await _fhir.Get<OperationOutcome>($"fhir/Observation/$lastn?{query}", 400);
        Assert.Equal(wrong, string.Join(' ', outcome.Issue.Select(issue => issue.Expression.Single())));
    }

    [Fact]
    public async Task What_plays_no_part_among_the_latest_is_passed_over_or_refused_as_the_client_prefers()
    {
        using var strict = new HttpRequestMessage(HttpMethod.Get, $"fhir/Observation/$lastn?{One}&code=drainage&_sort=date");
        strict.Headers.Add("Prefer", "handling=strict");
        using var refused = await _fhir.Client.SendAsync(strict);

        Assert.Equal(["_sort"], (await FhirOverHttp.Read<OperationOutcome>(refused, 400)).Issue.Single().Expression);

        foreach (
            var (address, name) in new[]
            {
                ($"Observation/$lastn?{One}&code=drainage&_sort=date", "_sort"),
                ($"Observation/$lastn?{One}&code=drainage&colour=red", "colour"),
                ("Patient/$everything?identifier=P-1&colour=red", "colour"),
            }
        )
        {
            var lenient = await _fhir.Get<Bundle>("fhir/" + address);
            Assert.DoesNotContain(name, lenient.SelfLink!.ToString(), StringComparison.Ordinal);
            var warning = Assert
                .IsType<OperationOutcome>(lenient.Entry.Single(entry => entry.Search!.Mode == Bundle.SearchEntryMode.Outcome).Resource)
                .Issue.Single();
            Assert.Equal((OperationOutcome.IssueSeverity.Warning, name), (warning.Severity!.Value, warning.Expression.Single()));
        }
    }

    [Fact]
    public async Task An_operation_takes_its_parameters_as_a_resource_or_a_form_too()
    {
        var body = new Parameters
        {
            Parameter =
            [
                new() { Name = "subject.identifier", Value = new Identifier("https://ward.example/patients", "P-1") },
                new() { Name = "code", Value = new FhirString("urine") },
                new() { Name = "max", Value = new PositiveInt(1) },
            ],
        };
        using var asResource = await _fhir.Client.PostAsync(
            "fhir/Observation/$lastn",
            new StringContent(FhirJson.Write(body), Encoding.UTF8, "application/fhir+json")
        );
        using var asForm = await _fhir.Client.PostAsync(
            "fhir/Patient/$everything?_type=Flag",
            new FormUrlEncodedContent([new("identifier", "P-1")])
        );
        using var asText = await _fhir.Client.PostAsync(
            "fhir/Patient/$everything",
            new StringContent("identifier=P-1", Encoding.UTF8, "text/plain")
        );
        using var broken = await _fhir.Client.PostAsync(
            "fhir/Patient/$everything",
            new StringContent("{\"resourceType\":\"Patient\"", Encoding.UTF8, "application/fhir+json")
        );

        Assert.Equal(["hour"], (await FhirOverHttp.Read<Bundle>(asResource, 200)).Entry.Select(entry => entry.Resource!.Id));
        Assert.Equal(["raised"], (await FhirOverHttp.Read<Bundle>(asForm, 200)).Entry.Select(entry => entry.Resource!.Id));
        await FhirOverHttp.Read<OperationOutcome>(asText, 415);
        await FhirOverHttp.Read<OperationOutcome>(broken, 400);
    }

    [Theory]
    [InlineData("identifier=https://ward.example/patients|P-1", "two-codes first hour second twin struck old run raised correction")]
    [InlineData("identifier=P-1&_type=Procedure,Flag,Medication", "run raised")]
    [InlineData("identifier=P-1&start=2026-03-02T09:10:00Z", "hour struck old run raised correction")]
    [InlineData("identifier=P-1&end=2026-03-02T07:30:00Z", "two-codes old run correction")]
    [InlineData("identifier=P-1&start=2026-03-02T09:00:00Z&end=2026-03-02T09:00:00Z&_type=Observation", "hour second twin old")]
    [InlineData("identifier=P-1&_since=2027-01-01", "")]
    [InlineData("identifier=P-2", "elsewhere")]
    public async Task Everything_of_a_patient_by_identifier(string query, string expected)
    {
        var whole = await _fhir.Get<Bundle>($"fhir/Patient/$everything?{query}");
        Assert.Equal(expected, string.Join(' ', whole.Entry.Select(entry => entry.Resource!.Id)));
        Assert.Null(whole.NextLink);

        // The same in pages of each size, each resource once and no empty page at the end.
        for (var size = 1; size <= 11; size++)
        {
            var seen = new List<string>();
            for (
                var page = await _fhir.Get<Bundle>($"fhir/Patient/$everything?{query}&_count={size}");
                ;
                page = await _fhir.Get<Bundle>(page.NextLink!.ToString())
            )
            {
                Assert.True(page.Entry.Count <= size);
                Assert.True(page.Entry.Count > 0 || expected.Length == 0);
                seen.AddRange(page.Entry.Select(entry => entry.Resource!.Id!));
                if (page.NextLink is null)
                    break;
            }

            Assert.Equal(expected, string.Join(' ', seen));
        }
    }

    [Fact]
    public async Task Everything_of_a_patient_by_the_id_that_resources_refer_to()
    {
        var found = await _fhir.Get<Bundle>("fhir/Patient/7/$everything");

        Assert.Equal(["literal"], found.Entry.Select(entry => entry.Resource!.Id));
        Assert.StartsWith($"{_fhir.Base}/Patient/7/$everything?", found.SelfLink!.ToString(), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("Patient/8/$everything", 404, "unknown-patient")]
    [InlineData("Patient/$everything?identifier=nobody", 404, "unknown-patient")]
    [InlineData("Patient/$everything", 400, "parameter-required")]
    [InlineData("Patient/$everything?identifier=a|b|c", 400, "search-value-invalid")]
    [InlineData("Patient/7/$everything?start=soon", 400, "search-value-invalid")]
    [InlineData("Patient/7/$everything?_since=2026-03-02T08:00:00+01:00", 400, "search-value-invalid")]
    [InlineData("Patient/7/$everything?_type=Medication", 400, "search-value-invalid")]
    [InlineData("Patient/7/$everything?_count=0", 400, "search-value-invalid")]
    [InlineData("Patient/7/$everything?_page=x", 400, "page-unknown")]
    [InlineData("patient/7/$everything", 404, "unknown-resource")]
    public async Task Everything_refuses(string address, int status, string code) =>
        Assert.Equal(code, (await _fhir.Get<OperationOutcome>("fhir/" + address, status)).Issue.Single().Details!.Coding.Single().Code);

    [Fact]
    public async Task A_provenance_belongs_to_the_patient_of_its_targets()
    {
        Assert.Equal(["correction"], await _fhir.Ids($"fhir/Provenance?{One}"));
        Assert.Empty(await _fhir.Ids("fhir/Provenance?patient.identifier=P-2"));
        Assert.Equal(["correction"], await _fhir.Ids("fhir/Provenance?agent:identifier=nurse-1&recorded=2026-03-02"));
    }

    [Theory]
    // R-SRCH-10: what R4 defines for a Flag, and what it lacks.
    [InlineData("status=active", "raised")]
    [InlineData("status:not=active", "")]
    [InlineData("code=https://ward.example/flags|outflow-deficit", "raised")]
    [InlineData("code:text=outflow", "raised")]
    [InlineData("category=safety", "raised")]
    [InlineData("category=clinical", "")]
    [InlineData("author:identifier=service", "raised")]
    [InlineData("date=ge2026-03-02T09:30:00Z", "raised")]
    [InlineData("encounter:identifier=E-1", "raised")]
    [InlineData("identifier=F-1", "raised")]
    [InlineData("subject.identifier=P-1", "raised")]
    public async Task A_flag_is_found_by_what_it_says(string query, string expected) =>
        Assert.Equal(expected, string.Join(' ', await _fhir.Ids("fhir/Flag?" + query)));

    public sealed class Ward : IAsyncLifetime
    {
        internal FhirOverHttp Fhir { get; private set; } = null!;

        public async Task InitializeAsync()
        {
            Fhir = await FhirOverHttp.Start();
            await Fhir.OpenEpisode("night");
            await Fhir.OpenEpisode("day", "P-2");
            var struck = Drainage("struck", "2026-03-02T10:00:00Z", null, 1);
            struck.Status = ObservationStatus.EnteredInError;
            var hour = Drainage("hour", "2026-03-02T08:00:00Z", "2026-03-02T09:30:00Z", 1);
            hour.Code = new("https://ward.example/codes", "urine");
            var old = Drainage("old", "", null, 1);
            old.Effective = null;
            var twoCodes = Drainage("two-codes", "2026-03-02T07:00:00Z", null, 1);
            twoCodes.Code.Coding.Add(new("https://ward.example/codes", "weighed"));
            var literal = Drainage("literal", "2026-03-02T08:00:00Z", null, 1);
            literal.Subject = new("Patient/7");
            var patient = new ResourceReference { Identifier = new(PatientSystem, "P-1") };
            // The Provenance comes before what it is about: both are stored in one go.
            await Fhir.Save(
                "night",
                new Provenance
                {
                    Id = "correction",
                    Recorded = DateTimeOffset.Parse("2026-03-02T11:00:00Z", null),
                    Target = [new("Observation/first")],
                    Agent = [new() { Who = new() { Identifier = new() { Value = "nurse-1" } } }],
                },
                Drainage("first", "2026-03-02T08:00:00Z", null, 1),
                Drainage("second", "2026-03-02T09:00:00Z", null, 1),
                Drainage("twin", "2026-03-02T09:00:00Z", null, 2),
                struck,
                hour,
                old,
                twoCodes,
                literal,
                new Procedure
                {
                    Id = "run",
                    Status = EventStatus.InProgress,
                    Code = new("https://ward.example/codes", "irrigation"),
                    Subject = patient,
                    Performed = new Period { Start = "2026-03-02T07:00:00Z" },
                },
                new Flag
                {
                    Id = "raised",
                    Status = Flag.FlagStatus.Active,
                    Code = new("https://ward.example/flags", "outflow-deficit", "Outflow deficit", null),
                    Category = [new("http://terminology.hl7.org/CodeSystem/flag-category", "safety")],
                    Identifier = [new("https://ward.example/flags", "F-1")],
                    Subject = patient,
                    Encounter = new() { Identifier = new() { Value = "E-1" } },
                    Author = new() { Identifier = new() { Value = "service" } },
                    Period = new() { Start = "2026-03-02T09:30:00Z" },
                }
            );
            await Fhir.Save("day", Drainage("elsewhere", "2026-03-02T08:00:00Z", null, 1, "P-2"));
        }

        public async Task DisposeAsync() => await Fhir.DisposeAsync();
    }
}
