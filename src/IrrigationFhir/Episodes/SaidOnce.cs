using System.Text.RegularExpressions;

namespace IrrigationFhir.Episodes;

/// <summary>What a handover has said already: what several flags say in the same words is said once.</summary>
internal sealed partial class SaidOnce
{
    private readonly HashSet<string> said = [];

    /// <summary>The sentences of a text that were not said yet; empty where all were.</summary>
    /// <param name="text">Whole sentences.</param>
    /// <param name="most">At most so many of them, from the first on; null for all.</param>
    public string Of(string text, int? most = null) =>
        string.Join(' ', SentenceEnd().Split(text).Take(most ?? int.MaxValue).Where(sentence => said.Add(sentence)));

    [GeneratedRegex(@"(?<=[.?!])\s+(?=[A-Z0-9])")]
    private static partial Regex SentenceEnd();
}
