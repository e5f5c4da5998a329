using System.Collections.Frozen;
using Hl7.Fhir.Model;

namespace IrrigationFhir.Validation;

/// <summary>
/// Which types of resource a reference may point to, by the path of its element. The validator checks this only where it can fetch the
/// target.
/// </summary>
internal sealed class ReferenceTargets
{
    private const string Core = "http://hl7.org/fhir/StructureDefinition/";

    private readonly FrozenDictionary<string, FrozenSet<string>> allowed;

    /// <summary>Reads the targets of every reference element.</summary>
    /// <param name="definitions">Base definitions of R4, with their target profiles.</param>
    public ReferenceTargets(IEnumerable<StructureDefinition> definitions) =>
        allowed = definitions
            .SelectMany(definition => definition.Snapshot!.Element)
            .Select(element =>
                (
                    element.Path,
                    Types: element
                        .Type.Where(type => type.Code == "Reference")
                        .SelectMany(type => type.TargetProfile)
                        .Where(profile => profile!.StartsWith(Core, StringComparison.Ordinal))
                        .Select(profile => profile![Core.Length..])
                        .ToFrozenSet()
                )
            )
            .Where(at => at.Types.Count > 0 && !at.Types.Contains("Resource"))
            .DistinctBy(at => at.Path)
            .ToFrozenDictionary(at => at.Path!.Replace("[x]", "", StringComparison.Ordinal), at => at.Types);

    /// <summary>Types allowed at a path such as <c>Observation.subject</c>; null where anything is.</summary>
    public FrozenSet<string>? At(string path) => allowed.GetValueOrDefault(path);

    /// <summary>
    /// Type a reference names, by its own <c>type</c> or by its literal; null where it names none (a logical reference, a contained
    /// resource, a URN).
    /// </summary>
    public static string? TypeOf(ResourceReference reference)
    {
        if (reference.Type is { } type)
            return type.StartsWith(Core, StringComparison.Ordinal) ? type[Core.Length..] : type;
        var steps = reference.Reference?.Split('/') ?? [];
        if (Array.IndexOf(steps, "_history") is var history and >= 0)
            steps = steps[..history];
        return steps is [.., var name, _] && ModelInfo.IsKnownResource(name) ? name : null;
    }
}
