using System.Collections.Immutable;
using System.Text.Json;
using Irrigation.Episodes;

namespace IrrigationFhir.Model;

/// <summary>A security label that a sender put on what it sent (R4, security-labels), such as <c>R</c>, restricted.</summary>
/// <param name="System">Its code system; empty for none.</param>
/// <param name="Code">Its code.</param>
/// <param name="Display">How the sender calls it; null where it does not say.</param>
internal sealed record SecurityLabel(string System, string Code, string? Display)
{
    /// <summary>
    /// The labels of some entries beside those known: a high-water mark, which never falls. What is worked out from then on carries all of
    /// them, for it may rest on any entry of the episode. Common practice, no source: FHIR leaves derived data to policy.
    /// </summary>
    public static ImmutableArray<SecurityLabel> With(ImmutableArray<SecurityLabel> known, IEnumerable<Entry> entries)
    {
        foreach (var entry in entries)
        {
            // Hardly any has labels: the text is looked at before it is read.
            if (entry.Header.Original is not { } sent || !sent.Contains("\"security\"", StringComparison.Ordinal))
                continue;
            using var document = JsonDocument.Parse(sent);
            foreach (var label in In(document.RootElement))
            {
                if (!known.Any(other => (other.System, other.Code) == (label.System, label.Code)))
                    known = known.Add(label);
            }
        }

        return known;
    }

    private static IEnumerable<SecurityLabel> In(JsonElement sent)
    {
        if (
            !sent.TryGetProperty("meta", out var meta)
            || !meta.TryGetProperty("security", out var labels)
            || labels.ValueKind != JsonValueKind.Array
        )
            yield break;
        foreach (var label in labels.EnumerateArray().Where(label => label.ValueKind == JsonValueKind.Object))
        {
            if (label.TextOf("code") is { Length: > 0 } code)
                yield return new(label.TextOf("system") ?? "", code, label.TextOf("display"));
        }
    }
}
