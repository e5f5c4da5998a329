using Firely.Fhir.Validation;
using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Source;
using Hl7.Fhir.Specification.Terminology;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Tests.Validation;

/// <summary>Our joins of the validator's rules must decide as the validator itself does, only sooner.</summary>
public class SameVerdictTests
{
    private static Profiles Profiles => Ours.Profiles;

    private static readonly Validator Firely = OfFirely();

    [Fact]
    public void The_validator_itself_accepts_what_we_accept()
    {
        // Those by identifier alone excepted: there the validator is wrong, so the patient gets an address.
        foreach (var example in Judged.Examples.Concat(InvariantExamples.All.Select(example => example.Keeps())))
        {
            Addressed(example);
            Assert.Empty(Judged.Validator.Validate(example));
            Assert.Empty(Errors(example));
        }
    }

    [Fact]
    public void The_validator_itself_refuses_what_we_refuse()
    {
        // It cannot tell where a reference points, and that is our own rule.
        foreach (var refused in ProfileValidatorTests.Refused)
        {
            Addressed(refused);
            var keys = Judged.Keys(refused);
            if (keys is not ["reference-target"] and not [])
                Assert.NotEmpty(Errors(refused));
        }
    }

    private static void Addressed(Resource resource)
    {
        if (resource is Observation { Subject.Identifier: not null } observation)
            observation.Subject = new("Patient/p-0001");
        else if (resource is Procedure procedure)
            procedure.Subject = new("Patient/p-0001");
        else if (resource is Flag flag)
            flag.Subject = new("Patient/p-0001");
        else if (resource is Provenance provenance)
            provenance.Agent[0].Who = new("Practitioner/n-0001");
    }

    private static IEnumerable<string> Errors(Resource resource) =>
        Firely
            .Validate(resource)
            .Issue.Where(issue => issue.Severity is OperationOutcome.IssueSeverity.Error or OperationOutcome.IssueSeverity.Fatal)
            .Select(issue => issue.Details!.Text!);

    private static Validator OfFirely()
    {
        Resource[] definitions = [.. Definitions.Own(Profiles.CanonicalBase), .. Definitions.OfR4()];
        foreach (
            var type in definitions
                .OfType<StructureDefinition>()
                .SelectMany(definition => definition.Snapshot!.Element)
                .SelectMany(element => element.Type)
        )
            type.TargetProfileElement.Clear(); // or it wants the definition of every resource they name
        var source = new InMemoryResourceResolver(definitions);
        return new Validator(
            source,
            new LocalTerminologyService(source),
            settings: new() { FollowExtensionUrl = (_, _) => ExtensionUrlHandling.ErrorIfMissing }
        );
    }
}
