namespace IrrigationFhir.Fhir;

/// <summary>
/// Our words below one canonical base: every URL and code that is ours. A service has one, and hands it to whoever speaks.
/// </summary>
/// <remarks>It holds the base and nothing else: what does not depend on it (published codes, displays) is known once per process.</remarks>
internal sealed class Vocabulary
{
    /// <summary>The words below a base.</summary>
    /// <param name="canonicalBase">An absolute http or https URL; a slash at its end is dropped.</param>
    /// <exception cref="ArgumentException">Not an absolute http or https URL without query and fragment.</exception>
    public Vocabulary(string canonicalBase)
    {
        Profiles = new(canonicalBase);
        Codes = new(Profiles);
    }

    /// <summary>URLs of profiles and of all else that defines what is said.</summary>
    public Profiles Profiles { get; }

    /// <summary>Codes.</summary>
    public Codes Codes { get; }
}
