using Firely.Fhir.Validation;
using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Source;
using Hl7.Fhir.Specification.Terminology;

namespace IrrigationFhir.Tests.Audit;

/// <summary>Base R4, as the definitions of HL7 that the SDK ships have it: the validator's own entry point, none of our code.</summary>
internal static class BaseR4
{
    private static readonly Lazy<Validator> Whole = new(() =>
    {
        var source = new CachedResolver(ZipSource.CreateValidationSource());
        return new(source, new LocalTerminologyService(source));
    });

    private static readonly Lock One = new();

    /// <summary>Fails where an event breaks base R4. Its profiles are somebody else's and not looked up.</summary>
    public static void Judge(AuditEvent told)
    {
        var bare = told.DeepCopy();
        bare.Meta = null;
        OperationOutcome outcome;
        lock (One)
            outcome = Whole.Value.Validate(bare);
        var faults = outcome.Issue.Where(issue =>
            issue.Severity is OperationOutcome.IssueSeverity.Error or OperationOutcome.IssueSeverity.Fatal
        );
        Assert.Empty(faults.Select(issue => $"{issue.Expression.FirstOrDefault()}: {issue.Details?.Text}"));
    }
}
