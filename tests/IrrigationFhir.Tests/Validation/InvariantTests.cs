using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Tests.Validation;

public class InvariantTests
{
    private static Profiles Profiles => Ours.Profiles;

    public static TheoryData<string> Invariants => [.. InvariantExamples.All.Select(example => example.ToString())];

    [Theory, MemberData(nameof(Invariants))]
    public void A_resource_that_keeps_an_invariant_passes_and_one_that_breaks_it_fails_for_that_alone(string name)
    {
        var example = InvariantExamples.All.Single(at => at.ToString() == name);

        Assert.Empty(Judged.Validator.Validate(example.Keeps()));
        Assert.Equal([example.Key], Judged.Keys(example.Breaks()));
    }

    [Fact]
    public void Every_invariant_on_every_profile_is_proved_both_ways()
    {
        var ours =
            from profile in Definitions.Own(Profiles.CanonicalBase).OfType<StructureDefinition>()
            from element in profile.Differential!.Element
            from constraint in element.Constraint
            select $"{profile.Id} {constraint.Key}";

        Assert.Equal(
            ours.Distinct().Order(StringComparer.Ordinal),
            InvariantExamples.All.Select(example => example.ToString()).Order(StringComparer.Ordinal)
        );
    }

    /// <summary>For tests/oracles.sh: with ORACLES=folder every example, with what is expected of it, is written there.</summary>
    [Fact]
    public void Every_example_can_be_written_out_for_another_engine_to_judge()
    {
        var json = new FhirJsonSerializer();
        var lines = Judged
            .Examples.Select(example => (Key: "", Resource: example))
            .Concat(InvariantExamples.All.SelectMany(at => new[] { (Key: "", Resource: at.Keeps()), (at.Key, Resource: at.Breaks()) }))
            .Select(at => $$"""{"fails":"{{at.Key}}","resource":{{json.SerializeToString(at.Resource)}}}""")
            .ToList();
        Assert.All(lines, line => Assert.DoesNotContain('\n', line));
        if (Environment.GetEnvironmentVariable("ORACLES") is { Length: > 0 } folder)
            File.WriteAllLines(Path.Combine(folder, "examples.ndjson"), lines);
    }
}
