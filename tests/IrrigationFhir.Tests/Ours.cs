using IrrigationFhir.Fhir;

namespace IrrigationFhir.Tests;

/// <summary>The words of a service whose base nobody has set, as most tests expect them.</summary>
internal static class Ours
{
    public static Vocabulary Vocabulary { get; } = new(Profiles.DefaultCanonicalBase);

    public static Profiles Profiles => Vocabulary.Profiles;

    public static Codes Codes => Vocabulary.Codes;
}
