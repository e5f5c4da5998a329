using Irrigation.Episodes;

namespace IrrigationFhir.Record;

/// <summary>What a caller may not do, as the problem that it is told of.</summary>
internal static class Forbidden
{
    private const string Code = "not-allowed";

    /// <summary>It may not do that.</summary>
    public static EntryProblem To(string what, string where) =>
        new(Code, where, $"an access token that does not let its client {what}", "a token whose scopes and facilities cover it");

    /// <summary>The status of a refusal for that.</summary>
    public static int StatusOf(EntryProblem problem) =>
        problem.Code == Code ? StatusCodes.Status403Forbidden : StatusCodes.Status422UnprocessableEntity;
}
