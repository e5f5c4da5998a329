using System.Collections.Concurrent;
using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Nodes;
using Hl7.Fhir.Introspection;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Analytics;

/// <summary>Sends only some elements of a resource: what is mandatory stays, and SUBSETTED says that it is not the whole.</summary>
/// <remarks>Cut on the JSON, so that numbers keep their digits.</remarks>
internal sealed class BulkElements
{
    private static readonly JsonSerializerOptions Compact = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };
    private static readonly ConcurrentDictionary<string, string[]> Mandatory = new();

    private readonly HashSet<string> _kept;

    /// <summary>The elements of a type that are wanted, with those that are mandatory.</summary>
    public BulkElements(string type, IEnumerable<BulkElement> wanted)
    {
        string[] always = ["resourceType", "id", "meta", .. Mandatory.GetOrAdd(type, MandatoryOf)];
        _kept =
        [
            .. always,
            .. wanted.Where(element => element.Type is null || element.Type == type).SelectMany(element => Names(type, element.Name)),
        ];
    }

    /// <summary>Whether a type has an element of that name at its root.</summary>
    public static bool Has(string type, string name) => Mapping(type)?.FindMappedElementByName(name) is not null;

    /// <summary>The part of a resource.</summary>
    public byte[] Cut(ReadOnlyMemory<byte> json)
    {
        var resource = JsonNode.Parse(json.Span)!.AsObject();
        foreach (var name in resource.Select(pair => pair.Key).Where(name => !_kept.Contains(name.TrimStart('_'))).ToList())
            resource.Remove(name);
        if (resource["meta"] is not JsonObject meta)
            resource["meta"] = meta = [];
        if (meta["tag"] is not JsonArray tags)
            meta["tag"] = tags = [];
        var mark = Codes.Subsetted();
        tags.Add(new JsonObject { ["system"] = mark.System, ["code"] = mark.Code });
        return Encoding.UTF8.GetBytes(resource.ToJsonString(Compact));
    }

    private static string[] MandatoryOf(string type) =>
        [
            .. Mapping(type)!
                .PropertyMappings.Where(property => property.IsMandatoryElement)
                .SelectMany(property => Names(type, property.Name)),
        ];

    private static IEnumerable<string> Names(string type, string name) => PathType.Of(type).Child(name).Names;

    private static ClassMapping? Mapping(string type) => ModelInfo.ModelInspector.FindClassMapping(type);
}
