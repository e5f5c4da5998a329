using Hl7.Fhir.Model;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>A reply that is an OperationOutcome, with the FHIR media type.</summary>
internal sealed class OutcomeResult(int status, OperationOutcome outcome) : IFhirAnswer, IStatusCodeHttpResult
{
    /// <summary>A reply with one problem.</summary>
    public OutcomeResult(int status, OperationOutcome.IssueComponent problem)
        : this(status, Outcome.Of(problem)) { }

    /// <summary>A refusal for all that is wrong.</summary>
    public static OutcomeResult Refused(int status, IEnumerable<EntryProblem> problems) =>
        new(status, Outcome.Of(problems.Select(p => Outcome.Problem(p.Code, p.Saw, p.Expected, p.Where))));

    /// <summary>The answer for an id that names no episode.</summary>
    public static OutcomeResult UnknownEpisode(string id) =>
        Refused(
            StatusCodes.Status404NotFound,
            [
                new(
                    "unknown-episode",
                    "id",
                    $"'{(id.Length > 64 ? id[..64] + "…" : id)}'",
                    "the id of an episode, as POST /episodes answered it"
                ),
            ]
        );

    /// <summary>The HTTP status of the reply.</summary>
    public int StatusCode => status;

    /// <summary>The code of its first problem.</summary>
    public string? Code =>
        outcome.Issue is [var first, ..]
            ? first.Details?.Coding is [var coding, ..]
                ? coding.Code
                : null
            : null;

    int? IStatusCodeHttpResult.StatusCode => status;

    /// <summary>What the reply says.</summary>
    public OperationOutcome Body => outcome;

    /// <inheritdoc/>
    public ReadOnlyMemory<byte> Json(Vocabulary vocabulary) => FhirJson.WriteUtf8(outcome.Under(vocabulary));

    /// <inheritdoc/>
    public Task ExecuteAsync(HttpContext httpContext) => FhirReply.Write(httpContext, status, Json(FhirReply.Words(httpContext)));
}
