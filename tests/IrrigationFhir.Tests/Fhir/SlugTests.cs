using Irrigation;
using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>One slug, one place: what the arithmetic can say, the code systems can code, and nothing else.</summary>
public class SlugTests
{
    [Fact]
    public void Every_caveat_of_the_balance_has_its_code_and_no_code_lacks_its_caveat() => AssertSame("caveat", Slug.All<Caveat>());

    [Fact]
    public void Every_term_of_the_balance_has_its_code() => AssertSame("balance-term", Slug.All<BalanceTerm>());

    [Fact]
    public void Every_way_of_measuring_has_its_code() => AssertSame("measuring-way", Slug.All<MeasuringWay>());

    [Fact]
    public void Every_route_of_urine_has_its_code() => AssertSame("urine-route", Slug.All<UrineRoute>());

    [Fact]
    public void Every_kind_of_entry_has_its_code() => AssertSame("entry-kind", EntryKinds.All.Where(kind => kind != "entered-in-error"));

    [Fact]
    public void Every_window_that_is_published_has_its_code() =>
        AssertSame("output-window", Slug.All<WindowKind>().Where(slug => slug != Slug.Of(WindowKind.Trailing)));

    private static void AssertSame(string system, IEnumerable<string> slugs) =>
        Assert.Equal(slugs.Order(StringComparer.Ordinal), Definitions.CodeSystem(system, Profiles.CanonicalBase).Concept.Select(c => c.Code!).Order(StringComparer.Ordinal));
}
