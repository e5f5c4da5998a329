using Hl7.Fhir.Model;
using IrrigationFhir.Tests.Rest;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Search;

public class SearchTests(SearchTests.Ward ward) : IClassFixture<SearchTests.Ward>
{
    private readonly FhirOverHttp _fhir = ward.Fhir;

    [Theory]
    // The patient: as a chain, by modifier, and as a literal reference in each of its spellings (R-SRCH-07).
    [InlineData("patient.identifier=https://ward.example/patients|P-1", "a b")]
    [InlineData("patient.identifier=P-1", "a b")]
    [InlineData("patient:identifier=https://ward.example/patients|P-2", "c")]
    [InlineData("subject:Patient.identifier=P-2", "c")]
    [InlineData("subject.identifier=https://ward.example/patients|", "a b c")]
    [InlineData("patient.identifier=|P-1", "")]
    [InlineData("patient.identifier=https://another.example|P-1", "")]
    [InlineData("patient=7", "literal")]
    [InlineData("patient=Patient/7", "literal")]
    [InlineData("subject=7", "literal")]
    [InlineData("subject:Patient=7", "literal")]
    [InlineData("subject=BASE/Patient/7", "literal")]
    [InlineData("subject=https://another.example/fhir/Patient/7", "")]
    [InlineData("subject=Group/7", "")]
    // Tokens (R-SRCH-05).
    [InlineData("code=https://ward.example/codes|drainage", "a b c")]
    [InlineData("code=drainage", "a b c")]
    [InlineData("code=https://ward.example/codes|", "a b c literal")]
    [InlineData("code=|drainage", "")]
    [InlineData("code=urine,drainage", "a b c literal")]
    [InlineData("code=urine&code=drainage", "")]
    [InlineData("code:not=drainage", "literal")]
    [InlineData("category=exam&code=urine", "literal")]
    [InlineData("category=http://terminology.hl7.org/CodeSystem/observation-category|vital-signs", "")]
    [InlineData("status=final", "a c literal")]
    [InlineData("status=preliminary,amended", "b")]
    [InlineData("status=http://hl7.org/fhir/observation-status|preliminary", "b")]
    [InlineData("status=http://hl7.org/fhir/event-status|preliminary", "")]
    [InlineData("status:not=final", "b")]
    [InlineData("identifier=https://ward.example/observations|O-a", "a")]
    [InlineData("identifier=odd\\,one\\|here", "literal")]
    // References between resources.
    [InlineData("derived-from=Observation/a", "b")]
    [InlineData("derived-from=a", "b")]
    [InlineData("derived-from:Observation=a,c", "b")]
    [InlineData("derived-from:identifier=https://ward.example/observations|O-c", "literal")]
    [InlineData("derived-from:missing=false", "b literal")]
    [InlineData("derived-from:missing=true", "a c")]
    // Every type has these.
    [InlineData("_id=a,c", "a c")]
    [InlineData("_lastUpdated=ge2026-03-02T12:00:00Z", "a b c literal")]
    [InlineData("_lastUpdated=lt2026-03-02", "")]
    [InlineData("data-absent-reason=not-performed", "literal")]
    // A quote in a value is a value.
    [InlineData("code=drainage'%20or%201%3D1--", "")]
    public async Task A_search_finds(string query, string expected)
    {
        Assert.Equal(
            expected,
            string.Join(' ', await _fhir.Ids("fhir/Observation?" + query.Replace("BASE", _fhir.Base, StringComparison.Ordinal)))
        );
    }

    [Fact]
    public async Task The_same_search_by_form_finds_the_same_and_adds_to_the_address_R_HTTP_13()
    {
        using var reply = await _fhir.Client.PostAsync(
            "fhir/Observation/_search?status=final",
            new FormUrlEncodedContent([new("patient.identifier", "https://ward.example/patients|P-1"), new("_total", "accurate")])
        );

        var found = await FhirOverHttp.Read<Bundle>(reply, 200);
        Assert.Equal(["a"], found.Entry.Select(entry => entry.Resource!.Id!));
        Assert.Equal(1, found.Total);
        Assert.StartsWith(
            $"{_fhir.Base}/Observation?status=final&patient.identifier=",
            found.SelfLink!.ToString(),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public async Task The_bundle_says_what_was_searched_and_where_each_match_lives_R_SRCH_01()
    {
        var found = await _fhir.Get<Bundle>("fhir/Observation?status=preliminary");

        Assert.Equal(Bundle.BundleType.Searchset, found.Type);
        Assert.Null(found.Total);
        Assert.Equal($"{_fhir.Base}/Observation?status=preliminary&_count=100", found.SelfLink!.ToString());
        var entry = found.Entry.Single();
        Assert.Equal(($"{_fhir.Base}/Observation/b", Bundle.SearchEntryMode.Match), (entry.FullUrl, entry.Search!.Mode!.Value));
    }

    [Theory]
    [InlineData("colour=blue")]
    [InlineData("code=")]
    [InlineData("_sort=colour")]
    [InlineData("_sort=code-value-quantity")]
    [InlineData("_sort=status,,date")]
    [InlineData("_include=Observation:colour")]
    [InlineData("_include=Provenance:target")]
    [InlineData("_revinclude=*")]
    [InlineData("_source=https://ward.example/gateway")]
    [InlineData("_has:Provenance:target:agent=Practitioner/1")]
    [InlineData("_filter=status eq final")]
    [InlineData("_text=clot")]
    [InlineData("_list=7")]
    public async Task What_is_not_understood_is_passed_over_or_refused_as_the_client_prefers_R_HTTP_07(string query)
    {
        using var strict = new HttpRequestMessage(HttpMethod.Get, $"fhir/Observation?status=final&{query}");
        strict.Headers.Add("Prefer", "return=minimal; handling=strict");

        using var refused = await _fhir.Client.SendAsync(strict);
        var lenient = await _fhir.Get<Bundle>($"fhir/Observation?status=final&{query}");

        var issue = (await FhirOverHttp.Read<OperationOutcome>(refused, 400)).Issue.Single();
        Assert.Equal([query.Split('=')[0]], issue.Expression);
        Assert.Equal($"{_fhir.Base}/Observation?status=final&_count=100", lenient.SelfLink!.ToString());
        Assert.Equal(3, lenient.Entry.Count(entry => entry.Search!.Mode == Bundle.SearchEntryMode.Match));

        // Passed over, more is found than was meant: the reply says so.
        var warning = Assert
            .IsType<OperationOutcome>(lenient.Entry.Single(entry => entry.Search!.Mode == Bundle.SearchEntryMode.Outcome).Resource)
            .Issue.Single();
        Assert.Equal((OperationOutcome.IssueSeverity.Warning, query.Split('=')[0]), (warning.Severity!.Value, warning.Expression.Single()));
        Assert.Equal(issue.Details!.Coding.Single().Code, warning.Details!.Coding.Single().Code);
    }

    [Fact]
    public async Task What_was_understood_needs_no_outcome()
    {
        var found = await _fhir.Get<Bundle>("fhir/Observation?status=final&_format=json&_pretty=true");
        Assert.All(found.Entry, entry => Assert.Equal(Bundle.SearchEntryMode.Match, entry.Search!.Mode));
    }

    // R4, search, "Modifiers": a server rejects a search with a modifier that it does not support for that parameter.
    [Theory]
    [InlineData("identifier:of-type=https://ward.example/types|chart|1")]
    [InlineData("code:in=http://ward.example/ValueSet/volumes")]
    [InlineData("code:not-in=http://ward.example/ValueSet/volumes")]
    [InlineData("code:below=https://ward.example/codes|drainage")]
    [InlineData("code:above=https://ward.example/codes|drainage")]
    [InlineData("_profile:below=https://ward.example/profile")]
    [InlineData("status:text=fin")]
    [InlineData("date:exact=2026")]
    public async Task A_modifier_that_is_not_supported_is_refused_by_name_however_lenient_the_client_R_SRCH_05(string query)
    {
        foreach (var handling in new[] { "strict", "lenient" })
        {
            using var request = new HttpRequestMessage(HttpMethod.Get, $"fhir/Observation?status=final&{query}");
            request.Headers.Add("Prefer", "handling=" + handling);
            using var refused = await _fhir.Client.SendAsync(request);

            var issue = (await FhirOverHttp.Read<OperationOutcome>(refused, 400)).Issue.Single();
            Assert.Equal(
                ("search-modifier-unsupported", query.Split('=')[0]),
                (issue.Details!.Coding.Single().Code, issue.Expression.Single())
            );
            Assert.Contains(
                query[query.IndexOf(':', StringComparison.Ordinal)..query.IndexOf('=', StringComparison.Ordinal)],
                issue.Diagnostics!,
                StringComparison.Ordinal
            );
        }
    }

    [Fact]
    public async Task The_time_of_storing_is_that_of_the_current_version_only_R_SRCH_11()
    {
        await using var fhir = await FhirOverHttp.Start();
        await fhir.OpenEpisode("night");
        await fhir.Save("night", Drainage("d", "2026-03-02T08:00:00Z", null, 1));
        Assert.Equal(["d"], await fhir.Ids("fhir/Observation?_lastUpdated=lt2026-03-02T12:30:00Z"));

        fhir.Clock.Advance(TimeSpan.FromHours(1));
        await fhir.Save("night", Drainage("d", "2026-03-02T08:00:00Z", null, 2));

        Assert.Empty(await fhir.Ids("fhir/Observation?_lastUpdated=lt2026-03-02T12:30:00Z"));
        Assert.Equal(["d"], await fhir.Ids("fhir/Observation?_lastUpdated=ge2026-03-02T12:30:00Z"));
    }

    // R4, search, "Escaping Search Parameters": $ , and | with a backslash before them, and the backslash too.
    [Fact]
    public async Task What_separates_values_is_found_when_it_is_escaped_R_SRCH_05()
    {
        await using var fhir = await FhirOverHttp.Start();
        await fhir.OpenEpisode("night");
        var odd = Drainage("odd", "2026-03-02T08:00:00Z", null, 5);
        odd.Code = new("https://ward.example/codes", @"a$b,c|d\e");
        await fhir.Save("night", odd, Drainage("plain", "2026-03-02T08:00:00Z", null, 5));

        var escaped = Uri.EscapeDataString(@"https://ward.example/codes|a\$b\,c\|d\\e");
        Assert.Equal(["odd"], await fhir.Ids($"fhir/Observation?code={escaped}"));
        Assert.Equal(["odd"], await fhir.Ids($"fhir/Observation?code-value-quantity={escaped}{Uri.EscapeDataString("$5||mL")}"));
        Assert.Empty(await fhir.Ids($"fhir/Observation?code={Uri.EscapeDataString(@"a$b,c")}"));
    }

    [Theory]
    [InlineData("code:in=x", "search-modifier-unsupported")]
    [InlineData("patient.name=x", "search-modifier-unsupported")]
    [InlineData("date:not=2026", "search-modifier-unsupported")]
    [InlineData("subject:Observation=x", "search-modifier-unsupported")]
    [InlineData("code:missing=perhaps", "search-value-invalid")]
    [InlineData("code=a|b|c", "search-value-invalid")]
    [InlineData("code=|", "search-value-invalid")]
    [InlineData("date=xx2026", "search-value-invalid")]
    [InlineData("date=2026-02-30", "search-value-invalid")]
    [InlineData("date=2026-03-02T08:00:00+01:00", "search-value-invalid")]
    [InlineData("_count=-1", "search-value-invalid")]
    [InlineData("_total=roughly", "search-value-invalid")]
    [InlineData("_summary=short", "search-value-invalid")]
    [InlineData("_summary=true&_elements=status", "search-value-invalid")]
    [InlineData("value-quantity=much", "search-value-invalid")]
    [InlineData("value-quantity=1|mL", "search-value-invalid")]
    [InlineData("value-quantity=1|http://unitsofmeasure.org|", "search-value-invalid")]
    [InlineData("value-quantity=xx1", "search-value-invalid")]
    [InlineData("value-quantity=1e999", "search-value-invalid")]
    [InlineData("value-quantity:not=1", "search-modifier-unsupported")]
    [InlineData("code-value-quantity=drainage", "search-value-invalid")]
    [InlineData("code-value-quantity=drainage$much", "search-value-invalid")]
    [InlineData("code-value-quantity:missing=true", "search-modifier-unsupported")]
    [InlineData("_page=elsewhere", "page-unknown")]
    public async Task What_would_change_the_question_is_always_refused(string query, string code)
    {
        var outcome = await _fhir.Get<OperationOutcome>("fhir/Observation?" + query, 400);
        Assert.Equal(code, outcome.Issue.Single().Details!.Coding.Single().Code);
    }

    [Theory]
    [InlineData("_id")]
    [InlineData("code")]
    [InlineData("derived-from")]
    [InlineData("date")]
    [InlineData("value-quantity")]
    [InlineData("combo-code-value-quantity")]
    public async Task Many_values_are_taken_and_too_many_are_refused_R_SEC_07(string parameter)
    {
        var value = parameter switch
        {
            "date" => "gt2026",
            "value-quantity" => "1||mL",
            "combo-code-value-quantity" => "a$1||mL",
            _ => "a",
        };
        async Task<HttpResponseMessage> With(IEnumerable<string> values) =>
            await _fhir.Client.PostAsync(
                "fhir/Observation/_search",
                new FormUrlEncodedContent(values.Select(one => KeyValuePair.Create(parameter, one)))
            );

        using var listed = await With([string.Join(',', Enumerable.Repeat(value, 500))]);
        using var repeated = await With(Enumerable.Repeat(string.Join(',', Enumerable.Repeat(value, 25)), 20));
        using var tooOften = await With(Enumerable.Repeat(value, 21));
        using var tooMany = await With([string.Join(',', Enumerable.Repeat(value, 501))]);

        await FhirOverHttp.Read<Bundle>(listed, 200);
        await FhirOverHttp.Read<Bundle>(repeated, 200);
        await FhirOverHttp.Read<OperationOutcome>(tooMany, 400);
        Assert.Contains(
            "at most 20",
            (await FhirOverHttp.Read<OperationOutcome>(tooOften, 400)).Issue.Single().Diagnostics,
            StringComparison.Ordinal
        );
    }

    [Fact]
    public async Task All_problems_of_a_search_are_told_together()
    {
        var outcome = await _fhir.Get<OperationOutcome>("fhir/Observation?date=soon&_count=many&code:above=x", 400);
        Assert.Equal(["date", "_count", "code:above"], outcome.Issue.Select(issue => issue.Expression.Single()));
    }

    [Fact]
    public async Task Totals_and_counts_R_SRCH_03()
    {
        var counted = await _fhir.Get<Bundle>("fhir/Observation?_summary=count&status=final");
        var zero = await _fhir.Get<Bundle>("fhir/Observation?_count=0&status=final");
        var accurate = await _fhir.Get<Bundle>("fhir/Observation?_count=1&_total=accurate&status=final");
        var none = await _fhir.Get<Bundle>("fhir/Observation?_total=none");

        Assert.Equal((3, 0), (counted.Total!.Value, counted.Entry.Count));
        Assert.Equal((3, 0), (zero.Total!.Value, zero.Entry.Count));
        Assert.Equal((3, 1), (accurate.Total!.Value, accurate.Entry.Count));
        Assert.Null(none.Total);
    }

    [Fact]
    public async Task A_page_that_asks_for_too_much_is_cut_and_says_so()
    {
        await using var fhir = await FhirOverHttp.Start(null, ("Fhir:MaxCount", "2"), ("Fhir:DefaultCount", "1"));
        await Fill(fhir);

        var cut = await fhir.Get<Bundle>("fhir/Observation?_count=500");

        Assert.Equal(2, cut.Entry.Count);
        Assert.EndsWith("_count=2", cut.SelfLink!.ToString(), StringComparison.Ordinal);
        Assert.Single((await fhir.Get<Bundle>("fhir/Observation")).Entry);
    }

    [Theory]
    [InlineData("_sort=date", "a b c literal")]
    [InlineData("_sort=-date", "literal c b a")]
    [InlineData("_sort=_lastUpdated", "a b c literal")]
    [InlineData("_sort=-_lastUpdated", "literal c b a")]
    [InlineData("_sort=_id", "a b c literal")]
    public async Task Each_order_lists_all_including_what_has_no_date_and_pages_through(string sort, string expected)
    {
        var seen = new List<string>();
        for (
            var page = await _fhir.Get<Bundle>($"fhir/Observation?_count=1&{sort}");
            ;
            page = await _fhir.Get<Bundle>(page.NextLink!.ToString())
        )
        {
            seen.AddRange(page.Entry.Select(entry => entry.Resource!.Id!));
            if (page.NextLink is null)
                break;
        }

        // Stored one after another, so that the order of storing is the order of names here.
        Assert.Equal(expected, string.Join(' ', seen));
    }

    [Theory]
    [InlineData("_id")]
    [InlineData("date")]
    [InlineData("-date")]
    public async Task Paging_under_writes_shows_what_was_there_exactly_once_R_SRCH_02(string sort)
    {
        await using var fhir = await FhirOverHttp.Start();
        await fhir.OpenEpisode("night");
        var before = Enumerable.Range(0, 60).Select(n => $"old-{n:00}").ToList();
        await fhir.Save("night", [.. before.Select((id, n) => (Resource)Drainage(id, $"2026-03-02T08:{n / 2:00}:00Z", null, 1))]);

        // While somebody pages, another corrects what is there and adds in between.
        var seen = new List<string>();
        var round = 0;
        for (
            var page = await fhir.Get<Bundle>($"fhir/Observation?_count=7&_sort={sort}");
            ;
            page = await fhir.Get<Bundle>(page.NextLink!.ToString())
        )
        {
            seen.AddRange(page.Entry.Select(entry => entry.Resource!.Id!));
            if (page.NextLink is null)
                break;
            round++;
            await fhir.Save(
                "night",
                [
                    .. before.Select((id, n) => (Resource)Drainage(id, $"2026-03-02T08:{n / 2:00}:00Z", null, 1 + round)),
                    Drainage($"new-{round}", "2026-03-02T08:15:00Z", null, 1),
                ]
            );
        }

        Assert.True(round >= 8);
        Assert.Equal(seen.Count, seen.Distinct().Count());
        Assert.Equal(before, seen.Where(id => id.StartsWith("old", StringComparison.Ordinal)).Order());
    }

    [Fact]
    public async Task The_next_link_of_one_order_does_not_fit_another()
    {
        var next = (await _fhir.Get<Bundle>("fhir/Observation?_count=1&_sort=date")).NextLink!.ToString();

        await _fhir.Get<OperationOutcome>(next.Replace("_sort=date", "_sort=-date", StringComparison.Ordinal), 400);
    }

    [Fact]
    public async Task A_provenance_is_found_by_target_by_patient_and_by_when_it_was_recorded()
    {
        await _fhir.Save(
            "night",
            new Provenance
            {
                Id = "p",
                Recorded = DateTimeOffset.Parse("2026-03-02T09:00:00.5+00:00", null),
                Target = [new("Observation/a/_history/1"), new() { Type = "Patient", Identifier = new(PatientSystem, "P-1") }],
                Agent = [new() { Who = new() { Display = "ward" } }],
            }
        );

        foreach (
            var query in new[]
            {
                "target=Observation/a",
                "target=a",
                "patient.identifier=P-1",
                "recorded=2026-03-02",
                "recorded=ge2026-03-02T09:00:00.5Z",
                "_sort=-recorded",
            }
        )
            Assert.Equal(["p"], await _fhir.Ids("fhir/Provenance?" + query));
        foreach (var query in new[] { "target=Observation/b", "patient.identifier=P-2", "recorded=gt2026-03-02T09:00:00.5Z" })
            Assert.Empty(await _fhir.Ids("fhir/Provenance?" + query));
    }

    private static async Task Fill(FhirOverHttp fhir)
    {
        await fhir.OpenEpisode("night");
        await fhir.OpenEpisode("elsewhere", "P-2");
        await fhir.Save("night", Drainage("a", "2026-03-02T08:00:00Z", null, 100));
        var preliminary = Drainage("b", "2026-03-02T08:00:00Z", "2026-03-02T09:00:00Z", 200);
        preliminary.Status = ObservationStatus.Preliminary;
        preliminary.DerivedFrom = [new("Observation/a/_history/1")];
        await fhir.Save("night", preliminary);
        await fhir.Save("elsewhere", Drainage("c", "2026-03-02T08:30:00Z", null, 300, "P-2"));
        var literal = Drainage("literal", "2026-03-02T08:40:00Z", null, 400);
        literal.Subject = new("Patient/7");
        literal.Code = new("https://ward.example/codes", "urine");
        literal.Effective = null;
        literal.Value = null;
        literal.DataAbsentReason = new("http://terminology.hl7.org/CodeSystem/data-absent-reason", "not-performed");
        literal.Identifier = [new(null, "odd,one|here")];
        literal.DerivedFrom = [new() { Identifier = new("https://ward.example/observations", "O-c") }];
        await fhir.Save("night", literal);
    }

    /// <summary>One filled store for all tests that only ask.</summary>
    public sealed class Ward : IAsyncLifetime
    {
        internal FhirOverHttp Fhir { get; private set; } = null!;

        public async Task InitializeAsync()
        {
            Fhir = await FhirOverHttp.Start();
            await Fill(Fhir);
        }

        public async Task DisposeAsync() => await Fhir.DisposeAsync();
    }
}
