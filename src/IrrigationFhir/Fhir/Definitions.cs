using System.IO.Compression;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;

namespace IrrigationFhir.Fhir;

/// <summary>
/// The definitions inside this assembly: our compiled profiles, code systems, value sets and examples, and the part of R4 they reach.
/// </summary>
/// <remarks>
/// Every call reads anew, because FHIR objects are mutable: one reader publishes them, another rewrites them for the validator.
/// </remarks>
internal static class Definitions
{
    private const string Folder = "Profiles/";
    private const string Core = Folder + "r4-core-subset.json.gz";

    /// <summary>Our StructureDefinitions, CodeSystems and ValueSets, in order of file name.</summary>
    /// <param name="canonicalBase">Base of their URLs.</param>
    public static IReadOnlyList<Resource> Own(string canonicalBase) => [.. Names(example: false).Select(name => Read(name, canonicalBase))];

    /// <summary>One valid resource per profile, for the warm-up and for readers; its patient is an invention.</summary>
    /// <param name="canonicalBase">Base of the URLs in them.</param>
    public static IReadOnlyList<Resource> Examples(string canonicalBase) =>
        [.. Names(example: true).Select(name => Read(name, canonicalBase))];

    /// <summary>A code system of ours.</summary>
    /// <param name="slug">Its id.</param>
    /// <param name="canonicalBase">Base of its URL.</param>
    public static CodeSystem CodeSystem(string slug, string canonicalBase) =>
        (CodeSystem)Read($"{Folder}CodeSystem-{slug}.json", canonicalBase);

    /// <summary>The map from codes to kinds of entry: our own codes, and those of published vocabularies that say one thing.</summary>
    /// <param name="canonicalBase">Base of the URLs in it.</param>
    public static string EntryKindMap(string canonicalBase)
    {
        using var text = new StreamReader(Open("Intake/entry-kinds.json"));
        return text.ReadToEnd().Replace(Profiles.DefaultCanonicalBase, canonicalBase, StringComparison.Ordinal);
    }

    /// <summary>The StructureDefinitions of R4 types and extensions that our profiles reach, and the value sets they bind to.</summary>
    public static IReadOnlyList<Resource> OfR4()
    {
        using var zip = new GZipStream(Open(Core), CompressionMode.Decompress);
        using var text = new StreamReader(zip);
        return [.. Parse<Bundle>(text.ReadToEnd()).Entry.Select(entry => entry.Resource!)];
    }

    private static IEnumerable<string> Names(bool example) =>
        typeof(Definitions)
            .Assembly.GetManifestResourceNames()
            .Where(name => name.StartsWith(Folder, StringComparison.Ordinal) && name != Core)
            .Where(name => name.EndsWith(".example.json", StringComparison.Ordinal) == example)
            .Order(StringComparer.Ordinal);

    private static Resource Read(string name, string canonicalBase)
    {
        using var text = new StreamReader(Open(name));
        return Parse<Resource>(text.ReadToEnd().Replace(Profiles.DefaultCanonicalBase, canonicalBase, StringComparison.Ordinal));
    }

    private static Stream Open(string name) =>
        typeof(Definitions).Assembly.GetManifestResourceStream(name)
        ?? throw new InvalidOperationException($"{name} is not in this assembly; run Profiles/compile.sh");

    // Our own files, checked when they were compiled: only their syntax matters here.
    private static T Parse<T>(string json)
        where T : Resource => FhirJsonDeserializer.SYNTAXONLY.Deserialize<T>(json);
}
