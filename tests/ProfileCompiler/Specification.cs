using System.IO.Compression;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Hl7.Fhir.Specification.Source;

namespace ProfileCompiler;

/// <summary>The R4 specification as it comes with Hl7.Fhir.Specification.Data.R4.</summary>
internal static class Specification
{
    private static readonly string[] Files =
    [
        "profiles-types.xml",
        "profiles-resources.xml",
        "profiles-others.xml",
        "extension-definitions.xml",
        "valuesets.xml",
        "v3-codesystems.xml",
    ];

    /// <summary>All structures, value sets and code systems of R4 core and v3.</summary>
    public static IReadOnlyList<Resource> Definitions { get; } = Read();

    /// <summary>The definitions, found by canonical URL.</summary>
    public static InMemoryResourceResolver Source { get; } = new(Definitions);

    /// <summary>Writes a resource as indented JSON with LF line ends.</summary>
    public static void Write(Resource resource, string path) =>
        File.WriteAllText(path, FhirJsonSerializer.Default.SerializeToString(resource, pretty: true).ReplaceLineEndings("\n") + "\n");

    private static List<Resource> Read()
    {
        using var zip = ZipFile.OpenRead(Path.Combine(AppContext.BaseDirectory, "specification.zip"));
        return Files
            .SelectMany(file =>
            {
                using var text = new StreamReader(zip.GetEntry(file)!.Open());
                return FhirXmlDeserializer.OSTRICH.Deserialize<Bundle>(text.ReadToEnd()).Entry;
            })
            .Select(entry => entry.Resource)
            .Where(resource => resource is StructureDefinition or ValueSet or CodeSystem)
            .DistinctBy(resource => ((IConformanceResource)resource!).Url)
            .ToList()!;
    }
}
