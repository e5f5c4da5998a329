using Hl7.Fhir.Model;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>A reply that is an OperationOutcome, with the FHIR media type.</summary>
internal sealed class OutcomeResult(int status, OperationOutcome outcome) : IResult, IStatusCodeHttpResult
{
    /// <summary>A reply with one problem.</summary>
    public OutcomeResult(int status, OperationOutcome.IssueComponent problem)
        : this(status, Outcome.Of(problem)) { }

    /// <summary>The HTTP status of the reply.</summary>
    public int StatusCode => status;

    int? IStatusCodeHttpResult.StatusCode => status;

    /// <summary>What the reply says.</summary>
    public OperationOutcome Body => outcome;

    /// <inheritdoc/>
    public Task ExecuteAsync(HttpContext httpContext) => FhirReply.Write(httpContext, status, FhirJson.WriteUtf8(outcome));
}
