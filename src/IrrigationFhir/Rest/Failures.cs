using System.Text.Json.Nodes;

namespace IrrigationFhir.Rest;

/// <summary>Says in the contract how a route fails: always with an OperationOutcome.</summary>
internal static class Failures
{
    /// <summary>The statuses with which a route refuses.</summary>
    public static RouteHandlerBuilder Fails(this RouteHandlerBuilder route, params int[] statuses) =>
        statuses.Aggregate(route, (so, status) => so.Produces<OutcomeDocument>(status, FhirReply.MediaType));
}

/// <summary>The shape of an OperationOutcome for the contract.</summary>
internal sealed record OutcomeDocument(string ResourceType, IReadOnlyList<IssueDocument> Issue);

/// <summary>
/// One issue: <c>details.coding.code</c> is stable, <c>diagnostics</c> says what was seen and what is expected, <c>expression</c> where.
/// </summary>
internal sealed record IssueDocument(string Severity, string Code, JsonNode Details, string Diagnostics)
{
    /// <summary>The place in what was sent; not there where the request as a whole is meant.</summary>
    public IReadOnlyList<string> Expression { get; init; } = [];
}
