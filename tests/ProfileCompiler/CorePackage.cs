using System.Text.Json;
using Hl7.Fhir.Model;

namespace ProfileCompiler;

/// <summary>The package <c>hl7.fhir.r4.core#4.0.1</c> that the FHIR Shorthand compiler asks for, made from the specification.</summary>
internal static class CorePackage
{
    /// <summary>Writes the package: one file per definition, an index and a manifest.</summary>
    /// <param name="folder">Place of the package in a package cache; made if absent.</param>
    public static void Write(string folder)
    {
        var package = Directory.CreateDirectory(Path.Combine(folder, "package")).FullName;
        var files = new List<object>();
        foreach (var resource in Specification.Definitions)
        {
            var definition = (IConformanceResource)resource;
            var file = $"{resource.TypeName}-{resource.Id}.json";
            Specification.Write(resource, Path.Combine(package, file));
            files.Add(
                new
                {
                    filename = file,
                    resourceType = resource.TypeName,
                    id = resource.Id,
                    url = definition.Url,
                    version = "4.0.1",
                    kind = (definition as StructureDefinition)?.Kind?.ToString()?.ToLowerInvariant(),
                    type = (definition as StructureDefinition)?.Type,
                    derivation = (definition as StructureDefinition)?.Derivation?.ToString()?.ToLowerInvariant(),
                }
            );
        }

        File.WriteAllText(
            Path.Combine(package, ".index.json"),
            JsonSerializer.Serialize(new Dictionary<string, object> { ["index-version"] = 1, ["files"] = files })
        );
        File.WriteAllText(
            Path.Combine(package, "package.json"),
            """
            {
              "name": "hl7.fhir.r4.core",
              "version": "4.0.1",
              "fhirVersions": ["4.0.1"],
              "type": "fhir.core",
              "canonical": "http://hl7.org/fhir",
              "url": "http://hl7.org/fhir/R4"
            }
            """
        );
    }
}
