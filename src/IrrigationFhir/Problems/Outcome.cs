using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Problems;

/// <summary>Builds OperationOutcomes: what was seen, what is expected, and where, with a code that does not change.</summary>
/// <remarks>Whoever finds a problem knows its code alone; where the outcome leaves, <see cref="Under"/> names the code system.</remarks>
internal static class Outcome
{
    /// <summary>A fault repeated through a whole body is understood from some: the answer is not larger than the request.</summary>
    public const int MostIssues = 100;

    /// <summary>Characters of what was received that an issue repeats.</summary>
    private const int MostEchoed = 200;

    /// <summary>One problem, as an issue of severity error.</summary>
    /// <param name="code">Stable slug, such as <c>volume-negative</c>: a client may branch on it.</param>
    /// <param name="saw">What was received, in words or as the value itself.</param>
    /// <param name="expected">What would have been accepted, as a clause: "a drained volume is 0 mL or more".</param>
    /// <param name="expression">Where: a path into the request, or null when it concerns the request as a whole.</param>
    public static OperationOutcome.IssueComponent Problem(string code, string saw, string expected, string? expression) =>
        Issue(OperationOutcome.IssueSeverity.Error, code, saw, expected, expression);

    /// <summary>The same, for something the client should know although its request was honoured.</summary>
    public static OperationOutcome.IssueComponent Warning(string code, string saw, string expected, string? expression) =>
        Issue(OperationOutcome.IssueSeverity.Warning, code, saw, expected, expression);

    /// <summary>
    /// A parameter that is not understood and was passed over, as a client may prefer: a warning under the code that it has as an error.
    /// </summary>
    /// <param name="name">The parameter.</param>
    /// <param name="saw">As for a problem.</param>
    /// <param name="expected">As for a problem.</param>
    public static OperationOutcome.IssueComponent PassedOver(string name, string saw, string expected) =>
        Warning("search-parameter-unknown", $"{saw}, passed over", expected, name);

    /// <summary>
    /// An outcome of the given issues, in their order; of more than <see cref="MostIssues"/> the first, and how many more there are.
    /// </summary>
    public static OperationOutcome Of(params IEnumerable<OperationOutcome.IssueComponent> issues)
    {
        List<OperationOutcome.IssueComponent> all = [.. issues];
        if (all.Count <= MostIssues)
            return new() { Issue = all };
        var expected = $"these {MostIssues} mended first; {all.Count - MostIssues} more are not shown";
        var more = Problem("more-problems", $"{all.Count} problems", expected, null);
        return new() { Issue = [.. all.Take(MostIssues), more] };
    }

    /// <summary>The outcome as it leaves a service: its codes are those of the code system <c>problem</c> below its base.</summary>
    /// <param name="outcome">Changed in place.</param>
    /// <param name="vocabulary">The words of the service.</param>
    public static OperationOutcome Under(this OperationOutcome outcome, Vocabulary vocabulary)
    {
        var system = vocabulary.Profiles.CodeSystem(ProblemCodes.Slug);
        foreach (var coding in outcome.Issue.SelectMany(issue => issue.Details?.Coding ?? []))
            coding.System ??= system;
        return outcome;
    }

    private static OperationOutcome.IssueComponent Issue(
        OperationOutcome.IssueSeverity severity,
        string code,
        string saw,
        string expected,
        string? expression
    )
    {
        (saw, expression) = (Clip(saw), expression is null ? null : Clip(expression));
        return new()
        {
            Severity = severity,
            Code = ProblemCodes.TypeOf(code),
            Details = new() { Coding = [new(null, code)] },
            Diagnostics = expression is null ? $"{saw}; {expected}" : $"{expression}: {saw}; {expected}",
            Expression = expression is null ? [] : [expression],
        };
    }

    private static string Clip(string text)
    {
        if (text.Length <= MostEchoed)
            return text;
        var end = char.IsHighSurrogate(text[MostEchoed - 1]) ? MostEchoed - 1 : MostEchoed;
        return text[..end] + "…";
    }
}
