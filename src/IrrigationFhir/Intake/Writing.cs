using System.Text.Json;
using Hl7.Fhir.Model;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Entries;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;

namespace IrrigationFhir.Intake;

/// <summary>A request to write one Observation.</summary>
/// <param name="Resource">The Observation.</param>
/// <param name="At">Its path: <c>Observation</c>, or <c>Bundle.entry[3].resource</c>.</param>
/// <param name="Id">The id in the address, for an update; null creates.</param>
/// <param name="IfMatch">The version that is to be replaced, as <c>W/"3"</c>, where the sender says so.</param>
/// <param name="IfNoneExist">The search that must find nothing, where the sender says so.</param>
internal sealed record Write(JsonElement Resource, string At, string? Id, string? IfMatch, string? IfNoneExist);

/// <summary>What became of it.</summary>
internal abstract record Written
{
    /// <summary>It stands, new or as it was.</summary>
    /// <param name="Status">200 or 201.</param>
    /// <param name="Resource">The stored Observation; null where it is withheld because it failed its own profile.</param>
    /// <param name="Disposition">What the log made of it.</param>
    public sealed record Stands(int Status, ResourceVersion? Resource, string Disposition) : Written
    {
        /// <summary>What cannot be taken as it stands now that it is there, each as a warning.</summary>
        public IReadOnlyList<OperationOutcome.IssueComponent> Warnings { get; init; } = [];
    }

    /// <summary>Nothing was changed.</summary>
    public sealed record Refused(int Status, OperationOutcome Outcome) : Written
    {
        /// <summary>A refusal with one problem.</summary>
        public static Refused Of(int status, EntryProblem problem) => Of(status, [problem]);

        /// <summary>A refusal with problems.</summary>
        public static Refused Of(int status, IEnumerable<EntryProblem> problems) => new(status, Outcomes.Of(problems));
    }
}

/// <summary>Problems as OperationOutcomes.</summary>
internal static class Outcomes
{
    /// <summary>One issue for each problem. Where one lies in two places, they are separated by a space.</summary>
    public static OperationOutcome Of(IEnumerable<EntryProblem> problems) =>
        Outcome.Of(
            problems.Select(problem =>
            {
                var places = problem.Where.Split(' ');
                var issue = Outcome.Problem(problem.Code, problem.Saw, problem.Expected, places[0], EntriesApi.TypeOf(problem.Code));
                issue.Expression = places;
                return issue;
            })
        );

    /// <summary>The status that goes with problems that an entry was refused for.</summary>
    public static int StatusOf(IEnumerable<EntryProblem> problems)
    {
        var codes = problems.Select(p => p.Code).ToHashSet();
        return codes.Contains("version-conflict") ? StatusCodes.Status412PreconditionFailed
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
            at,
            OperationOutcome.IssueType.BusinessRule
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
