using System.Text.Json;
using Hl7.Fhir.Model;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Rest;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Search;

/// <summary>R-SRCH-03 and R-SRCH-11: in which order, how much of each, and what comes along.</summary>
public class OrderAndShapeTests(OrderAndShapeTests.Ward ward) : IClassFixture<OrderAndShapeTests.Ward>
{
    private readonly FhirOverHttp _fhir = ward.Fhir;

    // a  final        08:00  100 mL  derived from nothing
    // b  preliminary  08:00  300 mL  derived from a
    // c  final        09:00  200 mL  derived from b
    // d  amended      none   none    derived from c, and from one that is not here
    [Theory]
    [InlineData("date", "a b c d")]
    [InlineData("-date", "d c b a")]
    [InlineData("status,-date", "d c a b")]
    [InlineData("-date,_id", "d c a b")]
    [InlineData("date,-_id", "b a c d")]
    [InlineData("-_id", "d c b a")]
    [InlineData("value-quantity", "a c b d")]
    [InlineData("-value-quantity", "d b c a")]
    [InlineData("status,value-quantity", "d a c b")]
    [InlineData("code,-_lastUpdated", "d c b a")]
    [InlineData("derived-from,_id", "b c d a")]
    [InlineData("patient,encounter,-status,date", "b a c d")]
    [InlineData("_profile,_id", "a b c d")]
    public async Task Each_order_lists_all_and_pages_through_one_by_one(string sort, string expected)
    {
        var seen = new List<string>();
        for (
            var page = await _fhir.Get<Bundle>($"fhir/Observation?_count=1&_sort={sort}");
            ;
            page = await _fhir.Get<Bundle>(page.NextLink!.ToString())
        )
        {
            seen.AddRange(page.Entry.Select(entry => entry.Resource!.Id!));
            if (page.NextLink is null)
                break;
        }

        Assert.Equal(expected, string.Join(' ', seen));
        Assert.Equal(expected, string.Join(' ', await _fhir.Ids($"fhir/Observation?_sort={sort}")));
    }

    [Fact]
    public async Task A_search_by_code_pages_through_in_either_direction()
    {
        foreach (var sort in new[] { "date", "-date" })
        {
            var seen = new List<string>();
            for (
                var page = await _fhir.Get<Bundle>($"fhir/Observation?code=drainage&_count=1&_sort={sort}");
                ;
                page = await _fhir.Get<Bundle>(page.NextLink!.ToString())
            )
            {
                seen.AddRange(page.Entry.Select(entry => entry.Resource!.Id!));
                if (page.NextLink is null)
                    break;
            }

            Assert.Equal(sort == "date" ? "a b c d" : "d c b a", string.Join(' ', seen));
        }
    }

    [Theory]
    [InlineData(
        "_summary=true",
        "id identifier meta status code subject effectiveDateTime valueQuantity component derivedFrom",
        "category note"
    )]
    [InlineData("_summary=text", "id meta status code", "subject valueQuantity note category")]
    [InlineData("_summary=data", "id meta status code subject valueQuantity note category", "text")]
    [InlineData("_elements=subject,note", "id meta status code subject note", "valueQuantity category identifier")]
    [InlineData("_elements=nothing", "id meta status code", "subject valueQuantity")]
    public async Task A_part_of_a_resource_is_marked_as_such_and_keeps_what_is_mandatory(string query, string has, string lacks)
    {
        using var reply = await _fhir.Client.GetAsync($"fhir/Observation?_id=c&{query}");
        var text = await reply.Content.ReadAsStringAsync();
        var sent = JsonDocument.Parse(text).RootElement.GetProperty("entry")[0].GetProperty("resource");
        var names = sent.EnumerateObject().Select(element => element.Name).ToList();

        Assert.All(has.Split(' ').Where(name => name is not "component"), name => Assert.Contains(name, names));
        Assert.All(lacks.Split(' '), name => Assert.DoesNotContain(name, names));
        var tag = Assert.Single(sent.GetProperty("meta").GetProperty("tag").EnumerateArray());
        Assert.Equal(
            ("http://terminology.hl7.org/CodeSystem/v3-ObservationValue", "SUBSETTED"),
            (tag.GetProperty("system").GetString(), tag.GetProperty("code").GetString())
        );
        Assert.Contains(
            query,
            JsonDocument
                .Parse(text)
                .RootElement.GetProperty("link")[0]
                .GetProperty("url")
                .GetString()!
                .Replace("%2C", ",", StringComparison.Ordinal),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public async Task A_whole_resource_is_not_marked_and_its_number_keeps_its_digits_in_a_part()
    {
        Assert.DoesNotContain(
            "SUBSETTED",
            await _fhir.Client.GetStringAsync("fhir/Observation?_id=c&_summary=false"),
            StringComparison.Ordinal
        );
        Assert.Contains(
            "\"value\":200.0,",
            await _fhir.Client.GetStringAsync("fhir/Observation?_id=c&_elements=value"),
            StringComparison.Ordinal
        );
    }

    [Theory]
    [InlineData("_id=b&_include=Observation:derived-from", "b", "Observation/a")]
    [InlineData("_id=c&_include=Observation:derived-from", "c", "Observation/b")]
    [InlineData("_id=c&_include:iterate=Observation:derived-from", "c", "Observation/a Observation/b")]
    [InlineData("_id=d&_include:iterate=Observation:derived-from:Observation", "d", "Observation/a Observation/b Observation/c")]
    [InlineData("_id=d&_include=Observation:derived-from:Media", "d", "")]
    [InlineData("_id=b,a&_include=Observation:derived-from", "a b", "")]
    [InlineData("_id=b&_include=*", "b", "Observation/a")]
    [InlineData("_id=b&_include=Observation:*", "b", "Observation/a")]
    [InlineData("_id=b&_include=Observation:subject", "b", "")]
    [InlineData("_id=a&_revinclude=Observation:derived-from", "a", "Observation/b")]
    [InlineData("_id=a&_revinclude:iterate=Observation:derived-from", "a", "Observation/b Observation/c Observation/d")]
    [InlineData("_id=a&_revinclude=Provenance:target", "a", "Provenance/p")]
    [InlineData("_id=b&_include=Observation:derived-from&_revinclude=Provenance:target", "b", "Observation/a")]
    [InlineData("_id=b&_include=Observation:derived-from&_revinclude:iterate=Provenance:target", "b", "Observation/a Provenance/p")]
    public async Task What_belongs_to_the_matches_comes_along_and_is_not_counted_R_SRCH_11(string query, string matches, string included)
    {
        var found = await _fhir.Get<Bundle>($"fhir/Observation?_total=accurate&_sort=_id&{query}");

        string Of(Bundle.SearchEntryMode mode, bool typed) =>
            string.Join(
                ' ',
                found
                    .Entry.Where(entry => entry.Search!.Mode == mode)
                    .Select(entry => (typed ? entry.Resource!.TypeName + "/" : "") + entry.Resource!.Id)
                    .Order(StringComparer.Ordinal)
            );
        Assert.Equal(matches, Of(Bundle.SearchEntryMode.Match, false));
        Assert.Equal(included, Of(Bundle.SearchEntryMode.Include, true));
        Assert.Equal(matches.Split(' ').Length, found.Total);
        Assert.DoesNotContain(found.Entry, entry => entry.Search!.Mode == Bundle.SearchEntryMode.Outcome);
        Assert.Contains("nclude", found.SelfLink!.ToString(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_comes_along_is_limited_and_says_so()
    {
        await using var fhir = await FhirOverHttp.Start(null, ("Fhir:MaxCount", "10"), ("Fhir:DefaultCount", "10"));
        await fhir.OpenEpisode("night");
        await fhir.Save("night", Drainage("root", "2026-03-02T08:00:00Z", null, 1));
        // Eleven that derive from one: ten come along. Ten steps of one each: the chain ends after the first and five more.
        await fhir.Save("night", [.. Enumerable.Range(0, 11).Select(n => (Resource)Derived($"leaf-{n:00}", "root"))]);
        await fhir.Save("night", Derived("step-0", "nowhere"));
        for (var n = 1; n < 10; n++)
            await fhir.Save("night", Derived($"step-{n}", $"step-{n - 1}"));

        var wide = await fhir.Get<Bundle>("fhir/Observation?_id=root&_revinclude=Observation:derived-from");
        var deep = await fhir.Get<Bundle>("fhir/Observation?_id=step-9&_include:iterate=Observation:derived-from");

        Assert.Equal(10, wide.Entry.Count(entry => entry.Search!.Mode == Bundle.SearchEntryMode.Include));
        Assert.Equal(6, deep.Entry.Count(entry => entry.Search!.Mode == Bundle.SearchEntryMode.Include));
        Assert.All(
            new[] { wide, deep },
            bundle =>
            {
                var outcome = Assert.IsType<OperationOutcome>(
                    bundle.Entry.Single(entry => entry.Search!.Mode == Bundle.SearchEntryMode.Outcome).Resource
                );
                Assert.Equal(
                    (OperationOutcome.IssueSeverity.Warning, "included-cut"),
                    (outcome.Issue.Single().Severity!.Value, outcome.Issue.Single().Details!.Coding.Single().Code)
                );
            }
        );
    }

    private static Observation Derived(string id, string from)
    {
        var observation = Drainage(id, "2026-03-02T08:30:00Z", null, 1);
        observation.DerivedFrom = [new($"Observation/{from}")];
        return observation;
    }

    public sealed class Ward : IAsyncLifetime
    {
        internal FhirOverHttp Fhir { get; private set; } = null!;

        public async Task InitializeAsync()
        {
            Fhir = await FhirOverHttp.Start();
            await Fhir.OpenEpisode("night");
            await Fhir.Save("night", Drainage("a", "2026-03-02T08:00:00Z", null, 100));
            var b = Derived("b", "a");
            b.Status = ObservationStatus.Preliminary;
            b.Effective = new FhirDateTime("2026-03-02T08:00:00Z");
            b.Value = new Quantity
            {
                Value = 300m,
                System = "http://unitsofmeasure.org",
                Code = "mL",
            };
            await Fhir.Save("night", b);
            var c = Derived("c", "b/_history/1");
            c.Effective = new FhirDateTime("2026-03-02T09:00:00Z");
            c.Value = new Quantity
            {
                Value = 200.0m,
                System = "http://unitsofmeasure.org",
                Code = "mL",
            };
            c.Note = [new() { Text = "seen at the bedside" }];
            c.Component = [new() { Code = new("https://ward.example/codes", "part"), Value = new FhirBoolean(true) }];
            await Fhir.Save("night", c);
            var d = Derived("d", "c");
            d.DerivedFrom.Add(new("Observation/never"));
            d.Status = ObservationStatus.Amended;
            d.Effective = null;
            d.Value = null;
            await Fhir.Save("night", d);
            await Fhir.Save(
                "night",
                new Provenance
                {
                    Id = "p",
                    Recorded = DateTimeOffset.Parse("2026-03-02T09:00:00Z", null),
                    Target = [new("Observation/a")],
                    Agent = [new() { Who = new() { Identifier = new() { Value = "nurse-1" } } }],
                }
            );
        }

        public async Task DisposeAsync() => await Fhir.DisposeAsync();
    }
}
