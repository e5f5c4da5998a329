using Irrigation;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Measures;
using IrrigationFhir.Fhir;
using NodaTime;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>One slug, one place: what the arithmetic can say, the code systems can code, and nothing else.</summary>
public class SlugTests
{
    private static Profiles Profiles => Ours.Profiles;

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

    [Fact]
    public void Every_answer_reading_and_obstacle_of_a_criterion_has_its_code()
    {
        AssertSame("criterion-answer", Slug.All<Answer>());
        AssertSame("criterion-reading", Slug.All<Reading>());
        AssertSame("criterion-obstacle", Slug.All<Obstacle>());
    }

    [Fact]
    public void Every_kind_of_weight_has_its_code() => AssertSame("weight-kind", Slug.All<WeightKind>());

    [Fact]
    public void Every_criterion_has_its_code_and_an_id_of_its_own()
    {
        var born = new LocalDate(2000, 1, 1);
        var at = born.AtStartOfDayInZone(DateTimeZone.Utc).ToInstant();
        var balance = FluidBalance.Of(EpisodeLog.Empty(new EpisodeFrame(at, null, DateTimeZone.Utc, [])), BalanceSettings.Default);
        var results = new[] { 0, 1000, 10000 }
            .Select(days => (Patient: new Patient(born, DateTimeZone.Utc), At: at + Duration.FromDays(days)))
            .SelectMany(of =>
                UrineOutputCriteria
                    .At(balance, of.Patient, of.At, CriteriaSettings.Default)
                    .Concat(UrineOutputCriteria.Volumes(balance, of.Patient, of.At, CriteriaSettings.Default))
            )
            .Select(result => (result.Slug, result.Reading))
            .Distinct()
            .ToList();

        AssertSame("urine-output-criterion", results.Select(result => result.Slug).Distinct());
        Assert.Equal(
            results.Count,
            results.Select(result => FhirValues.Digest($"{result.Slug} {Slug.Of(result.Reading)}", 6)).Distinct().Count()
        );
    }

    private static void AssertSame(string system, IEnumerable<string> slugs) =>
        Assert.Equal(
            slugs.Order(StringComparer.Ordinal),
            Definitions.CodeSystem(system, Profiles.CanonicalBase).Concept.Select(c => c.Code!).Order(StringComparer.Ordinal)
        );
}
