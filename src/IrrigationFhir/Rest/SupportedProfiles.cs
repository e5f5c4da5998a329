using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Rest;

/// <summary>Names in the CapabilityStatement the profiles that every resource of a type is published under.</summary>
internal sealed class SupportedProfiles(Vocabulary vocabulary)
{
    private readonly Lazy<ILookup<string, string>> byType = new(() =>
        Definitions
            .Own(vocabulary.Profiles.CanonicalBase)
            .OfType<StructureDefinition>()
            .Where(profile => profile.Type != "Extension")
            .ToLookup(profile => profile.Type!, profile => profile.Url!)
    );

    /// <summary>Adds them.</summary>
    public void Claim(CapabilityStatement statement)
    {
        foreach (var resource in statement.Rest[0].Resource)
            resource.SupportedProfile = [.. byType.Value[resource.TypeElement.JsonValue!.ToString()!]];
    }
}
