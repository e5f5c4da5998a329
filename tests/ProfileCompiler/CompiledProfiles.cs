using System.IO.Compression;
using System.Text;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Hl7.Fhir.Specification.Snapshot;
using Hl7.Fhir.Specification.Source;
using Task = System.Threading.Tasks.Task;

namespace ProfileCompiler;

/// <summary>Profiles with snapshots, their terminology and examples, and the part of R4 they reach.</summary>
internal static class CompiledProfiles
{
    /// <summary>
    /// Core extensions that our resources use, and the core profile that a weight keeps as well; nothing in a profile names them by
    /// necessity.
    /// </summary>
    private static readonly string[] Extensions = ["iso21090-uncertainty", "bodyweight"];

    /// <summary>Writes everything the service embeds.</summary>
    /// <param name="compiled">What the FHIR Shorthand compiler wrote.</param>
    /// <param name="profiles">Folder of the profiles; its JSON files are replaced.</param>
    public static async Task Write(string compiled, string profiles)
    {
        var reader = FhirJsonDeserializer.DEFAULT;
        var resources = Directory
            .GetFiles(compiled, "*.json")
            .Order(StringComparer.Ordinal)
            .Select(file => reader.Deserialize<Resource>(File.ReadAllText(file)))
            .ToList();
        foreach (var old in Directory.GetFiles(profiles, "*.json", SearchOption.AllDirectories))
            File.Delete(old);

        var source = new CachedResolver(new MultiResolver(new InMemoryResourceResolver(resources), Specification.Source));
        var generator = new SnapshotGenerator(
            source,
            new SnapshotGeneratorSettings
            {
                GenerateSnapshotForExternalProfiles = true,
                ForceRegenerateSnapshots = false,
                GenerateExtensionsOnConstraints = false,
                GenerateAnnotationsOnConstraints = false,
                GenerateElementIds = true,
            }
        );

        foreach (var resource in resources)
        {
            if (resource is StructureDefinition profile)
            {
                await generator.UpdateAsync(profile);
                if (generator.Outcome is { Success: false } outcome)
                    throw new InvalidOperationException($"{profile.Id}: {outcome}");
                profile.Mapping.Clear();
                foreach (var element in profile.Snapshot!.Element)
                    WithoutInheritedRemarks(element);
            }

            Specification.Write(resource, Path.Combine(profiles, FileOf(resource)));
        }

        var bundle = await CoreSubset.Of(resources, Extensions);
        using var file = File.Create(Path.Combine(profiles, "r4-core-subset.json.gz"));
        using var zip = new GZipStream(file, CompressionLevel.SmallestSize);
        zip.Write(Encoding.UTF8.GetBytes(new FhirJsonSerializer().SerializeToString(bundle)));
    }

    /// <summary>A profile lies beside its source under the same name, its example beside both, terminology in its own folder.</summary>
    private static string FileOf(Resource resource) =>
        resource switch
        {
            StructureDefinition => $"{resource.Id}.json",
            CodeSystem or ValueSet => Path.Combine("terminology", $"{resource.TypeName}-{resource.Id}.json"),
            _ => $"{resource.Id!.Replace("-example", ".example", StringComparison.Ordinal)}.json",
        };

    /// <summary>
    /// Leaves what a profile says itself: notes of the snapshot generator go, and the specification's
    /// remarks and mappings, which would make a change of one line drown in thousands.
    /// </summary>
    private static void WithoutInheritedRemarks(ElementDefinition element)
    {
        const string note = "http://hl7.org/fhir/StructureDefinition/structuredefinition-snapshot-base";
        element.Comment = element.Requirements = null;
        element.AliasElement.Clear();
        element.Example.Clear();
        element.Mapping.Clear();
        foreach (var part in Descendants(element).Prepend(element).OfType<IExtendable>())
            part.Extension.RemoveAll(extension => extension.Url == note);
    }

    private static IEnumerable<Base> Descendants(Base part) =>
        part.EnumerateElements()
            .SelectMany(element =>
                element.Value switch
                {
                    Base child => [child],
                    IEnumerable<Base> children => children,
                    _ => Enumerable.Empty<Base>(),
                }
            )
            .SelectMany(child => Descendants(child).Prepend(child));
}
