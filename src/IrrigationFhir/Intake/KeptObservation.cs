using System.Text.Json;
using System.Text.Json.Nodes;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Intake;

/// <summary>What is kept of an Observation as it was sent, beside the entry that it becomes, and what of it could not be.</summary>
internal static class KeptObservation
{
    /// <summary>Digits that a decimal holds (.NET); R4 asks for 18 at least.</summary>
    private const int MostDigits = 28;

    /// <summary>All of it but for what the service gives: id, version, and when it was stored.</summary>
    /// <param name="json">The Observation.</param>
    public static JsonObject Of(JsonElement json)
    {
        var kept = JsonNode.Parse(json.GetRawText())!.AsObject();
        var issued = kept["issued"] is JsonValue text && text.TryGetValue<string>(out var at) ? at : null;
        foreach (var name in new[] { "resourceType", "id", "issued", "implicitRules", "modifierExtension" })
            kept.Remove(name);
        if (kept["meta"] is JsonObject meta)
        {
            meta.Remove("versionId");
            meta.Remove("lastUpdated");
            Tidy(kept, "meta");
        }

        if (issued is [.., _, _, ':', _, _] && issued.Length > 16 && !issued.EndsWith(":00:00", StringComparison.Ordinal))
            kept[SentObservation.IssuedOffset] = issued[^6..];
        foreach (var (_, holder) in References(kept, ""))
        {
            if (
                (string?)holder["reference"] is { } reference
                && !reference.StartsWith("Observation?", StringComparison.Ordinal)
                && ConditionalReference.Identifier(reference) is { } identifier
            )
            {
                // Nothing but Observations is kept here that a search could find: its target is named by what was searched for.
                holder.Remove("reference");
                holder["type"] = reference[..reference.IndexOf('?', StringComparison.Ordinal)];
                holder["identifier"] ??= new JsonObject { ["system"] = identifier.System, ["value"] = identifier.Value };
            }
        }

        return kept;
    }

    /// <summary>Removes an element that says nothing any more.</summary>
    public static void Tidy(JsonObject parent, string name)
    {
        if (parent[name] is JsonObject { Count: 0 } or JsonArray { Count: 0 })
            parent.Remove(name);
    }

    /// <summary>Every reference within, with its path, but for those to what is contained.</summary>
    public static IEnumerable<(string Path, JsonObject Holder)> References(JsonNode? node, string path) =>
        node switch
        {
            JsonObject inner => (
                inner["reference"] is JsonValue value && value.TryGetValue<string>(out var text) && !text.StartsWith('#')
                    ? new (string, JsonObject)[] { ($"{path}.reference", inner) }
                    : []
            ).Concat(inner.ToList().SelectMany(p => References(p.Value, path.Length == 0 ? p.Key : $"{path}.{p.Key}"))),
            JsonArray list => list.ToList().SelectMany((item, i) => References(item, $"{path}[{i}]")),
            _ => [],
        };

    /// <summary>Numbers with more digits than can be held: they would come back as others.</summary>
    public static IEnumerable<EntryProblem> TooLong(JsonElement json, string path) =>
        Numbers(json, path)
            .Where(n => Digits(n.Text) > MostDigits)
            .Select(n => EntryProblem.OutOfRange(n.Path, "a number with more digits than can be kept", $"at most {MostDigits} digits"));

    /// <summary>Numbers that come back equal and written otherwise.</summary>
    public static IEnumerable<EntryProblem> Rewritten(JsonElement json, string path) =>
        Numbers(json, path)
            .Where(n => n.Text.AsSpan().IndexOfAny('e', 'E') >= 0)
            .Select(n => new EntryProblem(
                "not-kept",
                n.Path,
                $"the exponent of {n.Text}",
                "a number without exponent: its value is kept, its form is not"
            ));

    /// <summary>Paths of what was sent and is not published as it was sent.</summary>
    /// <param name="sent">As kept.</param>
    /// <param name="published">The resource.</param>
    /// <param name="path">Where both are.</param>
    public static IEnumerable<string> Lost(JsonNode? sent, JsonNode? published, string path)
    {
        switch (sent)
        {
            case JsonObject inner:
                foreach (var (name, value) in inner)
                {
                    var at = path.Length == 0 ? name : $"{path}.{name}";
                    if (published is not JsonObject there || !there.TryGetPropertyValue(name, out var other))
                        yield return at;
                    else
                        foreach (var lost in Lost(value, other, at))
                            yield return lost;
                }

                break;
            case JsonArray list:
                for (var i = 0; i < list.Count; i++)
                {
                    if (published is not JsonArray others || !others.Any(other => !Lost(list[i], other, "").Any()))
                        yield return $"{path}[{i}]";
                }

                break;
            default:
                if (!JsonNode.DeepEquals(sent, published))
                    yield return path.Length == 0 ? "value" : path;
                break;
        }
    }

    /// <summary>
    /// What a client that changed a published Observation means of its own: what it left as it was published is as it was sent, and
    /// what we had added is ours.
    /// </summary>
    /// <param name="original">As kept.</param>
    /// <param name="published">As the client read it.</param>
    /// <param name="sent">As the client sends it.</param>
    public static JsonNode? WithoutOurs(JsonNode? original, JsonNode? published, JsonNode? sent)
    {
        if (JsonNode.DeepEquals(sent, published))
            return original?.DeepClone();
        switch (sent, published)
        {
            // A number and its unit are one thing.
            case (JsonObject changed, JsonObject) when changed.ContainsKey("value"):
                return changed.DeepClone();
            case (JsonObject changed, JsonObject ours):
                var kept = new JsonObject();
                var theirs = original as JsonObject ?? [];
                foreach (var (name, value) in changed)
                {
                    if (WithoutOurs(theirs[name], ours[name], value) is { } one)
                        kept[name] = one;
                }

                // What was never published could not be changed.
                foreach (var (name, value) in theirs.Where(p => !ours.ContainsKey(p.Key) && !changed.ContainsKey(p.Key)))
                    kept[name] = value?.DeepClone();
                return kept;
            case (JsonArray changed, JsonArray ours):
                var before = original as JsonArray ?? [];
                bool Among(JsonNode? item, JsonArray list) => list.Any(other => JsonNode.DeepEquals(item, other));
                var items = changed.Where(item => Among(item, before) || !Among(item, ours)).Concat(before.Where(b => !Among(b, ours)));
                JsonArray left = [.. items.Select(item => item?.DeepClone())];
                return left.Count == 0 ? null : left;
            default:
                return sent?.DeepClone();
        }
    }

    private static int Digits(string number)
    {
        var mantissa = number.Split('e', 'E')[0].TrimStart('-');
        var digits = mantissa.Replace(".", "", StringComparison.Ordinal).TrimStart('0').Length;
        var point = mantissa.IndexOf('.', StringComparison.Ordinal);
        return Math.Max(digits, point < 0 ? 0 : mantissa.Length - point - 1);
    }

    private static IEnumerable<(string Path, string Text)> Numbers(JsonElement json, string path) =>
        json.ValueKind switch
        {
            JsonValueKind.Number => [(path, json.GetRawText())],
            JsonValueKind.Object => json.EnumerateObject().SelectMany(p => Numbers(p.Value, $"{path}.{p.Name}")),
            JsonValueKind.Array => json.EnumerateArray().SelectMany((item, i) => Numbers(item, $"{path}[{i}]")),
            _ => [],
        };
}
