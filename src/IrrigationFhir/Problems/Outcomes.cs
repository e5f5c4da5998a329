using Hl7.Fhir.Model;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Episodes;

namespace IrrigationFhir.Problems;

/// <summary>Problems as OperationOutcomes.</summary>
internal static class Outcomes
{
    /// <summary>One issue for each problem. Where one lies in two places, they are separated by a space.</summary>
    public static OperationOutcome Of(IEnumerable<EntryProblem> problems) =>
        Outcome.Of(
            problems.Select(problem =>
            {
                var places = problem.Where.Split(' ');
                var issue = Outcome.Problem(problem.Code, problem.Saw, problem.Expected, places[0]);
                issue.Expression = places;
                return issue;
            })
        );

    /// <summary>The status that goes with problems that an entry was refused for.</summary>
    public static int StatusOf(IEnumerable<EntryProblem> problems)
    {
        var codes = problems.Select(p => p.Code).ToHashSet();
        return codes.Contains("not-allowed") ? StatusCodes.Status403Forbidden
            : codes.Contains("version-conflict") ? StatusCodes.Status412PreconditionFailed
            : codes.Contains("conflicting-content") || codes.Contains("known-elsewhere") ? StatusCodes.Status409Conflict
            : StatusCodes.Status422UnprocessableEntity;
    }

    /// <summary>A doubt, as a warning: the Observation was taken, and what follows from it cannot be.</summary>
    /// <param name="doubt">The doubt.</param>
    /// <param name="at">The Observation's path.</param>
    public static OperationOutcome.IssueComponent Doubt(Doubt doubt, string at) =>
        Outcome.Warning(
            Slug.Of(doubt.Kind),
            doubt.Says.TrimEnd('.'),
            $"the reading {doubt.Reading} confirmed (an entry reading-confirmed) by somebody who looked again, or corrected",
            at
        );

    /// <summary>That it was done, as an outcome, with what there is to warn of.</summary>
    public static OperationOutcome AllIsWell(string text, params IEnumerable<OperationOutcome.IssueComponent> warnings) =>
        Outcome.Of([
            new()
            {
                Severity = OperationOutcome.IssueSeverity.Information,
                Code = OperationOutcome.IssueType.Informational,
                Diagnostics = text,
            },
            .. warnings,
        ]);
}
