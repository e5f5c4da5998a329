using System.Text.Json;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Intake;

/// <summary>
/// Devices that come in a transaction with the Observations that they made (Point-of-Care Device guide): kept as contained resources of
/// these, for an Observation says what its device was then, and devices have no life of their own here.
/// </summary>
internal sealed class ContainedFacts
{
    private readonly List<Fact> facts = [];

    /// <summary>Types that are kept so.</summary>
    public static readonly string[] Types = ["Device", "DeviceMetric"];

    private sealed record Fact(int Index, IReadOnlyList<string> Addresses, JsonElement Resource);

    /// <summary>Indexes of the entries that an Observation points at, directly or by another of them.</summary>
    public HashSet<int> Used { get; } = [];

    /// <summary>Adds one.</summary>
    /// <param name="index">Of its entry.</param>
    /// <param name="addresses">What a reference in the same Bundle may call it.</param>
    /// <param name="resource">The device.</param>
    public void Add(int index, IEnumerable<string> addresses, JsonElement resource) => facts.Add(new(index, [.. addresses], resource));

    /// <summary>An Observation with the devices that it points at within it.</summary>
    public JsonElement Within(JsonElement observation)
    {
        if (facts.Count == 0 || observation.ValueKind != JsonValueKind.Object)
            return observation;
        var whole = JsonNode.Parse(observation.GetRawText())!.AsObject();
        if (whole["contained"] is not (null or JsonArray) || whole["meta"] is not (null or JsonObject))
            return observation; // malformed: refused by whoever reads it
        var ids = new Dictionary<Fact, string>();
        var contained = whole["contained"] as JsonArray ?? [];
        Point(whole, whole, contained, ids);
        if (ids.Count == 0)
            return observation;
        whole["contained"] ??= contained;
        using var document = JsonDocument.Parse(whole.ToJsonString(IntakeApi.Readable));
        return document.RootElement.Clone();
    }

    private void Point(JsonObject from, JsonObject whole, JsonArray contained, Dictionary<Fact, string> ids)
    {
        foreach (var (_, holder) in KeptObservation.References(from, "").ToList())
        {
            var target = Pointing.WithoutVersion((string)holder["reference"]!);
            if (facts.Find(f => f.Addresses.Contains(target)) is { } fact)
                holder["reference"] = $"#{Contain(fact, whole, contained, ids)}";
        }
    }

    private string Contain(Fact fact, JsonObject whole, JsonArray contained, Dictionary<Fact, string> ids)
    {
        if (ids.TryGetValue(fact, out var known))
            return known;
        var resource = JsonNode.Parse(fact.Resource.GetRawText())!.AsObject();
        var taken = contained.OfType<JsonObject>().Select(c => c["id"]?.ToString()).ToHashSet();
        var stem = resource["resourceType"]!.ToString().ToLowerInvariant();
        var id = Enumerable.Range(1, taken.Count + 1).Select(n => $"{stem}-{n}").First(name => !taken.Contains(name));
        (ids[fact], resource["id"]) = (id, id);
        Used.Add(fact.Index);

        // dom-4 and dom-5 of R4: what is contained has no version and no labels of its own; the whole has its labels.
        if (resource["meta"] is JsonObject meta)
        {
            if (meta["security"] is JsonArray labels)
            {
                whole["meta"] ??= new JsonObject();
                if (whole["meta"]!["security"] is not JsonArray own)
                    whole["meta"]!["security"] = own = [];
                foreach (var label in labels.Where(label => !own.Any(l => JsonNode.DeepEquals(l, label))).ToList())
                    own.Add(label?.DeepClone());
            }

            foreach (var name in new[] { "versionId", "lastUpdated", "security" })
                meta.Remove(name);
            KeptObservation.Tidy(resource, "meta");
        }

        contained.Add(resource);
        Point(resource, whole, contained, ids);
        return id;
    }
}
