using Hl7.Fhir.Model;

namespace ProfileCompiler;

/// <summary>The definitions of R4 that a set of profiles reaches: types, extensions, and value sets with a required binding.</summary>
internal static class CoreSubset
{
    private const string Core = "http://hl7.org/fhir/StructureDefinition/";

    /// <summary>Collects the subset.</summary>
    /// <param name="resources">Profiles with snapshots, their terminology, and examples.</param>
    /// <param name="extensions">Names of core extensions to take along.</param>
    /// <returns>A collection Bundle, ordered by canonical URL, without text that only people read.</returns>
    public static async Task<Bundle> Of(IReadOnlyCollection<Resource> resources, IEnumerable<string> extensions)
    {
        var own = resources.OfType<IConformanceResource>().Select(definition => definition.Url).ToHashSet();
        var reached = new SortedDictionary<string, Resource>(StringComparer.Ordinal);
        var open = new Queue<string>(extensions.Select(name => Core + name));
        foreach (var resource in resources)
        foreach (var url in Reached(resource))
            open.Enqueue(url);

        while (open.TryDequeue(out var url))
        {
            if (
                own.Contains(url)
                || reached.ContainsKey(url)
                || await Specification.Source.TryResolveByCanonicalUriAsync(url) is not { Value: { } definition }
            )
                continue;
            reached.Add(url, definition);
            foreach (var next in Reached(definition))
                open.Enqueue(next);
        }

        var bundle = new Bundle { Type = Bundle.BundleType.Collection };
        foreach (var (url, definition) in reached)
            bundle.Entry.Add(new() { FullUrl = url, Resource = Lean(definition) });
        return bundle;
    }

    private static IEnumerable<string> Reached(Resource resource) =>
        resource switch
        {
            StructureDefinition definition => OfStructure(definition),
            ValueSet set => set.Compose!.Include.SelectMany(include => include.ValueSet.Prepend(include.System).OfType<string>())
                .Select(WithoutVersion),
            _ => [],
        };

    private static IEnumerable<string> OfStructure(StructureDefinition definition)
    {
        if (definition.BaseDefinition is { } parent)
            yield return parent;
        foreach (var element in definition.Snapshot!.Element)
        {
            if (element.Binding is { Strength: BindingStrength.Required, ValueSet: { } set })
                yield return WithoutVersion(set);
            foreach (var type in element.Type)
            {
                if (type.Code is { } code)
                    yield return code.StartsWith("http", StringComparison.Ordinal) ? code : Core + code;
                foreach (var profile in type.Profile)
                    yield return WithoutVersion(profile!);
            }
        }
    }

    private static string WithoutVersion(string canonical) => canonical.Split('|')[0];

    /// <summary>
    /// The validator reads neither narrative nor prose; without them the subset is a tenth as long and loads that much faster.
    /// </summary>
    private static Resource Lean(Resource resource)
    {
        if (resource is DomainResource { Text: not null } described)
            described.Text = null;
        switch (resource)
        {
            case StructureDefinition definition:
                definition.Differential = null;
                definition.Description = null;
                definition.Purpose = null;
                definition.Mapping.Clear();
                foreach (var element in definition.Snapshot!.Element)
                {
                    element.Definition = element.Comment = element.Requirements = element.Short = null;
                    element.AliasElement.Clear();
                    element.Example.Clear();
                    element.Mapping.Clear();
                    if (element.Binding is { Strength: not BindingStrength.Required })
                        element.Binding = null;
                }

                break;
            case CodeSystem system:
                Bare(system.Concept);
                break;
        }

        return resource;
    }

    private static void Bare(List<CodeSystem.ConceptDefinitionComponent> concepts)
    {
        foreach (var concept in concepts)
        {
            concept.Definition = null;
            concept.Designation.Clear();
            concept.Extension.Clear();
            Bare(concept.Concept);
        }
    }
}
